"""The text of an oven file from the answers to `kilnctl new`: in the units of the answers, with round figures."""

import math
import re
from string import Template

from ..thermal.surfaces import OUTSIDES
from ..units import UnitError, parse


def split_size(text: str) -> list[str]:
    """ "600 x 600 x 800 mm" → three lengths; a unit at the end holds for all numbers without one."""
    parts = [p.strip() for p in text.replace("×", "x").replace("X", "x").replace("*", "x").split("x")]
    last = parts[-1] if parts else ""
    unit = last.lstrip("0123456789. /").strip()
    return [p if any(c.isalpha() or c in '"″' for c in p) else f"{p} {unit}" for p in parts]


#: What proves the air flow (`vent: proof`).
PROOFS = ("flow switch", "differential pressure")
#: Settings without a question, in the units of the answers: metric, American.
_SMALL = {
    "liner": ("1 mm", "20 gauge steel"),
    "terminal_area": ("30 mm²", "0.05 in²"),
    "terminal_length": ("120 mm", "5 in"),
    "gap": ("0.3 mm", "0.01 in"),
    "air_speed": ("1.5 m/s", "300 ft/min"),
    "flow": ("3 m³/h", "2 cfm"),
    "breaker": ("16 A", "20 A"),
    "cable": ("2.5 mm²", "12 AWG"),
    "cable_length": ("10 m", "30 ft"),
    "terminals": ("120 °C", "250 °F"),
    "leads": ("180 °C", "390 °F"),
    "cable_air": ("30 °C", "86 °F"),
    "cabinet_air": ("45 °C", "113 °F"),
    "residual": ("30 mA type A", "30 mA for equipment"),
    "load_mass": ("4 kg", "9 lb"),
    "load_area": ("0.5 m²", "800 in²"),
    "load_thickness": ("3 mm", "1/8 in"),
}
#: Element → (highest temperature in °C, in °F), a little below the alloy's limit (makers' tables, from memory).
_ELEMENT_LIMIT = {
    "sheathed": ("700 °C", "1290 °F"),
    "iron-chromium-aluminium": ("1300 °C", "2370 °F"),
    "nickel-chromium": ("1150 °C", "2100 °F"),
}


def quoted(text: str) -> str:
    """A value in YAML, quoted where a character has a meaning there."""
    return "'" + text.replace("'", "''") + "'" if any(c in text for c in "\"'#:{}[],&*%") else text


def in_inches(a: dict[str, str]) -> bool:
    """Whether the size is in inches or feet."""
    return bool(re.search(r"[\"″'′]|\b(in|inch|inches|ft|foot|feet)\b", a.get("size", "")))


def in_fahrenheit(a: dict[str, str]) -> bool:
    """Whether the highest temperature is in °F."""
    return bool(re.search(r"[F℉]\s*$", a.get("highest", "")))


def limits(highest: str) -> tuple[str, str]:
    """Trip of the software and setting of the independent limiter, round in the scale of the answer: the trip 15 K or
    2 % above, the limiter some 15 K above that."""
    fahrenheit = in_fahrenheit({"highest": highest})
    hot, scale = parse(highest, "temperature"), 1.8 if fahrenheit else 1.0
    shown = hot * 1.8 + 32.0 if fahrenheit else hot
    # Rounded first: 250 °C must not become 250.00000001 by the conversion.
    trip = 5.0 * math.ceil(round(shown + scale * max(15.0, 0.02 * hot), 6) / 5.0)
    limiter = 5.0 * math.ceil(round(trip + scale * 15.0, 6) / 5.0)
    unit = "°F" if fahrenheit else "°C"
    return f"{trip:.0f} {unit}", f"{limiter:.0f} {unit}"


def _elements(a: dict[str, str]) -> str:
    given = a["element size"]
    if given.lower() == "not known":
        surface = "300 in²" if in_inches(a) or in_fahrenheit(a) else "0.2 m²"
        return (
            f"  # surface: {surface}        # of all elements together; or 'wire diameter' and 'wire length'. "
            "A usual one is assumed"
        )
    parts = [p.strip() for p in re.split("[x×]", given)]
    if len(parts) == 1:
        return f"  surface: {quoted(given)}"
    return f"  wire diameter: {quoted(parts[0])}\n  wire length: {quoted(parts[1])}"


def _printed(a: dict[str, str]) -> str:
    """What the seller of the main insulation prints, as more keys of its layer."""
    printed = a.get("printed", "no")
    if printed.lower() == "no":
        return ""
    try:
        parse(printed, "conductivity")
        key = "conductivity"
    except UnitError:
        key = "resistance"
    return f", {key}: {quoted(printed)}, mean temperature: {quoted(a['printed at'])}"


def _vent(a: dict[str, str], usual: str) -> str:
    """The ventilation, or how it would be described."""
    proof, flow = a.get("proof", "nothing").lower(), a.get("flow", "not known")
    missing = f"# vent: {{flow: {usual}, proved: yes, proof: flow switch}}"
    if "vented" not in a:
        return missing
    said = (
        "# Powder gives off flammable vapour: ventilation that a switch proves is a must (SAFETY.md); `kilnctl check`"
    )
    said += "\n# holds its air against the load of a schedule.\n"
    if flow.lower() == "not known":
        return f"{said}{missing}   # with the flow as measured"
    proved = f"yes, proof: {proof}" if proof in PROOFS else "no"
    more = "   # add 'switch opens', the flow below which the switch takes the heat" if proof in PROOFS else ""
    return f"{said}vent: {{flow: {quoted(flow)}, proved: {proved}}}{more}"


