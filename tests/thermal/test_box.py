"""Edges and corners of a box against a numerical solution of Laplace's equation."""

import math
import random

import box_draws
import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import cg

from kilnctl.body import geometry_of
from kilnctl.body.edges import edges_of, films_of
from kilnctl.settings.construction import Chamber
from kilnctl.thermal import box
from kilnctl.thermal.box import solve_box
from kilnctl.thermal.material_data import find, from_points
from kilnctl.thermal.walls import WallLayer

EDGE_EXACT = 1.0 - 2.0 / math.pi * math.log(2.0)  # 0.5587, conformal mapping of two equal walls at right angles


def constant_film(t_c):
    """So good a film that the outside is as cold as the room."""
    return np.full(np.shape(t_c), 1e9)


def brick(thickness_m, k=1.0):
    return WallLayer(from_points("brick", ((20.0, k),), 1000.0, ((20.0, 1000.0),), 2000.0, "", 0.0), thickness_m)


def shape_factor_m(width_m, depth_m, height_m, thickness_m):
    """S in m of a hollow box, heat = S · k · ΔT."""
    layers, films = (brick(thickness_m),), [constant_film] * 3
    return solve_box(layers, (width_m, depth_m, height_m), 101.0, 1.0, films).heat_w / 100.0


def numerical_shape_factor(cells, dimensions, inner_half=0.15, wall=0.1):
    """Heat through a hollow square (per m of length) or cube with inside at 1 and outside at 0, k = 1: finite volumes
    on one quadrant or octant, `cells` to the wall's thickness."""
    h = wall / cells
    last_hot = round(inner_half / h)
    size = last_hot + cells + 1
    place = np.stack(np.meshgrid(*[np.arange(size)] * dimensions, indexing="ij"))
    furthest = place.max(axis=0)
    hot, free = furthest <= last_hot, (furthest > last_hot) & (furthest < size - 1)
    number = np.full(furthest.shape, -1)
    number[free] = np.arange(free.sum())
    share = np.where(place == 0, 0.5, 1.0)  # cells on a plane of symmetry are halved
    diagonal, gain = np.zeros(free.sum()), np.zeros(free.sum())
    rows, columns, values = [], [], []
    for axis in range(dimensions):
        near, far = [slice(None)] * dimensions, [slice(None)] * dimensions
        near[axis], far[axis] = slice(0, -1), slice(1, None)
        conductance = (
            h ** (dimensions - 2)
            * np.prod([share[i][tuple(near)] for i in range(dimensions) if i != axis], axis=0).ravel()
        )
        a, b = number[tuple(near)].ravel(), number[tuple(far)].ravel()
        inside = (a >= 0) & (b >= 0)
        rows += [a[inside], b[inside]]
        columns += [b[inside], a[inside]]
        values += [-conductance[inside]] * 2
        for end in (a, b):
            np.add.at(diagonal, end[end >= 0], conductance[end >= 0])
        from_hot = (b >= 0) & hot[tuple(near)].ravel()
        np.add.at(gain, b[from_hot], conductance[from_hot])
    every = np.arange(len(diagonal))
    matrix = coo_matrix(
        (np.concatenate([*values, diagonal]), (np.concatenate([*rows, every]), np.concatenate([*columns, every])))
    ).tocsr()
    temperature, _ = cg(matrix, gain, rtol=1e-10)
    return 2**dimensions * float(np.sum(gain * (1.0 - temperature)))


def refined(coarse, fine, ratio):
    """Richardson's extrapolation; at an inner edge of 270° the field goes with r^⅔, so the error falls with h^(4/3)."""
    return fine + (fine - coarse) / (ratio ** (4.0 / 3.0) - 1.0)


def test_edge_against_laplaces_equation():
    """A long square duct: four walls and four edges; each edge adds 1 − (2/π) ln 2 = 0.5587 (conformal mapping)."""
    s = refined(numerical_shape_factor(20, 2), numerical_shape_factor(40, 2), 2.0)
    edge = (s - 4.0 * 0.3 / 0.1) / 4.0
    # Edges 3 thicknesses apart have almost no effect on each other.
    assert edge == pytest.approx(EDGE_EXACT, abs=0.002)
    # A very long box is a duct: what one more metre of it adds.
    longer = shape_factor_m(0.3, 0.3, 4.0, 0.1) - shape_factor_m(0.3, 0.3, 3.0, 0.1)
    assert (longer - 12.0) / 4.0 == pytest.approx(EDGE_EXACT, rel=0.03)


def test_cube_against_laplaces_equation():
    """Hollow cube, inside 0.3 m, wall 0.1 m: 7.50 m; the handbook's rule says 7.464 m."""
    s = refined(numerical_shape_factor(6, 3), numerical_shape_factor(12, 3), 2.0)
    assert s == pytest.approx(7.50, abs=0.01)
    assert shape_factor_m(0.3, 0.3, 0.3, 0.1) == pytest.approx(s, rel=0.003)


def test_box_of_one_material_against_langmuir_adams_and_meikle():
    """Trans. Am. Electrochem. Soc. 24 (1913) 53: 0.54 per length of edge, 0.15 per thickness of corner, for lengths
    above a fifth of the thickness. 0.4 × 0.5 × 0.6 m, wall 0.1 m: faces 14.8 m, edges 3.24 m, corners 0.12 m."""
    assert shape_factor_m(0.4, 0.5, 0.6, 0.1) == pytest.approx(14.8 + 3.24 + 0.12, rel=0.01)


