"""The result of a run in the numbers that people use: time to each soak, worst deviation, overshoot, energy, cure."""

import math
from dataclasses import dataclass

import numpy as np

from ..record.coarse import coarse
from ..record.power_columns import basis, fired_share
from ..record.run_data import RunData
from ..settings.schedule import Cure
from ..thermal.constants import GAS_CONSTANT, ZERO_C

#: A soak is settled once the temperature has stayed inside ±1 K of its target for this long, s.
SETTLED_K, SETTLED_S = 1.0, 60.0
#: A soak took longer than asked by at least this share of it and this time, s: less is not worth a word.
LONGER, LONGER_S = 0.2, 120.0
#: A record keeps the reference in hundredths of a degree, so a soak at 300 °F (148.89 °C) is exact only to half of one,
#: K.
AT_TARGET_K = 0.0051


@dataclass(frozen=True)
class Soak:
    """One soak. Times in s since the start, deviations in K from its target, from settling to its end; past_k: the
    largest beyond the target, seen from where it arrived, from arrival to its end."""

    name: str
    target_c: float
    arrived_s: float
    settled_s: float
    end_s: float
    worst_k: float
    rms_k: float
    past_k: float = 0.0


@dataclass(frozen=True)
class Summary:
    """What a run came to. Times in s since the start, temperatures in °C.

    overshoot_k        most above the target while heating up and soaking; undershoot_k: most below it in a
                       settled soak
    swing_k            widest range within one soak, from five minutes after arrival; NaN where no soak is that long
    switchings_per_h   changes of the fired share by more than a half from one sample to the next
    cure_share         of the schedule's reference cure, 1 is a full one; by the lower edge of the band where the part
                       is only estimated; cure_most: by its upper edge, None where the part is measured
    part_by            which temperature of the part counts, in words
    waited             soaks of a part without a thermocouple that took longer than the described part needed: name,
                       time asked for, time for which that part was in its band, s
    measured_on        which temperature is judged: the virtual oven's own, or the sensor averaged over 10
                       s
    power_by           what power, energy and switching rest on: meters, or what was commanded
    trips              (time, fault) of each
    """

    outcome: str
    duration_s: float
    soaks: tuple[Soak, ...]
    overshoot_k: float
    undershoot_k: float
    swing_k: float
    energy_kwh: float
    highest_chamber_c: float
    highest_part_c: float
    switchings_per_h: float
    cure_share: float | None
    cure_most: float | None
    measured_on: str
    trips: tuple[tuple[float, str], ...] = ()
    power_by: str = ""
    part_by: str = ""
    waited: tuple[tuple[str, float, float], ...] = ()


def smooth(values: np.ndarray, samples: int) -> np.ndarray:
    """Centred moving mean over `samples`, shorter at the ends; NaNs are left out."""
    if len(values) == 0:
        return values
    if len(values) < samples:
        # `np.convolve` gives as many values as the longer of the two has: more than there are samples.
        return smooth(np.concatenate((values, np.full(samples, np.nan))), samples)[: len(values)]
    good = np.isfinite(values)
    filled = np.where(good, values, 0.0)
    kernel = np.ones(max(1, samples))
    count = np.convolve(good.astype(float), kernel, "same")
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, np.convolve(filled, kernel, "same") / np.maximum(count, 1.0), np.nan)


def judged(run: RunData) -> tuple[np.ndarray, str]:
    """The temperature that a run is judged by, °C, and its name."""
    part = run.schedule.follows == "part"
    true = run.data["true_part_c" if part else "true_chamber_c"]
    if np.isfinite(true).any():
        return true, "the virtual oven's own temperature of the " + ("part" if part else "chamber")
    measured = run.data["part_c" if part else "chamber_c"]
    if part and not np.isfinite(measured).any():
        sd = np.nan_to_num(run.data["part_sd_k"])
        return run.data["part_estimate_c"] - 2.0 * sd, "the lower edge of the part's estimate (no sensor was on it)"
    return smooth(measured, max(1, round(10.0 / sample_s(run.time_s)))), "the sensor, averaged over 10 s"


