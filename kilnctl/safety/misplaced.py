"""A sensor that by its place shows more or less than the chamber, which no description tells:

near elements   a sheath looks at one wall with half of itself, and wire covers at most half of that wall: it shows up
                to a quarter of the elements' temperature (`LumpedOven.near_elements`)
near walls      a sheath that reaches a few centimetres in is cooled along itself by the wall that it comes through, and
                shows up to 0.6 of its temperature (`LumpedOven.near_walls`): 1/cosh(L·√(4h/(kD))) of a fin with an
                adiabatic tip, for steel (k = 20 W/(m·K)) of D = 6 mm that reaches L = 40 mm in, at h = 23 W/(m²·K)

Both are estimates. A fit learns what heat its sensor shows, so the ovens of a fitted model have neither; it does not
learn how far a second sensor is apart. Of that, an oven of the description with the place that the records showed
(`Place`) excuses as much as they need."""

import math
from dataclasses import dataclass

from .coolest import STEFAN_BOLTZMANN, ZERO_C, LumpedOven, held
from .extremes import greater, lesser
from .state import SafetyState

#: What a place has explained is forgotten within this time, s, as the power fired lately is: the estimate of
#: unexplained heat follows within minutes.
LATELY_S = 300.0  # ±30 %: none


@dataclass(frozen=True, slots=True)
class Place:
    """Shares of the elements' and of the walls' temperature that a control sensor shows by its place, as records showed
    it against a second sensor. Raises ValueError for what is no share."""

    near_elements: float
    near_walls: float

    def __post_init__(self) -> None:
        if not (0.0 <= self.near_elements < 1.0 and 0.0 <= self.near_walls < 1.0):
            raise ValueError(f"place of the control sensor: {self} should have shares from 0 to below 1")

    def wider(self, other: "Place | None") -> "Place":
        """What either has seen."""
        if other is None:
            return self
        return Place(max(self.near_elements, other.near_elements), max(self.near_walls, other.near_walls))


def excused_share(
    state: SafetyState, oven: LumpedOven, reads_c: float, power_w: float, dt_s: float, given_w: float, net_w: float
) -> float:
    """Heat, as a share of full power, that seems to be too much when the sensor of this oven lies near its elements.
    given_w, net_w: what the elements of the model's own oven give, W, and less what its lining and contents take.
    Advances what `state` keeps of such sensors by dt_s (above 0)."""
    if oven.near_elements == 0.0:
        return 0.0
    share = (follow(state, oven, reads_c, power_w, dt_s, given_w) - net_w) / oven.full_w
    state.place_share += (share - state.place_share) * (1.0 - math.exp(-dt_s / LATELY_S))
    return greater(share, state.place_share)


def follow(state: SafetyState, oven: LumpedOven, reads_c: float, power_w: float, dt_s: float, given_w: float) -> float:
    """Advance by dt_s (above 0) what a sensor by its place shows in this oven, for `apart_k`; `_spare_w` of it, W."""
    spare_w = _spare_w(state, oven, reads_c, power_w, dt_s)
    # What passes is seen for as long as a sensor is late.
    kept = math.exp(-dt_s / (oven.lag_s + 1.0))
    state.above_k, state.given_w = greater(state.shown_k, kept * state.above_k), greater(given_w, kept * state.given_w)
    return spare_w


def _spare_w(state: SafetyState, oven: LumpedOven, reads_c: float, power_w: float, dt_s: float) -> float:
    """The heat, W, that seems to warm the chamber when its sensor lies near the elements: what they give and lining and
    contents do not take, round the cooler chamber that this reading means; what that one does not lose past the lining;
    and what it would store if it moved with the reading."""
    share = oven.near_elements
    before = state.placed or oven.from_chamber(reads_c)
    chamber_c = (reads_c - share * before[0]) / (1.0 - share)
    state.placed, given_w, taken_w = held(oven, before, chamber_c, power_w, dt_s)
    was_k, state.shown_k = state.shown_k, reads_c - state.placed[1]
    stored_w = oven.follows_j_per_k * (state.shown_k - was_k) / dt_s
    return given_w - taken_w + oven.leak_w_per_k * state.shown_k + stored_w


def apart_k(state: SafetyState, oven: LumpedOven, reads_c: float, second_c: float) -> float:
    """How far a control sensor may be from a second one in the air by its place, K: above it near the elements, below
    it near the walls. These take no more than the elements give, so they are cooler than the air by that heat over the
    film's conductance at the most (its tangent; the doubt of the film is more than the curvature), and no cooler than
    the room: no place explains a reading below that."""
    if reads_c >= second_c:
        return state.above_k
    if reads_c < oven.room_c:
        return 0.0
    film_w_per_k = oven.film_w_per_k + 4.0 * STEFAN_BOLTZMANN * oven.film_m2 * (second_c + ZERO_C) ** 3
    return oven.near_walls * lesser(state.given_w / film_w_per_k, second_c - oven.room_c)
