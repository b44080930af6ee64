"""Finds out whether the loop swings by itself, and makes the control more cautious when it does.

A control that is too quick for the accuracy of its model makes the chamber swing about the reference with the loop's
own period: up and down in turn, with equal size and equal time. This module looks for that: three half waves in a row
whose turning points (of the smoothed error) are on both sides of zero. Each wave that does not become smaller makes the
control more cautious by the factor `STEP`; a long calm makes it quicker again.

Caution is a factor (`care`): bends of the power curve cost that much more. Readings keep their weight: an estimate that
comes later than the powers it corrects makes the swing larger. (With less weight as well, two zones at 384 °C swung up
to 18 K over, and by 5 K without; a supply that varies by ±8 % moved the chamber 2.6 K, and 0.7 K without.)"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple

from ..safety.extremes import greater

#: Peak to peak that counts as a swing, K, and in standard deviations of a reading: noise alone must not count. It is
#: half of the 1.5 K that tests/generated allows in a soak, so that the control answers before that is reached.
SWING_K, SWING_SIGMAS = 0.8, 6.0  # ±30 %: none
#: Half waves in a row that make a swing; their durations differ by no more than this factor, and the last is at least
#: this share of the first (the waves after one disturbance die away).
HALF_WAVES, UNEVEN, FALLEN = 3, 2.5, 0.6  # ±30 %: UNEVEN error 0/+4.5 %
#: Time of the smoothing, in ticks; the shortest half wave, as a multiple of it and as one of the loop's lag and dead
#: time (a loop with a dead time swings with a period of two to four dead times: anything quicker comes from bursts).
TICKS, SMOOTHED, LATE = 4.0, 2.0, 1.0  # ±30 %: none
#: A swing is at least this many times the bursts' ripple; the largest ripple seen is reduced by this factor each tick.
RIPPLES, FADES = 4.0, 0.99  # ±30 %: none
#: Factor of one step of caution, and the most caution, three steps. The plan's answer to an error becomes slower by
#: about the cube root of the caution (cost of bends against that of errors, the chamber as an integrator).
STEP, MOST = 4.0, 64.0  # ±30 %: none
#: After calm for this many periods, and for at least this long, s, the caution is halved.
CALM_PERIODS, CALM_S = 10.0, 1800.0  # ±30 %: none
#: A loop that swings for this many periods at the most caution shows that the model is wrong.
REFUTED = 3.0  # ±30 %: none


@dataclass(frozen=True, slots=True)
class Swing:
    """Peak to peak, K, and period, s."""

    peak_to_peak_k: float
    period_s: float


class Watch(NamedTuple):
    """Carried from tick to tick. `error_k` is smoothed; `ripple_k` the largest recent ripple; `turns` the last turning
    points (s, K); `rising` the direction now, `peak` the extreme since the last turn; `care` the factor of caution, 1
    where the model is trusted as it is; `changed_s` when care last changed, because of a swing of `was_k`; `at_most_s`
    how long it has swung at the most caution."""

    error_k: float = math.nan
    turns: tuple[tuple[float, float], ...] = ()
    ripple_k: float = 0.0
    rising: bool = True
    peak: tuple[float, float] = (0.0, -math.inf)
    swing: Swing | None = None
    care: float = 1.0
    changed_s: float = 0.0
    was_k: float = 0.0
    at_most_s: float = 0.0

    @property
    def refuted(self) -> bool:
        """Whether the oven swings although the control is as cautious as it can be."""
        return self.swing is not None and self.at_most_s > REFUTED * self.swing.period_s


#: The state before the first tick.
FRESH = Watch()


def restarted(watch: Watch, time_s: float) -> Watch:
    """Start again after something that moves the error by itself: another leg, a door. The caution stays."""
    return Watch(care=watch.care, changed_s=greater(watch.changed_s, time_s))


def watched(
    watch: Watch,
    time_s: float,
    error_k: float,
    noise_k: float,
    dt_s: float,
    late_s: float = 0.0,
    ripple_k: float = 0.0,
) -> Watch:
    """The watch dt_s later, with the error now (measured minus reference, K). `late_s`: lag and dead time of the
    model's sensor; `ripple_k`: estimated effect of the bursts on the reading now, already taken out of the error."""
    if math.isnan(watch.error_k):
        return watch._replace(error_k=error_k, peak=(time_s, error_k))
    smooth = watch.error_k + (error_k - watch.error_k) / TICKS
    ripple_k = greater(abs(ripple_k), FADES * watch.ripple_k)
    # If the elements are half as heavy as described, as much ripple is left as was taken out, peak to peak.
    least = max(SWING_K, SWING_SIGMAS * noise_k / math.sqrt(2.0 * TICKS - 1.0), RIPPLES * ripple_k)
    w = _turned(watch, time_s, smooth, ripple_k, 0.5 * least)
    if w.turns is not watch.turns:
        swing = _swing_of(w.turns, least, max(SMOOTHED * TICKS * dt_s, LATE * late_s))
        return _answered(w._replace(swing=swing), time_s)
    if w.swing is not None:
        if time_s - w.turns[-1][0] > UNEVEN * w.swing.period_s:
            return w._replace(swing=None, at_most_s=0.0)
        return w._replace(at_most_s=w.at_most_s + dt_s if w.care >= MOST else 0.0)
    return _calm(w, time_s)


