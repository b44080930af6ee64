"""The body in steady state: the same network as the virtual oven's (see `kilnctl.plants`), solved for the power that
holds a chamber temperature, without steps in time. Sizing prints it, and the day-zero model is fitted to it. No scipy,
for a quick start: this runs in the process that heats, before the run."""

from bisect import bisect_right
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache

import numpy as np

from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY, sensor_film
from ..thermal.surfaces import cylinder_film, inner_film
from ..thermal.walls import WallLayer, WallSolution, solve_wall
from .heaters import heater_of
from .layers import geometry_of, layers_of
from .openings import Openings
from .radiating import star_m2, surfaces_of


@dataclass(frozen=True)
class Factors:
    """Factors on uncertain figures of a description; 1 is as described. Used for ranges and what-if questions.

    `edges` scales what edges and corners add; `outside` the natural film of the outsides; outer_emissivity is added to
    theirs. Metal keeps its conductivity and thickness."""

    conductivity: float = 1.0
    emissivity: float = 1.0
    film: float = 1.0
    leakage: float = 1.0
    edges: float = 1.0
    thickness: float = 1.0
    outside: float = 1.0
    outer_emissivity: float = 0.0


NOMINAL = Factors()


@dataclass(frozen=True)
class Steady:
    """The oven that has been at one chamber temperature for days. Powers in W; `walls` by face; `ledger_w` sums to
    power_w + fan_w; `shells_c` the mean of each outside, as the heat balance has it (`SteadyOven.middles_c` is what a
    hand meets)."""

    chamber_c: float
    air_c: float
    radiant_c: float
    element_c: float
    power_w: float
    fan_w: float
    walls: dict[str, WallSolution]
    ledger_w: dict[str, float]
    shells_c: dict[str, float] = field(default_factory=dict)


class BeyondPhysics(ValueError):
    """The requested state is outside the range of the formulas for air or films."""


def _fourth(t_c: float) -> float:
    return (t_c + ZERO_C) ** 4


#: What `solve_wall` takes for the outside of a wall: room °C, length m, orientation, emissivity, area over the hot
#: face's, the same of each layer, factor on the natural film.
_Outside = tuple[float, float, str, float, float, tuple[float, ...], float]


@lru_cache(maxsize=256)
def _curve(layers: tuple[WallLayer, ...], outside: _Outside, highest_c: float) -> tuple[list[float], list[float]]:
    """Hot faces, °C, from the room up, and the flux into the wall there, W/m². Many faces and many questions have the
    same walls."""
    ambient_c, n = outside[0], 20
    span = highest_c + 20.0 - ambient_c
    # More points at low temperatures, where the outer film makes the curve bend.
    hot = [ambient_c + span * (i / (n - 1)) ** 1.5 for i in range(n)]
    return hot, [0.0] + [solve_wall(layers, t, *outside).flux_w_m2 for t in hot[1:]]


def _varied(layers: tuple[WallLayer, ...], factors: Factors) -> tuple[WallLayer, ...]:
    if factors.conductivity == factors.thickness == 1.0:
        return layers
    return tuple(
        x
        if x.material.kind == "metal"
        else WallLayer(x.material.scaled(factors.conductivity), factors.thickness * x.thickness_m, x.contact_m2k_w)
        for x in layers
    )


