"""The chamber's openings, its layering, and the water that it starts with."""

from typing import NamedTuple

import numpy as np

from ..body import Openings
from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.bridges import open_door_kg_s
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY
from ..thermal.psychrometrics import PRESSURE_PA, saturation_pa
from ..thermal.surfaces import radiation_film, vertical_film
from .assembly import Layout
from .balance import Body, Surroundings
from .conditions import Conditions, Variation
from .core import Core
from .humidity import Humidity
from .moisture import Moisture

#: Air speed in a chamber without a fan, m/s, and the share of a fan's speed that mixes top and bottom (estimates,
#: common practice).
_STILL_SPEED = 0.1
_MIXING = 0.3
#: A fan that would heat the air further above cold walls than this, K, is too strong for the chamber.
_FAN_MOST_K = 1200.0


def ideal_sensor(radiant_k: float, air_k: float, film_w_per_m2k: float) -> float:
    """`thermal.enclosure.ideal_sensor_c` in plain floats and kelvin, for every tick."""
    strength = SENSOR_EMISSIVITY * STEFAN_BOLTZMANN
    slope = strength * (radiant_k + air_k) * (radiant_k * radiant_k + air_k * air_k)
    body = (slope * radiant_k + film_w_per_m2k * air_k) / (slope + film_w_per_m2k)
    emission = radiant_k**4
    for _ in range(2):
        cube = body * body * body
        body -= (strength * (cube * body - emission) + film_w_per_m2k * (body - air_k)) / (
            4.0 * strength * cube + film_w_per_m2k
        )
    return body


def check_contents(oven: Oven, load: Load | None) -> None:
    """Raises KilnctlError for a load that does not fit into the chamber."""
    crowded = load.crowds(oven.chamber) if load is not None and load.mass_kg > 0.0 else None
    if crowded:
        raise KilnctlError(f"{oven.name}: the load {crowded}")


def check_fan(oven: Oven, body: Body, ambient_k: float) -> None:
    """Raises KilnctlError for a fan that would overheat the air even with cold walls."""
    if oven.fan is None:
        return
    strips, air_k = body.rows.shape[1], ambient_k + _FAN_MOST_K
    film = body.inner_films(np.full(body.star.shape, ambient_k), air_k)
    most = _FAN_MOST_K * float((body.surface_area * body.film_scale * film)[:strips].sum())
    if oven.fan.power_w > most:
        raise KilnctlError(
            f"{oven.name}: a fan that gives {oven.fan.power_w:g} W to the chamber would heat its air by more than "
            f"{_FAN_MOST_K:g} K, as its walls take up {most:.3g} W at most; check the fan's power"
        )


class Environment(NamedTuple):
    """What acts from outside now, faults included; `door` is the open share of the doorway."""

    ambient_c: float
    door: float
    fan: bool
    vent: bool


class OpeningFlows(Openings):
    """The effect of the body's openings on the heat balance, with the door shut or open."""

    def __init__(self, oven: Oven, variation: Variation):
        super().__init__(oven, variation.leakage)

    def set(self, core: Core, door_surface: int, radiant_c: float, air_c: float, now: Environment) -> None:
        """Fill `core.around` for these temperatures; `door_surface` is the number of the door's surface."""
        around = core.around
        around.ambient_k = now.ambient_c + ZERO_C
        self.set_shut(around, radiant_c, air_c, now.ambient_c, now.fan, now.vent)
        if now.door > 0.0:
            around.leak_w_per_k *= 1.0 - now.door
            self._open(core, door_surface, air_c, now.ambient_c, now.door)
        else:
            around.door_w_per_k, around.doorway_m2 = 0.0, 0.0
            around.star_factor = around.room_film = None

    def set_shut(
        self, around: Surroundings, radiant_c: float, air_c: float, ambient_c: float, fan: bool, vent: bool
    ) -> None:
        """Fan, vent, leak, ports and bridges with the door shut."""
        around.fan_w = self.oven.fan.power_w if fan and self.oven.fan is not None else 0.0
        around.vent_w_per_k = self.vent_w_per_k(air_c, ambient_c) if vent else 0.0
        around.leak_w_per_k = self.leak_w_per_k(air_c, ambient_c)
        around.bridges_w_per_k = self.bridges_w_per_k(radiant_c, ambient_c)
        around.port_m2 = self.port_m2

    def _open(self, core: Core, surface: int, air_c: float, ambient_c: float, door: float) -> None:
        """An open share of the door: air exchange, a black doorway, and the door's own inside facing the room."""
        around = core.around
        flow = open_door_kg_s(self.door_width_m * door, self.door_height_m, air_c, ambient_c)
        # A lifted lid is treated as a doorway of the same width and depth: hot air leaves it as fast.
        around.door_w_per_k = flow * air(0.5 * (air_c + ambient_c)).heat_capacity_j_kgk
        around.doorway_m2 = self.door_m2 * door
        around.star_factor = np.ones(core.body.star.shape)
        around.star_factor[surface] = 1.0 - door
        face_c = float(core.nodes_k[0, surface]) - ZERO_C
        film = vertical_film(face_c, ambient_c, self.door_height_m) + radiation_film(
            face_c, ambient_c + 1e-6, self.oven.chamber.emissivity
        )
        around.room_film = np.zeros(core.body.star.shape)
        around.room_film[surface] = door * film * self.door_m2

    def mixing_speed(self, fan: bool) -> float:
        """Speed of the circulation between top and bottom, m/s."""
        return max(_STILL_SPEED, _MIXING * self.oven.fan.air_speed_m_per_s if fan and self.oven.fan else 0.0)

    def stratification_k(self, core: Core, air_c: float, fan: bool) -> float:
        """Air at the top minus air at the bottom, K: the convected heat over the capacity flow of the circulation,
        limited to the difference between the mean and the hottest surface (in a tall chamber with a small floor there
        is almost no circulation)."""
        speed = self.mixing_speed(fan)
        convected = float((core.film_w_per_k * np.maximum(core.surfaces_k - core.air_k, 0.0)).sum())
        here = air(air_c)
        layers = convected / (here.density_kg_m3 * here.heat_capacity_j_kgk * self.floor_m2 * speed)
        return min(layers, max(float(core.surfaces_k.max()) - core.air_k, 0.0))


def lining_water(faces: int, body: Body, layout: Layout, share: float, load: Load | None) -> np.ndarray:
    """Water of each node at the start, kg: `share` of the mass of the porous wall layers (the first `faces` strips),
    and the load's on its surface."""
    nodes, strips = body.rows.shape[0] + 1, body.rows.shape[1]
    water = np.zeros((nodes, strips))
    if share > 0.0:
        held = share * body.mass[:, :faces] * np.array(layout.porous)[body.rows[:, :faces]]
        water[:-1, :faces] += held
        water[1:, :faces] += held
    if layout.load is not None and load is not None:
        water[0, layout.load] = load.moisture_kg
    return water


def moisture_at_start(
    oven: Oven, load: Load | None, body: Body, layout: Layout, conditions: Conditions, ambient_c: float
) -> Moisture:
    """The water in lining and load, in a chamber full of the room's air."""
    water = lining_water(len(oven.faces), body, layout, conditions.lining_moisture, load)
    room = conditions.room_humidity * float(saturation_pa(ambient_c + ZERO_C)) / PRESSURE_PA
    c = oven.chamber
    humidity = Humidity(c.width_m * c.depth_m * c.height_m, room, room)
    return Moisture(water, () if layout.load is None else (layout.load,), humidity)
