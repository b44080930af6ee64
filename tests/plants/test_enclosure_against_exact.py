"""The radiant star against exchange that is known exactly, and the ideal sensor."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import Stefan_Boltzmann
from scipy.optimize import brentq

from kilnctl.thermal.enclosure import (
    chamber_temperature_c,
    ideal_sensor_c,
    sensor_film,
    star_conductances_m2,
    star_factors,
)
from tests.thermal.reference_formulas import star_c


def test_two_grey_plates_against_textbook():
    """1273.15 K and 1073.15 K, emissivity 0.8 each: 49 183 W/m² (Incropera table 13.3; in the project's
    references)."""
    g = star_conductances_m2([1.0, 1.0], [0.8, 0.8])
    flux = 1.0 / (1.0 / g[0] + 1.0 / g[1]) * Stefan_Boltzmann * (1273.15**4 - 1073.15**4)
    assert flux == pytest.approx(49183.0, rel=1e-4)


def test_cube_with_one_hot_face_against_view_factors():
    """Black cube, one face hot, five cold: each face sees the others by F = 0.2 (opposite 0.19982, adjacent
    0.20004: Incropera table 13.2 evaluated), so its loss is all of σ(T1⁴ − T2⁴) A."""
    g = star_conductances_m2(np.ones(6), np.ones(6))
    star4 = (g[0] * 1000.0**4 + 5 * g[1] * 300.0**4) / (6 * g[0])
    loss = g[0] * Stefan_Boltzmann * (1000.0**4 - star4)
    assert loss == pytest.approx(Stefan_Boltzmann * (1000.0**4 - 300.0**4), rel=1e-9)


def test_grey_box_with_two_hot_faces_against_radiosities():
    """Grey cube, emissivity 0.8, six temperatures: the full radiosity equations with equal view factors of
    0.2."""
    e, t = 0.8, np.array([1000.0, 950.0, 900.0, 700.0, 600.0, 500.0])
    view = 0.2 * (1.0 - np.eye(6))
    black = Stefan_Boltzmann * t**4
    radiosity = np.linalg.solve(np.eye(6) - (1.0 - e) * view, e * black)
    exact = e / (1.0 - e) * (black - radiosity)
    g = star_conductances_m2(np.ones(6), np.full(6, e))
    star4 = np.sum(g * t**4) / np.sum(g)
    assert g * Stefan_Boltzmann * (t**4 - star4) == pytest.approx(exact, rel=1e-9)


@given(st.lists(st.floats(0.05, 1.0), min_size=4, max_size=9), st.floats(0.3, 1.0))
def test_star_gives_back_what_it_takes(areas, emissivity):
    if max(areas) > 0.4 * sum(areas):
        return
    factors = star_factors(areas)
    a = np.array(areas)
    assert factors == pytest.approx(1.0 / (1.0 - a * factors / np.sum(a * factors)), rel=1e-6)
    g = star_conductances_m2(areas, np.full(len(areas), emissivity))
    t = np.linspace(300.0, 900.0, len(areas))
    star = star_c(g, t - 273.15) + 273.15
    assert np.sum(g * (t**4 - star**4)) == pytest.approx(0.0, abs=1e-6 * np.sum(g * t**4))


@given(st.floats(20.0, 1200.0), st.floats(20.0, 1200.0), st.floats(0.0, 100.0))
def test_ideal_sensor_solves_its_balance(radiant, air, film):
    t = ideal_sensor_c(radiant, air, film)

    def balance(x):
        return 0.8 * Stefan_Boltzmann * ((radiant + 273.15) ** 4 - (x + 273.15) ** 4) + film * (air - x)

    if abs(radiant - air) > 1e-6:
        exact = brentq(balance, min(radiant, air) - 1e-6, max(radiant, air) + 1e-6, xtol=1e-10)
        assert t == pytest.approx(exact, abs=0.05)


def test_chamber_temperature_lies_between_star_and_air():
    assert 180.0 < chamber_temperature_c(180.0, 200.0, 1.5) < 200.0
    hot = chamber_temperature_c(1000.0, 1040.0)
    assert 1000.0 < hot < 1006.0
    assert sensor_film(200.0, 180.0, 2.0) > sensor_film(200.0, 180.0)


@pytest.mark.parametrize(
    "areas, emissivities",
    [
        ([1.0, -1.0], [0.5, 0.5]),
        ([3.0, 1.0, 1.0], [0.5, 0.5, 0.5]),
        ([1.0, 0.5, 0.5], [0.5, 0.5, 0.5]),
        ([1.0, 1.0], [0.0, 0.5]),
    ],
)
def test_impossible_chambers_are_refused(areas, emissivities):
    with pytest.raises(ValueError):
        star_conductances_m2(areas, emissivities)
