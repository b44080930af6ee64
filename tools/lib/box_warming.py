"""Does a box warm up in the virtual oven as it does in three dimensions? The same heat into the walls, at the same
times, goes into the reference (`box_reference`); compared is when the hot face is as hot. Everything in the chamber is
the same in both, so the ratio of these times is the error that walls of one dimension make of a heat-up.
"""

from dataclasses import dataclass

import numpy as np
from box_draws import AMBIENT_C, Box
from box_reference import grid_of
from conduction_grid import warmed

from kilnctl.body.edges import films_of
from kilnctl.body.steady import SteadyOven
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.oven import Oven, oven_from
from kilnctl.thermal.constants import ZERO_C

#: Full power over what holds the hottest.
POWER = 2.5
#: A heat-up is given up after this time, s.
LONGEST_S = 2.0e5


def oven_of(box: Box, power_w: float) -> Oven:
    """A closed oven of that box: the same wall all round, no leak."""
    layers = ", ".join(
        f"{{material: '{x.material.name}', thickness: {1e3 * x.thickness_m:.6f} mm}}" for x in box.layers
    )
    w, d, h = (1e3 * x for x in box.inside_m)
    return oven_from(
        f"oven: box\nchamber: {{width: {w:.5f} mm, depth: {d:.5f} mm, height: {h:.5f} mm, opening: front}}\n"
        f"walls:\n  sides: {{layers: [{layers}], outer emissivity: {box.emissivity}}}\n"
        "door: {gap: 0 mm}\n"
        f"elements: {{power: {power_w:.3f} W, alloy: iron-chromium-aluminium}}\n"
        "supply: {voltage: 230 V, frequency: 50 Hz}\n"
        f"limits: {{highest: {box.hot_c:.4f} °C}}\nsite: {{ambient: {AMBIENT_C:g} °C}}\n",
        "box",
    )


def powered(box: Box, times: float = POWER) -> Oven:
    """The same with so many times the power that holds the hottest."""
    return oven_of(box, times * SteadyOven(oven_of(box, 1000.0)).at(box.hot_c).power_w)


@dataclass(frozen=True)
class Warmed:
    """time_s; heat_j into all six walls so far; face_c, the mean of the hot faces: of the virtual oven at full
    power."""

    time_s: np.ndarray
    heat_j: np.ndarray
    face_c: np.ndarray


def in_virtual_oven(oven: Oven, to_c: float, looks: int = 60) -> Warmed:
    """Heats up until the chamber has to_c; looked at ever more seldom."""
    plant = VirtualOven(oven, conditions=Conditions(supply_drift=0.0))
    core, faces = plant.core, len(oven.faces)
    area = core.body.surface_area[:faces]
    rows, first = [(0.0, 0.0, AMBIENT_C)], float(core.enthalpy_j(core.nodes_k)[:, :faces].sum())
    dt, seconds = 5.0, 0.0
    while plant.chamber_c < to_c and plant.time_s < LONGEST_S:
        span = 0.0
        while span < dt and plant.chamber_c < to_c:
            plant.advance(5.0, 1.0, True)
            span += 5.0
        seconds += span
        core.refresh()
        heat = float(core.enthalpy_j(core.nodes_k)[:, :faces].sum()) - first + float(core.ledger.walls[:faces].sum())
        rows.append((seconds, heat, float(core.surfaces_k[:faces] @ area / area.sum()) - ZERO_C))
        dt = max(5.0, 5.0 * round(seconds * 6.0 / looks / 5.0))
    time_s, heat_j, face_c = np.array(rows).T
    return Warmed(time_s, heat_j, face_c)


def converged_time_s(box: Box, told: Warmed, grids: tuple[int, int] = (3, 5)) -> float:
    """`reference_time_s` of two grids, extrapolated: its error falls with the square of the size."""
    coarse, fine = (reference_time_s(box, told, n) for n in grids)
    return fine + (fine - coarse) / ((grids[1] / grids[0]) ** 2 - 1.0)


def reference_time_s(box: Box, told: Warmed, fine: int) -> float:
    """When the reference's hot face is as hot as the virtual oven's at its end, given the same heat; afterwards it is
    given as much as last. s, NaN for never."""
    thickness = sum(x.thickness_m for x in box.layers)
    films = films_of(box.inside_m, thickness, AMBIENT_C, box.emissivity)
    grid, _ = grid_of(box.layers, box.inside_m, None, AMBIENT_C, films, fine)
    spans, heats = np.diff(told.time_s), np.diff(told.heat_j)
    steps = [(float(s), float(q / s) / 8.0) for s, q in zip(spans, heats, strict=True)]
    steps += [(float(spans[-2]), steps[-2][1])] * 200
    k = [x.material.conductivity for x in box.layers]
    c = [lambda t, m=x.material: m.density_kg_m3 * m.heat_capacity(t) for x in box.layers]
    before, at_s, goal = AMBIENT_C, 0.0, float(told.face_c[-1])
    for (dt, _), (t, _) in zip(steps, warmed(grid, k, c, AMBIENT_C, steps), strict=False):
        now = float(t[0, 0, 0])
        if now >= goal:
            return at_s + dt * (goal - before) / (now - before)
        before, at_s = now, at_s + dt
    return float("nan")


def split(box: Box) -> Box:
    """The same box with its thickest layer that is no metal written as two equal ones."""
    i = max(range(len(box.layers)), key=lambda n: box.layers[n].thickness_m)
    x = box.layers[i]
    half = type(x)(x.material, 0.5 * x.thickness_m)
    last = type(x)(x.material, 0.5 * x.thickness_m, x.contact_m2k_w)
    return Box((*box.layers[:i], half, last, *box.layers[i + 1 :]), box.inside_m, box.hot_c, box.emissivity)