class _Wall:
    """Heat into one face, W, as a function of its hot face's temperature: solved exactly at a few temperatures, cubic
    between them."""

    def __init__(self, oven: Oven, face, factors: Factors, highest_c: float):
        g = geometry_of(oven, face)
        spreads = tuple(1.0 + factors.edges * (x - 1.0) for x in g.spreads)
        self.face, self.geometry = face, replace(g, spreads=spreads)
        self.layers = _varied(layers_of(oven, face.wall), factors)
        emissivity = min(1.0, max(0.02, face.wall.outer_emissivity + factors.outer_emissivity))
        where = oven.site.ambient_c, g.outer_length_m, face.orientation, emissivity
        self._outside: _Outside = (*where, g.outer_m2 / g.inner_m2, spreads, factors.outside)
        self._endless: _Outside = (*where, 1.0, (1.0,) * len(spreads), factors.outside)
        self._x, flux = _curve(self.layers, self._outside, highest_c)
        self._c = _spline(np.array(self._x), np.array([q * g.inner_m2 for q in flux]))

    def solve(self, hot_c: float) -> WallSolution:
        return solve_wall(self.layers, hot_c, *self._outside)

    def widened(self, solution: WallSolution) -> float:
        """By how much edges and corners widen the whole wall: the mean of its layers by their flat resistance."""
        layers = enumerate(self.geometry.spreads)
        drops = [(max(0.0, solution.layer_c(i)[0] - solution.layer_c(i)[1]), x) for i, x in layers]
        whole = sum(drop for drop, _ in drops)
        return sum(drop * x for drop, x in drops) / whole if whole > 0.0 else 1.0

    def middle(self, hot_c: float) -> WallSolution:
        """Hot and cold faces of the layers behind the middle of the face: the endless wall's, lowered towards the
        outside as the edges lower the outside there."""
        ambient_c, plane = self._outside[0], solve_wall(self.layers, hot_c, *self._endless)
        outside = plane.cold_face_c
        lower = (1.0 - self.geometry.middle_share) * (outside - ambient_c) / max(hot_c - outside, 1e-9)
        faces = tuple(t - lower * (hot_c - t) for t in plane.faces_c)
        return WallSolution(plane.flux_w_m2, faces)

    def heat_w(self, hot_c: float) -> float:
        """Scalar evaluation of the spline; linear below the room and beyond the top."""
        x = self._x
        if hot_c <= x[0]:
            return self._c[2][0] * (hot_c - x[0])
        i = min(bisect_right(x, hot_c) - 1, len(x) - 2)
        d = hot_c - x[i]
        c = self._c
        return ((c[0][i] * d + c[1][i]) * d + c[2][i]) * d + c[3][i]


def _spline(x: np.ndarray, y: np.ndarray) -> list[list[float]]:
    """Coefficients of the cubic spline through the points, highest power first, as plain floats because they are read
    tens of thousands of times. The third derivative is continuous at the second and at the last but one point ("not a
    knot")."""
    h, slope = np.diff(x), np.diff(y) / np.diff(x)
    n = len(x)
    a, b = np.zeros((n, n)), np.zeros(n)
    for i in range(1, n - 1):
        a[i, i - 1 : i + 2] = h[i - 1], 2.0 * (h[i - 1] + h[i]), h[i]
        b[i] = 6.0 * (slope[i] - slope[i - 1])
    a[0, :3] = h[1], -(h[0] + h[1]), h[0]
    a[-1, -3:] = h[-1], -(h[-2] + h[-1]), h[-2]
    bend = np.linalg.solve(a, b)
    return [
        ((bend[1:] - bend[:-1]) / (6.0 * h)).tolist(),
        (0.5 * bend[:-1]).tolist(),
        (slope - h * (2.0 * bend[:-1] + bend[1:]) / 6.0).tolist(),
        y[:-1].tolist(),
    ]


def root(function, low: float, high: float, tolerance: float) -> float:
    """The zero, to `tolerance`, of a function that changes its sign between low and high: secant steps kept inside a
    bracket (Illinois rule)."""
    at_low, at_high = function(low), function(high)
    side = 0
    for _ in range(200):
        if at_low == 0.0 or abs(high - low) < tolerance:
            return low
        middle = (low * at_high - high * at_low) / (at_high - at_low)
        here = function(middle)
        if here * at_low > 0.0:
            step, low, at_low = middle - low, middle, here
            at_high *= 0.5 if side < 0 else 1.0
            side = -1
        else:
            step, high, at_high = high - middle, middle, here
            at_low *= 0.5 if side > 0 else 1.0
            side = 1
        if abs(step) < tolerance or here == 0.0:
            return middle
    return 0.5 * (low + high)


