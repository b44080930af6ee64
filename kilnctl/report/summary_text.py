"""The summary of a run in words, for the terminal, alone or next to another run's."""

import math

from ..output import METRIC_UNITS, Units, clock
from ..plants.moisture import Drying
from ..run.summary import SETTLED_K, Summary
from ..terms import Outcome
from ..thermal.psychrometrics import dew_point_c
from .verdict import percent


def of_soak(s: Summary, kelvin: float, units: Units = METRIC_UNITS) -> str:
    """A figure such as the overshoot: nothing can be said of it where no soak was ever reached."""
    there = not s.soaks or any(math.isfinite(soak.arrived_s) for soak in s.soaks)
    return units.difference(kelvin) if there else "–"


def summary_text(s: Summary, units: Units = METRIC_UNITS) -> str:
    """The summary for a terminal."""
    lines = [f"{'soak':<28} {'at':>9} {'reached':>15} {'settled':>15} {'until':>15} {'worst':>9} {'rms':>8}"]
    for soak in s.soaks:
        lines.append(
            f"{soak.name[:28]:<28} {units.temperature(soak.target_c):>9} {clock(soak.arrived_s):>15} "
            f"{clock(soak.settled_s):>15} "
            f"{clock(soak.end_s):>15} {units.difference(soak.worst_k):>9} {units.difference(soak.rms_k):>8}"
        )
    if not s.soaks:
        lines = ["no soak in this schedule"]
    lines += [
        "",
        f"overshoot            {of_soak(s, s.overshoot_k, units)}",
        f"energy               {s.energy_kwh:.2f} kWh in {clock(s.duration_s)}"
        + (f" (by {s.power_by})" if s.power_by else ""),
        f"highest chamber      {units.temperature(s.highest_chamber_c, 1)}",
        f"highest part         {units.temperature(s.highest_part_c, 1)}",
    ]
    if s.cure_share is not None:
        least = "" if s.cure_most is None else "at least "
        by = f", by the {s.part_by}" if s.part_by else ""
        most = "" if s.cure_most is None else f" (at most {percent(s.cure_most)}{by})"
        lines.append(f"cure                 {least}{percent(s.cure_share)} of the reference cure{most}")
    lines.append(f"trips                {', '.join(f'{fault} at {clock(at)}' for at, fault in s.trips) or 'none'}")
    lines.append(f"judged by            {s.measured_on}")
    return "\n".join([*lines, *waited_words(s)])


def waited_words(s: Summary) -> list[str]:
    """Why soaks of a part without a thermocouple took so long, a sentence each."""
    return [
        f"{clock(asked_s)} were asked of '{name}', and the part as described was in its band for {clock(there_s)}: "
        "without a thermocouple on it a soak counts what is certain of every load that the description allows. Weigh "
        "and measure yours and say so (known within), or put a thermocouple on it (sensors: part)"
        for name, asked_s, there_s in s.waited
    ]


def drying_words(d: Drying) -> str:
    """How a wet load has dried on the virtual oven, as one line of the summary."""
    words = f"drying               {d.water_kg:.3g} kg of water "
    words += f"gone after {clock(d.dry_s)}" if d.dry_s is not None else f"of which {d.left_kg:.3g} kg are left"
    if d.half_c is None or d.half_share is None:
        return words
    return (
        f"{words}; half of it gone, the part is at {d.half_c:.0f} °C, the dew point of the chamber's air is "
        f"{dew_point_c(d.half_share):.0f} °C"
    )


def summaries_compared(ours: Summary, other: Summary, name: str, units: Units = METRIC_UNITS) -> str:
    """Two runs on the same oven, side by side."""

    def settled(s: Summary) -> str:
        if not s.soaks:
            return "–"
        return clock(s.soaks[0].settled_s) if math.isfinite(s.soaks[0].settled_s) else "never"

    def worst(s: Summary) -> str:
        values = [abs(soak.worst_k) for soak in s.soaks if math.isfinite(soak.worst_k)]
        return units.difference(max(values)) if values else "–"

    def ended(s: Summary) -> str:
        return clock(s.duration_s) + ("" if s.outcome == Outcome.FINISHED else f", {s.outcome}")

    def cure(s: Summary) -> str:
        return percent(s.cure_share) if s.cure_share is not None else "–"

    band = f"±{units.plain_difference(SETTLED_K)}"
    rows = [
        ("", "kilnctl", name),
        (f"first soak within {band} after", settled(ours), settled(other)),
        ("worst deviation in a soak", worst(ours), worst(other)),
        ("overshoot", of_soak(ours, ours.overshoot_k, units), of_soak(other, other.overshoot_k, units)),
        ("swing during the soak", of_soak(ours, ours.swing_k, units), of_soak(other, other.swing_k, units)),
        ("the run ends after", ended(ours), ended(other)),
        ("energy", f"{ours.energy_kwh:.2f} kWh", f"{other.energy_kwh:.2f} kWh"),
        ("highest part", units.temperature(ours.highest_part_c, 1), units.temperature(other.highest_part_c, 1)),
    ]
    if ours.cure_share is not None:
        rows.append(("of the reference cure", cure(ours), cure(other)))
    return "\n".join(f"{a:<32} {b:>15} {c:>22}" for a, b, c in rows)