def described(a: dict[str, str]) -> str:
    """The whole file."""
    inches, fahrenheit = in_inches(a), in_fahrenheit(a)
    small = {name: values[inches or fahrenheit] for name, values in _SMALL.items()}
    width, depth, height = (quoted(x) for x in split_size(a["size"]))
    main = f"material: {quoted(' '.join(a['insulation'].lower().split()))}, thickness: {quoted(a['thickness'])}"
    layers = [f"    - {{{main}{_printed(a)}}}"]
    if a["backing"].lower() != "none":
        layers.append(
            f"    - {{material: {quoted(a['backing'].lower())}, thickness: {quoted(a['backing thickness'])}}}"
        )
    if parse(a["highest"], "temperature") <= 400.0:
        layers.insert(0, f"    - {{material: steel, thickness: {small['liner']}}}                  # inner liner")
    layers.append(f"    - {{material: steel, thickness: {small['liner']}}}                  # outer shell")
    blow = (f"air speed: {small['air_speed']}", "power: 40 W")
    fan = "\n  ".join(
        [
            "fan:",
            *blow,
            "# watched by: airflow switch     # what opens the coil circuit when it stands; or rotation switch",
        ]
    )
    vent = _vent(a, small["flow"])
    trip, limiter = limits(a["highest"])
    return _FILE.substitute(
        small,
        name=a["name"],
        purpose=a["purpose"].lower(),
        width=width,
        depth=depth,
        height=height,
        opening=a["opening"].lower(),
        layers="\n".join("  " + line for line in layers),
        emissivity=f"{OUTSIDES[a['outside'].lower()]:g}",
        outside=a["outside"].lower(),
        fan=fan if a["fan"].lower() == "yes" else "# fan: {" + ", ".join(blow) + "}",
        vent=vent,
        power=quoted(a["power"]),
        alloy=a["heaters"].lower(),
        element_size=_elements(a),
        element_limit=_ELEMENT_LIMIT[a["heaters"].lower()][fahrenheit],
        voltage=quoted(a["voltage"]),
        frequency=quoted(a["frequency"]),
        highest=quoted(a["highest"]),
        trip=trip,
        limiter=limiter,
    )


_FILE = Template("""# Written by `kilnctl new`. Every quantity carries its unit, in any unit you like. Change what you \
know better, then
#   kilnctl check THIS-FILE     says what is wrong, with line and column
#   kilnctl size THIS-FILE      says how hot, how fast, and where the watts go
oven: $name
about: $purpose

chamber:                     # inside
  width: $width
  depth: $depth
  height: $height
  opening: $opening

walls:                       # layers from the hot face outward; add 'roof', 'floor', 'door' where they differ from \
the sides
  sides:
    outer emissivity: $emissivity    # $outside
    layers:
$layers

# Metal that goes through the insulation carries heat: door frame, bolts, element terminals.
bridges:
  - {name: element terminals, material: stainless steel, area: $terminal_area, length: $terminal_length, count: 4}

door: {gap: $gap, switch: no}     # mean leak all round; 'switch: yes' when a door switch is wired to the controller too
$fan
$vent

elements:
  power: $power              # or 'resistance: 17.6 ohm', measured cold
  alloy: $alloy
$element_size
  limit: $element_limit
  # terminals at: $terminals     # where leads meet elements, after hours of heat
  # leads rated: $leads          # what the insulation of these leads bears

supply:
  voltage: $voltage
  frequency: $frequency
  # What feeds it is judged once it is described: take the # away, and change what differs.
  # breaker: $breaker
  # cable area: $cable
  # cable length: $cable_length
  # cable laid: in insulation     # in conduit, on a wall, in free air
  # cable at: $cable_air
  # circuits together: 1
  # earth area: $cable
  # plug: fixed connection
  # residual: $residual
  # Flicker of lamps is reckoned on the public reference impedance, which bursts of some kW break; `kilnctl size` says
  # what supply this oven needs. Have yours measured where the lights branch off, line and neutral together:
  # resistance: 0.06 ohm
  # reactance: 0.04 ohm

switching:
  pattern: fine              # fine, balanced or quiet lights: bursts ever longer; `kilnctl size` tells the flicker
  # contactor current: 25 A     # AC-1
  # contactor poles: 2
  # feedback: mirror contact     # what tells that the contactor is open
  # coil circuit: 24 V
  # relay current: 40 A
  # heat sink: 1.2 K/W
  # cabinet air: $cabinet_air
  # relay i2t: 1500 A²s
  # fuse i2t: 800 A²s

sensors:                     # thermocouples; 'limit' is a second one, placed apart: worth its price
  control: {type: K}
  limit: {type: K}
  # part: {type: K}

# usual load: {name: steel parts, mass: $load_mass, material: steel, area: $load_area, thickness: $load_thickness}

limits:
  highest: $highest
  trip: $trip               # where the software cuts the heat
  limiter: $limiter            # what the independent hardware limiter is set to; you need one (SAFETY.md)
""")
