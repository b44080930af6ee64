"""A fit in plain words and as a picture: what was learnt, how sure it is, what changed since the last one."""

import math

import numpy as np

from ..model.energy import EnergyModel
from ..model.fit_result import Fit
from ..model.parameters import PARAMETERS
from ..model.trained_file import TrainedModel
from ..output import Units, fahrenheit
from .svg import Chart, Panel, Series, svg

_OF = {p.name: p for p in PARAMETERS}


def round_temperatures(low_c: float, high_c: float, units: Units = Units()) -> list[float]:
    """Three or so temperatures inside a range, round in the reader's own scale, °C."""
    if units.imperial:
        return [(t - 32.0) / 1.8 for t in round_temperatures(fahrenheit(low_c), fahrenheit(high_c))]
    step = next(s for s in (20.0, 50.0, 100.0, 200.0, 300.0, 400.0, 800.0) if (high_c - low_c) / s <= 4.5)
    first = step * math.ceil((low_c + 0.15 * (high_c - low_c)) / step)
    found = [first + i * step for i in range(6) if first + i * step <= high_c + 1.0]
    return found or [round(high_c)]


def as_text(fit: Fit, units: Units = Units()) -> str:
    """What a person wants to know of a fit, some forty lines."""
    out = [
        f"{fit.oven_name}: {len(fit.records)} stretch(es) of record, {units.temperature(fit.low_c)} to {units.temperature(fit.high_c)}"
    ]
    for r in fit.records:
        extra = [f"{r.wild} wild readings left out"] if r.wild else []
        extra += [f"{len(r.doors)} door opening(s)"] if r.doors else []
        extra += ["started warm"] if not r.cold else []
        out.append(
            f"  {r.name}: {(r.time_s[-1] - r.time_s[0]) / 3600:.1f} h, free run misses it by {units.difference(r.rms_c)} "
            "rms" + (f" ({', '.join(extra)})" if extra else "")
        )
        out += [f"    {units.words(note)}" for note in r.notes]
    out.append(
        f"  all together {units.difference(fit.rms_c)} rms; noise of one reading {units.difference(fit.noise_k)}"
    )
    if math.isfinite(fit.held_out_k):
        out.append(
            f"  the last third of each record, predicted by a fit without it: {units.difference(fit.held_out_k)} rms"
        )
    out.append(
        "  what is left looks like noise: the model says all there is"
        if fit.white
        else f"  what is left is not white (autocorrelation {fit.autocorrelation:.2f}): the oven does more "
        "than the model knows; the errors below "
        "allow for that"
    )
    if fit.tension > 1.0:
        out.append(
            f"  records and description differ {fit.tension:.1f} times as much as both allow: the oven is unlike the model in something; the "
            "errors below are wider for that"
        )
    out.append("\nPower that holds a temperature for ever, and its standard error:")
    for t in round_temperatures(fit.low_c, fit.high_c, units):
        watts, error = fit.spread_of(lambda m, t=t: m.holding_w(t))
        out.append(
            f"  {units.temperature(t):>8}  {watts:6.0f} W ± {error:.0f}   (description: {fit.day_zero.holding_w(t):.0f} W)"
        )
    out.append(
        "\nParameters (SI units, as in the model's file), 95 % intervals, and how they compare with the description:"
    )
    undetermined = set(fit.undetermined)
    for name, theta in zip(fit.parameters, fit.logarithms):
        low, high = fit.interval(name)
        note = "  hardly determined by these records: the description's value" if name in undetermined else ""
        out.append(
            f"  {name:20s} {fit.values[name]:10.4g} {_OF[name].unit:5s} {low:9.3g} … {high:<9.3g} × "
            f"{math.exp(theta):.2f}{note}"
        )
    if fit.strong_correlations:
        out.append("\nThese cannot be told apart well (their sum or ratio is what is known):")
        out += [f"  {a} and {b} ({c:+.2f})" for a, b, c in fit.strong_correlations[:6]]
    if fit.warnings:
        out.append("")
        out += [f"WARNING: {units.words(w)}" for w in fit.warnings]
    return "\n".join(out)


def compared(old: TrainedModel, new: EnergyModel, low_c: float, high_c: float, units: Units = Units()) -> list[str]:
    """What changed since the last fit, in plain words: power to hold, speed, delay. Only what differs by more
    than 2 %."""
    out = []
    for t in round_temperatures(max(low_c, old.low_c), min(high_c, old.high_c), units)[-3:]:
        before, now = old.model.holding_w(t), new.holding_w(t)
        if before > 0.0 and abs(now / before - 1.0) > 0.02:
            out.append(
                f"holding {units.temperature(t)} now takes {100 * abs(now / before - 1.0):.0f} % "
                f"{'more' if now > before else 'less'} power ({now:.0f} W instead of {before:.0f} W)"
            )
    for name, what in (
        ("element_j_per_k", "the elements store"),
        ("contents_j_per_k", "shelf and load store"),
    ):
        before, now = getattr(old.model, name), getattr(new, name)
        if before > 0.0 and abs(now / before - 1.0) > 0.15:
            out.append(
                f"{what} {100 * abs(now / before - 1.0):.0f} % {'more' if now > before else 'less'} heat "
                f"per {'°F' if units.imperial else 'kelvin'}"
            )
    at = 0.5 * (low_c + high_c)
    before, now = (m.lag_at_s(at) + m.dead_s for m in (old.model, new))
    if abs(now - before) > max(2.0, 0.15 * before):
        out.append(
            f"the sensor answers {abs(now - before):.0f} s {'later' if now > before else 'sooner'} than "
            "before: has it been moved or changed?"
        )
    return out or ["nothing has changed by more than a few per cent since the last fit"]


def picture(fit: Fit, units: Units = Units()) -> str:
    """Measured against the free run, the error between them, and the power, as SVG. Records one after
    another."""
    shown = fahrenheit if units.imperial else lambda c: c
    time, reading, predicted, power, shades, at = [], [], [], [], [], 0.0
    for r in fit.records:
        t = r.time_s - r.time_s[0] + at
        time += [t, [t[-1]]]
        reading += [r.reading_c, [math.nan]]
        predicted += [r.predicted_c, [math.nan]]
        power += [r.power_w, [math.nan]]
        shades += [(a - r.time_s[0] + at, b - r.time_s[0] + at, "door") for a, b in r.doors]
        at = float(t[-1]) + 60.0
    time, reading, predicted, power = (np.concatenate(v) for v in (time, reading, predicted, power))
    step = max(1, round(60.0 / max(1e-9, float(np.median(np.diff(time))))))
    kernel = np.ones(step) / step
    smooth = np.convolve(np.nan_to_num(power), kernel, "same") / 1000.0
    marks = tuple(shades)
    return svg(
        Chart(
            f"{fit.oven_name}: measured and free run, {units.difference(fit.rms_c)} rms",
            (
                Panel(
                    f"temperature, °{units.scale}",
                    (
                        Series(time, shown(reading), "measured", "chamber"),
                        Series(time, shown(predicted), "free run", "part"),
                    ),
                    marks,
                    (),
                    2.4,
                ),
                Panel(
                    f"measured − free run, {'°F' if units.imperial else 'K'}",
                    (Series(time, shown(reading) - shown(predicted), "error", "plain"),),
                    marks,
                    (),
                    1.0,
                ),
                Panel(
                    "power, kW (mean of a minute)",
                    (Series(time, smooth, "power", "power"),),
                    marks,
                    (),
                    0.8,
                    0.0,
                ),
            ),
            height=640,
        )
    )
