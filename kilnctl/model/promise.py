"""What the energy limiter promises where it has nothing but energy: how hot an oven can be held, and how hot it can get
at full power, whose sensor lies (`kilnctl check` prints it)."""

import math
from dataclasses import replace

from ..safety.coolest import LumpedOven, step
from .energy import CHAMBER, ELEMENT, EnergyModel
from .uncertainty import true_holding_w

#: A heat-up at full power is followed for this long, s, in steps that grow with it: shortest, s, and share.
HEATED_S, STEP_S, STEP_SHARE = 48 * 3600.0, 5.0, 0.01
#: An oven whose lumps change by less than this in a day has settled, K.
SETTLED_K = 1e-9


def settled_c(coolest: LumpedOven, power_w: float) -> float:
    """The chamber of the coolest oven in steady state at that metered power, °C."""
    dry = replace(coolest, water_j=0.0)
    x = dry.from_chamber(dry.room_c)
    for _ in range(400):
        before, x = x, step(dry, x, coolest.power_share * power_w, 3600.0 * 24.0, False)
        if max(abs(after - was) for after, was in zip(x, before, strict=True)) < SETTLED_K:
            break
    return x[1]


def held_w(model: EnergyModel, chamber_c: float) -> float:
    """`true_holding_w`, not below 0."""
    return max(0.0, true_holding_w(model, chamber_c))


def promised_c(coolest: LumpedOven, model: EnergyModel, trip_c: float, metered: bool) -> float:
    """The temperature, °C (at most 2000), at which an oven exactly like the model can be held for hours before the
    energy limiter ends the heat, independent of its sensor."""
    share = coolest.power_share if metered else coolest.unmetered_share
    low, high = trip_c, 2000.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        if settled_c(coolest, share / coolest.power_share * held_w(model, middle)) > trip_c:
            high = middle
        else:
            low = middle
    return high


def heated_c(coolest: LumpedOven, model: EnergyModel, trip_c: float, metered: bool) -> float:
    """The chamber of an oven exactly like the model, °C, at full power from cold when the energy limiter ends the heat:
    when even `coolest` is above the trip. Whatever the sensor shows may only end it sooner. Infinite where that never
    happens."""
    x, lumps, time_s = model.rest(model.ambient_c), coolest.from_chamber(model.ambient_c), 0.0
    share = coolest.power_share if metered else coolest.unmetered_share
    while time_s < HEATED_S:
        dt_s = max(STEP_S, STEP_SHARE * time_s)
        told_w = model.power_w / (1.0 + model.resistance_rise_per_k * (x[ELEMENT] - model.rated_c))
        x = model.step(x, model.power_w, dt_s, model.ambient_c)
        lumps = step(coolest, lumps, share * told_w, dt_s, False)
        if lumps[1] > trip_c:
            return x[CHAMBER]
        time_s += dt_s
    return math.inf
