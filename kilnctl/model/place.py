"""By how much two sensors in the air of one chamber may be apart because one of them lies near the elements or near a
wall, with a fitted model (`kilnctl.safety.misplaced`)."""

from dataclasses import replace

from ..safety.coolest import LumpedOven
from ..safety.misplaced import Place
from ..settings.construction import Load
from ..settings.oven import Oven
from .doubt import day_zero_doubt, envelope_of
from .energy import EnergyModel


def placed_of(oven: Oven, load: Load | None, described: EnergyModel, place: Place | None) -> LumpedOven | None:
    """The light oven of a description whose control sensor sits at `place`, but never further off than the description
    alone allows: records of a sensor that slipped must not allow more. `place` None: nothing was seen, and all of that
    is allowed. The answer is None for a sensor in its place. `described`: the description's model; films and elements
    of a fitted one are no measure of these shares, since it takes what its sensor shows for the chamber."""
    light = envelope_of(oven, load, described, day_zero_doubt(oven, load))[2]
    if place is None:
        return light
    elements, walls = min(light.near_elements, place.near_elements), min(light.near_walls, place.near_walls)
    return replace(light, near_elements=elements, near_walls=walls) if elements > 0.0 or walls > 0.0 else None
