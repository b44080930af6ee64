"""The body in steady state: the same network as the virtual oven's (see `kilnctl.plants`), solved for the power that
holds a chamber temperature, without steps in time. Sizing prints it, and the day-zero model is fitted to it. No scipy,
for a quick start: this runs in the process that heats, before the run."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY, sensor_film
from ..thermal.surfaces import cylinder_film, inner_film
from ..thermal.walls import WallSolution
from .heated_wall import NOMINAL, Factors, walls_of
from .heaters import heater_of
from .openings import Openings
from .radiating import star_m2, surfaces_of

#: How exactly the air's difference to the chamber is found, K: as exactly as a face's temperature within it.
APART_K = 1e-7


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


def root(
    function: Callable[[float], float],
    low: float,
    high: float,
    tolerance: float,
    ends: tuple[float, float] | None = None,
) -> float:
    """The zero, to `tolerance`, of a function that changes its sign between low and high: secant steps kept inside a
    bracket, through the last two trials while each halves what is missed, else through its ends (Illinois rule).
    `ends`: its values at low and high where they are known."""
    at_low, at_high = (function(low), function(high)) if ends is None else ends
    side, last, missed, guess = 0, math.inf, math.inf, math.inf
    for _ in range(200):
        if at_low == 0.0 or abs(high - low) < tolerance:
            return low
        inside = min(low, high) < guess < max(low, high)
        middle = guess if inside else (low * at_high - high * at_low) / (at_high - at_low)
        here, guess = function(middle), math.inf
        if abs(here) < 0.5 * abs(missed) < math.inf:
            guess = middle + here * (middle - last) / (missed - here)
        if here == 0.0 or abs(middle - last) < tolerance or abs(guess - middle) < tolerance:
            return middle
        if here * at_low > 0.0:
            low, at_low = middle, here
            at_high *= 0.5 if side < 0 else 1.0
            side = -1
        else:
            high, at_high = middle, here
            at_low *= 0.5 if side > 0 else 1.0
            side = 1
        last, missed = middle, here
    return 0.5 * (low + high)


class SteadyOven:
    """Solves one oven (with one set of factors) at any chamber temperature up to `highest_c`."""

    def __init__(self, oven: Oven, load: Load | None = None, factors: Factors = NOMINAL, highest_c: float = 1500.0):
        self.oven, self.factors, self.highest_c = oven, factors, highest_c
        self.ambient_c = oven.site.ambient_c
        self.speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
        self.fan_w = oven.fan.power_w if oven.fan else 0.0
        self.walls = walls_of(oven, factors, highest_c)
        self.elements = heater_of(oven)
        self.surfaces = surfaces_of(oven, load)
        self.star = [float(g) * STEFAN_BOLTZMANN for g in star_m2(oven, self.surfaces, factors.emissivity)]
        self.openings = Openings(oven, factors.leakage)
        self._known: dict[float, Steady] = {}
        self._trials: dict[float, _Trial] = {}

    # ---- pieces ----------------------------------------------------------------------------------------------------

    def _face(self, i: int, radiant_c: float, air_c: float, start_c: float) -> tuple[float, float, float]:
        """(hot face °C, radiation from the star W, convection from the air W) of face i in balance with its wall,
        looked for from start_c on."""
        wall, g, surface = self.walls[i], self.star[i], self.surfaces[i]
        area = surface.area_m2 * self.factors.film
        low, high = min(self.ambient_c, radiant_c, air_c) - 1.0, max(radiant_c, air_c) + 1.0
        hot, before, missed = start_c, start_c, 0.0
        fourth = _fourth(radiant_c)
        film = 0.0
        for _ in range(50):
            hot = min(max(hot, low), high)
            film = inner_film(hot, air_c, surface.length_m, surface.orientation, self.speed) * area
            radiation, convection = g * (fourth - _fourth(hot)), film * (air_c - hot)
            into_w, steeper = wall.heat_and_slope(hot)
            miss = radiation + convection - into_w
            if miss > 0.0:
                low = hot
            else:
                high = hot
            slope = 4.0 * g * (hot + ZERO_C) ** 3 + film + steeper
            if missed != 0.0 and hot != before:
                # The film changes too: a secant through the last two trials knows that.
                secant = (missed - miss) / (hot - before)
                slope = secant if 0.5 * slope < secant < 2.0 * slope else slope
            before, missed, step = hot, miss, miss / slope
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

    def _at(self, chamber_c: float, apart_k: float, near: "_Trial | None" = None) -> "_Trial":
        """The state in which the air is apart_k (K) warmer than the chamber; everything except the air is in
        balance. `near`: a state not far from it."""
        air_c = chamber_c + apart_k
        radiant = self._radiant_for(chamber_c, air_c)
        colder = [2.0] * len(self.walls) if near is None else [near.radiant_c - hot for hot, _, _ in near.faces]
        faces = [self._face(i, radiant, air_c, radiant - colder[i]) for i in range(len(self.walls))]
        bodies = sum(self._body(j, radiant, air_c) for j in range(len(self.walls), len(self.surfaces) - 1))
        star, gone = self._others(radiant, air_c)
        radiation = sum(f[1] for f in faces) + bodies + sum(star.values())
        element_c, element_air = self._element(radiant, air_c, radiation)
        surplus = element_air + bodies + self.fan_w - sum(f[2] for f in faces) - sum(gone.values())
        return _Trial(
            surplus, radiant, air_c, faces, (*star.items(), *gone.items()), element_c, radiation + element_air
        )

    def _balanced(self, chamber_c: float) -> "_Trial":
        """The state in which the air is in balance too. Its surplus falls as it gets warmer: two differences of air and
        chamber are looked for between which it changes its sign."""
        last = self._at(chamber_c, 0.0)

        def surplus_w(apart_k: float) -> float:
            nonlocal last
            last = self._at(chamber_c, apart_k, last)
            return last.surplus_w

        near, at_near = 0.0, last.surplus_w
        sign = 1.0 if at_near > 0.0 else -1.0
        step = 0.01 * (chamber_c - self.ambient_c)
        for _ in range(80):
            far = near + sign * step
            try:
                at_far = surplus_w(far)
            except ValueError:
                step *= 0.25  # outside the formulas' range: approach its end
                if step < 1e-3:
                    break
                continue
            if at_far * sign <= 0.0:
                apart_k = root(surplus_w, near, far, APART_K, (at_near, at_far))
                return last if last.air_c == chamber_c + apart_k else self._at(chamber_c, apart_k, last)
            near, at_near, step = far, at_far, 2.0 * step
        raise BeyondPhysics("no temperature of the air within the range of the formulas balances it")

    def at(self, chamber_c: float) -> Steady:
        """The steady oven at chamber_c, °C. Raises ValueError at or below the room or above `highest_c`, and
        BeyondPhysics where elements or air would be hotter than the formulas allow."""
        if chamber_c not in self._known:
            self._known[chamber_c] = self._solved(chamber_c)
        return self._known[chamber_c]

    def power_w(self, chamber_c: float) -> float:
        """The power alone that `at` has, W; raises what it does."""
        return self._trial(chamber_c).power_w

    def _trial(self, chamber_c: float) -> "_Trial":
        if not self.ambient_c + 0.5 <= chamber_c <= self.highest_c:
            raise ValueError(f"chamber_c = {chamber_c:g} °C: from just above the room to {self.highest_c:g} °C")
        if chamber_c not in self._trials:
            try:
                self._trials[chamber_c] = self._balanced(chamber_c)
            except ValueError as error:
                raise BeyondPhysics(
                    f"a chamber of {chamber_c:.0f} °C asks for elements or air hotter than the formulas go ({error})"
                ) from None
        return self._trials[chamber_c]

    def _solved(self, chamber_c: float) -> Steady:
        trial = self._trial(chamber_c)
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

    def within_c(self, chamber_c: float) -> float:
        """chamber_c, or `valid_c` where that is less: to look for it takes many solves."""
        return chamber_c if chamber_c <= self.highest_c and self._can(chamber_c) else min(chamber_c, self.valid_c)

    def _can(self, chamber_c: float) -> bool:
        try:
            self.power_w(chamber_c)
        except BeyondPhysics:
            return False
        return True

    def highest(self, power_w: float, near_c: float | None = None) -> float:
        """Chamber temperature that power_w holds, °C, not above `valid_c`; `near_c`: about where to look for it."""

        def above_w(chamber_c: float) -> float:
            return self.power_w(chamber_c) - power_w

        low = self.ambient_c + 1.0
        if near_c is None or not low < near_c < self.highest_c or not self._can(near_c):
            high = self.valid_c
            if above_w(high) <= 0.0:
                return high
            if above_w(low) >= 0.0:
                return low
            return root(above_w, low, high, 1e-3)
        at_near = above_w(near_c)
        # Towards the side where the power is met, in growing steps, as far as the oven can be solved. The power rises
        # more steeply than in proportion: a step by its mean slope mostly leads beyond it.
        share = abs(at_near) / max(abs(at_near + power_w), 1e-9)
        step, inside = min(max(1.05 * share, 1e-3), 0.3) * (near_c - self.ambient_c), near_c
        while True:
            there = min(max(inside - math.copysign(step, at_near), low), self.highest_c)
            if not self._can(there) or there in (low, self.highest_c):
                return self.highest(power_w)
            if above_w(there) * at_near <= 0.0:
                return root(above_w, inside, there, 1e-3, (above_w(inside), above_w(there)))
            inside, step = there, 2.0 * step


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
