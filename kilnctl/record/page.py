"""Pictures and the page of one run: curves, soaks, figures. Self-contained, no scripts, prints well."""

import math
from html import escape

import numpy as np

from .plot import Chart, Panel, Series, svg
from .summary import Summary, clock, degrees, kelvins

_STYLE = """
:root { color-scheme: light; } body { margin: 0 auto; max-width: 62rem; padding: 1.2rem; font: 16px/1.45 system-ui, sans-serif; color: #1d2433; }
h1 { font-size: 1.45rem; margin: 0 0 .2rem; } h2 { font-size: 1.05rem; margin: 1.6rem 0 .4rem; } p { margin: .3rem 0; }
.faint { color: #5b6475; } .trip { border-left: 6px solid #a3122a; padding: .5rem .8rem; background: #fbf0f1; margin: .6rem 0; }
.scroll { overflow-x: auto; } table { border-collapse: collapse; font-variant-numeric: tabular-nums; } svg { width: 100%; height: auto; min-width: 34rem; }
th, td { padding: .25rem .9rem .25rem 0; text-align: right; white-space: nowrap; border-bottom: 1px solid #dfe3ea; } th:first-child, td:first-child { text-align: left; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .2rem 1.2rem; margin: 0; } dt { color: #5b6475; } dd { margin: 0; overflow-wrap: anywhere; }
@media print { body { font-size: 11px; padding: 0; } h2 { break-after: avoid; } svg { min-width: 0; } }
"""


def curves(run, summary: Summary, unit: str = "C") -> str:
    """Reference, chamber, part and power of a run as SVG."""
    t, d = run.time_s, run.data

    def scale(values):
        return values if unit == "C" else values * 1.8 + 32.0

    true = np.isfinite(d["true_chamber_c"]).any()
    temperatures = [Series(t, scale(d["reference_c"]), "reference", "reference"),
                    Series(t, scale(d["true_chamber_c"] if true else d["chamber_c"]), "chamber", "chamber")]  # fmt: skip
    if np.isfinite(d["true_part_c"]).any():
        temperatures.append(Series(t, scale(d["true_part_c"]), "part", "part"))
    elif np.isfinite(d["part_c"]).any():
        temperatures.append(Series(t, scale(d["part_c"]), "part, measured", "part"))
    elif np.isfinite(d["part_estimate_c"]).any():
        band = d["part_sd_k"] * 2.0 * (1.0 if unit == "C" else 1.8)
        temperatures.append(Series(t, scale(d["part_estimate_c"]), "part, estimate", "part", band))
    shades = tuple((s.arrived_s, s.end_s, s.name) for s in summary.soaks if math.isfinite(s.arrived_s))
    marks = tuple((trip.time_s, trip.fault) for trip in run.trips)
    dt = float(np.median(np.diff(t))) if len(t) > 1 else 1.0
    # The duty of single seconds is a blur; a minute's mean is what the elements feel.
    window = max(1, round(60.0 / dt))
    from .summary import smooth

    duty = smooth(np.nan_to_num(d["fired"]), window) * 100.0
    losses = smooth(d["feedforward_w"], window)
    panels = [
        Panel("temperature, °" + unit, tuple(temperatures), shades, marks, 2.6),
        Panel("duty, % (mean of a minute)", (Series(t, duty, "duty", "power"),), shades, (), 0.9, 0.0, 100.0),
    ]
    if np.nanmax(np.abs(losses), initial=0.0) > 0.0:
        panels.append(Panel("watts (mean of a minute)", (Series(t, losses, "balance", "other"),
                                                         Series(t, smooth(d["trim_w"], window), "trim", "second")), shades, (), 0.9))  # fmt: skip
    return svg(Chart(f"{run.oven.name}: {run.schedule.name}", tuple(panels), height=620))


def page(run, summary: Summary, unit: str = "C", extra: str = "") -> str:
    """The whole page as HTML text."""
    rows = "".join(
        f"<tr><td>{escape(s.name)}</td><td>{degrees(s.target_c, unit)}</td><td>{clock(s.arrived_s)}</td><td>{clock(s.settled_s)}</td>"
        f"<td>{clock(s.end_s)}</td><td>{kelvins(s.worst_k, unit)}</td><td>{kelvins(s.rms_k, unit)}</td></tr>" for s in summary.soaks
    )  # fmt: skip
    trips = "".join(f'<div class="trip" role="alert"><strong>Trip at {clock(t.time_s)}: {escape(t.fault)}.</strong> {escape(t.seen)}. '
                    f"{escape(t.done)} With the power off, check: {escape(t.check)}.</div>" for t in run.trips)  # fmt: skip
    facts = [("outcome", summary.outcome), ("duration", clock(summary.duration_s)), ("energy", f"{summary.energy_kwh:.2f} kWh"),
             ("overshoot", kelvins(summary.overshoot_k, unit)), ("highest chamber", degrees(summary.highest_chamber_c, unit, 1)),
             ("highest part", degrees(summary.highest_part_c, unit, 1)), ("judged by", summary.measured_on),
             ("controller", run.controller), ("seed of the virtual oven", str(run.seed)),
             ("oven file", f"{run.oven.file} (sha256 {run.oven.sha256[:16]}…)"), ("schedule file", f"{run.schedule.file} (sha256 {run.schedule.sha256[:16]}…)")]  # fmt: skip
    if summary.cure_share is not None:
        facts.insert(6, ("cure", f"{100 * summary.cure_share:.0f} % of the reference cure"))
    listed = "".join(f"<dt>{escape(a)}</dt><dd>{escape(b)}</dd>" for a, b in facts)
    events = "".join(f"<tr><td>{clock(e.time_s)}</td><td style='text-align:left'>{escape(e.text)}</td></tr>" for e in run.events)
    title = escape(f"{run.schedule.name} · {run.oven.name}")
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>{title}</title><style>{_STYLE}</style></head><body>
<h1>{title}</h1><p class="faint">{escape(run.schedule.about or "")}</p>{trips}
<div class="scroll">{curves(run, summary, unit)}</div>
<h2>Soaks</h2><div class="scroll"><table><thead><tr><th>soak</th><th>target</th><th>reached</th><th>settled (±1 K)</th><th>until</th><th>worst</th><th>rms</th></tr></thead>
<tbody>{rows}</tbody></table></div>
<h2>Figures</h2><dl>{listed}</dl>{extra}
<h2>What happened</h2><div class="scroll"><table><tbody>{events}</tbody></table></div>
</body></html>
"""
