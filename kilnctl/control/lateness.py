"""How much later the readings come than the model says: one number that the estimator finds.

A description says little of what delays a reading: the zone that the sensor sits in, a liner or a carrier before the
wire, a sheath. Taken as a lag of the sensor, the logarithm of its factor is a state of the filter: 0 where lag and dead
time are as in the model. Without it a late oven looks like one with little power, and its stored heat arrives after the
power is cut. (A lag of the air counts here as one of the sensor: the control then stops too soon rather than too
late.)"""

import math

from ..model.energy import CHAMBER, SENSOR, EnergyModel

#: The sensor's lag stays at least this share of the model's, and the lateness below this logarithm: what is beyond is
#: no sensor.
LEAST_SHARE, MOST = 0.2, 3.0  # ±30 %: none

#: By which share the model's heating rate may be wrong, and with it the gap between chamber and sensor: what a
#: description leaves open of power and capacity together.
GAP = 0.3  # ±30 %: overshoot -0.05/-0.03 K, swing -0.03/-0.04 K, error +2.3/-0.4 %


def _base_s(model: EnergyModel) -> float:
    return model.lag_s + model.dead_s


def more_s_of(model: EnergyModel, late: float) -> float:
    """By how much the sensor's lag is longer than the model's, s, in still room air as `lag_s`."""
    return _base_s(model) * math.expm1(late) if late else 0.0


def within(model: EnergyModel, late: float) -> float:
    """The lateness within its bounds."""
    base_s = _base_s(model)
    if base_s <= 0.0:
        return 0.0
    least = math.log1p(-(1.0 - LEAST_SHARE) * model.lag_s / base_s)
    return min(MOST, max(least, late))


def by_lateness(model: EnergyModel, ahead_k: float, chamber_c: float, dt_s: float, more_s: float) -> float:
    """The sensor's change in a step of dt_s (s) for a unit more of lateness, K; `ahead_k`: chamber above sensor, K."""
    lag_s = model.lag_at_s(chamber_c, more_s)
    if lag_s <= 0.0:
        return 0.0
    share = dt_s / lag_s
    return -math.exp(-share) * share * (_base_s(model) + more_s) / (model.lag_s + more_s) * ahead_k


def doubted(model: EnergyModel, x, late: float, unknown_w: float, dt_s: float) -> float:
    """Variance, K², of what a reading says of the lateness besides its noise: the gap between chamber and sensor is
    wrong by `GAP` of itself in any case, by as much more as heat is unknown, and readings within one lag are wrong
    alike."""
    lag_s = model.lag_at_s(x[CHAMBER], more_s_of(model, late))
    gives_w = max(1.0, abs(model.elements_give_w(x)))
    gap_k = (GAP + abs(unknown_w) / gives_w) * (x[CHAMBER] - x[SENSOR])
    return gap_k * gap_k * max(1.0, lag_s / dt_s)
