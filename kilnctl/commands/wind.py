"""`kilnctl wind [OVEN]`: the wire of heating elements, from power to gauge, length and coil, or the other way round."""

import argparse
import dataclasses
import json
import math
import re
from typing import Any

from ..body import load_oven
from ..errors import KilnctlError
from ..output import IMPERIAL, Units, typed
from ..report.winding_text import Winding, gauge_words, idle_notes, winding_json, winding_text
from ..sizing.winding import (
    Task,
    Wound,
    advised_w_m2,
    chosen,
    diameter_for_length_m,
    diameter_for_load_m,
    gauges_beside,
    task_of,
    wound,
)
from ..thermal.elements import resistance_factor, wire_resistance_ohm
from ..thermal.heating_wire import USUAL_COIL, WIRE_ALLOYS, check_wire, coil_of, gauges, series, widest_coil
from ..units import UnitError, parse
from ._options import chosen as units_chosen

_CONNECTIONS = ("line and neutral", "two lines", "star", "delta")
#: What the trade calls the alloys.
_SHORT = {"fecral": WIRE_ALLOYS[0], "nicr": WIRE_ALLOYS[1], "nicr 80/20": WIRE_ALLOYS[1]}
#: Option → dimension, of what is written with a unit.
_QUANTITIES = {
    "power": "power",
    "voltage": "voltage",
    "chamber": "temperature",
    "wire": "length",
    "length": "length",
    "ohms": "electrical resistance",
    "load": "surface load",
    "coil": "length",
    "grooves": "length",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", nargs="?", help="oven file (YAML); what it says, options may change")
    parser.add_argument("--power", metavar="P", help="of all coils together, hot: '3 kW'")
    parser.add_argument("--voltage", metavar="U", help="of the supply, with three phases between two lines: '230 V'")
    parser.add_argument("--connection", choices=_CONNECTIONS, help="star and delta are three phases")
    parser.add_argument("--groups", type=int, metavar="N", help="coils, all alike (default: as the oven, or 1)")
    parser.add_argument("--series", type=int, metavar="N", help="of these, how many in series (default: 1)")
    parser.add_argument("--alloy", help=f"{' or '.join(WIRE_ALLOYS)} (default: the oven's, else the first)")
    parser.add_argument("--chamber", metavar="T", help="where the oven is at full power: '1100 °C' or '2000 °F'")
    parser.add_argument("--wire", metavar="D", help="the wire in hand: '1.2 mm' or '16 AWG'")
    parser.add_argument("--length", metavar="L", help="of all wire together: '20 m' or '65 ft'")
    parser.add_argument("--ohms", metavar="R", help="instead of the power: one coil, cold: '17.6 ohm'")
    parser.add_argument("--load", metavar="W/A", help="on the wire, if not as advised: '2.5 W/cm²' or '16 W/in²'")
    parser.add_argument("--coil", metavar="D", help="outside diameter of the coil: '9 mm' (default: 6 wires)")
    parser.add_argument("--grooves", metavar="L", help="length of all grooves that the coils fill: '6 m' or '20 ft'")
    parser.add_argument("--json", action="store_true", help="for programs; SI units in the names")


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven) if args.oven else None
    said = {name: _read(args, name) for name in _QUANTITIES}
    units = units_chosen(args, oven)
    if oven is None and args.units is None and any(_american(getattr(args, name)) for name in _QUANTITIES):
        units = dataclasses.replace(units, system=IMPERIAL)
    try:
        winding = _winding(args, oven, said, units)
    except ValueError as error:
        raise KilnctlError(units.words(str(error))) from None
    if args.json:
        print(json.dumps(winding_json(winding), indent=2, ensure_ascii=False))
    else:
        print(winding_text(winding, units))
        print(
            "\nnext: buy it, measure it, write it into the oven's file (elements), and "
            + (f"kilnctl size {typed(args.oven)}" if args.oven else "kilnctl size OVEN")
        )
    return 0


def _read(args: argparse.Namespace, name: str) -> float | None:
    """The option's value in SI, or None where it is not given. Raises KilnctlError for what is no such quantity."""
    text = getattr(args, name)
    if text is None:
        return None
    try:
        value = parse(text, _QUANTITIES[name])
    except UnitError as error:
        raise KilnctlError(f"--{name}: {error}") from None
    if name != "chamber" and not value > 0.0:
        raise KilnctlError(f"--{name}: {text} must be above zero")
    if name == "chamber" and not value >= 0.0:
        raise KilnctlError(f"--chamber: {text} is no temperature of an oven at full power; at least 0 °C")
    return value


def _american(text: str | None) -> bool:
    """Whether a quantity is written in American units."""
    return text is not None and re.search(r"[F℉\"″'′]|in|f(oo|ee)?t|AWG", text) is not None


