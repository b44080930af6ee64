"""The picture of one run: reference, chamber and part; duty; heat, and the two halves of what was asked for."""

import math

import numpy as np

from ..output import METRIC_UNITS, Units
from ..record.coarse import coarse
from ..record.folder import plain
from ..record.power_columns import fired_share, power_w
from ..record.run_data import RunData
from ..run.summary import Summary, part_of, sample_s, smooth
from ..terms import Phase
from .svg import NARROW, WIDTH, Chart, Flag, Series, Subplot, svg

#: Kind of an event → kind of its flag; at most so many flags besides trips and steps.
_FLAGGED, _MOST_FLAGS = {"door": "door", "request": "hold", "resumed": "note", "note": "note"}, 12
#: A virtual oven's own chamber is drawn too where its sensor reads so much off, as a mean of a minute, K.
OFF_K = 8.0
#: What a phase is called below the curve.
_PHASES: dict[str, str] = {Phase.HEAT_UP: "heat up", Phase.RAMP: "ramp", Phase.SOAK: "soak", Phase.COOLING: "cool"}


def curves(run: RunData, summary: Summary, units: Units = METRIC_UNITS, *, narrow: bool = False) -> str:
    """The picture as SVG; `narrow` for a phone."""
    run = coarse(run)
    t, d = run.time_s, run.data
    # The duty of single seconds is a blur in a picture; the elements respond to a minute's mean.
    window = max(1, round(60.0 / sample_s(t)))
    share, measured = fired_share(d)
    duty = smooth(share, window)
    heat, balance, trim = (smooth(values, window) for values in watts(run))
    how = "measured" if measured else "commanded"
    spans = phases(run)
    panels = [
        Subplot(
            "temperature",
            _temperatures(run, units, window),
            flags=_flags(run),
            share=2.6,
            bands=_bands(run, summary, units),
            phases=tuple((a, b, _PHASES[phase]) for a, b, phase, _ in spans if phase in _PHASES),
            unit=units.degree,
        ),
        Subplot(
            f"duty as {how} (mean of a minute)",
            (Series(t, duty * 100.0, "duty", "power"),),
            share=0.9,
            low=0.0,
            high=100.0,
            unit="%",
        ),
    ]
    if np.max(np.abs(balance), initial=0.0) > 0.0:
        lines = (("heat", heat, "power"), ("balance", balance, "other"), ("trim", trim, "second"))
        series = tuple(Series(t, values, label, style) for label, values, style in lines)
        panels.append(Subplot(f"power (mean of a minute; heat as {how})", series, share=0.9, unit="W"))
    title, height = f"{run.oven.name}: {run.schedule.name}", 600 if narrow else 620
    return svg(Chart(title, tuple(panels), height=height, width=NARROW if narrow else WIDTH))


def _temperatures(run: RunData, units: Units, window: int) -> tuple[Series, ...]:
    """What should be, what was measured, true to its noise, and the part; a virtual oven's own chamber where its sensor
    is far off, or where there is no reading at all."""
    t, d = run.time_s, run.data
    reads, true = d["chamber_c"], d["true_chamber_c"]
    found = [Series(t, units.degrees(d["reference_c"]), "should be", "reference")]
    if np.isfinite(true).any():
        apart = smooth(np.abs(np.nan_to_num(true - reads, nan=OFF_K + 1.0)), window)
        if np.max(apart, initial=0.0) > OFF_K:
            found.append(Series(t, units.degrees(true), "chamber itself", "plain"))
    found.append(Series(t, units.degrees(reads), "chamber", "chamber"))
    part, spread, label = part_of(run)
    if np.isfinite(part).any():
        band = None if spread is None else units.kelvins(spread * 2.0)
        found.append(Series(t, units.degrees(part), label, "part", band))
    return tuple(found)


def phases(run: RunData) -> list[tuple[float, float, str, str]]:
    """(begin, end, phase, name of the step) of the run, times in s, from its events of kind step."""
    steps = [(e.time_s, *e.text.partition(": ")[::2]) for e in run.events if e.kind == "step"]
    end_s = float(run.time_s[-1]) if len(run.time_s) else 0.0
    ends = [*(time_s for time_s, _, _ in steps), end_s][1:]
    return [(a, b, phase, name) for (a, phase, name), b in zip(steps, ends, strict=True) if b > a]


def _bands(run: RunData, summary: Summary, units: Units) -> tuple[tuple[float, float, float, float], ...]:
    """The box of each soak that was reached: its time, and the band in which that counted."""
    within = {step.name: step.within_k for step in run.schedule.steps}
    found = []
    for soak in summary.soaks:
        if math.isfinite(soak.arrived_s):
            k = within.get(soak.name, 3.0)
            low, high = (float(units.degrees(np.array([soak.target_c + x]))[0]) for x in (-k, k))
            found.append((soak.arrived_s, soak.end_s, low, high))
    return tuple(found)


def _flags(run: RunData) -> tuple[Flag, ...]:
    trips = [Flag(trip.time_s, "heat cut", "trip") for trip in run.trips if math.isfinite(trip.time_s)]
    steps = [Flag(a, name, "step") for a, _, phase, name in phases(run) if phase in _PHASES]
    others = [
        Flag(e.time_s, _short(e.text), "supply" if "supply" in e.text else _FLAGGED[e.kind])
        for e in run.events
        if e.kind in _FLAGGED
    ]
    return (*trips, *steps, *others[:_MOST_FLAGS])


def _short(text: str) -> str:
    first = text.split(",")[0]
    return first if len(first) < 22 else first[:20] + "…"


def watts(run: RunData) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Electric power, and the two halves of what was asked for, W. While the gate lets nothing pass (a purge, a trip)
    both are zero. Feedforward is limited to what the elements can give; the trim changes by the same amount, so that
    their sum stays the same."""
    d = run.data
    heat = np.nan_to_num(power_w(d, run.oven, plain(run.model)))
    demand, balance = np.nan_to_num(d["demand_w"]), np.nan_to_num(d["feedforward_w"])
    elements = run.oven.elements
    full = max(
        elements.rated_w if elements else 0.0, float(np.max(heat, initial=0.0)), float(np.max(demand, initial=0.0))
    )
    known = np.isfinite(d["demand_w"])
    trim = np.where(known, demand - np.minimum(balance, full), np.nan_to_num(d["trim_w"]))
    withheld = (d["duty"] == 0.0) & (demand > 0.0)
    return heat, np.where(withheld, 0.0, np.minimum(balance, full)), np.where(withheld, 0.0, trim)
