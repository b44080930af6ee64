"""The parameters of the energy balance as unknowns: names, units, bounds, and how far the description's value is trusted.

All are positive, so the fit works with the logarithm of each parameter over its day-zero value; `spread` is the standard
deviation of that logarithm before any data (common practice: films and contact with the load are known to a factor of 1.5,
catalogue conductivities and heat capacities to a quarter, weighed masses better). The rated power is not an unknown: multiplying
it and every capacity and conductance by the same factor changes no temperature, so the whole model is in rated watts.
"""

import math
from dataclasses import dataclass

from .energy import EnergyModel


@dataclass(frozen=True)
class Parameter:
    """`field` of EnergyModel (`index` for the lumps of the lining), bounds in its unit, spread of its logarithm."""

    name: str
    unit: str
    low: float
    high: float
    spread: float
    doc: str
    field: str
    index: int | None = None


def _lining(number: int, spread_j: float, spread_w: float) -> tuple[Parameter, Parameter]:
    where = ("its inside face", "its middle", "its outside")[number]
    onward = ("to its middle", "to its outside", "to the room")[number]
    return (Parameter(f"lining_{number + 1}_j_per_k", "J/K", 0.5, 1e8, spread_j, f"heat capacity of the lining near {where}", "lining_j_per_k", number),
            Parameter(f"lining_{number + 1}_w_per_k", "W/K", 1e-3, 1e5, spread_w, f"conductance from there {onward}", "lining_w_per_k", number))  # fmt: skip


PARAMETERS = (
    Parameter("element_j_per_k", "J/K", 1.0, 1e6, 0.35, "heat capacity of the elements", "element_j_per_k"),
    Parameter("element_w_per_k", "W/K", 1e-4, 1e4, 0.5, "convection from the elements to the chamber", "element_w_per_k"),
    Parameter("element_m2", "m²", 1e-5, 100.0, 0.4, "radiation from the elements to the chamber", "element_m2"),
    Parameter("chamber_j_per_k", "J/K", 0.5, 1e6, 0.5, "heat capacity of the air and what follows it at once", "chamber_j_per_k"),
    Parameter("film_w_per_k", "W/K", 1e-4, 1e5, 0.5, "convection from the chamber to the lining", "film_w_per_k"),
    Parameter("film_m2", "m²", 1e-5, 1000.0, 0.4, "radiation from the chamber to the lining", "film_m2"),
    *_lining(0, 0.35, 0.35),
    *_lining(1, 0.35, 0.35),
    *_lining(2, 0.35, 0.35),
    Parameter("rise_per_k", "1/°C", 1e-6, 0.1, 0.5, "rise of the lining's conductance with temperature", "rise_per_k"),
    Parameter("leak_w_per_k", "W/K", 1e-4, 1e4, 0.5, "what passes the lining: leaks, bridges, ventilation", "leak_w_per_k"),
    Parameter("contents_j_per_k", "J/K", 0.5, 1e7, 0.15, "heat capacity of shelf and load", "contents_j_per_k"),
    Parameter("contents_w_per_k", "W/K", 1e-4, 1e5, 0.5, "convection from the chamber to shelf and load", "contents_w_per_k"),
    Parameter("contents_m2", "m²", 1e-5, 1000.0, 0.4, "radiation from the chamber to shelf and load", "contents_m2"),
    Parameter("extra_w", "W", 1e-2, 5000.0, 0.3, "power of the fan that ends up as heat", "extra_w"),
    Parameter("lag_s", "s", 0.05, 1200.0, 0.4, "lag of the sensor in still room air", "lag_s"),
    Parameter("sensor_wind", "1", 0.01, 100.0, 0.5, "convection on the sensor at work over its film in still air", "sensor_wind"),
    Parameter("dead_s", "s", 0.02, 240.0, 0.5, "dead time of the reading", "dead_s"),
)  # fmt: skip
NAMES = tuple(p.name for p in PARAMETERS)


def value_of(model: EnergyModel, parameter: Parameter) -> float:
    value = getattr(model, parameter.field)
    return value if parameter.index is None else value[parameter.index]


def free_in(model: EnergyModel) -> tuple[Parameter, ...]:
    """The parameters that this model has at all: what is zero (no shelf, no fan) stays zero."""
    return tuple(p for p in PARAMETERS if value_of(model, p) > 0.0)


def scaled(model: EnergyModel, parameters, logarithms) -> EnergyModel:
    """The model with each parameter multiplied by exp of its logarithm."""
    changes: dict = {}
    for p, theta in zip(parameters, logarithms):
        value = value_of(model, p) * math.exp(theta)
        if p.index is None:
            changes[p.field] = value
        else:
            lumps = list(changes.get(p.field, getattr(model, p.field)))
            lumps[p.index] = value
            changes[p.field] = tuple(lumps)
    return model.but(**changes)


def out_of_bounds(model: EnergyModel) -> list[str]:
    """What lies outside its bounds, in words; zero is allowed for what an oven need not have."""
    problems = []
    for p in PARAMETERS:
        value = value_of(model, p)
        optional = value == 0.0 and p.field.startswith(("contents", "extra", "leak", "rise", "lag", "dead", "element_w", "element_m2"))
        if not optional and not p.low <= value <= p.high:
            problems.append(f"{p.name} = {value:g} {p.unit} is outside {p.low:g} to {p.high:g} {p.unit}")
    return problems
