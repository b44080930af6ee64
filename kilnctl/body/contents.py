"""Shelf and load as plates."""

from dataclasses import dataclass

from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.material_data import Material
from .layers import load_material

#: Critical moisture content: the share of a load's water at which its surface is no longer wet everywhere, and from
#: which it dries ever more slowly (a guess: from memory, a few tenths of the water with which porous and painted
#: goods come in; little for bare metal, most for wood and clay).
CRITICAL = 0.3


@dataclass(frozen=True)
class Plate:
    """Half a plate, heated on the outside and insulated in its middle: depth_m of `material` behind area_m2; the
    density follows from the mass."""

    material: Material
    area_m2: float
    depth_m: float
    density_kg_m3: float


def bodies_in(oven: Oven, load: Load | None) -> tuple[tuple[str, Load], ...]:
    """What is in the chamber, by name: "shelf" and "load", if they have mass. Raises KilnctlError for a load that does
    not fit into that chamber."""
    found = tuple((n, b) for n, b in (("shelf", oven.shelf), ("load", load)) if b is not None and b.mass_kg > 0.0)
    c = oven.chamber
    volume = c.width_m * c.depth_m * c.height_m
    for name, body in found:
        if name == "load" and body.mass_kg / load_material(oven, body).density_kg_m3 > 0.9 * volume:
            raise KilnctlError(
                f"the load '{body.name}' does not fit into the chamber of {oven.name}: {body.mass_kg:g} kg "
                f"of {body.material} are more than its {1000.0 * volume:.1f} litres"
            )
    return found


def drying_assumed(oven: Oven) -> tuple[str, ...]:
    """The guess about a wet load, as lines for the oven's assumptions."""
    load = oven.usual_load
    if load is None or load.moisture_kg <= 0.0:
        return ()
    said = (
        f"usual load.moisture: dries at a constant rate to {100.0 * CRITICAL:.0f} % of its water, then ever more "
        "slowly (weigh it during a drying to see where the loss begins to fall)"
    )
    return (said,)


def plate_of(oven: Oven, body: Load, mass_factor: float = 1.0) -> Plate:
    """The plate that represents a shelf or load: its depth is half the given thickness, or follows from mass, density
    and surface."""
    material, mass = load_material(oven, body), body.mass_kg * mass_factor
    depth = 0.5 * body.thickness_m if body.thickness_m else mass / (material.density_kg_m3 * body.area_m2)
    return Plate(material, body.area_m2, depth, mass / (body.area_m2 * depth))
