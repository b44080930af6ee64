"""How a virtual oven differs from its description: today's room and supply, wet lining, factors on its data."""

import math
from dataclasses import dataclass, fields

from .probes import NO_ERRORS, SensorErrors


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """The day: room, supply, water, sensors' own errors. Defaults: the description's room, a supply that
    drifts slowly by one per cent, everything dry and at room temperature, sensors without systematic errors.

    ambient_c                room, °C (None: the description's)
    start_c                  everything inside at the start, °C (None: the room)
    supply_share             mean supply voltage over nominal
    supply_drift             amplitude of the slow variation of the voltage, share of nominal (periods of some 10 min to
                             hours)
    lining_moisture          water in a new lining, kg per kg of its non-metal layers
    room_humidity            relative humidity of the room, 0..1
    control, limit, part     systematic errors of the thermocouples
    limit_height             where the limit sensor sits above the control sensor, share of the chamber's height,
                             −0.5..0.5
    """

    ambient_c: float | None = None
    start_c: float | None = None
    supply_share: float = 1.0
    supply_drift: float = 0.01
    lining_moisture: float = 0.0
    room_humidity: float = 0.5
    control: SensorErrors = NO_ERRORS
    limit: SensorErrors = NO_ERRORS
    part: SensorErrors = NO_ERRORS
    limit_height: float = 0.35

    def __post_init__(self) -> None:
        _within("supply_share", self.supply_share, 0.0, 1.3)
        _within("supply_drift", self.supply_drift, 0.0, 0.2)
        _within("lining_moisture", self.lining_moisture, 0.0, 1.0)
        _within("room_humidity", self.room_humidity, 0.0, 1.0)
        _within("limit_height", self.limit_height, -0.5, 0.5)
        for name in ("ambient_c", "start_c"):
            if getattr(self, name) is not None:
                _within(name, getattr(self, name), -40.0, 1320.0 if name == "start_c" else 60.0)


@dataclass(frozen=True, kw_only=True)
class Variation:
    """Factors on the description, for studies and for an oven that is not as described; 1 everywhere is as
    described.

    conductivity, heat_capacity   of all wall layers
    emissivity                    of everything inside (kept at 1 at most)
    film                          of the convective films inside
    power                         of the elements at nominal voltage
    leakage                       of the door's leak
    element_mass, load_mass       of elements and load
    """

    conductivity: float = 1.0
    heat_capacity: float = 1.0
    emissivity: float = 1.0
    film: float = 1.0
    power: float = 1.0
    leakage: float = 1.0
    element_mass: float = 1.0
    load_mass: float = 1.0

    def __post_init__(self) -> None:
        for f in fields(self):
            _within(f.name, getattr(self, f.name), 0.05, 20.0)


def _within(name: str, value: float, low: float, high: float) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie from {low:g} to {high:g}, not {value!r}")


#: The defaults: a usual day, and an oven that is as described.
USUAL_DAY, AS_DESCRIBED = Conditions(), Variation()
