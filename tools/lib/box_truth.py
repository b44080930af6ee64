"""Do the ranges of `kilnctl size` hold the truth? The truth is drawn and solved by other code than the ranges.

Boxes: `drawn_truth` gives every material a conductivity and a heat capacity of its own (or all the same error), every
layer its thickness, the corners their construction, the outside its film and emissivity, the room, the elements' power;
`conduction_grid` solves that in three dimensions, steady and in time. The workshop's ovens have openings and unlike
walls, which that grid does not know: their truth is a description drawn layer by layer, solved by the virtual oven's
and sizing's own body.

A conductive hot face that runs through to the skin at the edges (+20 to +80 % of heat) is a fault of construction and
is not drawn: slabs butt only where no layer conducts three times as well as another.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from box_draws import AMBIENT_C, Box
from box_reference import grid_of, solve_reference
from box_warming import LONGEST_S, Warmed, in_virtual_oven, oven_of
from conduction_grid import warmed

from kilnctl.body.layers import layers_of
from kilnctl.body.steady import Factors, SteadyOven
from kilnctl.plants.conditions import Conditions, Variation
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.construction import Wall, Walls
from kilnctl.settings.oven import Oven
from kilnctl.sizing import Sizing
from kilnctl.sizing.ranges import Range
from kilnctl.sizing.sizing import HIGHEST_C
from kilnctl.thermal.surfaces import outer_film
from kilnctl.thermal.walls import WallLayer

QUANTITIES = ("power", "highest", "outside", "heat-up")
#: Half widths of what the description does not give (see `kilnctl.sizing.ranges` for where they come from).
CONDUCTIVITY, CAPACITY, INSIDE, THICKNESS, FILM, OUTER, ROOM_K, WOUND = 0.15, 0.10, 0.10, 0.05, 0.2, 0.1, 3.0, 0.05
#: Full power over what holds the hottest: for the highest temperature and for the heat-up.
ENOUGH, QUICK = 1.0, 2.5
#: The most that a description accepts, W.
MOST_W = 20000.0
GRID = 3


@dataclass(frozen=True)
class Truth:
    """One box as built: its layers, construction of its corners (empty: wrapped), emissivity and factor on the natural
    film of its outsides, room °C, factors on the elements' power and on the resistance between chamber and hot face."""

    layers: tuple[WallLayer, ...]
    first: tuple[int, ...]
    emissivity: float
    film: float
    room_c: float
    power: float
    inside: float


def _around(chance: np.random.Generator, half: float) -> float:
    return 1.0 + half * chance.uniform(-1.0, 1.0)


def butts(layers: tuple[WallLayer, ...], t_c: float) -> bool:
    """Whether slabs of these layers may run through to the skin."""
    k = [x.material.conductivity(t_c) for x in layers if x.material.kind != "metal"]
    return max(k) < 3.0 * min(k)


def drawn_truth(box: Box, tolerance: float, chance: np.random.Generator) -> Truth:
    """One draw. tolerance: relative, of the supply's voltage."""
    alike, k, c = chance.random() < 0.5, {}, {}
    common = _around(chance, CONDUCTIVITY), _around(chance, CAPACITY)
    layers = []
    for x in box.layers:
        name = x.material.name
        k.setdefault(name, common[0] if alike else _around(chance, CONDUCTIVITY))
        c.setdefault(name, common[1] if alike else _around(chance, CAPACITY))
        metal = x.material.kind == "metal"
        made = x.material.scaled(1.0 if metal else k[name], c[name])
        layers.append(
            replace(x, material=made, thickness_m=x.thickness_m * (1.0 if metal else _around(chance, THICKNESS)))
        )
    first = tuple(int(i) for i in chance.permutation(3)) if chance.random() < 0.5 else ()
    return Truth(
        tuple(layers),
        first if butts(box.layers, 0.5 * (AMBIENT_C + box.hot_c)) else (),
        min(1.0, max(0.02, box.emissivity + OUTER * chance.uniform(-1.0, 1.0))),
        _around(chance, FILM),
        AMBIENT_C + ROOM_K * chance.uniform(-1.0, 1.0),
        _around(chance, tolerance) ** 2 * _around(chance, WOUND),
        _around(chance, INSIDE),
    )


def _films(box: Box, truth: Truth) -> list[Callable[[np.ndarray], np.ndarray]]:
    """Films across x, y and z (mean of roof and floor), and the floor's alone, with the draw's natural convection."""
    t = sum(x.thickness_m for x in truth.layers)
    w, d, h = (x + 2.0 * t for x in box.inside_m)
    flat = w * d / (2.0 * (w + d))
    table = np.geomspace(0.5, 900.0, 40)

    def film(length: float, ways: tuple[str, ...]):
        values = []
        for rise in table:
            at = truth.room_c + rise, truth.room_c, length
            values.append(sum(outer_film(*at, way, truth.emissivity, truth.film) for way in ways) / len(ways))
        return lambda t_c: np.interp(t_c - truth.room_c, table, values)

    return [film(h, ("vertical",)), film(h, ("vertical",)), film(flat, ("up", "down")), film(flat, ("down",))]


