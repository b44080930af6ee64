"""Heat that bypasses the walls: vent, the shut door's leak, ports and bridges."""

from ..errors import KilnctlError
from ..settings.construction import Bridge
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.bridges import air_flow_w, bar_conductance_w_per_k, door_leak_kg_s, opening_w
from ..thermal.surfaces import radiation_w_m2
from .layers import geometry_of, material_of


class Openings:
    """The openings of one oven, door shut. Vent and leak carry off chamber air. Ports and bridges take heat from the
    radiant star, because a frame or a terminal touches walls and elements and takes little heat from the air.

    door_width_m, door_height_m, door_m2, top (a lid), floor_m2, depth_m (the door's thickness, which a port goes
    through), port_m2 (black area from the star to the room).
    """

    def __init__(self, oven: Oven, leakage: float = 1.0):
        self.oven, self.leakage = oven, leakage
        c = oven.chamber
        self.top = c.opening == "top"
        self.door_width_m, self.door_height_m = (c.width_m, c.depth_m) if self.top else (c.width_m, c.height_m)
        self.door_m2, self.floor_m2 = self.door_width_m * self.door_height_m, c.width_m * c.depth_m
        self.depth_m = geometry_of(oven, next(f for f in oven.faces if f.name == "door")).thickness_m
        black = radiation_w_m2(500.0, 20.0)
        self.port_m2 = (
            sum(opening_w(p.diameter_m, 500.0, 20.0, self.depth_m) for p in oven.ports if not p.closed) / black
        )
        #: Material of a bridge that is given as a bar.
        self._bars = {b: material_of(oven, b.material) for b in oven.bridges if b.material is not None}

    def vent_w_per_k(self, air_c: float, ambient_c: float) -> float:
        """Heat that the vent carries off per kelvin of the chamber air above the room, W/K."""
        if self.oven.vent is None:
            return 0.0
        apart_c = air_c if abs(air_c - ambient_c) > 0.01 else ambient_c + 0.01
        return air_flow_w(self.oven.vent.flow_m3_per_s, apart_c, ambient_c) / (apart_c - ambient_c)

    def leak_w_per_k(self, air_c: float, ambient_c: float) -> float:
        """The same for the leak around the shut door, W/K."""
        flow = door_leak_kg_s(self.oven.door.gap_m, self.door_width_m, self.door_height_m, air_c, ambient_c, self.top)
        return flow * air(0.5 * (air_c + ambient_c)).heat_capacity_j_kgk * self.leakage

    def bridge_w_per_k(self, bridge: Bridge, radiant_c: float, ambient_c: float) -> float:
        """Conductance of all pieces of one bridge from the star to the room, W/K."""
        if bridge.conductance_w_per_k is not None:
            return bridge.conductance_w_per_k * bridge.count
        if bridge.area_m2 is None or bridge.length_m is None:
            raise KilnctlError(f"{bridge.name}: a bridge wants a conductance, or a bar's material, area and length")
        hot, cold = max(radiant_c, ambient_c), min(radiant_c, ambient_c)
        return bar_conductance_w_per_k(self._bars[bridge], bridge.area_m2, bridge.length_m, hot, cold, bridge.count)

    def bridges_w_per_k(self, radiant_c: float, ambient_c: float) -> float:
        """All bridges together, W/K."""
        return sum(self.bridge_w_per_k(b, radiant_c, ambient_c) for b in self.oven.bridges)