class SteadyOven:
    """Solves one oven (with one set of factors) at any chamber temperature up to `highest_c`."""

    def __init__(self, oven: Oven, load: Load | None = None, factors: Factors = NOMINAL, highest_c: float = 1500.0):
        self.oven, self.factors, self.highest_c = oven, factors, highest_c
        self.ambient_c = oven.site.ambient_c
        self.speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
        self.fan_w = oven.fan.power_w if oven.fan else 0.0
        self.walls = [_Wall(oven, face, factors, highest_c) for face in oven.faces]
        self.elements = heater_of(oven)
        self.surfaces = surfaces_of(oven, load)
        self.star = [float(g) * STEFAN_BOLTZMANN for g in star_m2(oven, self.surfaces, factors.emissivity)]
        self.openings = Openings(oven, factors.leakage)
        self._known: dict[float, Steady] = {}

    # ---- pieces ----------------------------------------------------------------------------------------------------

    def _face(self, i: int, radiant_c: float, air_c: float) -> tuple[float, float, float]:
        """(hot face °C, radiation from the star W, convection from the air W) of face i in balance with its wall."""
        wall, g, surface = self.walls[i], self.star[i], self.surfaces[i]
        area = surface.area_m2 * self.factors.film
        low, high = min(self.ambient_c, radiant_c, air_c) - 1.0, max(radiant_c, air_c) + 1.0
        hot = radiant_c - 2.0
        fourth = _fourth(radiant_c)
        film = 0.0
        for _ in range(50):
            hot = min(max(hot, low), high)
            film = inner_film(hot, air_c, surface.length_m, surface.orientation, self.speed) * area
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
        """Net heat that shelf or load takes by radiation and gives to the air by convection, W: its net heat is zero,
        but it couples star and air."""
        body, g = self.surfaces[j], self.star[j]
        low, high = min(radiant_c, air_c), max(radiant_c, air_c)
        t = radiant_c
        for _ in range(60):
            film = inner_film(t, air_c, body.length_m, body.orientation, self.speed) * body.area_m2 * self.factors.film
            miss = g * (_fourth(radiant_c) - _fourth(t)) + film * (air_c - t)
            low, high = (t, high) if miss > 0.0 else (low, t)
            step = miss / (4.0 * g * (t + ZERO_C) ** 3 + film)
            if abs(step) < 1e-7:
                break
            t = t + step if low < t + step < high else 0.5 * (low + high)
        return g * (_fourth(radiant_c) - _fourth(t))

    def _element(self, radiant_c: float, air_c: float, radiation_w: float) -> tuple[float, float]:
        """(element °C, convection to the air W) when it radiates radiation_w to the star. If the fan alone makes the
        chamber hotter, radiation_w is below zero; the element then counts as being as warm as the star."""
        fourth = _fourth(radiant_c) + max(0.0, radiation_w) / self.star[-1]
        t = fourth**0.25 - ZERO_C
        film = (
            cylinder_film(t, air_c, self.elements.diameter_m, self.speed) * self.elements.surface_m2 * self.factors.film
        )
        return t, film * (t - air_c)

    def _others(self, radiant_c: float, air_c: float) -> tuple[dict[str, float], dict[str, float]]:
        """Heat that bypasses the walls, W, by name: (from the star, from the air)."""
        ambient, openings = self.ambient_c, self.openings
        star: dict[str, float] = {}
        for b in self.oven.bridges:
            star[b.name] = star.get(b.name, 0.0) + openings.bridge_w_per_k(b, radiant_c, ambient) * (
                radiant_c - ambient
            )
        if openings.port_m2 > 0.0:
            star["open port"] = openings.port_m2 * STEFAN_BOLTZMANN * (_fourth(radiant_c) - _fourth(ambient))
        gone = {"door leak": openings.leak_w_per_k(air_c, ambient) * (air_c - ambient)}
        if self.oven.vent is not None:
            gone["vent"] = openings.vent_w_per_k(air_c, ambient) * (air_c - ambient)
        return star, {name: watts for name, watts in gone.items() if watts != 0.0}

    # ---- the whole oven --------------------------------------------------------------------------------------------

    def _radiant_for(self, chamber_c: float, air_c: float) -> float:
        """Star temperature at which the ideal sensor in that air shows chamber_c: its own balance, solved for the
        star."""
        film = sensor_film(chamber_c, air_c, self.speed)
        fourth = _fourth(chamber_c) + film * (chamber_c - air_c) / (SENSOR_EMISSIVITY * STEFAN_BOLTZMANN)
        if fourth <= 0.0:
            raise BeyondPhysics("the air would be too hot for the chamber temperature")
        return fourth**0.25 - ZERO_C

    def _at(self, chamber_c: float, apart_k: float) -> "_Trial":
        """The state in which the air is apart_k (K) warmer than the chamber; everything except the air is in
        balance."""
        air_c = chamber_c + apart_k
        radiant = self._radiant_for(chamber_c, air_c)
        faces = [self._face(i, radiant, air_c) for i in range(len(self.walls))]
        bodies = sum(self._body(j, radiant, air_c) for j in range(len(self.walls), len(self.surfaces) - 1))
        star, gone = self._others(radiant, air_c)
        radiation = sum(f[1] for f in faces) + bodies + sum(star.values())
        element_c, element_air = self._element(radiant, air_c, radiation)
        surplus = element_air + bodies + self.fan_w - sum(f[2] for f in faces) - sum(gone.values())
        return _Trial(
            surplus, radiant, air_c, faces, (*star.items(), *gone.items()), element_c, radiation + element_air
        )

    def _bracket(self, chamber_c: float) -> tuple[float, float]:
        """Two differences of air and chamber, K, between which the air's surplus changes its sign: it falls as the air
        gets warmer."""
        near, surplus = 0.0, self._at(chamber_c, 0.0).surplus_w
        sign = 1.0 if surplus > 0.0 else -1.0
        step = 0.01 * (chamber_c - self.ambient_c)
        for _ in range(80):
            far = near + sign * step
            try:
                there = self._at(chamber_c, far).surplus_w
            except ValueError:
                step *= 0.25  # outside the formulas' range: approach its end
                if step < 1e-3:
                    break
                continue
            if there * sign <= 0.0:
                return min(near, far), max(near, far)
            near, step = far, 2.0 * step
        raise BeyondPhysics("no temperature of the air within the range of the formulas balances it")

    def at(self, chamber_c: float) -> Steady:
        """The steady oven at chamber_c, °C. Raises ValueError at or below the room or above `highest_c`, and
        BeyondPhysics where elements or air would be hotter than the formulas allow."""
        if not self.ambient_c + 0.5 <= chamber_c <= self.highest_c:
            raise ValueError(f"chamber_c = {chamber_c:g} °C: from just above the room to {self.highest_c:g} °C")
        if chamber_c not in self._known:
            self._known[chamber_c] = self._solved(chamber_c)
        return self._known[chamber_c]

    def _solved(self, chamber_c: float) -> Steady:
        try:
            low, high = self._bracket(chamber_c)
            apart = root(lambda d: self._at(chamber_c, d).surplus_w, low, high, 1e-9)
            trial = self._at(chamber_c, apart)
        except ValueError as error:
            raise BeyondPhysics(
                f"a chamber of {chamber_c:.0f} °C asks for elements or air hotter than the formulas go ({error})"
            ) from None
        ledger, walls, shells = {}, {}, {}
        for wall, (hot, _, _) in zip(self.walls, trial.faces, strict=True):
            solution = wall.solve(max(hot, self.ambient_c + 1e-6))
            name = wall.face.name
            walls[name], shells[name] = solution, solution.cold_face_c
            # The face's own area, and what edges and corners add to it.
            heat = wall.heat_w(hot)
            flat = heat / wall.widened(solution)
            ledger[name] = flat
            ledger["edges and corners"] = ledger.get("edges and corners", 0.0) + heat - flat
        for name, watts in trial.others:
            ledger[name] = ledger.get(name, 0.0) + watts
        return Steady(
            chamber_c, trial.air_c, trial.radiant_c, trial.element_c, trial.power_w, self.fan_w, walls, ledger, shells
        )

    def middles_c(self, chamber_c: float) -> dict[str, float]:
        """The middle of each outside by face, °C: its hottest place where nothing bridges the wall."""
        walls = self.at(chamber_c).walls
        return {
            w.face.name: w.middle(max(walls[w.face.name].hot_face_c, self.ambient_c)).cold_face_c for w in self.walls
        }

    @cached_property
    def valid_c(self) -> float:
        """The hottest chamber that can be solved, °C: `highest_c`, or less where elements or air leave the formulas'
        range earlier."""
        low, high = self.ambient_c + 1.0, self.highest_c
        if self._can(high):
            return high
        while high - low > 1.0:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self._can(middle) else (low, middle)
        return low

    def _can(self, chamber_c: float) -> bool:
        try:
            self.at(chamber_c)
        except BeyondPhysics:
            return False
        return True

    def highest(self, power_w: float) -> float:
        """Chamber temperature that power_w holds, °C, not above `valid_c`."""
        low, high = self.ambient_c + 1.0, self.valid_c
        if self.at(high).power_w <= power_w:
            return high
        if self.at(low).power_w >= power_w:
            return low
        return root(lambda t: self.at(t).power_w - power_w, low, high, 1e-3)


@dataclass(frozen=True)
class _Trial:
    """A state in balance except for the air, which receives surplus_w more than it gives."""

    surplus_w: float
    radiant_c: float
    air_c: float
    faces: list[tuple[float, float, float]]
    others: tuple[tuple[str, float], ...]
    element_c: float
    power_w: float
