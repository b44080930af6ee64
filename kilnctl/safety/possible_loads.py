"""What the energy shows where a model is fitted: for each load that may be in the oven, judged by the whole run.

A fitted model knows how the oven answers within minutes, so that each reading is a start from which the energy must be
seen again: a sensor that slips out slowly has shown the truth before. How much heat what is round the chamber still
takes then depends on the load; so one coolest oven runs for each range of loads (`Policy.loads`), and the chamber is at
least as hot as the coolest of them.

A load cannot change while the door is shut, and a sensor that lies shows too little. So a range whose hottest oven was
colder than a reading is not what is in the oven, and counts no more in this run."""

import math
from typing import NamedTuple

from .coolest import LumpedOven, Lumps, as_late_c, step, step_above

#: The ovens advance in steps of this length, s: a load answers within minutes, and a tick has no time for all of them.
EVERY_S = 10.0
#: A reading must contradict a range for this long, s.
CONTRADICTS_S = 60.0
#: A start is cold if its reading is at most this much above the hottest room, K; what no sensor shows is then at most
#: this much hotter than the chamber (an estimate: the depth of a lining a day after a run).
COLD_K = 10.0
#: A range is judged while the reading is at most this much below the run's highest, K: what cools gives back heat, and
#: the hottest oven does not know well how much.
NEAR_TOP_K = 15.0
#: A door that may have been open for longer than this, s, may have changed the load: another one is cold.
CHANGES_S = 60.0
#: The most ranges that a policy may have.
MOST_LOADS = 32


class PossibleLoad(NamedTuple):
    """One range of loads: its place in the policy, the lumps of its coolest and its hottest oven, the chamber of the
    coolest, as late as a reading, °C, and for how long a reading has been above the hottest, s."""

    place: int
    cool: Lumps
    hot: Lumps
    late_c: float
    above_s: float = 0.0


class Loads(NamedTuple):
    """The ranges that explain the run so far, and whether one may be ruled out. Since their last step: seconds, energy
    of the coolest and the hottest ovens, J, whether a door may have been open. For how long it may have been open now,
    s; the highest reading of the run, °C."""

    ranges: tuple[PossibleLoad, ...] = ()
    judged: bool = False
    since_s: float = 0.0
    cool_j: float = 0.0
    hot_j: float = 0.0
    opened: bool = False
    open_s: float = 0.0
    top_c: float = -math.inf

    @property
    def least_c(self) -> float:
        """The coldest that the chamber can be, °C; minus infinity where nothing is known."""
        return min([r.cool[1] for r in self.ranges]) if self.ranges else -math.inf

    @property
    def late_c(self) -> float:
        """The same, as late as a reading."""
        return min([r.late_c for r in self.ranges]) if self.ranges else -math.inf


NO_LOADS = Loads()
#: The coolest and the hottest oven with each range of loads.
Pairs = tuple[tuple[LumpedOven, LumpedOven], ...]


def wrong_loads(loads: object) -> str:
    """What is wrong with the ovens of `Policy.loads`, in words; empty for nothing."""
    if not isinstance(loads, tuple) or len(loads) > MOST_LOADS:
        return f"loads must be at most {MOST_LOADS} pairs of ovens in lumps"
    for pair in loads:
        if not (isinstance(pair, tuple) and len(pair) == 2 and all(isinstance(oven, LumpedOven) for oven in pair)):
            return "loads must be pairs of ovens in lumps, the coolest and the hottest of each"
        if pair[0].full_w != pair[1].full_w:
            return "the two ovens of a load must have one rated power"
    return ""


def begun(pairs: Pairs, chamber_c: float, cold: bool = True) -> Loads:
    """All ranges at the start, from a believed reading. After a hot start, or where it is not said to be `cold`, too
    little is known to rule one out."""
    hot_c = chamber_c + COLD_K
    hot = (chamber_c, chamber_c, hot_c, hot_c, hot_c, hot_c, hot_c, 0.0)
    ranges = [PossibleLoad(k, coolest.from_chamber(chamber_c), hot, chamber_c) for k, (coolest, _) in enumerate(pairs)]
    return Loads(tuple(ranges), cold and all(chamber_c <= hottest.room_c + COLD_K for _, hottest in pairs))


def later(
    loads: Loads,
    pairs: Pairs,
    power_w: tuple[float, float],
    dt_s: float,
    may_be_open: bool,
    reads_c: float | None,
    least_c: float,
) -> Loads:
    """The ranges dt_s later. `power_w`: the least and the most that can have heated, W; `reads_c`: a believed reading,
    °C, or None; `least_c`: the coldest that the chamber can be at it, °C."""
    since_s, opened = loads.since_s + dt_s, loads.opened or may_be_open
    cool_j, hot_j = loads.cool_j + power_w[0] * dt_s, loads.hot_j + power_w[1] * dt_s
    top_c = loads.top_c if reads_c is None else max(loads.top_c, reads_c)
    open_s = loads.open_s + dt_s if may_be_open else 0.0
    if open_s > CHANGES_S and reads_c is not None:
        return begun(pairs, reads_c, cold=False)
    if since_s < EVERY_S:
        return Loads(loads.ranges, loads.judged, since_s, cool_j, hot_j, opened, open_s, top_c)
    proves_c = -math.inf if reads_c is None else least_c
    counts = loads.judged and not opened and reads_c is not None and reads_c > top_c - NEAR_TOP_K
    left = []
    for r in loads.ranges:
        coolest, hottest = pairs[r.place]
        cool = step_above(coolest, r.cool, cool_j / since_s, since_s, opened, proves_c)
        late_c = as_late_c(coolest, r.late_c, cool[1], since_s)
        hot = step(hottest, r.hot, hot_j / since_s, since_s, False)
        above_s = r.above_s + since_s if counts and proves_c > hot[1] else 0.0
        if above_s < CONTRADICTS_S:
            left.append(PossibleLoad(r.place, cool, hot, late_c, above_s))
    if not left and reads_c is not None:  # no load explains the run: the oven itself is otherwise
        return begun(pairs, reads_c, cold=False)
    return Loads(tuple(left), loads.judged, open_s=open_s, top_c=top_c)