def _winding(args: argparse.Namespace, oven, said: dict[str, float | None], units: Units) -> Winding:
    """What is asked. Raises ValueError and KilnctlError."""
    task, wire, total = _task(args, oven, said)
    load, ohms, notes = said["load"], said["ohms"], []
    wire_m = None if total is None else total / task.coils
    if wire is not None:
        name, made = _hand(args, oven, units), _of_wire(task, wire, wire_m, ohms)
    elif wire_m is not None:
        check_wire(task.alloy, diameter_for_length_m(task, wire_m))
        gauge = _nearest(diameter_for_length_m(task, wire_m), units.imperial)
        name, made = gauge_words(gauge), wound(task, gauge.diameter_m, wire_m)
        exact = 1e3 * diameter_for_length_m(task, wire_m)
        notes.append(f"for {task.power_w / 1000.0:.2f} kW the wire would be {exact:.3f} mm; the nearest gauge is taken")
    else:
        gauge, made = chosen(task, units.imperial, load)
        name = gauge_words(gauge)
        made = made if ohms is None else _of_wire(task, gauge.diameter_m, None, ohms)
    if wire_m is None and ohms is None:
        notes += idle_notes(task, made, units.imperial, load)
    usual = min(USUAL_COIL, widest_coil(task.alloy, made.wire_c))
    outside = said["coil"] or usual * made.diameter_m
    laid = None if said["grooves"] is None else said["grooves"] / task.coils
    wanted = load or advised_w_m2(task)
    ideal = diameter_for_load_m(task, wanted)
    check_wire(task.alloy, ideal)
    beside = tuple((g, wound(task, g.diameter_m)) for g in gauges_beside(task, made.diameter_m, units.imperial, load))
    coil = coil_of(made.diameter_m, made.wire_m, outside, laid)
    return Winding(task, name, made, coil, wanted, ideal, wound(task, ideal).wire_m, beside, tuple(notes))


def _hand(args: argparse.Namespace, oven, units: Units) -> str:
    """The name of the wire in hand: as it was written, or the file's diameter."""
    diameter_m = parse(args.wire, "length") if args.wire else oven.elements.wire_diameter_m
    same = [g for g in gauges() if math.isclose(g.diameter_m, diameter_m, rel_tol=1e-3)]
    return gauge_words(same[0]) if same else (args.wire or units.length(diameter_m, 4 if units.imperial else 2))


def _of_wire(task: Task, diameter_m: float, wire_m: float | None, ohms: float | None) -> Wound:
    """That wire, as long as is said, else as its resistance, else as the power wants."""
    if wire_m is None and ohms is not None:
        wire_m = ohms / wire_resistance_ohm(task.alloy, diameter_m, 1.0)
    return wound(task, diameter_m, wire_m)


def _nearest(diameter_m: float, american: bool):
    return min(series(american), key=lambda g: abs(math.log(g.diameter_m / diameter_m)))


def _task(args: argparse.Namespace, oven, said: dict[str, float | None]) -> tuple[Task, float | None, float | None]:
    """The task, the wire in hand and its whole length (each None if not known). Raises KilnctlError for what is
    missing or said twice."""
    given = {
        "alloy": _SHORT.get((args.alloy or "").lower(), args.alloy),
        "power_w": said["power"],
        "volts": said["voltage"],
        "chamber_c": said["chamber"],
        "connection": args.connection,
        "coils": args.groups,
        "series": args.series,
    }
    changes: dict[str, Any] = {name: value for name, value in given.items() if value is not None}
    if oven is not None and changes.get("alloy", oven.elements.alloy) != oven.elements.alloy:
        changes["limit_c"] = None  # the file's limit is that of its own elements
    for name in ("coils", "series"):
        if name in changes and not 1 <= changes[name] <= 60:
            raise KilnctlError(f"--{'groups' if name == 'coils' else name}: from 1 to 60")
    if said["ohms"] is not None and (said["power"] is not None or (said["length"] is not None and said["wire"])):
        raise KilnctlError("--ohms says the power already, and with --wire the length: give one of them")
    asked = {name for name in ("wire", "length", "ohms", "power") if said[name] is not None}
    wire, length = said["wire"], said["length"]
    if oven is not None and not asked:
        wire, length = oven.elements.wire_diameter_m, oven.elements.wire_length_m
        if not wire or changes.get("alloy", oven.elements.alloy) != oven.elements.alloy or (length and changes):
            wire = length = None
    if oven is None:
        missing = [f"--{name}" for name in ("voltage", "chamber") if said[name] is None]
        if missing:
            raise KilnctlError(f"without an oven's file say {' and '.join(missing)} (kilnctl wind --help)")
        changes = {"alloy": WIRE_ALLOYS[0]} | changes
    if "power_w" not in changes and (said["ohms"] is not None or (wire and length)):
        if said["ohms"] is not None or asked:
            changes["power_w"] = _power(oven, changes, said["ohms"], wire, length)
    elif oven is None and "power_w" not in changes:
        raise KilnctlError("say --power, or --ohms, or the wire in hand with --wire and --length")
    return task_of(oven, **changes) if oven is not None else Task(**changes), wire, length


def _power(oven, changes: dict, ohms: float | None, wire: float | None, length: float | None) -> float:
    """Power of coils of that resistance, or from that wire, W."""
    trial = {**changes, "power_w": 1000.0}
    task = task_of(oven, **trial) if oven is not None else Task(**trial)
    if ohms is None:
        check_wire(task.alloy, wire or 0.0)
        ohms = wire_resistance_ohm(task.alloy, wire or 0.0, (length or 0.0) / task.coils)
    return task.coils * task.coil_v**2 / (ohms * resistance_factor(task.alloy, task.chamber_c))
