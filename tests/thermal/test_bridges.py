"""Heat past the insulation against integrals done another way, and against tables of kinetic theory."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from kilnctl.thermal.air import air
from kilnctl.thermal.bridges import (
    air_flow_w,
    bar_conductance_w_per_k,
    door_leak_kg_s,
    open_door_kg_s,
    opening_w,
    tube_transmission,
)
from kilnctl.thermal.material_data import find


def transmission_by_integral_equation(length, nodes=200):
    """Share of diffuse radiation through a tube of unit radius with reradiating sides: view factors of rings and discs,
    and a Fredholm equation for what each ring sends out, by Gauss's quadrature. None of our closed form."""
    x, weight = np.polynomial.legendre.leggauss(nodes)
    x, weight = 0.5 * length * (x + 1.0), 0.5 * length * weight

    def ring_to_disc(z):
        return (z * z + 2.0) / (2.0 * np.sqrt(z * z + 4.0)) - 0.5 * z

    apart = np.abs(x[:, None] - x[None, :])
    ring_to_ring = 0.5 * (1.0 - (apart**3 + 6.0 * apart) / (apart**2 + 4.0) ** 1.5)
    # What a ring gets from all rings is 1 − both ends exactly; taking differences keeps the kernel's kink out of the
    # quadrature.
    gains = ring_to_ring * weight
    balance = np.diag(ring_to_disc(x) + ring_to_disc(length - x) + gains.sum(axis=1)) - gains
    sent = np.linalg.solve(balance, ring_to_disc(x))
    straight = 1.0 + 0.5 * length**2 - length * math.sqrt(0.25 * length**2 + 1.0)
    return straight + 2.0 * float(np.sum(weight * sent * ring_to_disc(length - x)))


@pytest.mark.parametrize("length", [0.1, 0.5, 1.0, 2.0, 4.0, 6.0, 10.0, 20.0, 50.0])
def test_tube_against_the_integral_equation(length):
    assert tube_transmission(length) == pytest.approx(transmission_by_integral_equation(length), rel=1e-3)


@pytest.mark.parametrize(
    ("length", "share"), [(0.5, 0.8013), (1.0, 0.6720), (2.0, 0.5142), (4.0, 0.3566), (10.0, 0.1910), (20.0, 0.1094)]
)
def test_tube_against_tables_of_free_molecular_flow(length, share):
    """Transmission probability of a tube against length/radius, as tabulated for vacuum lines (values from memory; the
    same integral equation)."""
    assert tube_transmission(length) == pytest.approx(share, rel=3e-3)


def test_tube_has_its_two_ends():
    """No tube, everything passes; a very long one passes 8/(3L)."""
    assert tube_transmission(0.0) == 1.0
    assert tube_transmission(0.0099999) == pytest.approx(tube_transmission(0.0100001), abs=1e-4)
    assert tube_transmission(5000.0) == pytest.approx(8.0 / 15000.0, rel=5e-3)
    for bad in (-0.1, math.inf, math.nan):
        with pytest.raises(ValueError, match="length_per_radius"):
            tube_transmission(bad)


@given(st.floats(0.0, 1000.0), st.floats(1.001, 3.0))
def test_a_longer_tube_passes_less(length, factor):
    assert 0.0 < tube_transmission(length * factor + 0.001) < tube_transmission(length) <= 1.0


def test_opening_by_hand():
    """A hole of 20 mm at 1000 °C: σ·(1273.15⁴ − 293.15⁴)·π/4·0.02² = 46.7 W if it had no depth; through 100 mm of wall
    (five diameters) 0.191 of it, 8.9 W."""
    assert opening_w(0.02, 1000.0, 20.0, 0.0) == pytest.approx(46.67, rel=1e-3)
    assert opening_w(0.02, 1000.0, 20.0, 0.1) == pytest.approx(46.67 * 0.1910, rel=2e-3)
    assert opening_w(0.02, 20.0, 20.0) == 0.0
    for bad in ((0.0, 0.1), (0.02, -0.1)):
        with pytest.raises(ValueError, match="diameter_m"):
            opening_w(bad[0], 1000.0, 20.0, bad[1])


