"""Elements to wind, as people read them: what to buy, what to measure, how to wind it, and the gauges next to it."""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from ..output import Units
from ..sizing.winding import IDLE_LOAD, Task, Wound, advised_w_m2, shortest_in_series, wound
from ..sizing.winding_findings import coil_findings, connected, wire_findings
from ..terms import Finding, Mark
from ..thermal.elements import wire_resistance_ohm
from ..thermal.heating_wire import WIRE_TOLERANCE, Coil, Gauge
from ..units import UNITS
from .findings_text import findings_lines

_FOOT = UNITS["ft"][0]
_SHORT = {Mark.FINE: "fine", Mark.TIGHT: "tight", Mark.WRONG: "wrong"}


@dataclass(frozen=True)
class Winding:
    """What `kilnctl wind` found: the task, the gauge by its name, what is wound, its coil, the surface load that
    is wanted, the ideal diameter and length of wire in each coil (m), and the gauges next to it, each with what it
    makes."""

    task: Task
    name: str
    made: Wound
    coil: Coil
    wanted_w_m2: float
    ideal_m: float
    ideal_wire_m: float
    beside: tuple[tuple[Gauge, Wound], ...]
    said: tuple[str, ...] = ()

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All verdicts."""
        return (*wire_findings(self.task, self.made), *coil_findings(self.task, self.made, self.coil))


def winding_text(winding: Winding, u: Units) -> str:
    """The whole report for a terminal."""
    t, w, c = winding.task, winding.made, winding.coil
    each = " in each coil" if t.coils > 1 else ""
    whole = f"; {w.wire_m * t.coils:.1f} m and" if t.coils > 1 else ","
    amps = w.power_w / t.coils / t.coil_v
    low, high = w.cold_ohm * (1.0 - WIRE_TOLERANCE), w.cold_ohm * (1.0 + WIRE_TOLERANCE)
    per_m = wire_resistance_ohm(t.alloy, w.diameter_m, 1.0)
    metre = f"{per_m * _FOOT:.3g} ohm/ft" if u.imperial else f"{per_m:.3g} ohm/m"
    less, more = (w.power_w / 1000.0 / (1.0 + s * WIRE_TOLERANCE) for s in (1.0, -1.0))
    one = " of one coil" if t.coils > 1 else ""
    lines = [
        f"{t.power_w / 1000.0:.2f} kW from {t.alloy} wire, {connected(t)}, for a chamber of {t.chamber_c:.0f} °C",
        "",
        f"wire                {winding.name}, {w.wire_m:.2f} m{each}{whole} {w.mass_kg:.3g} kg in all",
        f"cold, to measure    {w.cold_ohm:.2f} ohm{one} ({low:.2f} to {high:.2f} ohm with usual wire; {metre})",
        f"hot                 {w.hot_ohm:.2f} ohm{one}: {amps:.1f} A through it",
        f"makes               {w.power_w / 1000.0:.2f} kW in all ({less:.2f} to {more:.2f} kW with usual wire)",
        f"on the wire         {w.load_w_m2 / 1e4:.2f} W/cm²; {advised_w_m2(t) / 1e4:.2f} W/cm² is advised",
        f"its temperature     {w.wire_c:.0f} °C at full power; such wire bears {w.bears_c:.0f} °C",
        *_coil(c, t.coils > 1),
    ]
    return "\n".join(
        [
            *(u.words(line) for line in lines),
            "",
            *findings_lines(winding.findings, u),
            "",
            *_table(winding, u),
            "",
            "to note:",
            *(f"  {u.words(note)}" for note in (*winding.said, *_notes(winding))),
        ]
    )


def _coil(c: Coil, several: bool) -> list[str]:
    """The coil, as it is wound and as it is laid."""
    wide, rod = f"{1e3 * c.outside_m:.1f} mm outside", f"{1e3 * c.mandrel_m:.1f} mm"
    turns = f"{c.turns:.0f} turns{' each' if several else ''}"
    laid = f"from {1e3 * c.closed_m:.0f} mm closed to {1e3 * c.stretched_m:.0f} mm, {c.stretch:.2f} times"
    return [
        f"coil                {wide}, wound on a rod of {rod} (it springs open a little); {turns}",
        f"stretch             {laid}; then {1e3 * c.stretched_outside_m:.1f} mm outside",
    ]


def _table(winding: Winding, u: Units) -> list[str]:
    """The gauges next to the ideal one, each cut for the power, and its power if it were as long as the ideal."""
    t = winding.task
    each = " in each coil" if t.coils > 1 else ""
    ideal = f"{u.length(winding.ideal_m, 4 if u.imperial else 3)}, {u.words(f'{winding.ideal_wire_m:.2f} m')}{each}"
    lines = [
        u.words(f"{ideal} would carry just {winding.wanted_w_m2 / 1e4:.2f} W/cm². What shops sell, cut for the power"),
        "('so long': its power when left at that length; *: the wire of the figures above):",
        (
            f"  {'gauge':<20}{'length':>10}{'cold':>12}{'load':>13}{'glows at':>10}{'bears':>9}{'weight':>10}"
            f"{'':>8}  so long"
        ),
    ]
    for gauge, w in winding.beside:
        same = wound(t, gauge.diameter_m, winding.ideal_wire_m)
        worst = max((f.mark for f in wire_findings(t, w)), key=list(_SHORT).index)
        mark = "*" if winding.name.startswith(gauge.name) else " "
        long, load = u.words(f"{w.wire_m:.2f} m"), u.words(f"{w.load_w_m2 / 1e4:.2f} W/cm²")
        glows, bears, weight = u.temperature(w.wire_c), u.temperature(w.bears_c), u.words(f"{w.mass_kg:.3f} kg")
        lines.append(
            f"{mark} {_gauge(gauge, u):<20}{long:>10}{w.cold_ohm:>8.2f} ohm{load:>13}{glows:>10}{bears:>9}{weight:>10}"
            f"{_SHORT[worst]:>8}  {same.power_w / 1000.0:.2f} kW"
        )
    return lines


def _gauge(gauge: Gauge, u: Units) -> str:
    """A gauge's name, with its diameter in the reader's unit where the name has another."""
    other = gauge.american or u.imperial
    return f"{gauge.name} ({u.length(gauge.diameter_m, 4 if u.imperial else 2)})" if other else gauge.name


def gauge_words(gauge: Gauge) -> str:
    """A gauge's name, an American one with its diameter, for a sentence that `Units.words` converts."""
    return f"{gauge.name} ({1e3 * gauge.diameter_m:.2f} mm)" if gauge.american else gauge.name


