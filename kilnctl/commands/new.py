"""`kilnctl new [FILE]`: some fifteen questions, and an oven description that check, size and rehearse accept."""

import argparse
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..errors import KilnctlError
from ..output import IMPERIAL, METRIC, Units, typed
from ..settings.oven import oven_from
from ..sizing import size
from ..sizing.circuit import TRANSFORMER_BELOW_V
from ..thermal.elements import usual_alloy
from ..thermal.material_data import find
from ..thermal.surfaces import OUTSIDES
from ..units import UnitError, parse
from ._description import PROOFS, described, in_fahrenheit, in_inches, split_size


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "file", nargs="?", default="my-oven.yaml", help="file to write (default: %(default)s); never overwritten"
    )
    parser.add_argument("--defaults", action="store_true", help="ask nothing, take every default")
    parser.add_argument(
        "--purpose", choices=tuple(PURPOSES), help="with --defaults: what it is for (default: powder coat)"
    )


@dataclass(frozen=True)
class Question:
    """`default` may depend on the answers so far; `accept` returns what is wrong with an answer's text, or None.
    After a question that `settles` a part of the oven, the description so far is judged as by `kilnctl check`."""

    key: str
    ask: str
    why: str
    default: Callable[[dict], str]
    accept: Callable[[str], str | None]
    settles: bool = False


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
    parts = split_size(text)
    if len(parts) != 3:
        return "three lengths, as in 600 x 600 x 800 mm"
    return next((problem for p in parts if (problem := _quantity("length", 0.02, 5.0)(p))), None)


def _known_material(text: str) -> str | None:
    try:
        find(text)
    except KilnctlError as error:
        return str(error)
    return None


def _text(text: str) -> str | None:
    plain = text.strip() and len(text) <= 80 and all(ord(c) >= 32 and c not in "#:{}[]&*!|>'\"%@`" for c in text)
    return None if plain else "plain words, please"


#: Purpose → defaults: highest temperature, size, power, main insulation and thickness, backing.
PURPOSES = {
    "powder coat": ("250 °C", "600 x 600 x 800 mm", "3 kW", "mineral wool 100", "80 mm", None),
    "drying": ("150 °C", "600 x 500 x 600 mm", "1.5 kW", "mineral wool 100", "60 mm", None),
    "heat treatment": (
        "1000 °C",
        "250 x 350 x 250 mm",
        "3 kW",
        "insulating firebrick 23",
        "114 mm",
        ("ceramic fibre blanket 128", "50 mm"),
    ),
    "ceramics": (
        "1150 °C",
        "350 x 350 x 400 mm",
        "3.5 kW",
        "insulating firebrick 23",
        "114 mm",
        ("ceramic fibre blanket 128", "50 mm"),
    ),
    "lab": (
        "1000 °C",
        "150 x 230 x 130 mm",
        "1.2 kW",
        "ceramic fibre board 300",
        "50 mm",
        ("ceramic fibre blanket 128", "38 mm"),
    ),
}


def _from(index: int) -> Callable[[dict], str]:
    return lambda a: PURPOSES[a["purpose"].lower()][index]


def _american(a: dict) -> bool:
    """Whether the answers so far are in °F or inches."""
    return in_fahrenheit(a) or in_inches(a)


def _line_hz(a: dict) -> str:
    """120 V and 277 V are of 60 Hz countries; 208 V to 240 V can be of either, so the other answers tell."""
    volts = parse(a["voltage"], "voltage")
    return "60 Hz" if volts < 150.0 or 260.0 < volts < 300.0 or (_american(a) and volts >= 200.0) else "50 Hz"


def _backing(a: dict) -> tuple[str, str]:
    usual = PURPOSES[a["purpose"].lower()][5]
    # The default second layer belongs to the default first one.
    return usual if usual and a["insulation"].lower() == PURPOSES[a["purpose"].lower()][3] else ("none", "25 mm")


def _elements(text: str) -> str | None:
    if text.lower() == "not known" or (
        len(parts := re.split("[x×]", text)) == 1 and _quantity("area", 1e-4, 10.0)(text) is None
    ):
        return None
    if len(parts) != 2:
        return (
            "a surface, such as 0.25 m² or 60 in²; a diameter and a length, such as 8 mm x 12 m or 0.04 in x 22 ft; "
            "or: not known"
        )
    return _quantity("length", 1e-4, 0.03)(parts[0]) or _quantity("length", 0.05, 500.0)(parts[1])


def _printed(text: str) -> str | None:
    accepted = (_one_of("no"), _quantity("conductivity", 1e-3, 20.0), _quantity("insulance", 1e-3, 100.0))
    if any(accept(text) is None for accept in accepted):
        return None
    return "an R-value such as R-13 or 2.3 m²·K/W, a conductivity such as 0.035 W/(m·K), or: no"


