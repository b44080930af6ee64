"""A fit in plain words and as a picture: what was learnt, how sure it is, what changed since the last one."""

import math

import numpy as np

from ..model.energy import EnergyModel
from ..model.fit_result import Fit
from ..model.parameters import PARAMETERS
from ..model.trained_file import TrainedModel
from ..output import METRIC_UNITS, Units
from .svg import Chart, Series, Subplot, svg

_OF = {p.name: p for p in PARAMETERS}


def round_temperatures(low_c: float, high_c: float, units: Units = METRIC_UNITS) -> list[float]:
    """About three temperatures in a range, °C, round on the reader's scale."""
    low, high = units.degrees(low_c), units.degrees(high_c)
    step = next(s for s in (20.0, 50.0, 100.0, 200.0, 300.0, 400.0, 800.0) if (high - low) / s <= 4.5)
    first = step * math.ceil((low + 0.15 * (high - low)) / step)
    found = [first + i * step for i in range(6) if first + i * step <= high + 1.0]
    return [units.celsius(t) for t in found or [round(high)]]


def fit_text(fit: Fit, units: Units = METRIC_UNITS) -> str:
    """What a person wants to know of a fit, some forty lines."""
    head, *quality = _quality(fit, units)
    # What speaks against the model stands before what it says.
    out = [head, *(f"WARNING: {units.words(w)}" for w in fit.warnings), *quality]
    out.append("\nPower that holds a temperature for ever, and its standard error:")
    for t in round_temperatures(fit.low_c, fit.high_c, units):
        watts, error = fit.spread_of(lambda m, t=t: m.holding_w(t))
        out.append(
            f"  {units.temperature(t):>8}  {watts:6.0f} W ± {error:.0f}   (description: "
            f"{fit.day_zero.holding_w(t):.0f} W)"
        )
    out.append(
        "\nParameters (SI units, as in the model's file), 95 % intervals, and how they compare with the description:"
    )
    undetermined = set(fit.undetermined)
    for name, theta in zip(fit.parameters, fit.logarithms, strict=True):
        low, high = fit.interval(name)
        note = "  hardly determined by these records: the description's value" if name in undetermined else ""
        out.append(
            f"  {name:20s} {fit.values[name]:10.4g} {_OF[name].unit:5s} {low:9.3g} … {high:<9.3g} × "
            f"{math.exp(theta):.2f}{note}"
        )
    if fit.strong_correlations:
        out.append("\nThese cannot be separated well (only their sum or ratio is known):")
        out += [f"  {a} and {b} ({c:+.2f})" for a, b, c in fit.strong_correlations[:6]]
    return "\n".join(out)


def _count(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"


def _quality(fit: Fit, units: Units) -> list[str]:
    """How well the free run meets each record, and what is left over."""
    out = [
        (
            f"{fit.oven_name}: {_count(len(fit.records), 'stretch', 'stretches')} of record, "
            f"{units.temperature(fit.low_c)} to {units.temperature(fit.high_c)}"
        )
    ]
    for r in fit.records:
        extra = [f"{r.wild} wild reading{'s' * (r.wild != 1)} left out"] if r.wild else []
        extra += [_count(len(r.doors), "door opening", "door openings")] if r.doors else []
        extra += ["started warm"] if not r.cold else []
        out.append(
            f"  {r.name}: {(r.time_s[-1] - r.time_s[0]) / 3600:.1f} h, the model alone misses it by "
            f"{units.difference(r.rms_c)} "
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
        "than the model knows; the errors below allow for that"
    )
    if fit.tension > 1.0:
        out.append(
            f"  records and description differ {fit.tension:.1f} times as much as both allow: the oven is unlike the "
            "model in something; the errors below are wider for that"
        )
    return out


def models_compared(
    old: TrainedModel, new: EnergyModel, low_c: float, high_c: float, units: Units = METRIC_UNITS
) -> list[str]:
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
                f"{what} {100 * abs(now / before - 1.0):.0f} % {'more' if now > before else 'less'} heat per "
                f"{units.kelvin if units.imperial else 'kelvin'}"
            )
    at = 0.5 * (low_c + high_c)
    before, now = (m.lag_at_s(at) + m.dead_s for m in (old.model, new))
    if abs(now - before) > max(2.0, 0.15 * before):
        out.append(
            f"the sensor answers {abs(now - before):.0f} s {'later' if now > before else 'sooner'} than "
            "before: has it been moved or changed?"
        )
    return out or ["nothing has changed by more than a few per cent since the last fit"]


def fit_picture(fit: Fit, units: Units = METRIC_UNITS) -> str:
    """Measured against the free run, the error between them, and the power, as SVG. Records one after
    another."""
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
                Subplot(
                    "temperature",
                    (
                        Series(time, units.degrees(reading), "measured", "chamber"),
                        Series(time, units.degrees(predicted), "free run", "part"),
                    ),
                    marks,
                    share=2.4,
                    unit=units.degree,
                ),
                Subplot(
                    f"measured − free run, {units.kelvin}",
                    (Series(time, units.degrees(reading) - units.degrees(predicted), "error", "plain"),),
                    marks,
                ),
                Subplot(
                    "power, kW (mean of a minute)",
                    (Series(time, smooth, "power", "power"),),
                    marks,
                    share=0.8,
                    low=0.0,
                ),
            ),
            height=640,
        )
    )