def _turned(w: Watch, time_s: float, error_k: float, ripple_k: float, back_k: float) -> Watch:
    """The watch with this error and ripple, and with a new turning point if the error has come back from its extreme by
    back_k (K)."""
    turns, rising, peak = w.turns, w.rising, w.peak
    beyond_k = error_k - peak[1] if rising else peak[1] - error_k
    if beyond_k >= 0.0:
        peak = (time_s, error_k)
    elif -beyond_k >= back_k:
        turns, rising, peak = (*turns, peak)[-(HALF_WAVES + 1) :], not rising, (time_s, error_k)
    # By place: `_replace` takes several times as long, and there is one each tick.
    return Watch(error_k, turns, ripple_k, rising, peak, w.swing, w.care, w.changed_s, w.was_k, w.at_most_s)


def _swing_of(turns: tuple[tuple[float, float], ...], least_k: float, least_s: float) -> Swing | None:
    if len(turns) <= HALF_WAVES:
        return None
    heights = [abs(b[1] - a[1]) for a, b in pairwise(turns)]
    times = [b[0] - a[0] for a, b in pairwise(turns)]
    # The rise to the first peak is the heating up, not a wave; a wave goes about the reference.
    about = all(a[1] * b[1] < 0.0 for a, b in pairwise(turns))
    even = max(times) <= UNEVEN * min(times) and min(times) >= least_s
    lasting = min(heights) >= least_k and heights[-1] >= FALLEN * heights[0]
    if not (about and even and lasting):
        return None
    return Swing(sum(heights) / len(heights), 2.0 * sum(times) / len(times))


def _answered(w: Watch, time_s: float) -> Watch:
    """Raise the caution, once a period, while the swing does not become smaller."""
    if w.swing is None:
        return w
    now_k = abs(w.turns[-1][1] - w.turns[-2][1])
    if w.care > 1.0 and (time_s - w.changed_s < w.swing.period_s or now_k < FALLEN * w.was_k):
        return w._replace(was_k=max(now_k, FALLEN * w.was_k)) if time_s - w.changed_s >= w.swing.period_s else w
    return w._replace(care=min(MOST, w.care * STEP), changed_s=time_s, was_k=now_k)


def _calm(w: Watch, time_s: float) -> Watch:
    period = 2.0 * (w.turns[-1][0] - w.turns[-2][0]) if len(w.turns) > 1 else 0.0
    if w.care <= 1.0 or time_s - w.changed_s < max(CALM_S, CALM_PERIODS * period):
        return w
    return w._replace(care=max(1.0, 0.5 * w.care), changed_s=time_s)
