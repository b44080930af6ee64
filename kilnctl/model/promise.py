"""What the energy limiter promises where it has nothing but energy: how hot an oven can be held whose sensor lies
(`kilnctl check` prints it)."""

from dataclasses import replace

from ..safety.coolest import LumpedOven, step
from .energy import EnergyModel
from .uncertainty import true_holding_w


def settled_c(coolest: LumpedOven, power_w: float) -> float:
    """The chamber of the coolest oven in steady state at that metered power, °C."""
    dry = replace(coolest, water_j=0.0)
    x = dry.from_chamber(dry.room_c)
    for _ in range(400):
        x = step(dry, x, coolest.power_share * power_w, 3600.0 * 24.0, False)
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
