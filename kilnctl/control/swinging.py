"""Does the loop swing by itself? And how careful the control is because of it.

A control that is quicker than its model is right makes the chamber swing about the reference with a period of the
loop's own: up and down in turn, by as much, in as much time. That is what is looked for here: turning points of the
smoothed error, on both sides of nothing, three half waves in a row. Each wave that does not fall makes the control
more careful by `STEP`; a long calm makes it brisk again.

Careful means: readings are believed so much less against the model, and bends of the power cost so much more. Without
end that is the model's own power and no feedback at all, under which no oven can swing."""

import math
from dataclasses import dataclass, replace
from itertools import pairwise

#: Peak to peak that counts as a swing, K, and in standard deviations of a reading.
SWING_K, SWING_SIGMAS = 0.8, 6.0
#: Half waves in a row; they differ in time by no more than this factor, and no later one is this much smaller.
HALF_WAVES, UNEVEN, FALLEN = 3, 2.5, 0.6
#: Time of the smoothing, in ticks; the shortest half wave, as a multiple of it and as one of the loop's lag and dead
#: time (a loop that is late by a dead time swings with a period of two to four of them: what is quicker are bursts).
TICKS, SMOOTHED, LATE = 4.0, 2.0, 1.0
#: A swing is this many times the bursts' ripple, whose largest is forgotten by this factor a tick.
RIPPLES, FADES = 4.0, 0.99
#: One step of care, and the most.
STEP, MOST = 4.0, 64.0
#: Calm for so many periods, and for so long at least, s: half as careful.
CALM_PERIODS, CALM_S = 10.0, 1800.0
#: Swinging for so many periods at the most care: the model is refuted.
REFUTED = 3.0


@dataclass(frozen=True, slots=True)
class Swing:
    """Peak to peak, K, and period, s."""

    peak_to_peak_k: float
    period_s: float


@dataclass(frozen=True, slots=True)
class Watch:
    """Carried from tick to tick. `error_k` is smoothed; `ripple_k` the largest lately; `turns` the last turning points
    (s, K); `rising` the way it goes, `peak` the farthest since the last turn; `care` 1 where the model is believed as
    it is; `changed_s` when care was changed last, by a swing of `was_k`; `at_most_s` for how long it has swung at the
    most care."""

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
        """Whether the oven swings although the control is as careful as it can be."""
        return self.swing is not None and self.at_most_s > REFUTED * self.swing.period_s


#: Of a loop that nobody has watched yet.
FRESH = Watch()


def restarted(watch: Watch, time_s: float) -> Watch:
    """After something that moves the error by itself: another leg, a door. The care stays."""
    return Watch(care=watch.care, changed_s=max(watch.changed_s, time_s))


def watched(
    watch: Watch,
    time_s: float,
    error_k: float,
    noise_k: float,
    dt_s: float,
    late_s: float = 0.0,
    ripple_k: float = 0.0,
) -> Watch:
    """The watch dt_s later, with the error of now (measured minus reference, K). `late_s`: lag and dead time of the
    model's sensor; `ripple_k`: what the bursts are thought to do to the reading now, already taken out of the error."""
    if math.isnan(watch.error_k):
        return replace(watch, error_k=error_k, peak=(time_s, error_k))
    smooth = watch.error_k + (error_k - watch.error_k) / TICKS
    ripple_k = max(abs(ripple_k), FADES * watch.ripple_k)
    # Elements half as heavy as said leave as much ripple again as was taken out, peak to peak.
    least = max(SWING_K, SWING_SIGMAS * noise_k / math.sqrt(2.0 * TICKS - 1.0), RIPPLES * ripple_k)
    w = _turned(replace(watch, error_k=smooth, ripple_k=ripple_k), time_s, 0.5 * least)
    if w.turns is not watch.turns:
        swing = _swing_of(w.turns, least, max(SMOOTHED * TICKS * dt_s, LATE * late_s))
        return _answered(replace(w, swing=swing), time_s)
    if w.swing is not None:
        if time_s - w.turns[-1][0] > UNEVEN * w.swing.period_s:
            return replace(w, swing=None, at_most_s=0.0)
        return replace(w, at_most_s=w.at_most_s + dt_s if w.care >= MOST else 0.0)
    return _calm(w, time_s)


def _turned(w: Watch, time_s: float, back_k: float) -> Watch:
    """The watch with a turning point, if the error has come back from its farthest by back_k."""
    sign = 1.0 if w.rising else -1.0
    if sign * (w.error_k - w.peak[1]) >= 0.0:
        return replace(w, peak=(time_s, w.error_k))
    if sign * (w.peak[1] - w.error_k) < back_k:
        return w
    turns = (*w.turns, w.peak)[-(HALF_WAVES + 1) :]
    return replace(w, turns=turns, rising=not w.rising, peak=(time_s, w.error_k))


def _swing_of(turns: tuple[tuple[float, float], ...], least_k: float, least_s: float) -> Swing | None:
    if len(turns) <= HALF_WAVES:
        return None
    heights = [abs(b[1] - a[1]) for a, b in pairwise(turns)]
    times = [b[0] - a[0] for a, b in pairwise(turns)]
    # The way up to the first peak is a heating up, not a wave; a wave is about the reference.
    about = all(a[1] * b[1] < 0.0 for a, b in pairwise(turns))
    even = max(times) <= UNEVEN * min(times) and min(times) >= least_s
    lasting = min(heights) >= least_k and heights[-1] >= FALLEN * heights[0]
    if not (about and even and lasting):
        return None
    return Swing(sum(heights) / len(heights), 2.0 * sum(times) / len(times))


def _answered(w: Watch, time_s: float) -> Watch:
    """More careful, once a period, while the swing does not fall."""
    if w.swing is None:
        return w
    now_k = abs(w.turns[-1][1] - w.turns[-2][1])
    if w.care > 1.0 and (time_s - w.changed_s < w.swing.period_s or now_k < FALLEN * w.was_k):
        return replace(w, was_k=max(now_k, FALLEN * w.was_k)) if time_s - w.changed_s >= w.swing.period_s else w
    return replace(w, care=min(MOST, w.care * STEP), changed_s=time_s, was_k=now_k)


def _calm(w: Watch, time_s: float) -> Watch:
    period = 2.0 * (w.turns[-1][0] - w.turns[-2][0]) if len(w.turns) > 1 else 0.0
    if w.care <= 1.0 or time_s - w.changed_s < max(CALM_S, CALM_PERIODS * period):
        return w
    return replace(w, care=max(1.0, 0.5 * w.care), changed_s=time_s)
