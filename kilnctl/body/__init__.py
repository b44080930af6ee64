"""From the description to the physics, once: sizing, virtual oven and control model each solve what this room gives.

`layers` has materials, layers and areas of the walls; `surfaces` what radiates and convects inside; `openings` what
passes the walls; `elements` the heaters, with the guesses for what a file leaves out; `contents` shelf and load;
`sensor` the thermocouple in its sheath.
"""

from .contents import Plate, bodies_in, plate_of
from .heaters import Heater, assumed, full_power_c, heater_of
from .layers import FaceGeometry, geometry_of, layers_of, load_material, material_of
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
