"""Verdicts on wound elements: power, load and temperature of the wire, shape of the coil."""

from collections.abc import Iterator

from ..terms import Finding, Mark
from ..thermal.heating_wire import LEAST_STRETCH, MOST_STRETCH, TIGHTEST, WIRE_TOLERANCE, Coil, widest_coil
from .circuit import THREE_PHASE
from .winding import TIGHT_LOAD, WRONG_LOAD, Task, Wound, advised_w_m2

_TABLES = "makers' tables, from memory"
#: Differences between the power of a wire and the power described that are the wire's own, and too much.
_USUAL_MISS, _MOST_MISS = 1.1 * WIRE_TOLERANCE, 0.1


def wire_findings(task: Task, w: Wound) -> Iterator[Finding]:
    """What is to be said of the wire, wherever it lies."""
    miss = w.power_w / task.power_w - 1.0
    if abs(miss) > _USUAL_MISS:
        mark = Mark.TIGHT if abs(miss) <= _MOST_MISS else Mark.WRONG
        yield Finding(
            "power",
            mark,
            f"this wire makes {w.power_w / 1000.0:.2f} kW, {connected(task)}, not {task.power_w / 1000.0:.2f} kW; "
            "check wire, length, and what hangs in series",
            "Ohm",
        )
    advised = advised_w_m2(task)
    share = w.load_w_m2 / advised
    mark = Mark.FINE if share <= TIGHT_LOAD else Mark.TIGHT if share <= WRONG_LOAD else Mark.WRONG
    yield Finding(
        "surface load",
        mark,
        f"{w.load_w_m2 / 1e4:.2f} W/cm² on the wire itself; {advised / 1e4:.2f} W/cm² is advised in a chamber of "
        f"{task.chamber_c:.0f} °C for a long life",
        _TABLES,
    )
    mark = Mark.FINE if w.high_c <= w.bears_c else Mark.TIGHT if w.wire_c <= w.bears_c else Mark.WRONG
    yield Finding(
        "wire's temperature",
        mark,
        f"at full power in a chamber of {task.chamber_c:.0f} °C it glows at about {w.wire_c:.0f} °C, with "
        f"{100.0 * task.tolerance:.0f} % more voltage at {w.high_c:.0f} °C; it bears {w.bears_c:.0f} °C for long",
        _TABLES,
    )


def coil_findings(task: Task, w: Wound, coil: Coil) -> Iterator[Finding]:
    """What is to be said of the coil's shape."""
    ratio, widest = coil.outside_m / w.diameter_m, widest_coil(task.alloy, w.wire_c)
    mark = Mark.FINE if TIGHTEST <= ratio <= widest + 1e-9 else Mark.WRONG if ratio < 0.8 * TIGHTEST else Mark.TIGHT
    yield Finding(
        "coil",
        mark,
        f"{ratio:.1f} wire diameters outside; {TIGHTEST:.1f} to {widest:.1f} are usual at {w.wire_c:.0f} °C: tighter "
        "cracks the wire, wider collapses when hot",
        _TABLES,
    )
    if coil.stretch < 1.2:
        mark = Mark.WRONG
    else:
        mark = Mark.FINE if LEAST_STRETCH - 1e-9 <= coil.stretch <= MOST_STRETCH + 1e-9 else Mark.TIGHT
    yield Finding(
        "stretch",
        mark,
        f"{coil.stretch:.1f} times the closed coil; {LEAST_STRETCH:g} to {MOST_STRETCH:g} are usual: closer turns heat "
        "each other, and touch when they grow; wider ones sag",
        _TABLES,
    )


def connected(task: Task) -> str:
    """How the coils hang on the supply, in words."""
    where = f"on {task.volts:.0f} V"
    if task.connection in THREE_PHASE:
        where += f" three-phase, {task.connection}"
    if task.coils == 1:
        return f"one coil {where}"
    branches = task.coils // task.series
    if task.series == 1:
        return f"{task.coils} coils, each for itself, {where}"
    if branches == 1:
        return f"{task.coils} coils in series {where}"
    return f"{branches} branches of {task.series} coils in series {where}"
