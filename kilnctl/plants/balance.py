"""The data of the heat balance: the oven's constants, its surroundings, and the energy ledger.

Arrays: nodes first, strips second: (n, S). SI units, kelvin.
"""

from dataclasses import dataclass

import numpy as np

from .property_tables import Films, Properties


@dataclass
class Body:
    """The constants of an oven (made by `assembly`): S strips, then G element groups, which count as surfaces too.

    rows                  row of the property tables of each interval, (n − 1, S)
    per_length, contact   area / length of an interval, m; conductance of a contact, W/K; one of the two is zero
    mass                  half of an interval's mass, kg, which belongs to each of its two nodes
    outer_area            (S) m², zero for shelf and load; `outer_emissivity` likewise
    element_mass          (G) kg; `element_row` their row of the property tables
    surface_area          (S + G) convecting area inside, m²
    star                  (S + G) conductance to the radiant star, m²
    film_scale            (S + G) factor on the inside films (1 as described; studies vary it)
    air_capacity          heat capacity of the chamber air at 273.15 K, J/K; it falls as 1/T at constant pressure
    """

    rows: np.ndarray
    per_length: np.ndarray
    contact: np.ndarray
    mass: np.ndarray
    outer_area: np.ndarray
    outer_emissivity: np.ndarray
    element_mass: np.ndarray
    element_row: int
    surface_area: np.ndarray
    star: np.ndarray
    film_scale: np.ndarray
    air_capacity: float
    properties: Properties
    inner_films: Films
    outer_films: Films


@dataclass
class Surroundings:
    """What acts on the oven from outside and may change while it runs. The owner sets it and calls `Core.refresh` after
    a change; values that depend on temperatures are set again before each block (`Core.before_block`).

    vent_w_per_k, leak_w_per_k, door_w_per_k   heat carried off per kelvin by air drawn through, W/K
    port_m2, doorway_m2                        black openings from the radiant star to the room, m²
    bridges_w_per_k                            from the radiant star to the room, W/K (a frame or a terminal draws
                                               its heat from walls and elements, not from the air)
    fan_w                                      heat given to the chamber air, W
    star_factor    per surface, the share of its exchange with the star that is left (an open door's face: less)
    room_film      per surface, conductance straight to the room, W/K (an open door's inside)
    """

    ambient_k: float
    vent_w_per_k: float = 0.0
    leak_w_per_k: float = 0.0
    door_w_per_k: float = 0.0
    port_m2: float = 0.0
    doorway_m2: float = 0.0
    fan_w: float = 0.0
    bridges_w_per_k: float = 0.0
    star_factor: np.ndarray | None = None
    room_film: np.ndarray | None = None


@dataclass
class EnergyLedger:
    """Joules that have passed each boundary since the start; `walls` per strip.

    In: elements, fan. Out: walls, vent, leak, door (air, radiation and its own face while open), port,
    bridges, the latent and sensible heat of evaporated water, and what the air gives to its vapour.
    """

    walls: np.ndarray
    elements: float = 0.0
    fan: float = 0.0
    vent: float = 0.0
    leak: float = 0.0
    door: float = 0.0
    port: float = 0.0
    bridges: float = 0.0
    latent: float = 0.0
    water: float = 0.0
    vapour: float = 0.0
