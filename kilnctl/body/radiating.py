"""The surfaces inside: faces, shelf and load, elements; their areas for convection and radiation."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.enclosure import star_conductances_m2
from .contents import bodies_in
from .heaters import heater_of
from .layers import geometry_of

#: The side of a face that the air is on: below the inside of a roof, above the inside of a floor.
INSIDE = {"vertical": "vertical", "up": "down", "down": "up"}
#: Elements' surface beyond this share of all other surfaces together radiates to itself and not to the chamber.
MOST_SEEN = 0.9


@dataclass(frozen=True)
class Surface:
    """`count` equal pieces of piece_m2 each that radiate to one another. `orientation` is the side that the air is on
    ("vertical", "up", "down"), or "wire" for an element, whose length_m is its diameter."""

    name: str
    piece_m2: float
    count: int
    emissivity: float
    length_m: float
    orientation: str

    @property
    def area_m2(self) -> float:
        return self.piece_m2 * self.count


def surfaces_of(oven: Oven, load: Load | None = None) -> tuple[Surface, ...]:
    """The faces in the description's order, then "shelf" and "load" if present (each two sides of a plate), then
    "elements" with a piece for each group."""
    found = []
    for face in oven.faces:
        g = geometry_of(oven, face)
        found.append(
            Surface(
                face.name,
                g.inner_m2 / face.count,
                face.count,
                oven.chamber.emissivity,
                g.inner_length_m,
                INSIDE[face.orientation],
            )
        )
    for name, body in bodies_in(oven, load):
        length = min(oven.chamber.height_m, math.sqrt(0.5 * body.area_m2))
        found.append(Surface(name, 0.5 * body.area_m2, 2, body.emissivity, length, "vertical"))
    heater, groups = heater_of(oven), oven.elements.groups
    found.append(
        Surface("elements", heater.surface_m2 / groups, groups, oven.elements.emissivity, heater.diameter_m, "wire")
    )
    return tuple(found)


def star_m2(oven: Oven, surfaces: tuple[Surface, ...], emissivity_factor: float = 1.0) -> np.ndarray:
    """Conductance of each surface (all its pieces) to the radiant star, m². Raises KilnctlError where shelf or load is
    too large for a closed chamber. A long wire may have more surface than its chamber: then its turns radiate to each
    other, and the chamber gets only what the other surfaces can receive."""
    elements, others = surfaces[-1], sum(s.area_m2 for s in surfaces[:-1])
    seen_m2 = min(elements.piece_m2, MOST_SEEN * (others + elements.area_m2 - elements.piece_m2))
    try:
        return _star_m2(
            (*(s.piece_m2 for s in surfaces[:-1]), seen_m2),
            tuple(min(1.0, s.emissivity * emissivity_factor) for s in surfaces),
            tuple(s.count for s in surfaces),
        )
    except ValueError as error:
        largest = max(surfaces, key=lambda s: s.piece_m2)
        raise KilnctlError(
            f"{oven.name}: its {largest.name} of {largest.area_m2:.3g} m² is too large for the radiation "
            f"in this chamber ({error})"
        ) from error


@lru_cache(maxsize=64)
def _star_m2(pieces_m2: tuple[float, ...], emissivities: tuple[float, ...], counts: tuple[int, ...]) -> np.ndarray:
    """The same of the numbers alone: a change of walls, films or leaks leaves them as they are."""
    found = star_conductances_m2(pieces_m2, emissivities, counts)
    found.setflags(write=False)
    return found