class Solved:
    """The truth of one box, solved. drop_k_per_w: between chamber and hot face of the box as described; grid: the
    reference on its finest grid over the one used here, of the box as described."""

    def __init__(self, box: Box, truth: Truth, drop_k_per_w: float):
        self.box, self.truth, self.films = box, truth, _films(box, truth)
        self.drop = truth.inside * drop_k_per_w
        rises = [share * (box.hot_c - AMBIENT_C) for share in (0.6, 0.8, 1.0, 1.2)]
        found = [self._at(truth.room_c + rise) for rise in rises]
        self.chambers = np.array([truth.room_c + r + self.drop * q for r, (q, _) in zip(rises, found, strict=True)])
        self.watts = np.array([q for q, _ in found])
        # The octant has no floor of its own: the hottest outside is found with both flat faces as floors.
        floors = [self._at(truth.room_c + rise, floor=True)[1] for rise in rises]
        self.outsides = np.array([max(*m[:2], f[2]) for (_, m), f in zip(found, floors, strict=True)])

    def _at(self, face_c: float, floor: bool = False) -> tuple[float, np.ndarray]:
        t, films = self.truth, [*self.films[:2], self.films[3 if floor else 2]]
        return solve_reference(t.layers, self.box.inside_m, face_c, t.room_c, films, GRID, 10, t.first)

    def power_w(self, chamber_c: float) -> float:
        return self._cubic(self.chambers, self.watts, chamber_c)

    def outside_c(self, chamber_c: float) -> float:
        return self._cubic(self.chambers, self.outsides, chamber_c)

    def highest_c(self, rated_w: float) -> float:
        return self._cubic(self.watts, self.chambers, rated_w * self.truth.power)

    @staticmethod
    def _cubic(x: np.ndarray, y: np.ndarray, at: float) -> float:
        """Lagrange through the four solved states; a little beyond them too."""
        total = 0.0
        for i in range(len(x)):
            others = [x[j] for j in range(len(x)) if j != i]
            total += y[i] * math.prod((at - o) / (x[i] - o) for o in others)
        return total

    def heat_up_s(self, told: Warmed, chamber_c: float) -> float:
        """When the chamber is at chamber_c at full power: of the power, the same share as in the virtual oven goes
        into the walls, at the same times."""
        t, spans, heats = self.truth, np.diff(told.time_s), np.diff(told.heat_j)
        grid, _ = grid_of(t.layers, self.box.inside_m, None, t.room_c, self.films, GRID, t.first)
        steps = [(float(s), t.power * float(q / s) / 8.0) for s, q in zip(spans, heats, strict=True)]
        steps += [(float(spans[-2]), steps[-2][1])] * 400
        k = [x.material.conductivity for x in t.layers]
        c = [lambda at, m=x.material: m.density_kg_m3 * m.heat_capacity(at) for x in t.layers]
        before, at_s = t.room_c, 0.0
        for (dt, into), (field, _) in zip(steps, warmed(grid, k, c, t.room_c, steps), strict=False):
            now = float(field[0, 0, 0]) + self.drop * 8.0 * into
            if now >= chamber_c:
                return at_s + dt * (chamber_c - before) / (now - before)
            before, at_s = now, at_s + dt
            if at_s > LONGEST_S:
                break
        return math.inf


def fits(box: Box) -> bool:
    """Whether an oven of that box, with some power to spare, is one that kilnctl accepts."""
    return SteadyOven(oven_of(box, 1000.0), highest_c=HIGHEST_C).at(box.hot_c).power_w < 0.8 * MOST_W


