"""The oven in steady state: the same network as the virtual oven's (see `kilnctl.plants`), solved for the power that holds a
chamber temperature instead of marched through time."""

import math
from dataclasses import dataclass, field

from ..build import INSIDE, element_facts, geometry_of, layers_of, material_of
from ..settings.body import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.bridges import air_flow_w, bar_conductance_w_per_k, door_leak_kg_s, opening_w
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import chamber_temperature_c, star_conductances_m2
from ..thermal.surfaces import cylinder_film, inner_film, radiation_w_m2
from ..thermal.walls import WallSolution, solve_wall


@dataclass(frozen=True)
class Factors:
    """Multipliers on what a description is unsure of; 1 is as described. Used for ranges and what-if."""

    conductivity: float = 1.0
    emissivity: float = 1.0
    film: float = 1.0
    leakage: float = 1.0


@dataclass(frozen=True)
class Steady:
    """The oven at one chamber temperature, for ever. Powers in W; `walls` by face; `ledger` sums to power_w + fan."""

    chamber_c: float
    air_c: float
    radiant_c: float
    element_c: float
    power_w: float
    fan_w: float
    walls: dict[str, WallSolution]
    ledger_w: dict[str, float]
    shells_c: dict[str, float] = field(default_factory=dict)


def _fourth(t_c: float) -> float:
    return (t_c + ZERO_C) ** 4


class _Wall:
    """Heat into one face against its hot face's temperature: solved exactly at a few temperatures, cubic between them."""

    def __init__(self, oven: Oven, face, factors: Factors, highest_c: float):
        self.face, self.geometry = face, geometry_of(face)
        layers = layers_of(oven, face.wall)
        if factors.conductivity != 1.0:
            from ..thermal.walls import Layer

            layers = tuple(Layer(x.material.scaled(1.0 if x.material.kind == "metal" else factors.conductivity), x.thickness_m, x.contact_m2k_w)
                           for x in layers)  # fmt: skip
        self.layers = layers
        self.ambient_c = oven.site.ambient_c
        self.emissivity = min(1.0, face.wall.outer_emissivity * factors.emissivity)
        n = 14
        span = highest_c + 20.0 - self.ambient_c
        # Closer together where it is cool: the outer film bends the curve there.
        self._t = [self.ambient_c + span * (i / (n - 1)) ** 1.5 for i in range(n)]
        self._q = [0.0] + [self.solve(t).flux_w_m2 * self.geometry.conduction_m2 for t in self._t[1:]]
        from scipy.interpolate import CubicSpline

        self._c = CubicSpline(self._t, self._q).c.tolist()  # plain floats: heat_w is called ten thousands of times
        self._x = self._t

    def solve(self, hot_c: float) -> WallSolution:
        g = self.geometry
        return solve_wall(self.layers, hot_c, self.ambient_c, g.outer_length_m, self.face.orientation, self.emissivity, g.outer_m2 / g.conduction_m2)

    def heat_w(self, hot_c: float) -> float:
        """Scalar evaluation of the spline; linear below the room and beyond the top."""
        x = self._x
        if hot_c <= x[0]:
            return self._c[2][0] * (hot_c - x[0])
        i = len(x) - 2
        while i > 0 and hot_c < x[i]:
            i -= 1
        d = hot_c - x[i]
        c = self._c
        return ((c[0][i] * d + c[1][i]) * d + c[2][i]) * d + c[3][i]


