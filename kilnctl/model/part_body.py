"""The load as a slab whose surface is the part: what an estimate without a thermocouple on it rests on. Day zero's lump
of shelf and load is enough for the chamber, but its mean temperature is not that of a surface."""

from dataclasses import dataclass

from ..body import bodies_in, plate_of
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.psychrometrics import BOILING_K, WATER_J_PER_KGK, latent_j_per_kg
from .coupling import Moment, coupling_of
from .day_zero import working_of
from .energy import EnergyModel
from .load_range import LOAD_TIMES, load_range

#: Heat that water takes as it boils, J/kg.
LATENT_J_PER_KG = latent_j_per_kg(BOILING_K)
#: Depth of the four layers, surface first, as shares of the slab's: thin where the temperature is steep.
LAYERS = (1.0 / 15.0, 2.0 / 15.0, 4.0 / 15.0, 8.0 / 15.0)
#: Conductance inside, W/(m²·K), of a lump of which nothing is known but its capacity: it counts as thin.
THIN_W_PER_M2K = 1e4


@dataclass(frozen=True, slots=True)
class PartBody:
    """The load per square metre of its surface.

    j_per_m2k     heat capacity, J/(m²·K)
    inside_w      conductance through its whole (half) depth, W/(m²·K)
    film_w        convection from the chamber to the surface, W/(m²·K)
    radiant       radiating surface over surface, dimensionless
    latent_j      heat that its water takes at the boiling point, J/m²
    colder_k_per_w, warmer_k_per_w   how far a place in the chamber can be from the chamber's temperature, for each watt
                  from the elements, K/W
    mass_factor   how many times as heavy for its surface the load may be, and how many times as light; in thick or thin
                  pieces
    """

    j_per_m2k: float
    inside_w: float
    film_w: float
    radiant: float
    latent_j: float = 0.0
    colder_k_per_w: float = 0.0
    warmer_k_per_w: float = 0.0
    mass_factor: float = LOAD_TIMES


def part_of(oven: Oven, load: Load | None, working_c: float | None = None) -> PartBody | None:
    """The described load; None without one. Raises KilnctlError for a load that does not fit."""
    body = dict(bodies_in(oven, load)).get("load")
    if body is None:
        return None
    _, working = working_of(oven, working_c)
    ambient, plate = oven.site.ambient_c, plate_of(oven, body)
    at_c = (ambient + x * (working - ambient) for x in (0.25, 0.5, 0.75, 1.0))
    coupling, area = coupling_of(oven, load, [Moment(oven.elements.power_w, t, t) for t in at_c]), plate.area_m2
    link, capacity = coupling.bodies["load"], plate.material.mean_heat_capacity(ambient, working)
    return PartBody(
        j_per_m2k=(body.mass_kg * capacity + body.moisture_kg * WATER_J_PER_KGK) / area,
        inside_w=plate.material.conductivity(0.5 * (ambient + working)) / plate.depth_m,
        film_w=link.w_per_k / area,
        radiant=link.m2 / area,
        latent_j=body.moisture_kg * LATENT_J_PER_KG / area,
        colder_k_per_w=coupling.colder_k_per_w,
        warmer_k_per_w=coupling.warmer_k_per_w,
        mass_factor=load_range(oven, load).most,
    )


def part_of_lump(model: EnergyModel) -> PartBody | None:
    """The model's lump of shelf and load as a thin part; None without contents."""
    if model.contents_j_per_k <= 0.0:
        return None
    return PartBody(model.contents_j_per_k, THIN_W_PER_M2K, model.contents_w_per_k, model.contents_m2)
