"""`kilnctl new [FILE]`: a dozen questions, a commented oven description that check, size and rehearse accept at once."""

import argparse
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Callable

from ..errors import KilnctlError
from ..units import UnitError, parse


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", nargs="?", default="my-oven.yaml", help="file to write (default: %(default)s); never overwritten")
    parser.add_argument("--defaults", action="store_true", help="ask nothing, take every default")


@dataclass(frozen=True)
class Question:
    """`default` may depend on the answers so far; `accept` returns what is wrong, or None."""

    key: str
    ask: str
    why: str
    default: Callable[[dict], str]
    accept: Callable[[str], str | None]


def _quantity(dimension: str, low: float, high: float) -> Callable[[str], str | None]:
    def accept(text: str) -> str | None:
        try:
            value = parse(text, dimension)
        except UnitError as error:
            return str(error)
        return None if low <= value <= high else "that is outside what this tool is made for"

    return accept


def _one_of(*options: str) -> Callable[[str], str | None]:
    return lambda text: None if text.lower() in options else "one of: " + ", ".join(options)


def _size(text: str) -> str | None:
    parts = _split_size(text)
    if len(parts) != 3:
        return "three lengths, as in 600 x 600 x 800 mm"
    return next((problem for p in parts if (problem := _quantity("length", 0.02, 5.0)(p))), None)


def _split_size(text: str) -> list[str]:
    """ "600 x 600 x 800 mm" → three lengths; a unit at the end is for all that have none."""
    parts = [p.strip() for p in text.replace("×", "x").replace("X", "x").replace("*", "x").split("x")]
    last = parts[-1] if parts else ""
    unit = last.lstrip("0123456789. /").strip()
    return [p if any(c.isalpha() or c in "\"″" for c in p) else f"{p} {unit}" for p in parts]


def _known_material(text: str) -> str | None:
    from ..thermal.materials import find

    try:
        find(text)
    except KilnctlError as error:
        return str(error)
    return None


def _text(text: str) -> str | None:
    return None if text.strip() and len(text) <= 80 and all(ord(c) >= 32 and c not in "#:{}[]&*!|>'\"%@`" for c in text) else "plain words, please"


#: Purpose → defaults: highest temperature, size, power, main insulation and thickness, backing.
PURPOSES = {
    "powder coat": ("250 °C", "600 x 600 x 800 mm", "3 kW", "mineral wool 100", "80 mm", None),
    "drying": ("150 °C", "600 x 500 x 600 mm", "1.5 kW", "mineral wool 100", "60 mm", None),
    "heat treatment": ("1000 °C", "250 x 350 x 250 mm", "3 kW", "insulating firebrick 23", "114 mm", ("ceramic fibre blanket 128", "50 mm")),
    "ceramics": ("1150 °C", "350 x 350 x 400 mm", "3.5 kW", "insulating firebrick 23", "114 mm", ("ceramic fibre blanket 128", "50 mm")),
    "lab": ("1000 °C", "150 x 230 x 130 mm", "1.2 kW", "ceramic fibre board 300", "50 mm", ("ceramic fibre blanket 128", "38 mm")),
}  # fmt: skip


def _from(index: int) -> Callable[[dict], str]:
    return lambda a: PURPOSES[a["purpose"].lower()][index]


QUESTIONS = (
    Question("name", "What is it called?", "it stands on every record", lambda a: "My oven", _text),
    Question("purpose", "What is it for? (powder coat, drying, heat treatment, ceramics, lab)", "it sets the other defaults",
             lambda a: "powder coat", _one_of(*PURPOSES)),
    Question("highest", "How hot must it get?", "no schedule may ask for more; the software cuts the heat a little above", _from(0), _quantity("temperature", 50.0, 1300.0)),
    Question("size", "Inside width x depth x height?", "walls lose heat in proportion to their area", _from(1), _size),
    Question("opening", "Does it open at the front or at the top?", "the opening leaks, and its face may be built differently", lambda a: "front", _one_of("front", "top")),
    Question("insulation", "What is the main insulation? (`kilnctl materials` lists the names)", "its conductivity decides how much power holding takes", _from(3), _known_material),
    Question("thickness", "How thick is it?", "twice as thick loses about half", _from(4), _quantity("length", 0.005, 1.0)),
    Question("backing", "Is there a second layer behind it? (a material, or none)", "cheaper insulation often backs the hot one",
             lambda a: (PURPOSES[a["purpose"].lower()][5] or ("none",))[0], lambda t: None if t.lower() == "none" else _known_material(t)),
    Question("backing thickness", "How thick is the second layer?", "it is cooler there, so it may stand less", lambda a: (PURPOSES[a["purpose"].lower()][5] or ("", "25 mm"))[1],
             _quantity("length", 0.002, 1.0)),
    Question("power", "How much heating power?", "it sets how fast and how hot", _from(2), _quantity("power", 50.0, 20000.0)),
    Question("voltage", "What is the supply voltage?", "power goes with its square", lambda a: "230 V", _quantity("voltage", 24.0, 480.0)),
    Question("frequency", "50 Hz or 60 Hz?", "heat is fired in whole mains cycles", lambda a: "60 Hz" if parse(a["voltage"], "voltage") < 150.0 else "50 Hz",
             lambda t: _quantity("frequency", 49.0, 61.0)(t) or (None if parse(t, "frequency") in (50.0, 60.0) else "50 Hz or 60 Hz")),
    Question("fan", "Is there a circulation fan? (yes, no)", "it evens out the temperature and quickens the sensors",
             lambda a: "yes" if parse(a["highest"], "temperature") <= 300.0 else "no", _one_of("yes", "no")),
    Question("vented", "Is it ventilated, with a flow switch that tells the controller? (yes, no)",
             "curing powder gives off flammable vapour; schedules that say so are refused without it", lambda a: "yes", _one_of("yes", "no")),
)  # fmt: skip