def sample_s(time_s: np.ndarray) -> float:
    """Usual time between two samples, s; 1 where there are not two."""
    return float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0


def part_of(run: RunData) -> tuple[np.ndarray, np.ndarray | None, str]:
    """The part's temperature, °C, from the best source: the plant's own, the thermocouple on it, the model's estimate;
    its standard deviation, K, where it is an estimate; and which source it is."""
    for name, label in (("true_part_c", "part"), ("part_c", "part, measured")):
        if np.isfinite(run.data[name]).any():
            return run.data[name], None, label
    spread = run.data["part_sd_k"]
    return run.data["part_estimate_c"], spread if np.isfinite(spread).any() else None, "part, estimate"


def cure_share(time_s: np.ndarray, part_c: np.ndarray, cure: Cure) -> float:
    """Share of the reference cure that the part got: ∫ exp(−(Ea/R)(1/T − 1/T0)) dt / t0 (Arrhenius; T in
    K). 1 is a full cure."""
    if len(time_s) < 2:
        return 0.0
    # Missing temperatures count as 1 K, at which nothing cures.
    kelvin = np.maximum(np.where(np.isfinite(part_c), part_c, -ZERO_C) + ZERO_C, 1.0)
    exponent = -cure.activation_j_per_mol / GAS_CONSTANT * (1.0 / kelvin - 1.0 / (cure.at_c + ZERO_C))
    # Below this the exponential is smaller than the smallest float.
    rate = np.where(exponent > -600.0, np.exp(np.maximum(exponent, -600.0)), 0.0)
    # By hand: the function for it is `trapz` in numpy 1 and `trapezoid` in numpy 2, and both are supported.
    return float(np.sum(0.5 * (rate[1:] + rate[:-1]) * np.diff(time_s)) / cure.time_s)


def summarise(run: RunData) -> Summary:
    """The summary of a run that has just been made, or was read back. Soaks, swing, overshoot and cure of a run of
    weeks are judged by means over a few samples (`kilnctl.record.coarse`)."""
    fine, run = run, coarse(run)
    time, (value, measured_on) = run.time_s, judged(run)
    if len(time) == 0:
        return Summary(run.outcome, 0.0, (), 0.0, 0.0, math.nan, 0.0, math.nan, math.nan, 0.0, None, None, measured_on)
    soaks = tuple(_soaks(run, time, value))
    settled = [s for s in soaks if math.isfinite(s.settled_s)]
    swing = math.nan
    for soak in soaks:
        # From five minutes after arrival: the landing does not count as swing.
        part = value[(time >= soak.arrived_s + 300.0) & (time <= soak.end_s)]
        if np.isfinite(part).sum() > 60:
            swing = float(np.nanmax([swing, np.nanmax(part) - np.nanmin(part)]))
    part, sd, part_by = part_of(run)
    credited = most = None
    if run.schedule.cure is not None and np.isfinite(part).any():
        # Only what the part has had for certain counts: its error hardly changes in a run and shifts the curve.
        edge = 0.0 if sd is None else 2.0 * np.nan_to_num(sd)
        credited = cure_share(time, part - edge, run.schedule.cure)
        most = None if sd is None else cure_share(time, part + edge, run.schedule.cure)
    hours = max(1e-9, float(np.ptp(fine.data["time_s"])) / 3600.0)
    return Summary(
        outcome=run.outcome,
        duration_s=float(time[-1]),
        soaks=soaks,
        overshoot_k=_over(run, value, +1.0),
        undershoot_k=max([abs(min(0.0, s.worst_k)) for s in settled], default=0.0),
        swing_k=swing,
        energy_kwh=run.energy_j / 3.6e6,
        highest_chamber_c=_highest(fine, "true_chamber_c", "chamber_c"),
        highest_part_c=_highest(fine, "true_part_c", "part_c", "part_estimate_c"),
        switchings_per_h=float(np.count_nonzero(np.abs(np.diff(fired_share(fine.data)[0])) > 0.5) / hours),
        cure_share=credited,
        cure_most=most,
        measured_on=measured_on,
        trips=tuple((float(t.time_s), t.fault) for t in run.trips),
        power_by=basis(run.data),
        part_by=part_by,
        waited=tuple(_waited(run, soaks, part)),
    )


