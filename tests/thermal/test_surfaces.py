"""Convection, radiation and air against worked examples and reference packages."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.thermal import elements
from kilnctl.thermal.air import air
from kilnctl.thermal.bridges import air_flow_w, bar_conductance_w_per_k, door_leak_kg_s, opening_w
from kilnctl.thermal.enclosure import ideal_sensor_c, star_c, star_conductances_m2
from kilnctl.thermal.materials import find
from kilnctl.thermal.surfaces import (
    cylinder_film, forced_film, grey_exchange_w_m2, horizontal_film, natural_film, outer_film, radiation_film, radiation_w_m2, rayleigh, vertical_film,
)  # fmt: skip


def test_vertical_plate_against_incropera():
    """Incropera, example 9.2 (value from memory): plate 0.71 m high at 232 °C in air at 23 °C: Ra 1.81e9, Nu 147.1, h 7.0, 1060 W."""
    # The book reads air at 400 K from a table of two or three digits; Ra goes with their product.
    assert rayleigh(232.0, 23.0, 0.71) == pytest.approx(1.81e9, rel=0.035)
    h = vertical_film(232.0, 23.0, 0.71)
    assert h == pytest.approx(7.00, rel=0.01)
    assert h * 1.02 * 0.71 * (232.0 - 23.0) == pytest.approx(1060.0, rel=0.01)


@pytest.mark.parametrize(("face", "convection", "radiation", "flux"), [(60.0, 4.93, 6.29, 448.9), (100.0, 5.88, 7.66, 1083.0)])
def test_case_against_published_film(face, convection, radiation, flux):
    """Case 0.6 m high, emissivity 0.9, air 20 °C: Churchill–Chu and grey radiation."""
    assert vertical_film(face, 20.0, 0.6) == pytest.approx(convection, rel=2e-3)
    assert radiation_film(face, 20.0, 0.9) == pytest.approx(radiation, rel=2e-3)
    assert outer_film(face, 20.0, 0.6) * (face - 20.0) == pytest.approx(flux, rel=1e-3)


def test_radiation_against_stefan_boltzmann():
    assert radiation_w_m2(1000.0, -273.15) == pytest.approx(148981.0, rel=1e-5)
    assert grey_exchange_w_m2(1000.0, 800.0, 0.8, 0.8) == pytest.approx(49183.0, rel=1e-5)


def test_star_network_against_two_grey_plates():
    """Two large plates that see only each other: the star gives the exact exchange."""
    g = star_conductances_m2([1.0, 1.0], [0.8, 0.6])
    star = star_c(g, [1000.0, 800.0])
    through = g[0] * radiation_w_m2(1000.0, star)
    assert through == pytest.approx(grey_exchange_w_m2(1000.0, 800.0, 0.8, 0.6), rel=1e-9)


def test_star_network_of_black_cube_is_a_black_cavity():
    """Six black squares, one hotter: into each of the others goes nearly its fifth."""
    g = star_conductances_m2([1.0] * 6, [1.0] * 6)
    temperatures = [500.0] + [100.0] * 5
    star = star_c(g, temperatures)
    flows = [g[i] * radiation_w_m2(temperatures[i], star) for i in range(6)]
    assert sum(flows) == pytest.approx(0.0, abs=1e-6 * flows[0])
    assert flows[0] == pytest.approx(radiation_w_m2(500.0, 100.0), rel=1e-6)


@given(st.floats(0.0, 1000.0), st.floats(0.0, 1000.0), st.floats(0.1, 200.0))
def test_a_small_sensor_shows_something_between_air_and_radiation(radiant, gas, film):
    shown = ideal_sensor_c(radiant, gas, film)
    assert min(radiant, gas) - 1e-6 <= shown <= max(radiant, gas) + 1e-6


@pytest.mark.parametrize(
    ("t", "k", "mu", "cp"),
    [(26.85, 0.02638, 1.854e-5, 1006.4), (226.85, 0.03995, 2.709e-5, 1029.9), (726.85, 0.06768, 4.328e-5, 1141.0), (1226.85, 0.09178, 5.633e-5, 1211.0)],
)
def test_air_against_frozen_reference_values(t, k, mu, cp):
    """CoolProp 8 (Lemmon and Jacobsen), rounded."""
    a = air(t)
    assert (a.conductivity_w_mk, a.viscosity_pa_s, a.heat_capacity_j_kgk) == (pytest.approx(k, rel=1e-3), pytest.approx(mu, rel=1e-3), pytest.approx(cp, rel=1e-3))


def test_air_against_coolprop():
    coolprop = pytest.importorskip("CoolProp.CoolProp", reason="CoolProp is in the test extra")
    for kelvin in range(215, 1990, 35):
        a = air(kelvin - 273.15)
        assert a.conductivity_w_mk == pytest.approx(coolprop.PropsSI("L", "T", kelvin, "P", 101325, "Air"), rel=2e-3)
        assert a.viscosity_pa_s == pytest.approx(coolprop.PropsSI("V", "T", kelvin, "P", 101325, "Air"), rel=2e-3)
        assert a.heat_capacity_j_kgk == pytest.approx(coolprop.PropsSI("C", "T", kelvin, "P", 101325, "Air"), rel=3e-3)
        assert a.density_kg_m3 == pytest.approx(coolprop.PropsSI("D", "T", kelvin, "P", 101325, "Air"), rel=3e-3)


def test_convection_against_ht():
    ht = pytest.importorskip("ht", reason="ht is in the test extra")
    for surface, length in ((60.0, 0.3), (150.0, 0.6), (400.0, 1.0)):
        film = air(0.5 * (surface + 20.0))
        grashof = rayleigh(surface, 20.0, length) / film.prandtl
        theirs = ht.conv_free_immersed.Nu_vertical_plate_Churchill(film.prandtl, grashof)
        assert vertical_film(surface, 20.0, length) * length / film.conductivity_w_mk == pytest.approx(theirs, rel=1e-6)
        diameter = 0.02
        grashof = rayleigh(surface, 20.0, diameter) / film.prandtl
        theirs = ht.conv_free_immersed.Nu_horizontal_cylinder_Churchill_Chu(film.prandtl, grashof)
        assert cylinder_film(surface, 20.0, diameter) * diameter / film.conductivity_w_mk == pytest.approx(theirs, rel=1e-6)
        grashof = rayleigh(surface, 20.0, length) / film.prandtl
        up = ht.conv_free_immersed.Nu_horizontal_plate_McAdams(film.prandtl, grashof, buoyancy=True)
        ours = horizontal_film(surface, 20.0, length, "up") * length / film.conductivity_w_mk
        assert ours == pytest.approx(up, rel=0.07), "the larger of McAdams's two laws, without their jump at Ra = 1e7"


def test_forced_convection_against_the_flat_plate_solution():
    """Blasius: Nu = 0.664 Re^½ Pr^⅓; 2 m/s over 0.6 m at 200 °C, computed by hand from air properties."""
    film = air(200.0)
    reynolds = 2.0 * 0.6 / film.kinematic_viscosity_m2_s
    assert forced_film(200.0, 200.0, 0.6, 2.0) == pytest.approx(0.664 * reynolds**0.5 * film.prandtl ** (1 / 3) * film.conductivity_w_mk / 0.6)
    assert reynolds == pytest.approx(3.48e4, rel=0.02)


@pytest.mark.parametrize("t", [-80.0, 1800.0])
def test_air_outside_its_table_is_refused(t):
    with pytest.raises(ValueError, match="air properties"):
        air(t)


def test_outside_their_range_correlations_refuse():
    with pytest.raises(ValueError, match="Ra"):
        vertical_film(300.0, 20.0, 30.0)
    with pytest.raises(ValueError, match="facing"):
        horizontal_film(100.0, 20.0, 0.2, "sideways")
    with pytest.raises(ValueError, match="above zero"):
        forced_film(100.0, 20.0, 0.2, 0.0)
    with pytest.raises(ValueError, match="emissivity"):
        radiation_w_m2(100.0, 20.0, 1.5)


@given(st.floats(30.0, 800.0), st.floats(1.0, 300.0), st.sampled_from(["vertical", "up", "down"]))
def test_a_hotter_face_always_loses_more(face, more, orientation):
    def flux(t):
        return natural_film(t, 20.0, 0.4, orientation) * (t - 20.0)

    assert flux(face + more) > flux(face)


def test_bridges_by_hand():
    """Four bars of stainless steel, 1 cm², 100 mm, mean k near 20 W/(m·K): 4·20·1e-4/0.1 = 0.08 W/K. Air: 3 m³/h at 1.2 kg/m³ and
    1.01 kJ/(kg·K) over 180 K: 182 W. A 20 mm hole at 1000 °C through 100 mm: black 46.8 W, about a quarter to a third of it out."""
    assert bar_conductance_w_per_k(find("stainless steel"), 1e-4, 0.1, 800.0, 50.0, 4) == pytest.approx(0.08, rel=0.06)
    assert air_flow_w(3.0 / 3600.0, 200.0, 20.0) == pytest.approx(182.0, rel=0.02)
    assert opening_w(0.02, 1000.0, 20.0, 0.1) == pytest.approx(46.6 / 3.5, rel=0.01)
    assert door_leak_kg_s(0.0, 0.5, 0.5, 200.0, 20.0) == 0.0 < door_leak_kg_s(0.001, 0.5, 0.5, 200.0, 20.0)


def test_elements_against_makers_formula():
    """R = ρL/A: 1 mm Fe-Cr-Al wire has 1.846 ohm/m (ρ = 1.45 µohm·m); surface load 6 W/cm² in a 900 °C chamber glows near 1100–1250 °C."""
    assert elements.wire_resistance_ohm("iron-chromium-aluminium", 1e-3, 1.0) == pytest.approx(1.846, abs=0.001)
    assert elements.wire_resistance_ohm("iron-chromium-aluminium", 1e-3, 1.0, 1000.0) == pytest.approx(1.846 * 1.04, abs=0.002)
    assert 1100.0 < elements.wire_temperature_c(60000.0, 900.0) < 1300.0
    assert elements.recommended_load_w_m2("iron-chromium-aluminium", 1100.0) == pytest.approx(30000.0)
    with pytest.raises(ValueError, match="alloy"):
        elements.resistance_factor("unobtainium", 20.0)


def test_wiring_hints_against_the_reference_line():
    """3 kW at 230 V on 0.4 + j0.25 ohm is a step of 2.23 % (IEC 60725 line; ΔV/V = I·R/V)."""
    w = elements.wiring(3000.0, 230.0)
    assert w.current_a == pytest.approx(13.04, abs=0.01) and w.step == pytest.approx(0.0227, abs=0.001)
    assert elements.wiring(3600.0, 230.0, breaker_a=16.0, cable_m2=1.5e-6, cable_m=40.0, relay_a=25.0, sink_k_per_w=5.0).notes
    assert len(elements.wiring(1000.0, 230.0, breaker_a=16.0, cable_m2=2.5e-6, cable_m=10.0, relay_a=40.0, sink_k_per_w=1.0).notes) == 0
