"""What a study varies, and by how much: the inputs, their distributions, and one draw of all of them.

Uncertainties are stated in the usual form, "±15 %" or "±8 K", and read as the interval that holds 95 of 100 ovens.
Factors are log-normal (a factor of 1.15 either way), differences normal: which is what the maximum-entropy argument
gives for a positive quantity and for a difference of known spread (JCGM 101:2008, section 6.4.7). The standard normal
deviates of a draw follow from the study's seed and the draw's number alone, so its numbers do not depend on which
process computes it, when, or in which order.
"""

import math
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..plants.conditions import Variation
from ..settings.construction import Load
from ..settings.differences import Virtual
from ..settings.document import parse_document, read_text
from ..settings.fields import quantity, setting_fields, text
from ..settings.oven import Oven
from ..settings.yaml_reader import read_root

#: Half-width of the interval that holds 95 of 100 of a normal distribution, in standard deviations.
NINETY_FIVE = 1.959964

#: The rooms and supplies that an oven meets, and what a thermocouple may be off (class 2 of IEC 60584-1 is ±2.5 K up to
#: 333 °C, from memory; half of it is usual after a check at one point: common practice).
AMBIENT_K, SENSOR_K = 8.0, 1.5
POWER, ELEMENT_MASS, LOAD_MASS, FILM, LEAKAGE = 0.05, 0.15, 0.2, 0.2, 1.0


@dataclass(frozen=True, kw_only=True)
class Vary:
    """Half-widths of the 95 % intervals; 0 keeps an input as described. Its first key is `vary:`, what it is for."""

    vary: str = text("what these uncertainties are for", default="study")
    conductivity: float = quantity("fraction", "insulation's conductivity", default=0.15, low=0.0, high=2.0)
    heat_capacity: float = quantity("fraction", "heat capacity of the walls", default=0.10, low=0.0, high=2.0)
    emissivity: float = quantity("fraction", "emissivities inside", default=0.10, low=0.0, high=2.0)
    film: float = quantity("fraction", "convective films inside", default=FILM, low=0.0, high=2.0)
    leakage: float = quantity("fraction", "the door's leak; 100 % is twice or half", default=LEAKAGE, low=0.0, high=4.0)
    power: float = quantity("fraction", "the elements' power at nominal voltage", default=POWER, low=0.0, high=1.0)
    element_mass: float = quantity("fraction", "the elements' mass", default=ELEMENT_MASS, low=0.0, high=2.0)
    load_mass: float = quantity("fraction", "the load's mass", default=LOAD_MASS, low=0.0, high=4.0)
    supply: float = quantity("fraction", "supply voltage", default=0.1, low=0.0, high=0.3)
    ambient_k: float = quantity("difference", "room temperature", default=AMBIENT_K, low=0.0, high=30.0)
    control_offset_k: float = quantity(
        "difference", "error of the control sensor", default=SENSOR_K, low=0.0, high=20.0
    )
    limit_offset_k: float = quantity("difference", "error of the limit sensor", default=SENSOR_K, low=0.0, high=20.0)
    part_offset_k: float = quantity(
        "difference", "error of the part's thermocouple", default=SENSOR_K, low=0.0, high=20.0
    )
    assumptions: tuple[str, ...] = ()
    places: dict = field(default_factory=dict, compare=False, repr=False)


#: The inputs, in the order of the deviates. New ones are added at the end, so that old studies do not change.
INPUTS = tuple(f.name for f in setting_fields(Vary) if f.name != "vary")
_FACTORS = tuple(f.name for f in fields(Variation))
#: Their names for people.
WORDS = {
    name: name.removesuffix("_k").replace("_offset", " sensor").replace("ambient", "room").replace("_", " ")
    for name in INPUTS
}
#: Inputs that are no part of a fitted model: its covariance says how the others vary.
OUTSIDE = ("supply", "ambient_k", "control_offset_k", "limit_offset_k", "part_offset_k")


def load_vary(path: str | Path) -> Vary:
    """Read a file of uncertainties. Raises `SettingsError` with every problem found, each with file:line:column."""
    source, _ = read_text(path)
    return read_root(Vary, parse_document(source, str(path)), str(path), {})


def usual(oven: Oven, load: Load | None = None) -> Vary:
    """The description's own uncertainties, its supply's tolerance, how well the load is known (None: the usual one) if
    its file says so, and the usual rest; sensors that it lacks do not vary."""
    u, sensors = oven.uncertainty, oven.sensors
    put_in = load or oven.usual_load
    known = None if put_in is None else put_in.known_within
    return Vary(
        vary=f"usual uncertainties of {oven.name}",
        conductivity=u.conductivity,
        heat_capacity=u.heat_capacity,
        emissivity=u.emissivity,
        load_mass=LOAD_MASS if known is None else known,
        supply=min(0.3, oven.supply.tolerance),
        limit_offset_k=SENSOR_K if sensors.limit else 0.0,
        part_offset_k=SENSOR_K if sensors.part else 0.0,
    )


def varied(vary: Vary, fitted: bool = False) -> tuple[str, ...]:
    """The inputs that do vary; with a fitted model only those outside it."""
    return tuple(n for n in INPUTS if getattr(vary, n) > 0.0 and (not fitted or n in OUTSIDE))


def generator_of(seed: int, draw: int) -> np.random.Generator:
    """The random numbers of one draw."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(draw,))))


def plant_seed(seed: int, draw: int) -> int:
    """The seed of the draw's virtual oven (its noise and its supply's wander); never 0, which stands for "as the file
    says"."""
    return 1 + int(np.random.SeedSequence(seed, spawn_key=(draw, 1)).generate_state(1)[0] >> 1)


def deviates(seed: int, draw: int, count: int) -> list[float]:
    """Standard normal deviates of one draw: one for each of INPUTS, then `count` for the parameters of a fit."""
    return generator_of(seed, draw).standard_normal(len(INPUTS) + count).tolist()


def virtual_of(vary: Vary, oven: Oven, z: list[float], seed: int) -> Virtual:
    """The virtual oven at deviates z (of INPUTS)."""
    at = dict(zip(INPUTS, z, strict=False))  # the deviates of a fit come after them
    factors: dict[str, Any] = {
        n: _clipped(math.exp(at[n] / NINETY_FIVE * math.log1p(getattr(vary, n))), 0.05, 20.0) for n in _FACTORS
    }
    shift = {n: at[n] / NINETY_FIVE * getattr(vary, n) for n in INPUTS if n not in _FACTORS}
    ambient = _clipped(oven.site.ambient_c + shift["ambient_k"], -40.0, 60.0) if vary.ambient_k > 0.0 else None
    return Virtual(
        seed=seed,
        supply=_clipped(1.0 + shift["supply"], 0.5, 1.3),
        ambient_c=ambient,
        control_offset_k=shift["control_offset_k"],
        limit_offset_k=shift["limit_offset_k"],
        part_offset_k=shift["part_offset_k"],
        **factors,
    )


def outside_only(virtual: Virtual) -> Virtual:
    """Without the factors of the description: for a fitted model, whose own spread stands for them."""
    return replace(virtual, **dict.fromkeys(_FACTORS, 1.0))


def _clipped(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
