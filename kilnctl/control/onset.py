"""Finds a dead time that the description does not have, from when the readings begin to rise.

At the first heating the model says when the readings will have risen by two levels, and they show when they have. A
heavier or slower oven takes longer to both in the same proportion; a dead time adds the same to both. So the two times
tell them apart. (The two-point method, K. R. Sundaresan and P. R. Krishnaswamy, Ind. Eng. Chem. Process Des. Dev. 17
(1978), from memory; the model's own response stands here for theirs of first order.) It matters in a quick oven: at
5 K/s a reading that comes ten seconds late is 50 K too low, and a lag in its place makes the loop swing. Until the
readings begin, the model alone says where the chamber is."""

import math
from dataclasses import replace
from typing import NamedTuple

from ..model.doubt import ZONE_S
from ..model.energy import SENSOR, EnergyModel
from .estimator import Estimate

#: The first level, in standard deviations of a reading, and the second, as a multiple of it: between the two a tick is
#: a small part of the time.
LEVEL_SIGMAS, SECOND = 6.0, 10.0  # ±30 %: none (no oven of the bench is late)
#: A dead time is believed where it is more than this share of the time to the first level: a second zone, or another
#: part before the chamber, begins more slowly than the model by a third of it.
MOSTLY = 0.5  # ±30 %: none (no oven of the bench is late)
#: And up to this many standard deviations of the lateness, and `ZONE_S`.
MOST_SIGMAS = 3.0  # ±30 %: none (no oven of the bench is late)
#: Only while the heat is at least this share of full power: a lower one may answer what the readings do.
FULL = 0.9  # ±30 %: none (no oven of the bench is late)
#: An oven further from the room's temperature than this, K, may be cooling: its readings begin nowhere.
COLD_K = 5.0  # ±30 %: none (no oven of the bench is late)


class Times(NamedTuple):
    """When a temperature had risen by the two levels, s since the heat began (NaN: not yet); by how much it has risen
    by now, K."""

    first_s: float = math.nan
    second_s: float = math.nan
    rise_k: float = 0.0


class Onset(NamedTuple):
    """`fed`: the estimate that uses the readings; the one without them is the control's until they begin. `begin_c`:
    the sensor before the heat; `since_s`: how long it has been heated; when the model's sensor was `expected` and the
    real one `seen`."""

    fed: Estimate
    begin_c: float
    since_s: float = 0.0
    expected: Times = Times()
    seen: Times = Times()

    def waits(self, share: float) -> bool:
        """Whether the heat has not begun yet, with this share of full power."""
        return share <= 0.0 and self.since_s == 0.0


def begun(estimate: Estimate, reading_c: float, ambient_c: float, late: float) -> Onset | None:
    """Before the first heat. None where there is nothing to find: `late` 0 is a model that knows how late the readings
    are."""
    return Onset(estimate, reading_c) if late > 0.0 and abs(reading_c - ambient_c) < COLD_K else None


def reached(times: Times, rise_k: float, level_k: float, since_s: float, dt_s: float) -> Times:
    """The times with what this tick of dt_s has reached; within the tick by proportion."""

    def at(time_s: float, level_k: float) -> float:
        if not math.isnan(time_s) or rise_k <= level_k:
            return time_s
        return since_s - dt_s * min(1.0, (rise_k - level_k) / max(1e-9, rise_k - times.rise_k))

    return Times(at(times.first_s, level_k), at(times.second_s, SECOND * level_k), rise_k)


def dead_more_s(expected: Times, seen: Times) -> float:
    """How much longer the dead time is than the model's, s; 0 where a slower oven explains the times."""
    slower = max(1.0, (seen.second_s - seen.first_s) / (expected.second_s - expected.first_s))
    more_s = seen.first_s - slower * expected.first_s
    return more_s if more_s > MOSTLY * seen.first_s else 0.0


def watched(
    onset: Onset,
    model: EnergyModel,
    free: Estimate,
    fed: Estimate,
    reading_c: float,
    share: float,
    noise_k: float,
    dt_s: float,
    late: float,
) -> tuple[Onset | None, Estimate]:
    """(what to watch on, the control's estimate) dt_s later; None once it is decided. `free`, `fed`: the estimates
    after it, without and with the reading; `share` of full power heated; `late`: standard deviation of the lateness. An
    estimate with a new dead time stands still until it is that much behind."""
    if onset.waits(share):
        return Onset(fed, fed.x[SENSOR]), fed
    since_s, level_k = onset.since_s + dt_s, LEVEL_SIGMAS * noise_k
    expected = reached(onset.expected, free.x[SENSOR] - onset.begin_c, level_k, since_s, dt_s)
    seen = reached(onset.seen, reading_c - onset.begin_c, level_k, since_s, dt_s)
    if share < FULL and math.isnan(expected.second_s):
        return None, fed
    begins = not math.isnan(seen.first_s)
    # NaN before the model's sensor has risen: then nothing is late yet, unless the reading has begun.
    late_s = (seen.first_s if begins else since_s) - expected.first_s
    if late_s > min(ZONE_S, model.delay_s * math.expm1(MOST_SIGMAS * late)):
        return None, fed
    if begins and not late_s > MOSTLY * seen.first_s:
        return None, fed
    if math.isnan(seen.second_s):
        return Onset(fed, onset.begin_c, since_s, expected, seen), free
    more_s = 0.0 if math.isnan(expected.second_s) else dead_more_s(expected, seen)
    return None, replace(free, dead_s=more_s) if more_s > 0.0 else fed
