"""How far the second sensor in the chamber's air was from the control sensor in records, by the very arithmetic of the
rule `sensors-disagree`, and the place of the control sensor that explains it (`kilnctl.safety.misplaced.Place`)."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..control.part import CLASS_2_K, CLASS_2_SHARE
from ..model.day_zero import day_zero
from ..model.doubt import NEAR_ELEMENTS, NEAR_WALLS, day_zero_doubt, envelope_of
from ..safety import SafetyState, misplaced, policy_for
from ..safety.coolest import held
from ..safety.misplaced import Place
from ..safety.rules_limits import apart_k
from ..safety.rules_unexplained import EXCUSED_EVERY_S
from ..settings.oven import Oven
from .records import Log

#: Two sound thermocouples may differ by this, K, or by this share of their °C, if that is more: each by its tolerance.
TOLERANCE_K, TOLERANCE_SHARE = 2.0 * CLASS_2_K, 2.0 * CLASS_2_SHARE
#: Safety factor on the shares: records do not show every power and temperature.
MORE = 1.25
#: A difference that lasts for less than this share of the rule's own time needs no explanation.
PASSES_SHARE = 0.5
#: Shares are found to so many halvings of what a place may show.
HALVINGS = 7
#: After a gap of this length, s, elements and delay begin anew.
LONGEST_GAP_S = 60.0


@dataclass(frozen=True, slots=True)
class _Step:
    """One step of the rule's ovens: time and length, s; sensors, °C; mean power and what the elements give, W; how far
    the sensors are apart beyond what their lags explain, K; whether it begins anew."""

    time_s: float
    dt_s: float
    chamber_c: float
    second_c: float
    power_w: float
    given_w: float
    apart_k: float
    anew: bool


def place_seen(oven: Oven, logs: Sequence[Log]) -> Place | None:
    """The least shares of elements and walls that explain what these records show of the two sensors, with `MORE`, and
    at most what a description allows. None where no record has a second sensor. The rule's own allowance is kept whole
    for what later runs show more."""
    found = None
    for log in logs:
        if oven.sensors.limit is not None and log.limit_c is not None and np.isfinite(log.limit_c).any():
            found = _place_in(oven, log).wider(found)
    return found


def _place_in(oven: Oven, log: Log) -> Place:
    looked = _Looked(oven, log)
    return Place(
        _least(NEAR_ELEMENTS, lambda share: not looked.lasts(Place(share, NEAR_WALLS), above=True)),
        _least(NEAR_WALLS, lambda share: not looked.lasts(Place(0.0, share), above=False)),
    )


def _least(most: float, explains: Callable[[float], bool]) -> float:
    """The least share from 0 to `most` that explains, with `MORE`; `most` where none does."""
    if explains(0.0):
        return 0.0
    low, high = 0.0, most
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if explains(middle) else (middle, high)
    return min(most, MORE * high)


def excused_k(oven: Oven, log: Log) -> np.ndarray:
    """By how much the two sensors of each sample may be apart by a place that a description allows, K."""
    looked = _Looked(oven, log)
    times = [step.time_s for step in looked.steps]
    return np.interp(log.time_s, times, looked.excused(Place(NEAR_ELEMENTS, NEAR_WALLS))) if times else 0.0 * log.time_s


class _Looked:
    """A record as the rule looks at it: the description's own oven and its light one with a sensor in some place."""

    def __init__(self, oven: Oven, log: Log):
        top_c = float(np.nanpercentile(log.reading_c, 99))
        model = day_zero(oven, log.load, top_c)
        self.likely, _, self.light = envelope_of(oven, log.load, model, day_zero_doubt(oven, log.load))
        self.policy = policy_for(oven)
        self.doors = log.doors
        self.steps = list(self._walked(log))

    def _walked(self, log: Log) -> Iterator[_Step]:
        state, last_s, since_s, heat_j, apart = SafetyState(), -math.inf, 0.0, 0.0, 0.0
        lumps, anew = self.likely.from_chamber(self.likely.room_c), True
        second = log.limit_c if log.limit_c is not None else np.full(len(log.time_s), np.nan)
        rows = zip(*(a.tolist() for a in (log.time_s, log.reading_c, second, log.power_w)), strict=True)
        for time_s, chamber_c, second_c, power_w in rows:
            if not (math.isfinite(chamber_c) and math.isfinite(second_c) and math.isfinite(power_w)):
                continue
            gap_s, last_s = time_s - last_s, time_s
            if gap_s > LONGEST_GAP_S:
                state, lumps, since_s, heat_j, apart = SafetyState(), self.likely.from_chamber(chamber_c), 0.0, 0.0, 0.0
                gap_s, anew = EXCUSED_EVERY_S, True
            since_s, heat_j = since_s + gap_s, heat_j + power_w * gap_s
            apart = max(apart, apart_k(state, self.policy, chamber_c, second_c, gap_s))
            if since_s >= EXCUSED_EVERY_S:
                lumps, given_w, _ = held(self.likely, lumps, chamber_c, heat_j / since_s, since_s)
                yield _Step(time_s, since_s, chamber_c, second_c, heat_j / since_s, given_w, apart, anew)
                since_s = heat_j = apart = 0.0
                anew = False

    def excused(self, place: Place) -> list[float]:
        """What that place of the control sensor explains at each step, K."""
        oven = replace(self.light, near_elements=place.near_elements, near_walls=place.near_walls)
        state, found = SafetyState(), []
        for step in self.steps:
            state = SafetyState() if step.anew else state
            misplaced.follow(state, oven, step.chamber_c, step.power_w, step.dt_s, step.given_w)
            found.append(misplaced.apart_k(state, oven, step.chamber_c, step.second_c))
        return found

    def lasts(self, place: Place, *, above: bool) -> bool:
        """Whether what that place leaves of the difference, `above` the second sensor or else below it, is more than
        two sound sensors differ by, and lasts, with closed doors."""
        over_s = 0.0
        for step, excused in zip(self.steps, self.excused(place), strict=True):
            hotter_c = max(step.chamber_c, step.second_c)
            allowed = excused + max(TOLERANCE_K, TOLERANCE_SHARE * hotter_c)
            shut = not any(a <= step.time_s <= b + self.policy.disagreement_s for a, b in self.doors)
            is_over = shut and (step.chamber_c >= step.second_c) is above and step.apart_k > allowed
            over_s = over_s + step.dt_s if is_over and not step.anew else 0.0
            if over_s > PASSES_SHARE * self.policy.disagreement_s:
                return True
        return False