def run(args: argparse.Namespace) -> int:
    path = Path(args.file)
    if path.exists():
        raise KilnctlError(f"{path}: is there already, and is not overwritten; name another file")
    answers: dict[str, str] = {}
    people = sys.stdin.isatty() and not args.defaults
    if not args.defaults:
        print("Empty answers take the default in [brackets]. Any unit will do: 3 in, 76 mm, 350 °F, 200 °C, 2.8 kW.\n")
    for number, question in enumerate(QUESTIONS, 1):
        if question.key == "backing thickness" and answers["backing"].lower() == "none":
            continue
        if question.key == "vented" and answers["purpose"].lower() != "powder coat":
            continue
        answers[question.key] = _ask(number, question, answers, people, args.defaults)
    text = _describe(answers)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(path, "x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
    print(f"\nWrote {path}. Next:\n  kilnctl check {path}\n  kilnctl size {path}\n  kilnctl schema oven   (for an editor that completes the rest)")
    return 0


def _ask(number: int, question: Question, answers: dict, people: bool, silent: bool) -> str:
    default = question.default(answers)
    if silent:
        return default
    while True:
        print(f"{number}. {question.ask}  ({question.why})\n   [{default}] ", end="", flush=True)
        line = sys.stdin.readline()
        if not people:
            print(line.strip() or default)
        if line == "" and people:
            raise KilnctlError("ended before the last question; nothing was written")
        text = " ".join(line.split()) or default
        problem = question.accept(text)
        if problem is None:
            return text
        if not people:
            raise KilnctlError(f"answer {number} ('{text}'): {problem}; nothing was written")
        print(f"   {problem}")


def _quoted(text: str) -> str:
    """A value as YAML takes it: quoted where a sign would mislead it."""
    return f"'{text}'" if any(c in text for c in "\"'#:{}[],&*%") else text


def _describe(a: dict[str, str]) -> str:
    width, depth, height = _split_size(a["size"])
    hot = parse(a["highest"], "temperature")
    insulation = " ".join(a["insulation"].lower().split())
    layers = [f"    - {{material: {_quoted(insulation)}, thickness: {_quoted(a['thickness'])}}}"]
    if a["backing"].lower() != "none":
        layers.append(f"    - {{material: {_quoted(a['backing'].lower())}, thickness: {_quoted(a['backing thickness'])}}}")
    if hot <= 400.0:
        layers.insert(0, "    - {material: steel, thickness: 1 mm}                  # inner liner")
    layers.append("    - {material: steel, thickness: 1 mm}                  # outer shell")
    alloy = "sheathed" if hot <= 400.0 else "iron-chromium-aluminium"
    proved = a.get("vented", "no").lower()
    limit = "700 °C" if hot <= 400.0 else "1300 °C"
    fan = "fan: {air speed: 1.5 m/s, power: 40 W}\n" if a["fan"].lower() == "yes" else "# fan: {air speed: 1.5 m/s, power: 40 W}\n"
    vent = ("# Powder gives off flammable vapour: ventilation with a flow switch is a must (SAFETY.md). 'proved: yes' says that the switch is\n"
            f"# wired.\nvent: {{flow: 3 m³/h, proved: {proved}}}\n") if "vented" in a else "# vent: {flow: 2 m³/h, proved: no}\n"  # fmt: skip
    limiter = hot + max(15.0, 0.02 * hot) + 15.0
    return f"""# Written by `kilnctl new`. Every quantity carries its unit, in any unit you like. Change what you know better, then
#   kilnctl check THIS-FILE     says what is wrong, with line and column
#   kilnctl size THIS-FILE      says how hot, how fast, and where the watts go
oven: {a["name"]}
about: {a["purpose"].lower()}

chamber:                     # inside
  width: {_quoted(width)}
  depth: {_quoted(depth)}
  height: {_quoted(height)}
  opening: {a["opening"].lower()}

walls:                       # layers from the hot face outward; add 'roof', 'floor', 'door' where they differ from the sides
  sides:
{chr(10).join(layers)}

# Metal that goes through the insulation carries heat: door frame, bolts, element terminals.
bridges:
  - {{name: element terminals, material: stainless steel, area: 30 mm², length: 120 mm, count: 4}}

door: {{gap: 0.3 mm, switch: no}}     # mean leak all round; 'switch: yes' when a door switch is wired to the controller too
{fan}{vent}
elements:
  power: {_quoted(a["power"])}
  alloy: {alloy}
  limit: {limit}

supply:
  voltage: {_quoted(a["voltage"])}
  frequency: {_quoted(a["frequency"])}
  # breaker: 16 A
  # cable area: 2.5 mm²
  # cable length: 10 m

switching:
  pattern: fine              # fine, balanced, or quiet lights when lamps on the same line flicker

sensors:                     # thermocouples; 'limit' is a second one, placed apart: worth its price
  control: {{type: K}}
  limit: {{type: K}}
  # part: {{type: K}}

# usual load: {{name: steel parts, mass: 4 kg, material: steel, area: 0.5 m², thickness: 3 mm}}

limits:
  highest: {_quoted(a["highest"])}
  limiter: {limiter:.0f} °C           # what the independent hardware limiter is set to; you need one (SAFETY.md)
"""
