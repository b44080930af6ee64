"""Materials: what the library must hold, integrals against quadrature, and what happens beyond the data."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kilnctl.errors import KilnctlError
from kilnctl.thermal.material_data import find, from_points, from_polynomial, library

NEEDED = (
    "insulating firebrick 20",
    "insulating firebrick 23",
    "insulating firebrick 26",
    "insulating firebrick 28",
    "dense firebrick",
    "castable refractory",
    "ceramic fibre blanket 96",
    "ceramic fibre blanket 128",
    "ceramic fibre blanket 160",
    "ceramic fibre board 300",
    "mineral wool 60",
    "mineral wool 100",
    "mineral wool 150",
    "calcium silicate board",
    "vermiculite board",
    "steel",
    "stainless steel",
    "aluminium",
    "air gap",
    "cordierite",
    "concrete",
    "building brick",
)
CAPACITY = ((20.0, 900.0),)
names = st.sampled_from(sorted(library()))
temperatures = st.floats(-90.0, 1800.0)


def own(points, **more):
    return from_points("own", points, 200.0, more.pop("capacity", CAPACITY), more.pop("limit", 1000.0), "test", **more)


@pytest.mark.parametrize("name", NEEDED)
def test_the_library_holds_what_ovens_are_built_of(name):
    m = find(name)
    assert (
        m.name == name
        and m.source
        and m.limit_c > 0.0
        and m.density_kg_m3 > 0.0
        and 0.0 < m.uncertainty < 1.0
        and 0.0 < m.emissivity <= 1.0
    )


@pytest.mark.parametrize("name", sorted(library()))
def test_every_row_is_plausible(name):
    """Rows must rise in temperature; insulation conducts less than 3 and metals more than 10 W/(m·K); 350 to 2100
    J/(kg·K), but for the peak of carbon steel."""
    m = library()[name]
    for points in (m.conductivity_points, m.capacity_points):
        assert all(a[0] < b[0] for a, b in pairwise(points))
    k = [value for _, value in m.conductivity_points]
    assert min(k) > 10.0 if m.kind == "metal" else max(k) < 3.0
    most = 5000.1 if name == "steel" else 2100.0
    assert all(350.0 < value < most for _, value in m.capacity_points)


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("Ceramic  FIBER blanket 96", "ceramic fibre blanket 96"),
        ("aluminum", "aluminium"),
        ("mild steel", "steel"),
        ("rock wool", "mineral wool 100"),
    ],
)
def test_other_spellings_are_understood(spelling, name):
    assert find(spelling).name == name


def test_an_unknown_name_gets_the_nearest():
    with pytest.raises(KilnctlError, match="no material 'insulting firebrick 23'; nearest: insulating firebrick 23"):
        find("insulting firebrick 23")
    with pytest.raises(KilnctlError, match="`kilnctl materials` lists them all"):
        find("zzzzzz")


@given(names, temperatures)
def test_enthalpy_against_quadrature(name, t):
    m = find(name)
    low, high = sorted((0.0, t))
    ends = [low, *(x for x, _ in m.capacity_points if low < x < high), high]
    pieces = sum(quad(m.heat_capacity, a, b)[0] for a, b in pairwise(ends))  # smooth between the table's points
    assert m.enthalpy(t) == pytest.approx(math.copysign(pieces, t), rel=1e-8, abs=1e-3)


@given(names, st.lists(st.floats(-150.0, 2000.0), min_size=1, max_size=8))
def test_arrays_and_floats_agree(name, ts):
    m, array = find(name), np.array(ts)
    for one, many in (
        (m.conductivity, m.conductivity(array)),
        (m.heat_capacity, m.heat_capacity(array)),
        (m.enthalpy, m.enthalpy(array)),
    ):
        assert many == pytest.approx([one(t) for t in ts], rel=1e-12, abs=1e-9)


@given(names, st.floats(-400.0, 2500.0), st.floats(-400.0, 2500.0))
def test_inverse_of_the_integral_holds_far_outside_too(name, a, b):
    m = find(name)
    assert m.cold_face_c(a, m.conductivity_integral(b, a)) == pytest.approx(b, abs=1e-6)


def test_beyond_the_data_the_last_slope_goes_on():
    m = own(((200.0, 0.10), (400.0, 0.12), (600.0, 0.16)))
    assert m.conductivity(100.0) == pytest.approx(0.09) and m.conductivity(-100.0) == pytest.approx(0.07)
    assert m.conductivity(700.0) == pytest.approx(0.18) and m.conductivity(1900.0) == pytest.approx(0.42)
    # Two points are a line, wherever the colder of them lies.
    for cold in (-150.0, -100.0, 20.0):
        line = own(((cold, 1.0 + 0.001 * cold), (300.0, 1.3)))
        assert line.conductivity(1000.0) == pytest.approx(2.0)


def test_a_falling_slope_ends_at_half_of_the_last_value():
    """40 W/(m·K) at 500 °C falling by 0.04 W/(m·K) a kelvin is at its half, 20, at 1000 °C; beyond it stays there."""
    m = own(((0.0, 60.0), (500.0, 40.0)), limit=1500.0)
    assert m.conductivity(700.0) == pytest.approx(32.0) and m.conductivity(1000.0) == pytest.approx(20.0)
    assert m.conductivity(1400.0) == pytest.approx(20.0) and m.conductivity(1900.0) == pytest.approx(20.0)
    cold = own(((100.0, 0.04), (200.0, 0.08)))
    assert cold.conductivity(75.0) == pytest.approx(0.03) and cold.conductivity(0.0) == pytest.approx(0.02)
    steep = own(((20.0, 400.0), (20.0 + 1e-8, 1e-4)))
    assert steep.conductivity(100.0) == pytest.approx(0.5e-4) and math.isfinite(
        steep.conductivity_integral(-50.0, 500.0)
    )


def test_points_in_any_order():
    rising, shuffled = ((100.0, 0.1), (300.0, 0.2), (600.0, 0.4)), ((600.0, 0.4), (100.0, 0.1), (300.0, 0.2))
    a, b = own(rising), own(shuffled)
    assert a == b and b.range_c == (100.0, 600.0) and b.flags(20.0, 700.0) == a.flags(20.0, 700.0) != ()


def test_one_value_holds_everywhere():
    m = own(((math.nan, 0.2),), limit=800.0)
    assert m.conductivity(-50.0) == m.conductivity(790.0) == 0.2 and m.range_c[1] == 800.0 and m.flags(0.0, 800.0) == ()
    assert "continued to 900" in m.flags(20.0, 900.0)[0]


def test_flags_say_on_which_side_the_data_were_left():
    m = find("insulating firebrick 23")
    assert m.flags(450.0, 1100.0) == ()
    assert m.flags(450.0, 1230.0) == (
        "insulating firebrick 23: conductivity known up to 1200 °C, continued to 1230 °C",
    )
    assert m.flags(60.0, 1000.0) == (
        "insulating firebrick 23: conductivity known from 400 °C, continued down to 60 °C",
    )
    assert len(m.flags(60.0, 1250.0)) == 2
    assert find("steel").flags(-20.0, 300.0) == (), (
        "data that begin at room temperature are not worth a word in a cold room"
    )
    assert (
        m.over_limit(1260.0) is None
        and m.over_limit(1261.0) == "insulating firebrick 23 would reach 1261 °C; its service limit is 1260 °C"
    )


@pytest.mark.parametrize("mean", [300.0, 400.0, 500.0, 600.0, 800.0])
def test_slip_of_a_mean_conductivity_is_what_the_docstring_says(mean):
    """A sheet's figure for faces 400 K apart taken as k at their mean temperature: too high, by 1 % to 4 % for
    fibre."""
    blanket = find("ceramic fibre blanket 128")
    slip = blanket.mean_conductivity(mean - 200.0, mean + 200.0) / blanket.conductivity(mean) - 1.0
    assert 0.01 < slip < 0.04
    line = own(((0.0, 0.06), (1000.0, 0.21)))
    assert line.mean_conductivity(mean - 200.0, mean + 200.0) == pytest.approx(line.conductivity(mean), rel=1e-12)
    assert line.mean_conductivity(mean, mean) == line.conductivity(mean)


@given(st.floats(0.01, 2.0), st.floats(0.0, 1e-3), st.floats(0.0, 3e-7), st.floats(0.0, 900.0), st.floats(0.0, 900.0))
def test_integral_of_a_polynomial_against_its_antiderivative(a0, a1, a2, low, high):
    m = from_polynomial("own", (a0, a1, a2), 200.0, CAPACITY, 900.0, "test")
    exact = a0 * (high - low) + a1 / 2.0 * (high**2 - low**2) + a2 / 3.0 * (high**3 - low**3)
    # The trapezium rule's error, k''·h²/12 with h = 10 K, on whole tables; on a part of one segment it may be 50 %
    # larger.
    assert m.conductivity_integral(low, high) == pytest.approx(
        exact, abs=2.0 * a2 * 100.0 / 8.0 * abs(high - low) + 1e-9
    )
    assert m.conductivity(low) == pytest.approx(a0 + a1 * low + a2 * low**2, abs=2.0 * a2 * 100.0 / 8.0 + 1e-12)


def test_a_polynomial_is_tabulated_every_ten_kelvin():
    m = from_polynomial("own", (0.05, 1e-4), 200.0, CAPACITY, 805.0, "test")
    steps = np.diff([t for t, _ in m.conductivity_points])
    assert m.range_c == (0.0, 805.0) and np.all(steps <= 10.0) and np.all(steps > 9.0)


def test_scaled_multiplies_and_leaves_the_original():
    m = find("mineral wool 100")
    more = m.scaled(1.15, 0.9)
    assert more.conductivity(250.0) == pytest.approx(1.15 * m.conductivity(250.0)) and more.enthalpy(
        250.0
    ) == pytest.approx(0.9 * m.enthalpy(250.0))
    assert more.limit_c == m.limit_c and m == find("mineral wool 100")


@pytest.mark.parametrize("t", [20.0, 100.0, 200.0, 300.0])
def test_concrete_lies_midway_between_the_curves_of_the_standard(t):
    """EN 1992-1-2, 3.3.3: upper and lower limit of the conductivity of concrete (equations from memory)."""
    upper = 2.0 - 0.2451 * t / 100.0 + 0.0107 * (t / 100.0) ** 2
    lower = 1.36 - 0.136 * t / 100.0 + 0.0057 * (t / 100.0) ** 2
    assert find("concrete").conductivity(t) == pytest.approx(0.5 * (upper + lower), rel=0.01)
    assert upper - lower < 2.0 * find("concrete").conductivity(t) * find("concrete").uncertainty * 1.1
