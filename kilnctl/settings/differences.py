"""What a virtual oven is like beyond its description: written by `kilnctl study` into the ovens that it keeps for
replay."""

from dataclasses import dataclass
from typing import Any

from .fields import integer, quantity, text

#: A factor on the description, within 1/20 and 20.
_FACTOR: dict[str, Any] = dict(default=1.0, low=0.05, high=20.0)


@dataclass(frozen=True, kw_only=True)
class Virtual:
    """Only virtual ovens read this; model, limits and real runs go by the description. Factors of 1 are as
    described."""

    seed: int = integer("seed of its noise, where no other is given", low=0, high=2**32, default=0)
    conductivity: float = quantity("fraction", "factor on the conductivity of all insulation", **_FACTOR)
    heat_capacity: float = quantity("fraction", "factor on the heat capacity of all wall layers", **_FACTOR)
    emissivity: float = quantity("fraction", "factor on all emissivities inside", **_FACTOR)
    film: float = quantity("fraction", "factor on the convective films inside", **_FACTOR)
    leakage: float = quantity("fraction", "factor on the door's leak", **_FACTOR)
    power: float = quantity("fraction", "factor on the elements' power at nominal voltage", **_FACTOR)
    element_mass: float = quantity("fraction", "factor on the elements' mass", **_FACTOR)
    load_mass: float = quantity("fraction", "factor on the load's mass", **_FACTOR)
    supply: float = quantity("fraction", "mean supply voltage over nominal", default=1.0, low=0.0, high=1.3)
    ambient_c: float | None = quantity(
        "temperature", "room temperature, instead of the site's", default=None, low=-40.0, high=60.0
    )
    control_offset_k: float = quantity(
        "difference", "what the control sensor shows too much", default=0.0, low=-50.0, high=50.0
    )
    limit_offset_k: float = quantity(
        "difference", "what the limit sensor shows too much", default=0.0, low=-50.0, high=50.0
    )
    part_offset_k: float = quantity(
        "difference", "what the part's thermocouple shows too much", default=0.0, low=-50.0, high=50.0
    )
    balance: str | None = text("a model file next to this one, simulated instead of the detailed oven", default=None)
