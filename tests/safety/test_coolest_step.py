"""One step of the coolest oven against its own equations, written down afresh and solved by numpy: the flows by hand,
their tangents by differences, all lumps at once instead of from the ends of the tree."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann, zero_Celsius

from kilnctl.safety.coolest import LumpedOven, Lumps, step
from tests.safety.safety_scenes import SMALL

#: Every term is there, and no two numbers are alike.
FULL = dataclasses.replace(
    SMALL,
    element_m2=0.11,
    film_m2=0.23,
    contents_m2=0.07,
    door_m2=0.31,
    extra_w=17.0,
    leak_rise_per_k=0.0013,
    lining_j_per_k=(11.0, 22.0, 35.0, 47.0),
    lining_w_per_k=(4.1, 3.7, 5.3, 2.9),
    rise_per_k=(0.0011, 0.0007, 0.0019, 0.0005),
    capacity_rise_per_k=(0.0009, 0.0017, 0.0003, 0.0012),
    element_rise_per_k=0.0006,
)
HOT: Lumps = (640.0, 520.0, 430.0, 310.0, 190.0, 80.0, 270.0, 0.0)
COOLING: Lumps = (90.0, 120.0, 240.0, 200.0, 130.0, 60.0, 150.0, 0.0)
EMPTY: dict[str, Any] = dict(contents_j_per_k=0.0)
#: Conductivities and capacities that fall to nothing in the frost, and a leak that does in the heat.
FROST: dict[str, Any] = dict(
    room_c=-55.0, rise_per_k=(0.02,) * 4, capacity_rise_per_k=(0.02,) * 4, element_rise_per_k=0.02
)
LEAK: dict[str, Any] = dict(room_c=100.0, leak_rise_per_k=-0.02)
#: All conductivities are just below or just above a tenth of theirs at 0 °C, and capacities a fifth: where both stop
#: falling.
STOPPED: dict[str, Any] = FROST | dict(room_c=-48.0, leak_rise_per_k=0.02)
FALLING: dict[str, Any] = STOPPED | dict(room_c=-44.4, capacity_rise_per_k=(0.0175,) * 4)
BELOW: Lumps = (-40.0, -46.5, -46.0, -48.0, -47.0, -49.0, -45.0, 0.0)
ABOVE: Lumps = (-40.0, -44.1, -44.0, -44.6, -44.2, -44.8, -45.0, 0.0)
COLD: Lumps = (-50.0, -52.0, -60.0, -57.0, -62.0, -51.0, -55.0, 0.0)


def conducted_w(t1, t2, conductance, rise):
    """A conductivity that rises in proportion to the temperature acts as at the mean temperature; it never falls below
    a tenth."""
    return conductance * max(0.1, 1.0 + rise * (t1 + t2) / 2.0) * (t1 - t2)


def convected_w(t1, t2, conductance, area):
    return conductance * (t1 - t2) + Stefan_Boltzmann * area * ((t1 + zero_Celsius) ** 4 - (t2 + zero_Celsius) ** 4)


def gains_w(oven: LumpedOven, t, power_w: float, door: bool):
    """What element, chamber, four lumps of lining and contents gain, W."""
    e, c, *lining, k = t
    to_chamber = convected_w(e, c, oven.element_w_per_k, oven.element_m2)
    to_contents = convected_w(c, k, oven.contents_w_per_k, oven.contents_m2) if oven.contents_j_per_k else 0.0
    lost = conducted_w(c, oven.room_c, oven.leak_w_per_k, oven.leak_rise_per_k)
    if door:
        lost += convected_w(c, oven.room_c, oven.door_w_per_k, oven.door_m2)
    outward = [convected_w(c, lining[0], oven.film_w_per_k, oven.film_m2)]
    for here, there, g, r in zip(lining, [*lining[1:], oven.room_c], oven.lining_w_per_k, oven.rise_per_k, strict=True):
        outward.append(conducted_w(here, there, g, r))
    chamber = to_chamber - outward[0] - to_contents - lost + oven.extra_w
    return np.array([power_w - to_chamber, chamber, *(-np.diff(outward)), to_contents])


def by_numpy(oven: LumpedOven, x: Lumps, power_w: float, dt_s: float, door: bool, boils: bool):
    """(C/dt − J) δ = gains: the linearly implicit Euler step; capacities are never below a fifth of those at 0 °C."""
    t, h = np.array(x[:7]), 1e-3
    tangents = np.empty((7, 7))
    for j in range(7):
        up, down = t.copy(), t.copy()
        up[j] += h
        down[j] -= h
        tangents[:, j] = (gains_w(oven, up, power_w, door) - gains_w(oven, down, power_w, door)) / (2.0 * h)
    shares = [max(0.2, 1.0 + r * lump) for r, lump in zip(oven.capacity_rise_per_k, x[2:6], strict=True)]
    lining = np.array(oven.lining_j_per_k) * shares
    warmed = max(0.2, 1.0 + oven.element_rise_per_k * x[0])
    held = [oven.element_j_per_k * warmed, oven.chamber_j_per_k, *lining, oven.contents_j_per_k]
    free = [i for i in range(7) if i < 6 or not (boils or oven.contents_j_per_k == 0.0)]
    matrix = np.diag(np.array(held) / dt_s) - tangents
    gains = gains_w(oven, t, power_w, door)
    t[free] += np.linalg.solve(matrix[np.ix_(free, free)], gains[free])
    if oven.contents_j_per_k == 0.0:
        t[6] = t[1]
    return [*t, max(0.0, x[7] - gains[6] * dt_s) if boils else x[7]]


@pytest.mark.parametrize("dt_s", [0.5, 4.0])
@pytest.mark.parametrize(
    "x, changes, door, boils",
    [
        (HOT, {}, False, False),
        (HOT, {}, True, False),
        (COOLING, {}, True, False),
        (HOT, EMPTY, False, False),
        (HOT, dict(contents_j_per_k=0.5), False, False),
        (COLD, FROST, False, False),
        (BELOW, STOPPED, False, False),
        (ABOVE, FALLING, False, False),
        ((300.0, 250.0, 200.0, 180.0, 160.0, 140.0, 230.0, 0.0), LEAK, False, False),
        # Water boils from 100 °C on while heat flows in, to the last joule.
        ((640.0, 520.0, 430.0, 310.0, 190.0, 80.0, 100.0, 5e4), {}, False, True),
        ((640.0, 520.0, 430.0, 310.0, 190.0, 80.0, 100.0, 0.5), {}, False, True),
        ((120.0, 100.02, 90.0, 60.0, 40.0, 20.0, 100.0, 500.0), {}, False, True),
        ((640.0, 520.0, 430.0, 310.0, 190.0, 80.0, 99.9, 5e4), {}, False, False),
        ((90.0, 120.0, 60.0, 40.0, 30.0, 20.0, 120.0, 500.0), {}, False, False),
        ((90.0, 120.0, 60.0, 40.0, 30.0, 20.0, 130.0, 500.0), {}, False, False),
    ],
)
def test_a_step_solves_the_balance_of_every_lump(x, changes, door, boils, dt_s):
    oven = dataclasses.replace(FULL, **changes)
    expected = by_numpy(oven, x, 1234.0, dt_s, door, boils)
    assert step(oven, x, 1234.0, dt_s, door) == pytest.approx(expected, abs=1e-5)
