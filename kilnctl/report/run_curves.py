"""The picture of one run: reference, chamber and part; duty; heat, and the two halves of what was asked for."""

import math

import numpy as np

from ..output import METRIC_UNITS, Units
from ..record.coarse import coarse
from ..record.folder import plain
from ..record.power_columns import fired_share, power_w
from ..record.run_data import RunData
from ..run.summary import Summary, part_of, sample_s, smooth
from .svg import NARROW, WIDTH, Chart, Series, Subplot, svg

#: Events of these kinds are drawn as faint lines, at most so many of them.
_NOTED, _MOST_NOTES = {"request": "", "door": "", "resume": "", "note": ""}, 12


def curves(run: RunData, summary: Summary, units: Units = METRIC_UNITS, *, narrow: bool = False) -> str:
    """The picture as SVG; `narrow` for a phone."""
    run = coarse(run)
    t, d = run.time_s, run.data
    true = np.isfinite(d["true_chamber_c"]).any()
    temperatures = [
        Series(t, units.degrees(d["reference_c"]), "reference", "reference"),
        Series(t, units.degrees(d["true_chamber_c"] if true else d["chamber_c"]), "chamber", "chamber"),
    ]
    part, spread, label = part_of(run)
    if np.isfinite(part).any():
        band = None if spread is None else units.kelvins(spread * 2.0)
        temperatures.append(Series(t, units.degrees(part), label, "part", band))
    shades = tuple((s.arrived_s, s.end_s, s.name) for s in summary.soaks if math.isfinite(s.arrived_s))
    trips = tuple((trip.time_s, trip.fault) for trip in run.trips if math.isfinite(trip.time_s))
    notes = tuple(
        (e.time_s, e.text if len(e.text) < 22 else e.text[:20] + "…") for e in run.events if e.kind in _NOTED
    )[:_MOST_NOTES]
    # The duty of single seconds is a blur in a picture; the elements respond to a minute's mean.
    window = max(1, round(60.0 / sample_s(t)))
    share, measured = fired_share(d)
    duty = smooth(share, window)
    heat, balance, trim = (smooth(values, window) for values in watts(run))
    panels = [
        Subplot(f"temperature, {units.degree}", tuple(temperatures), shades, trips, 2.6, notes=notes),
        Subplot(
            f"duty as {'measured' if measured else 'commanded'}, % (mean of a minute)",
            (Series(t, duty * 100.0, "duty", "power"),),
            shades,
            (),
            0.9,
            0.0,
            100.0,
        ),
    ]
    if np.max(np.abs(balance), initial=0.0) > 0.0:
        panels.append(
            Subplot(
                f"watts (mean of a minute; heat as {'measured' if measured else 'commanded'})",
                (
                    Series(t, heat, "heat", "power"),
                    Series(t, balance, "balance", "other"),
                    Series(t, trim, "trim", "second"),
                ),
                shades,
                (),
                0.9,
            )
        )
    return svg(
        Chart(
            f"{run.oven.name}: {run.schedule.name}",
            tuple(panels),
            height=600 if narrow else 620,
            width=NARROW if narrow else WIDTH,
        )
    )


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