def held_box(box: Box, draws: int, chance: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """(for each draw and quantity whether its range holds it, widths of the ranges: relative, of the outside in K)."""
    bare = SteadyOven(oven_of(box, 1000.0), highest_c=HIGHEST_C)
    holds_w = bare.at(box.hot_c).power_w
    quick_w = min(QUICK * holds_w, MOST_W)
    enough, quick = oven_of(box, ENOUGH * holds_w), oven_of(box, quick_w)
    sizing = Sizing(enough)
    goal_c = AMBIENT_C + 0.9 * (box.hot_c - AMBIENT_C)
    told = in_virtual_oven(quick, goal_c)
    ranges = (
        sizing.power_range_w(box.hot_c),
        sizing.max_chamber_range_c,
        sizing.shell_range_c(box.hot_c),
        Sizing(quick).heat_up_range_s(AMBIENT_C, goal_c),
    )
    steady = bare.at(box.hot_c)
    face_c = float(np.mean([w.hot_face_c for w in steady.walls.values()]))
    drop = (box.hot_c - face_c) / holds_w
    inside = []
    for _ in range(draws):
        truth = drawn_truth(box, enough.supply.tolerance, chance)
        s = Solved(box, truth, drop)
        true = (
            s.power_w(box.hot_c),
            s.highest_c(ENOUGH * holds_w),
            s.outside_c(box.hot_c),
            s.heat_up_s(told, goal_c),
        )
        inside.append([r.low <= x <= r.high for r, x in zip(ranges, true, strict=True)])
    return np.array(inside), widths_of(ranges)


def widths_of(ranges: tuple[Range, Range, Range, Range]) -> np.ndarray:
    """Half widths: of power, rise to the highest and heat-up relative, of the outside K."""
    power, highest, outside, heat_up = (0.5 * (r.high - r.low) for r in ranges)
    return np.array(
        [
            power / ranges[0].value,
            highest / (ranges[1].value - AMBIENT_C),
            outside,
            heat_up / ranges[3].value,
        ]
    )


def drawn_oven(oven: Oven, chance: np.random.Generator) -> tuple[Oven, Factors, Variation]:
    """An oven as built: each layer's figures by its description; what no description says as factors."""
    alike = chance.random() < 0.5
    common, u = _around(chance, oven.uncertainty.conductivity), oven.uncertainty

    def built(wall: Wall) -> Wall:
        layers = []
        for layer, solved in zip(wall.layers, layers_of(oven, wall), strict=True):
            if solved.material.kind == "metal" or layer.material == "air gap":
                layers.append(layer)
                continue
            k = solved.material.conductivity(300.0) * (common if alike else _around(chance, u.conductivity))
            layers.append(
                replace(
                    layer,
                    conductivity_w_per_mk=k,
                    insulance_m2k_per_w=None,
                    mean_c=300.0,
                    thickness_m=layer.thickness_m * _around(chance, THICKNESS),
                )
            )
        return replace(
            wall,
            layers=tuple(layers),
            outer_emissivity=min(1.0, max(0.02, wall.outer_emissivity + OUTER * chance.uniform(-1.0, 1.0))),
        )

    w = oven.walls
    others = {name: wall and built(wall) for name, wall in (("roof", w.roof), ("floor", w.floor), ("door", w.door))}
    walls = Walls(sides=built(w.sides), **others)
    room_c = oven.site.ambient_c + ROOM_K * chance.uniform(-1.0, 1.0)
    changed = replace(oven, walls=walls, site=replace(oven.site, ambient_c=room_c))
    emissivity, film = _around(chance, u.emissivity), _around(chance, FILM)
    leak = 2.0 ** chance.uniform(-1.0, 1.0)
    power = _around(chance, oven.supply.tolerance) ** 2 * _around(chance, WOUND)
    return (
        changed,
        Factors(
            emissivity=emissivity, film=film, leakage=leak, edges=_around(chance, 0.25), outside=_around(chance, FILM)
        ),
        Variation(
            heat_capacity=_around(chance, u.heat_capacity),
            emissivity=emissivity,
            film=film,
            leakage=leak,
            power=power,
        ),
    )


def held_oven(oven: Oven, draws: int, chance: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """The same of one whole oven, at its highest temperature and to nine tenths of the rise there."""
    sizing = Sizing(oven)
    t = min(oven.limits.highest_c, 0.9 * sizing.max_chamber_c)
    room = oven.site.ambient_c
    goal_c = room + 0.9 * (t - room)
    ranges = (
        sizing.power_range_w(t),
        sizing.max_chamber_range_c,
        sizing.shell_range_c(t),
        sizing.heat_up_range_s(room, goal_c),
    )
    inside = []
    for _ in range(draws):
        built, factors, variation = drawn_oven(oven, chance)
        steady = SteadyOven(built, factors=factors, highest_c=HIGHEST_C)
        true = (
            steady.at(t).power_w,
            steady.highest(oven.elements.power_w * variation.power),
            max(steady.middles_c(t).values()),
            _heated_s(built, variation, goal_c),
        )
        inside.append([r.low <= x <= r.high for r, x in zip(ranges, true, strict=True)])
    return np.array(inside), widths_of(ranges)


def _heated_s(oven: Oven, variation: Variation, goal_c: float) -> float:
    plant, before, time_s = VirtualOven(oven, conditions=Conditions(supply_drift=0.0), variation=variation), 0.0, 0.0
    while time_s < LONGEST_S:
        before = plant.chamber_c
        plant.advance(5.0, 1.0, True)
        if plant.chamber_c >= goal_c:
            return time_s + 5.0 * (goal_c - before) / max(1e-9, plant.chamber_c - before)
        time_s += 5.0
    return math.inf