class SteadyOven:
    """Solves one oven (with one set of factors) at any chamber temperature up to `highest_c`."""

    def __init__(self, oven: Oven, load: Load | None = None, factors: Factors = Factors(), highest_c: float = 1500.0):
        self.oven, self.factors, self.highest_c = oven, factors, highest_c
        self.ambient_c = oven.site.ambient_c
        self.speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
        self.walls = [_Wall(oven, face, factors, highest_c) for face in oven.faces]
        self.elements = element_facts(oven.elements)
        self.bodies = [b for b in (oven.shelf, load) if b is not None and b.mass_kg > 0.0]
        areas = [w.geometry.inner_m2 / w.face.count for w in self.walls] + [0.5 * b.area_m2 for b in self.bodies] + [self.elements.surface_m2]
        counts = [w.face.count for w in self.walls] + [2] * len(self.bodies) + [1]
        emissivities = [oven.chamber.emissivity] * len(self.walls) + [b.emissivity for b in self.bodies] + [oven.elements.emissivity]
        star = star_conductances_m2(areas, [min(1.0, e * factors.emissivity) for e in emissivities], counts)
        self.star = [float(g) * STEFAN_BOLTZMANN for g in star]
        c = oven.chamber
        self.top = c.opening == "top"
        self.door = (c.width_m, c.depth_m) if self.top else (c.width_m, c.height_m)
        depth = next(w for w in self.walls if w.face.name == "door").geometry.thickness_m
        self.port_m2 = sum(opening_w(p.diameter_m, 500.0, 20.0, depth) for p in oven.ports if not p.closed) / radiation_w_m2(500.0, 20.0)
        self.bridges = [(b, None if b.conductance_w_per_k is not None else material_of(oven, b.material)) for b in oven.bridges]

    # ---- pieces ----------------------------------------------------------------------------------------------------

    def _face(self, i: int, radiant_c: float, air_c: float) -> tuple[float, float, float]:
        """(hot face °C, radiation from the star W, convection from the air W) of face i in balance with its wall."""
        wall, g = self.walls[i], self.star[i]
        geometry = wall.geometry
        orientation = INSIDE[wall.face.orientation]
        area = geometry.inner_m2 * self.factors.film
        low, high = min(self.ambient_c, radiant_c, air_c) - 1.0, max(radiant_c, air_c) + 1.0
        hot = radiant_c - 2.0
        fourth = _fourth(radiant_c)
        film = 0.0
        for _ in range(50):
            hot = min(max(hot, low), high)
            film = inner_film(hot, air_c, geometry.inner_length_m, orientation, self.speed) * area
            radiation, convection = g * (fourth - _fourth(hot)), film * (air_c - hot)
            miss = radiation + convection - wall.heat_w(hot)
            if miss > 0.0:
                low = hot
            else:
                high = hot
            slope = 4.0 * g * (hot + ZERO_C) ** 3 + film + (wall.heat_w(hot + 0.5) - wall.heat_w(hot - 0.5))
            step = miss / slope
            if abs(step) < 1e-7:
                break
            new = hot + step
            hot = new if low < new < high else 0.5 * (low + high)
        return hot, g * (fourth - _fourth(hot)), film * (air_c - hot)

    def _body(self, j: int, radiant_c: float, air_c: float) -> float:
        """Net heat that shelf or load takes by radiation and gives to the air by convection, W: zero in all, but it couples both."""
        body, g = self.bodies[j], self.star[len(self.walls) + j]
        length = min(self.oven.chamber.height_m, math.sqrt(0.5 * body.area_m2))
        t = radiant_c
        for _ in range(20):
            film = inner_film(t, air_c, length, "vertical", self.speed) * body.area_m2 * self.factors.film
            miss = g * (_fourth(radiant_c) - _fourth(t)) + film * (air_c - t)
            step = miss / (4.0 * g * (t + ZERO_C) ** 3 + film)
            t += step
            if abs(step) < 1e-7:
                break
        return g * (_fourth(radiant_c) - _fourth(t))

    def _element(self, radiant_c: float, air_c: float, radiation_w: float) -> tuple[float, float]:
        """(element °C, convection to the air W) when it radiates that much to the star."""
        fourth = _fourth(radiant_c) + radiation_w / self.star[-1]
        t = max(fourth, 1.0) ** 0.25 - ZERO_C
        film = cylinder_film(t, air_c, self.elements.diameter_m, self.speed) * self.elements.surface_m2 * self.factors.film
        return t, film * (t - air_c)

    def _openings(self, radiant_c: float, air_c: float) -> dict[str, float]:
        """Heat lost otherwise than through the walls, W."""
        o, ambient = self.oven, self.ambient_c
        lost: dict[str, float] = {}
        for b, material in self.bridges:
            if material is None:
                conductance = b.conductance_w_per_k * b.count
            else:
                conductance = bar_conductance_w_per_k(material, b.area_m2, b.length_m, max(radiant_c, ambient), min(radiant_c, ambient), b.count)
            lost[b.name] = lost.get(b.name, 0.0) + conductance * (radiant_c - ambient)
        leak = door_leak_kg_s(o.door.gap_m, *self.door, air_c, ambient, self.top) * self.factors.leakage
        if leak > 0.0:
            lost["door leak"] = leak * air(0.5 * (air_c + ambient)).heat_capacity_j_kgk * (air_c - ambient)
        if o.vent is not None:
            lost["vent"] = air_flow_w(o.vent.flow_m3_per_s, air_c, ambient)
        if self.port_m2 > 0.0:
            lost["open port"] = self.port_m2 * STEFAN_BOLTZMANN * (_fourth(radiant_c) - _fourth(ambient))
        return lost

    # ---- the whole -------------------------------------------------------------------------------------------------

    def _radiant_for(self, chamber_c: float, apart_k: float) -> float:
        """Star temperature at which the ideal sensor shows chamber_c when the air is apart_k warmer than the star."""
        radiant = chamber_c - 0.5 * apart_k
        for _ in range(25):
            shown = chamber_temperature_c(radiant, radiant + apart_k, self.speed)
            radiant += chamber_c - shown
            if abs(chamber_c - shown) < 1e-8:
                break
        return radiant

    def _at(self, chamber_c: float, apart_k: float):
        radiant = self._radiant_for(chamber_c, apart_k)
        air_c = radiant + apart_k
        faces = [self._face(i, radiant, air_c) for i in range(len(self.walls))]
        bodies = [self._body(j, radiant, air_c) for j in range(len(self.bodies))]
        others = self._openings(radiant, air_c)
        port = others.get("open port", 0.0)
        bridges = sum(others.get(b.name, 0.0) for b in {b.name: b for b, _ in self.bridges}.values())
        radiation = sum(f[1] for f in faces) + sum(bodies) + port + bridges
        element_c, element_air = self._element(radiant, air_c, radiation)
        fan = self.oven.fan.power_w if self.oven.fan else 0.0
        # What the air gets and gives: bridges draw from the star, as in the virtual oven.
        surplus = (element_air + sum(bodies) + fan - sum(f[2] for f in faces)
                   - others.get("door leak", 0.0) - others.get("vent", 0.0))  # fmt: skip
        return surplus, radiant, air_c, faces, others, element_c, radiation + element_air, fan

    def at(self, chamber_c: float) -> Steady:
        """The steady oven at chamber_c, °C. Raises ValueError at or below the room or above what it was made for."""
        if not self.ambient_c + 0.5 <= chamber_c <= self.highest_c:
            raise ValueError(f"chamber_c = {chamber_c:g} °C: from just above the room to {self.highest_c:g} °C")
        low, high = -0.4 * (chamber_c - self.ambient_c) - 1.0, 0.4 * (chamber_c - self.ambient_c) + 1.0
        a, b = -0.01 * (chamber_c - self.ambient_c), 0.01 * (chamber_c - self.ambient_c)
        fa, fb = self._at(chamber_c, a)[0], self._at(chamber_c, b)[0]
        for _ in range(60):
            apart = b - fb * (b - a) / (fb - fa) if fb != fa else 0.5 * (a + b)
            apart = min(max(apart, low), high)
            answer = self._at(chamber_c, apart)
            a, fa, b, fb = b, fb, apart, answer[0]
            if abs(answer[0]) < 1e-6 * max(1.0, answer[6]) or abs(b - a) < 1e-10:
                break
        _, radiant, air_c, faces, others, element_c, power, fan = answer
        ledger, walls, shells = {}, {}, {}
        for wall, (hot, _, _) in zip(self.walls, faces):
            solution = wall.solve(max(hot, self.ambient_c + 1e-6))
            name = wall.face.name
            walls[name], shells[name] = solution, solution.cold_face_c
            # The face's own area, and what edges and corners add to it.
            heat = wall.heat_w(hot)
            flat = heat * wall.geometry.inner_m2 / wall.geometry.conduction_m2
            ledger[name] = flat
            ledger["edges and corners"] = ledger.get("edges and corners", 0.0) + heat - flat
        for name, watts in others.items():
            ledger[name] = ledger.get(name, 0.0) + watts
        return Steady(chamber_c, air_c, radiant, element_c, power, fan, walls, ledger, shells)

    def highest(self, power_w: float) -> float:
        """Chamber temperature that power_w holds, °C, not above `highest_c`."""
        from scipy.optimize import brentq

        low, high = self.ambient_c + 1.0, self.highest_c
        if self.at(high).power_w <= power_w:
            return high
        if self.at(low).power_w >= power_w:
            return low
        return float(brentq(lambda t: self.at(t).power_w - power_w, low, high, xtol=1e-3, rtol=1e-9))
