"""The parameters of the energy balance as unknowns: names, units, bounds, and the uncertainty of the description's
value.

All are positive, so the fit works with the logarithm of each parameter over its day-zero value. Before any
data its standard deviation is `spread`, and where parameters share a cause (one conductivity, one density,
one emissivity of everything inside) a common part besides: catalogue conductivities are known to a quarter,
heat capacities to a sixth, films to a factor of 1.5, weighed masses better (common practice); how a wall is
cut into lumps, to a tenth. The rated power is not an unknown: multiplying it and every capacity and
conductance by the same factor changes no temperature, so the whole model is in rated watts."""

import math
from dataclasses import dataclass

import numpy as np

from .energy import EnergyModel

_CAUSES = {
    ("lining", "j_per_k"): ("heat capacity of the lining", 0.15),
    ("lining", "w_per_k"): ("conductivity of the lining", 0.25),
    ("element_w", ""): ("films", 0.3),
    ("film_w", ""): ("films", 0.3),
    ("contents_w", ""): ("films", 0.3),
    ("element_m2", ""): ("emissivities", 0.15),
    ("film_m2", ""): ("emissivities", 0.15),
    ("contents_m2", ""): ("emissivities", 0.15),
}


@dataclass(frozen=True)
class Parameter:
    """`field` of EnergyModel (`index` for the lumps of the lining), bounds in its unit, spread of its
    logarithm."""

    name: str
    unit: str
    low: float
    high: float
    spread: float
    doc: str
    field: str
    index: int | None = None

    @property
    def cause(self) -> tuple[str, float]:
        """The cause that it shares with other parameters, and the standard deviation of that common part; "" and 0 for
        none."""
        for ending, cause in _CAUSES.items():
            if self.name.startswith(ending[0]) and self.name.endswith(ending[1]):
                return cause
        return "", 0.0


def _lining(number: int, spread_j: float, spread_w: float) -> tuple[Parameter, Parameter]:
    onward = "to the room" if number == 3 else f"to depth {number + 2}"
    return (
        Parameter(
            f"lining_{number + 1}_j_per_k",
            "J/K",
            0.5,
            1e8,
            spread_j,
            f"heat capacity of the lining at depth {number + 1}",
            "lining_j_per_k",
            number,
        ),
        Parameter(
            f"lining_{number + 1}_w_per_k",
            "W/K",
            1e-3,
            1e5,
            spread_w,
            f"conductance from there {onward}",
            "lining_w_per_k",
            number,
        ),
    )


PARAMETERS = (
    Parameter("element_j_per_k", "J/K", 1.0, 1e6, 0.3, "heat capacity of the elements", "element_j_per_k"),
    Parameter(
        "element_w_per_k",
        "W/K",
        1e-4,
        1e4,
        0.3,
        "convection from the elements to the chamber",
        "element_w_per_k",
    ),
    Parameter("element_m2", "m²", 1e-5, 100.0, 0.2, "radiation from the elements to the chamber", "element_m2"),
    Parameter(
        "chamber_j_per_k",
        "J/K",
        0.5,
        1e6,
        0.5,
        "heat capacity of the air and what follows it at once",
        "chamber_j_per_k",
    ),
    Parameter("film_w_per_k", "W/K", 1e-4, 1e5, 0.3, "convection from the chamber to the lining", "film_w_per_k"),
    Parameter("film_m2", "m²", 1e-5, 1000.0, 0.2, "radiation from the chamber to the lining", "film_m2"),
    *_lining(0, 0.1, 0.12),
    *_lining(1, 0.1, 0.12),
    *_lining(2, 0.1, 0.12),
    *_lining(3, 0.1, 0.12),
    Parameter(
        "rise_per_k",
        "1/°C",
        1e-6,
        0.1,
        0.25,
        "rise of the lining's conductance with temperature",
        "rise_per_k",
    ),
    Parameter(
        "capacity_rise_per_k",
        "1/°C",
        1e-7,
        0.02,
        0.4,
        "rise of the lining's heat capacity with temperature",
        "capacity_rise_per_k",
    ),
    Parameter(
        "leak_w_per_k",
        "W/K",
        1e-4,
        1e4,
        0.5,
        "what passes the lining: leaks, bridges, ventilation",
        "leak_w_per_k",
    ),
    Parameter("contents_j_per_k", "J/K", 0.5, 1e7, 0.15, "heat capacity of shelf and load", "contents_j_per_k"),
    Parameter(
        "contents_w_per_k",
        "W/K",
        1e-4,
        1e5,
        0.3,
        "convection from the chamber to shelf and load",
        "contents_w_per_k",
    ),
    Parameter("contents_m2", "m²", 1e-5, 1000.0, 0.2, "radiation from the chamber to shelf and load", "contents_m2"),
    Parameter("extra_w", "W", 1e-2, 5000.0, 0.3, "power of the fan that ends up as heat", "extra_w"),
    Parameter("lag_s", "s", 0.05, 1200.0, 0.4, "lag of the sensor in still room air", "lag_s"),
    Parameter(
        "sensor_wind",
        "1",
        0.01,
        100.0,
        0.5,
        "convection on the sensor at work over its film in still air",
        "sensor_wind",
    ),
    Parameter("dead_s", "s", 0.02, 240.0, 0.5, "dead time of the reading", "dead_s"),
)
NAMES = tuple(p.name for p in PARAMETERS)


def value_of(model: EnergyModel, parameter: Parameter) -> float:
    """Its value; for a parameter that changes all lumps together, their mean."""
    value = getattr(model, parameter.field)
    if parameter.index is not None:
        return value[parameter.index]
    return sum(value) / len(value) if isinstance(value, tuple) else value


def free_in(model: EnergyModel) -> tuple[Parameter, ...]:
    """The parameters that this model has: what is zero (no shelf, no fan) stays zero."""
    return tuple(p for p in PARAMETERS if value_of(model, p) > 0.0)


def scaled(model: EnergyModel, parameters, logarithms) -> EnergyModel:
    """The model with each parameter multiplied by exp of its logarithm."""
    changes: dict = {}
    for p, theta in zip(parameters, logarithms):
        value, factor = changes.get(p.field, getattr(model, p.field)), math.exp(theta)
        if isinstance(value, tuple):
            changes[p.field] = tuple(v * factor if p.index in (None, i) else v for i, v in enumerate(value))
        else:
            changes[p.field] = value * factor
    return model.but(**changes)


def out_of_bounds(model: EnergyModel) -> list[str]:
    """Parameters outside their bounds, in words; zero is allowed for parts that an oven may lack."""
    problems = []
    for p in PARAMETERS:
        value = value_of(model, p)
        optional = value == 0.0 and p.field.startswith(
            ("contents", "extra", "leak", "rise", "capacity_rise", "lag", "dead", "element_w", "element_m2")
        )
        if not optional and not p.low <= value <= p.high:
            problems.append(f"{p.name} = {value:g} {p.unit} is outside {p.low:g} to {p.high:g} {p.unit}")
    return problems


def prior_covariance(parameters) -> np.ndarray:
    """Covariance of the logarithms before any data: own spreads, and the common parts of parameters with one cause."""
    out = np.diag([p.spread**2 for p in parameters])
    for i, one in enumerate(parameters):
        for j, other in enumerate(parameters):
            if one.cause[0] and one.cause[0] == other.cause[0]:
                out[i, j] += one.cause[1] * other.cause[1]
    return out
