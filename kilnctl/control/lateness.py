"""How much later the readings come than the model says: one number that the estimator finds.

A description says little of what delays a reading: the zone that the sensor sits in, a liner or a carrier before the
wire, a sheath. Taken as a lag of the sensor, the logarithm of its factor is a state of the filter: 0 where lag and dead
time are as in the model. Without it a late oven looks like one with little power, and its stored heat arrives after the
power is cut. (A lag of the air counts here as one of the sensor: the control then stops too soon rather than too
late.)"""

import math

from ..model.doubt import ZONE_S
from ..model.energy import CHAMBER, SENSOR, EnergyModel
from ..safety.extremes import greater, lesser

#: The sensor's lag stays at least this share of the model's, and becomes at most `ZONE_S` longer: what is beyond is no
#: sensor, but an oven with less power or more to heat.
LEAST_SHARE = 0.2  # ±30 %: none
#: Where the innovations' recent mean is this large, in standard deviations, half of the lateness's effect counts: it
#: has had its chance to explain them, and an oven four times as heavy as described is no late sensor.
EXPLAINS = 1.0

#: By which share the model's heating rate may be wrong, and with it the gap between chamber and sensor: what a
#: description leaves open of power and capacity together.
GAP = 0.3  # ±30 %: overshoot -0.05/-0.03 K, swing -0.03/-0.04 K, error +2.3/-0.4 %


def more_s_of(model: EnergyModel, late: float) -> float:
    """By how much the sensor's lag is longer than the model's, s, in still room air as `lag_s`."""
    return model.delay_s * math.expm1(late) if late else 0.0


def within(model: EnergyModel, late: float) -> float:
    """The lateness within its bounds."""
    if model.delay_s <= 0.0:
        return 0.0
    least = math.log1p(-(1.0 - LEAST_SHARE) * model.lag_s / model.delay_s)
    return lesser(math.log1p(ZONE_S / model.delay_s), greater(least, late))


def unseen_k(model: EnergyModel, x, late: float) -> float:
    """What the chamber's estimate owes to a lateness that was found, K: with the lag of the model the readings would
    show the chamber so much lower. Goes to zero as the chamber comes to rest."""
    more_s = greater(0.0, more_s_of(model, late))
    return (x[CHAMBER] - x[SENSOR]) * more_s / (model.lag_s + more_s) if more_s > 0.0 else 0.0


def hotter_k(model: EnergyModel, x, late: float, sd: float) -> float:
    """By how much the chamber may be hotter than estimated, K, because the readings may come later than found: by `sd`,
    one standard deviation of the lateness. 0 while it cools."""
    more_s, gap_k = more_s_of(model, late), x[CHAMBER] - x[SENSOR]
    lag_s = model.lag_s + more_s
    if sd <= 0.0 or gap_k <= 0.0 or lag_s <= 0.0:
        return 0.0
    return gap_k * (more_s_of(model, late + sd) - more_s) / lag_s


def by_lateness(
    model: EnergyModel, ahead_k: float, chamber_c: float, dt_s: float, more_s: float, surprise: float
) -> float:
    """The sensor's change in a step of dt_s (s) for a unit more of lateness, K; `ahead_k`: chamber above sensor, K;
    `surprise`: recent mean of the innovations in standard deviations, see `EXPLAINS`."""
    lag_s = model.lag_at_s(chamber_c, more_s)
    if lag_s <= 0.0:
        return 0.0
    share, believed = dt_s / lag_s, 1.0 / (1.0 + (surprise / EXPLAINS) ** 4)
    return -believed * math.exp(-share) * share * (model.delay_s + more_s) / (model.lag_s + more_s) * ahead_k


def doubted(model: EnergyModel, x, late: float, unknown_w: float, dt_s: float) -> float:
    """Variance, K², of what a reading says of the lateness besides its noise: the gap between chamber and sensor is
    wrong by `GAP` of itself in any case, by as much more as heat is unknown, and readings within one lag are wrong
    alike."""
    lag_s = model.lag_at_s(x[CHAMBER], more_s_of(model, late))
    gives_w = greater(1.0, abs(model.elements_give_w(x)))
    gap_k = (GAP + abs(unknown_w) / gives_w) * (x[CHAMBER] - x[SENSOR])
    return gap_k * gap_k * greater(1.0, lag_s / dt_s)