def _mains(text: str) -> str | None:
    problem = _quantity("voltage", 1.0, 480.0)(text)
    if problem is None and parse(text, "voltage") < TRANSFORMER_BELOW_V:
        return "so low a voltage comes from a transformer, and firing in bursts is not for transformers"
    return problem


_HZ = _quantity("frequency", 49.0, 61.0)
QUESTIONS = (
    Question("name", "What is it called?", "it stands on every record", lambda a: "My oven", _text),
    Question(
        "purpose",
        "What is it for? (powder coat, drying, heat treatment, ceramics, lab)",
        "it sets the other defaults",
        lambda a: "powder coat",
        _one_of(*PURPOSES),
    ),
    Question(
        "highest",
        "How hot must it get?",
        "no schedule may ask for more; the software cuts the heat a little above",
        _from(0),
        _quantity("temperature", 50.0, 1300.0),
    ),
    Question("size", "Inside width x depth x height?", "walls lose heat in proportion to their area", _from(1), _size),
    Question(
        "opening",
        "Does it open at the front or at the top?",
        "the opening leaks, and its face may be built differently",
        lambda a: "front",
        _one_of("front", "top"),
    ),
    Question(
        "insulation",
        "What is the main insulation? (`kilnctl materials` lists the names)",
        "its conductivity decides how much power holding takes",
        _from(3),
        _known_material,
        settles=True,
    ),
    Question(
        "thickness", "How thick is it?", "twice as thick loses about half", _from(4), _quantity("length", 0.005, 1.0)
    ),
    Question(
        "backing",
        "Is there a second layer behind it? (a material, or none)",
        "cheaper insulation often backs the hot one",
        lambda a: _backing(a)[0],
        lambda t: None if t.lower() == "none" else _known_material(t),
    ),
    Question(
        "backing thickness",
        "How thick is the second layer?",
        "it is cooler there, so it may stand less",
        lambda a: _backing(a)[1],
        _quantity("length", 0.002, 1.0),
    ),
    Question(
        "power",
        "How much heating power?",
        "it sets how fast and how hot",
        _from(2),
        _quantity("power", 50.0, 20000.0),
        settles=True,
    ),
    Question(
        "heaters",
        "What are the elements? (sheathed, iron-chromium-aluminium, nickel-chromium)",
        "open wire gets hotter than a sheath may",
        lambda a: usual_alloy(parse(a["highest"], "temperature")),
        _one_of("sheathed", "iron-chromium-aluminium", "nickel-chromium"),
        settles=True,
    ),
    Question(
        "element size",
        "What is their surface, or their diameter x length?",
        "it says how hot they glow; not known is an answer: then a usual surface is assumed",
        lambda a: "not known",
        _elements,
    ),
    Question(
        "voltage",
        "What is the supply voltage?",
        "power goes with its square",
        lambda a: "240 V" if _american(a) else "230 V",
        _mains,
    ),
    Question(
        "frequency",
        "50 Hz or 60 Hz?",
        "heat is fired in whole mains cycles",
        _line_hz,
        lambda t: _HZ(t) or (None if parse(t, "frequency") in (50.0, 60.0) else "50 Hz or 60 Hz"),
    ),
    Question(
        "fan",
        "Is there a circulation fan? (yes, no)",
        "it evens out the temperature and quickens the sensors",
        lambda a: "yes" if parse(a["highest"], "temperature") <= 300.0 else "no",
        _one_of("yes", "no"),
    ),
    Question(
        "vented",
        "Does an extraction fan draw air through it? (yes, no)",
        "curing powder gives off flammable vapour; schedules that say so are refused without proved air",
        lambda a: "no",
        _one_of("yes", "no"),
    ),
    Question(
        "flow",
        "How much air does it draw at least, as measured? (such as 10 m³/h or 6 cfm; not known)",
        "the air is held against what the load gives off, and the purge takes four times the chamber's volume of it",
        lambda a: "not known",
        lambda t: None if t.lower() == "not known" else _quantity("volume flow", 1e-5, 0.5)(t),
    ),
    Question(
        "proof",
        "What proves that flow to the controller? (flow switch, differential pressure, nothing)",
        "a fan that runs proves nothing: its damper may be shut",
        lambda a: "nothing",
        _one_of(*PROOFS, "nothing"),
    ),
    Question(
        "outside",
        f"What is its outside? ({', '.join(OUTSIDES)})",
        "bare metal radiates little, so it gets hotter, and burns a hand sooner",
        lambda a: "painted",
        _one_of(*OUTSIDES),
    ),
    Question(
        "printed",
        "What R-value or conductivity does the seller of the insulation print? (R-13, 0.035 W/(m·K), …; or: no)",
        "with no, the library's curve is taken",
        lambda a: "no",
        _printed,
    ),
    Question(
        "printed at",
        "At which mean temperature is that measured?",
        "it stands beside the figure; hot insulation conducts far more, and it is carried there",
        lambda a: "75 °F" if _american(a) else "24 °C",
        _quantity("temperature", -50.0, 1500.0),
    ),
)


