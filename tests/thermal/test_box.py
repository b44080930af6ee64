"""Edges and corners of a box against a numerical solution of Laplace's equation."""

import math

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import cg

from kilnctl.body import geometry_of
from kilnctl.settings.construction import Face, Layer, Wall
from kilnctl.thermal.box import CORNER, EDGE

EDGE_EXACT = 1.0 - 2.0 / math.pi * math.log(2.0)  # 0.5587, conformal mapping of two equal walls at right angles


def shape_factor_m(width_m, depth_m, height_m, thickness_m):
    """S in m of a hollow box, heat = S · k · ΔT, from the conduction areas that the body gives its six faces."""
    wall = Wall(layers=(Layer(material="brick", thickness_m=thickness_m),))
    sides = ((width_m, depth_m, "up"), (width_m, height_m, "vertical"), (depth_m, height_m, "vertical"))
    faces = [Face(name="one", wall=wall, width_m=w, height_m=h, count=2, orientation=o) for w, h, o in sides]
    return sum(geometry_of(face).conduction_m2 for face in faces) / thickness_m


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
    assert edge / EDGE == pytest.approx(1.0, rel=0.04)


def test_cube_against_laplaces_equation():
    """Hollow cube, inside 0.3 m, wall 0.1 m: 7.50 m; the handbook's rule says 7.464 m."""
    s = refined(numerical_shape_factor(6, 3), numerical_shape_factor(12, 3), 2.0)
    assert s == pytest.approx(7.50, abs=0.01)
    assert shape_factor_m(0.3, 0.3, 0.3, 0.1) == pytest.approx(7.464, abs=5e-4)
    assert shape_factor_m(0.3, 0.3, 0.3, 0.1) == pytest.approx(s, rel=0.006)


def test_shape_factor_by_hand():
    """0.4 × 0.5 × 0.6 m, wall 0.1 m: faces 14.8 m, edges 4·1.5·0.54 = 3.24 m, corners 8·0.15·0.1 = 0.12 m."""
    assert shape_factor_m(0.4, 0.5, 0.6, 0.1) == pytest.approx(14.8 + 3.24 + 0.12) and CORNER == 0.15


def test_thin_walls_are_their_faces():
    assert shape_factor_m(0.4, 0.5, 0.6, 1e-6) == pytest.approx(1.48e6, rel=1e-5)