def test_thin_walls_are_their_faces():
    assert shape_factor_m(0.4, 0.5, 0.6, 1e-4) == pytest.approx(1.48e4, rel=1e-3)


def test_spheres_bound_a_small_chamber_in_thick_walls():
    """A chamber far smaller than its walls: the capacitance of a cube is 0.6607 of a side times 4π ε0 (from
    memory), so S = 4π·0.6607·a to endless surroundings, a little more to a box."""
    endless = 4.0 * math.pi * 0.6607 * 0.1
    assert endless < shape_factor_m(0.1, 0.1, 0.1, 1.0) < 1.09 * endless


LAYERED = {
    "dense brick before insulating brick": ((("dense firebrick", 0.1), ("insulating firebrick 23", 0.11)), 0.1, 850.0),
    "castable before blanket": ((("castable refractory", 0.075), ("ceramic fibre blanket 128", 0.075)), 0.3, 1150.0),
    "brick before board": ((("insulating firebrick 28", 0.114), ("calcium silicate board", 0.05)), 0.25, 1250.0),
    "wool in steel": ((("steel", 0.001), ("mineral wool 100", 0.1), ("steel", 0.001)), 0.5, 250.0),
}


@pytest.mark.parametrize("name", LAYERED)
def test_layered_walls_against_finite_volumes(name):
    """Against another discretisation with other code (`tools/lib/box_reference.py`), at the temperature of the solution
    and, with the same areas, at half of it. `tools/bench/boxes` prints forty boxes."""
    stack, side, hot_c = LAYERED[name]
    layers = tuple(WallLayer(find(m), x) for m, x in stack)
    row = box_draws.checked(box_draws.Box(layers, (side, side, 1.2 * side), hot_c, 0.9))
    assert abs(row.away) < 0.02  # the reference's own grid
    assert row.error == pytest.approx(0.0, abs=0.03) and row.half == pytest.approx(0.0, abs=0.03)
    assert row.middle_k == pytest.approx(0.0, abs=3.0)


def test_layers_further_out_are_wider(oven):
    kiln = oven("brick-kiln")
    sides = next(f for f in kiln.faces if f.name == "sides")
    geometry = geometry_of(kiln, sides)
    assert 1.0 < geometry.spreads[0] < geometry.spreads[1] < geometry.spreads[2]
    assert geometry.spreads[2] * geometry.inner_m2 <= 1.6165  # its outside, m²
    assert 0.5 < geometry.middle_share < 1.0


def test_a_contact_resistance_weakens_the_heat():
    chamber, films = Chamber(width_m=0.3, depth_m=0.3, height_m=0.3), films_of((0.3, 0.3, 0.3), 0.1, 20.0, 0.9)
    loose = (WallLayer(find("dense firebrick"), 0.05, 0.05), WallLayer(find("dense firebrick"), 0.05))
    tight = (WallLayer(find("dense firebrick"), 0.05), WallLayer(find("dense firebrick"), 0.05))
    heat = [solve_box(x, (0.3, 0.3, 0.3), 800.0, 20.0, films).heat_w for x in (tight, loose)]
    # In series with 0.1 m of about 1.2 W/(m·K), 0.05 m²K/W takes a third away; more where edges spread the heat.
    assert 0.5 < heat[1] / heat[0] < 0.8
    assert edges_of(loose, chamber, 800.0, 20.0, 0.9).added_m[0] > 0.0


def test_a_grid_is_solved_until_nothing_moves(monkeypatch):
    """A wall that conducts well is cooled by its film, and its film follows its temperature: what is left of that
    circle is far below what the grids themselves are off."""
    wall = (WallLayer(find("dense firebrick"), 0.076), WallLayer(find("insulating firebrick 23"), 0.03))
    films = films_of((0.3, 0.35, 0.4), 0.106, 20.0, 0.9)
    usual = solve_box(wall, (0.3, 0.35, 0.4), 1150.0, 20.0, films)
    monkeypatch.setattr(box, "SETTLED", 1e-9)
    last = solve_box(wall, (0.3, 0.35, 0.4), 1150.0, 20.0, films)
    assert usual.heat_w == pytest.approx(last.heat_w, rel=5e-6)
    assert usual.middle_c == pytest.approx(last.middle_c, abs=1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_walls_whose_layers_conduct_a_thousand_times_better_or_worse(seed, monkeypatch):
    """By halves, the inverse once lost all its digits from plane to plane in such walls, because rounding made each
    plane's matrix a little less symmetric. Against one call for each."""
    draw = random.Random(seed)
    names = draw.sample(("copper", "ceramic fibre blanket 128", "steel", "calcium silicate board", "cordierite"), 3)
    wall = [WallLayer(find(name), 10.0 ** draw.uniform(-3.0, -1.0)) for name in names]
    inside = [draw.uniform(0.05, 1.0) for _ in range(3)]
    asked = (wall, inside, draw.uniform(80.0, 900.0), 20.0, [constant_film] * 3)
    found = solve_box(*asked)

    def at_once(matrix: np.ndarray, into: np.ndarray) -> None:
        into[:] = np.linalg.inv(matrix)

    monkeypatch.setattr(box, "_invert", at_once)
    assert found.heat_w == pytest.approx(solve_box(*asked).heat_w, rel=1e-9)


def test_an_inside_as_cold_as_the_room_is_refused():
    with pytest.raises(ValueError, match="not warmer than the room"):
        solve_box((brick(0.1),), (0.3, 0.3, 0.3), 20.0, 20.0, [constant_film] * 3)