def idle_notes(task: Task, made: Wound, american: bool, load_w_m2: float | None) -> list[str]:
    """What takes less wire, where a wire as long as the power wants carries much less than it may: thinner wire, or,
    where that does not bear the chamber, less voltage over each coil."""
    wanted = load_w_m2 or advised_w_m2(task)
    if made.load_w_m2 >= IDLE_LOAD * wanted:
        return []
    why = (
        f"much wire: it carries {made.load_w_m2 / 1e4:.2f} W/cm² of {wanted / 1e4:.2f} W/cm². Thinner wire is shorter, "
        "if it bears the chamber (see above), and so is wire with less voltage over each coil: in series, or in star "
        "instead of delta"
    )
    best = shortest_in_series(task, american, load_w_m2)
    if best is None or best[0] == task.series:
        return [why]
    series, gauge, w = best
    return [f"{why}; with --series {series} it is {gauge_words(gauge)}, {w.wire_m * task.coils:.1f} m in all"]


def _notes(winding: Winding) -> Sequence[str]:
    t, w = winding.task, winding.made
    tails = (
        "tails come on top: as long as the wall is thick and a hand more at each end, twisted double so that they stay "
        "cool; measure the cold resistance without them, then cut"
    )
    laid = (
        "stretch cold, evenly, from both ends, and measure the resistance again: a coil that lost wire makes more "
        "power than it bears"
    )
    notes = [tails, laid]
    if t.alloy == "iron-chromium-aluminium":
        notes.append(
            "iron-chromium-aluminium is brittle after its first heat: form it before, never bend it cold again; heat "
            "it once to 1050 °C in air for some hours, so that it grows its skin of alumina (common practice)"
        )
    else:
        notes.append("nickel-chromium stays tough, scales sooner, and bears no sulphur; keep it below its limit")
    if w.power_w / t.coils / t.coil_v > 40.0:
        notes.append("more than 40 A in one coil: terminals and relay become hard to buy; take coils in series")
    return [*notes, "makers' sheets differ by some per cent: the sheet of the wire that you buy beats these figures"]


def winding_json(winding: Winding) -> dict:
    """The same for programs; SI units in the names."""
    return {
        "task": dataclasses.asdict(winding.task),
        "gauge": winding.name,
        "wound": dataclasses.asdict(winding.made),
        "advised_w_m2": advised_w_m2(winding.task),
        "coil": dataclasses.asdict(winding.coil) | {"stretch": winding.coil.stretch},
        "ideal_diameter_m": winding.ideal_m,
        "ideal_wire_m": winding.ideal_wire_m,
        "gauges": [{"name": g.name, **dataclasses.asdict(w)} for g, w in winding.beside],
        "findings": [dataclasses.asdict(f) for f in winding.findings],
    }