def _waited(run: RunData, soaks: tuple[Soak, ...], part_c: np.ndarray):
    """A soak of a part counts what is certain: without a thermocouple on it, the slowest part that the described one
    may be."""
    if run.schedule.follows != "part" or np.isfinite(run.data["part_c"]).any():
        return
    steps = [step for step in run.schedule.steps if step.hold_s > 0.0]
    for soak, step in zip(soaks, steps, strict=True):
        inside = (np.abs(part_c - soak.target_c) <= step.within_k) & (run.time_s <= soak.end_s)
        there_s = float(np.count_nonzero(inside)) * sample_s(run.time_s)
        if there_s > step.hold_s + max(LONGER_S, LONGER * step.hold_s):
            yield soak.name, step.hold_s, there_s


def _highest(run: RunData, *names: str) -> float:
    """The highest value of the first column that holds any; NaN where none does."""
    return next((float(np.nanmax(c)) for name in names if np.isfinite(c := run.data[name]).any()), math.nan)


def _over(run: RunData, value: np.ndarray, sign: float) -> float:
    """Largest excess over the target in heating-up and soaks (a falling ramp that lags is none)."""
    step = run.data["step"]
    worst = 0.0
    for i, s in enumerate(run.schedule.steps, 1):
        if s.to_c is None or s.let_cool:
            continue
        before = [p.to_c for p in run.schedule.steps[: i - 1] if p.to_c is not None]
        if before and before[-1] > s.to_c:
            continue
        here = value[step == i]
        if len(here) and np.isfinite(here).any():
            worst = max(worst, float(np.nanmax(here)) - s.to_c)
    return worst


def _past(landing: np.ndarray) -> float:
    """Of deviations from a target, the largest on the side that they do not begin on, K; 0 where there is none."""
    side = -math.copysign(1.0, landing[0])
    beyond = float(np.nanmax(side * landing))
    return side * beyond if beyond > 0.0 else 0.0


def _soaks(run: RunData, time: np.ndarray, value: np.ndarray):
    reference, step = run.data["reference_c"], run.data["step"]
    last_c = math.nan
    dt = sample_s(time)
    # After a trip there is no soak: nothing controls the oven.
    tripped_s = min((t.time_s for t in run.trips), default=math.inf)
    for i, s in enumerate(run.schedule.steps, 1):
        last_c = s.to_c if s.to_c is not None else last_c
        if s.hold_s <= 0.0:
            continue
        where = np.flatnonzero((step == i) & (np.abs(reference - last_c) < AT_TARGET_K) & (time <= tripped_s))
        name = s.name or f"step {i}"
        near = where[np.abs(value[where] - last_c) <= s.within_k] if len(where) else where
        if len(near) == 0:
            yield Soak(name, last_c, math.nan, math.nan, math.nan, math.nan, math.nan)
            continue
        arrived, end = near[0], where[-1]
        inside = np.abs(value[arrived : end + 1] - last_c) <= SETTLED_K
        need = max(1, round(SETTLED_S / dt))
        run_length, settled = 0, None
        for j, ok in enumerate(inside):
            run_length = run_length + 1 if ok else 0
            if run_length >= need:
                settled = arrived + j - need + 1
                break
        begin = settled if settled is not None else arrived
        landing = value[arrived : end + 1] - last_c
        error = landing[begin - arrived :]
        worst = float(error[np.argmax(np.abs(error))])
        yield Soak(
            name,
            last_c,
            float(time[arrived]),
            float(time[settled]) if settled is not None else math.nan,
            float(time[end]),
            worst,
            float(np.sqrt(np.mean(error**2))),
            _past(landing),
        )