def test_bars_against_fouriers_law():
    """Four bars of stainless steel, 1 cm², 100 mm, mean k near 20 W/(m·K): 4·20·1e-4/0.1 = 0.08 W/K."""
    steel = find("stainless steel")
    assert bar_conductance_w_per_k(steel, 1e-4, 0.1, 800.0, 50.0, 4) == pytest.approx(0.08, rel=0.06)
    heat = quad(steel.conductivity, 50.0, 800.0, points=[200.0, 400.0, 600.0])[0] * 1e-4 / 0.1
    assert bar_conductance_w_per_k(steel, 1e-4, 0.1, 800.0, 50.0) * 750.0 == pytest.approx(heat, rel=1e-9)
    for bad in ((0.0, 0.1, 1), (1e-4, 0.0, 1), (1e-4, 0.1, 0)):
        with pytest.raises(ValueError, match="above zero"):
            bar_conductance_w_per_k(steel, bad[0], bad[1], 800.0, 50.0, bad[2])


def test_vent_by_hand():
    """3 m³/h of air at 1.2 kg/m³ and 1.01 kJ/(kg·K), warmed by 180 K: 182 W."""
    assert air_flow_w(3.0 / 3600.0, 200.0, 20.0) == pytest.approx(182.0, rel=0.01)
    assert air_flow_w(0.0, 200.0, 20.0) == 0.0
    with pytest.raises(ValueError, match="flow_m3_s"):
        air_flow_w(-1e-4, 200.0, 20.0)


def buoyant_speed(z, chamber, room):
    """Speed through an orifice z above the neutral level, m/s: √(2·Δp/ρ) with Δp = g·Δρ·z (Bernoulli)."""
    cold, hot = air(room).density_kg_m3, air(chamber).density_kg_m3
    return math.sqrt(2.0 * 9.80665 * (cold - hot) * z / (0.5 * (cold + hot)))


@pytest.mark.parametrize("chamber", [120.0, 400.0, 1100.0])
def test_door_leak_against_the_orifice_law_integrated(chamber):
    """Crack of 1 mm round a door 0.5 m wide and 0.7 m high: the lower edge and both lower halves of the uprights draw
    in."""
    rho = 0.5 * (air(20.0).density_kg_m3 + air(chamber).density_kg_m3)
    uprights = 2.0 * quad(lambda z: buoyant_speed(z, chamber, 20.0), 0.0, 0.35)[0]
    drawn = 0.6 * rho * 0.001 * (0.5 * buoyant_speed(0.35, chamber, 20.0) + uprights)
    assert door_leak_kg_s(0.001, 0.5, 0.7, chamber, 20.0) == pytest.approx(drawn, rel=1e-6)


@pytest.mark.parametrize("chamber", [120.0, 900.0])
def test_open_door_against_the_orifice_law_integrated(chamber):
    """The whole lower half of the opening draws in, as in Brown and Solvason (1962)."""
    rho = 0.5 * (air(20.0).density_kg_m3 + air(chamber).density_kg_m3)
    drawn = 0.6 * rho * 0.5 * quad(lambda z: buoyant_speed(z, chamber, 20.0), 0.0, 0.35)[0]
    assert open_door_kg_s(0.5, 0.7, chamber, 20.0) == pytest.approx(drawn, rel=1e-6)
    assert open_door_kg_s(0.5, 0.7, 20.0, 20.0) == 0.0


def test_a_lid_breathes_less_than_a_door():
    lid = door_leak_kg_s(0.001, 0.4, 0.4, 300.0, 20.0, top=True)
    assert 0.0 < lid < 0.5 * door_leak_kg_s(0.001, 0.4, 0.4, 300.0, 20.0)
    # Its rule: a quarter of what the same crack at half of 0.1 m of height would pass.
    rho = 0.5 * (air(20.0).density_kg_m3 + air(300.0).density_kg_m3)
    assert lid == pytest.approx(0.25 * 0.6 * rho * 0.001 * 0.8 * buoyant_speed(0.05, 300.0, 20.0), rel=1e-9)


def test_no_crack_no_leak():
    assert door_leak_kg_s(0.0, 0.5, 0.5, 200.0, 20.0) == 0.0 == door_leak_kg_s(0.001, 0.5, 0.5, 20.0, 20.0)
    for bad in ((-0.001, 0.5, 0.5), (0.001, 0.0, 0.5), (0.001, 0.5, 0.0)):
        with pytest.raises(ValueError, match="gap_m"):
            door_leak_kg_s(*bad, 200.0, 20.0)
