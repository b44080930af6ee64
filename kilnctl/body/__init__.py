"""From the description to the physics, in one place: sizing, virtual oven and control model all solve the body made
here.

`layers` has materials, layers and areas of the walls; `radiating` the surfaces that radiate and convect inside;
`openings` the heat that bypasses the walls; `heaters` the elements, with guesses for what a file leaves out; `bursts`
their firing pattern; `contents` shelf and load; `sensor` the thermocouple in its sheath; `steady` the steady state;
`loading` reads a file.
"""

from .contents import Plate, bodies_in, plate_of
from .heaters import Heater, assumed, full_power_c, heater_of
from .layers import FaceGeometry, Slice, geometry_of, layers_of, load_material, material_of
from .loading import load_oven
from .openings import Openings
from .radiating import Surface, star_m2, surfaces_of
from .sensor import INNER_SHARE, STILL_FILM, lag_share

__all__ = [
    "INNER_SHARE",
    "STILL_FILM",
    "FaceGeometry",
    "Heater",
    "Openings",
    "Plate",
    "Slice",
    "Surface",
    "assumed",
    "bodies_in",
    "full_power_c",
    "geometry_of",
    "heater_of",
    "lag_share",
    "layers_of",
    "load_material",
    "load_oven",
    "material_of",
    "plate_of",
    "star_m2",
    "surfaces_of",
]