def _wanted(question: Question, answers: dict) -> bool:
    if question.key == "backing thickness":
        return answers["backing"].lower() != "none"
    if question.key == "printed at":
        return answers.get("printed", "no").lower() != "no"
    if question.key == "vented":
        return answers["purpose"].lower() == "powder coat"
    if question.key == "flow":
        return answers.get("vented", "no").lower() == "yes"
    return question.key != "proof" or answers.get("flow", "not known").lower() != "not known"


def default_answers(purpose: str | None = None) -> dict[str, str]:
    """The answers of `--defaults` for one of PURPOSES; for the usual purpose if None."""
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if _wanted(question, answers):
            answers[question.key] = purpose if purpose and question.key == "purpose" else question.default(answers)
    return answers


def run(args: argparse.Namespace) -> int:
    path = Path(args.file)
    if path.exists():
        raise KilnctlError(f"{path}: is there already, and is not overwritten; name another file")
    if args.purpose and not args.defaults:
        raise KilnctlError("--purpose goes with --defaults; without it, the second question asks for it")
    answers = default_answers(args.purpose) if args.defaults else _asked()
    text = described(answers)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(path, "x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
    print(f"\nwrote {path}; an editor completes and checks it with `kilnctl schema oven`")
    print(f"\nnext: kilnctl check {typed(path)}")
    return 0


def _asked() -> dict[str, str]:
    """The answers to all questions, from the terminal or a pipe."""
    answers: dict[str, str] = {}
    people = sys.stdin.isatty()
    print("Empty answers take the default in [brackets]. Any unit will do: 3 in, 76 mm, 350 °F, 200 °C, 2.8 kW.\n")
    for question in QUESTIONS:
        if _wanted(question, answers):
            answers[question.key] = _ask(len(answers) + 1, question, answers, people)
    return answers


def _ask(number: int, question: Question, answers: dict, people: bool) -> str:
    default = question.default(answers)
    while True:
        print(f"{number}. {question.ask}  ({question.why})\n   [{default}] ", end="", flush=True)
        line = sys.stdin.readline()
        if line == "":
            raise KilnctlError(
                f"the answers end before question {number} ('{question.ask}'); nothing was written. "
                "An empty line takes the default, --defaults takes them all"
            )
        if not people:
            print(line.strip() or default)
        text = " ".join(line.split()) or default
        problem = question.accept(text) or _judged(question, {**answers, question.key: text})
        if problem is None:
            return text
        if not people:
            raise KilnctlError(f"answer {number} ('{text}'): {problem}; nothing was written")
        print(f"   {problem}")


def _judged(question: Question, answers: dict) -> str | None:
    """What `kilnctl check` would refuse in the oven that these answers describe, with the defaults for the rest."""
    if not question.settles and not (
        question.key == "backing thickness"
        or (answers.get("backing", "").lower() == "none" and question.key == "backing")
    ):
        return None
    if question.key == "insulation":
        bears, hot = find(answers["insulation"]).limit_c, parse(answers["highest"], "temperature")
        shown = Units(IMPERIAL if _american(answers) else METRIC).knowing(hot)
        if hot <= bears:
            return None
        words = f"it bears {bears:.0f} °C, and the chamber is to get to {hot:.0f} °C; choose one that bears more"
        return shown.words(words)
    rest = dict(answers)
    for other in QUESTIONS:
        if other.key not in rest and _wanted(other, rest):
            rest[other.key] = other.default(rest)
    try:
        oven = oven_from(described(rest), "this oven")
        holds_w = size(oven).power_w(oven.limits.highest_c)
        if question.key == "power" and holds_w > parse(answers["power"], "power"):
            return (
                f"only to hold {answers['highest']} takes {holds_w / 1000:.2f} kW, and to get there more; "
                "twice as much is common practice"
            )
    except ValueError as error:
        return f"this oven cannot be sized: {error}"
    except KilnctlError as error:
        return "; ".join(dict.fromkeys(re.sub(r"^this oven:[\d:]* ", "", line) for line in str(error).splitlines()))
    return None
