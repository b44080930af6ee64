"""Drying: the plateau, its energy, and that water is not lost on the way."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl.body.contents import CRITICAL
from kilnctl.plants import moisture
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.humidity import Humidity
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.thermal.psychrometrics import BOILING_K, latent_j_per_kg, saturation_pa
from tests.plants.plant_cases import oven

CALM = Conditions(supply_drift=0.0)


@pytest.mark.parametrize(
    "celsius, pascal", [(0.01, 611.7), (20.0, 2339.0), (50.0, 12352.0), (80.0, 47414.0), (100.0, 101418.0)]
)
def test_saturation_pressure_against_steam_tables(celsius, pascal):
    """IAPWS-IF97 saturation pressures (from memory of printed steam tables); Buck's equation is good to
    0.2 % there."""
    assert float(saturation_pa(celsius + 273.15)) == pytest.approx(pascal, rel=3e-3)


@pytest.mark.parametrize("celsius, kilojoule", [(0.01, 2500.9), (20.0, 2453.5), (60.0, 2357.7), (100.0, 2256.4)])
def test_latent_heat_against_steam_tables(celsius, kilojoule):
    """Printed steam tables, from memory; the straight line is good to 0.2 %."""
    assert latent_j_per_kg(celsius + 273.15) == pytest.approx(1e3 * kilojoule, rel=2e-3)


def loaded(water_kg):
    o = oven("curing-cabinet")
    assert o.usual_load is not None
    return VirtualOven(o, replace(o.usual_load, moisture_kg=water_kg), conditions=CALM)


def dried(water_kg):
    plant, rows = loaded(water_kg), []
    for _ in range(5400):
        plant.advance(1.0, 0.8 if plant.chamber_c < 200.0 else 0.2, True)
        rows.append((plant.part_c, plant.water_kg, plant.chamber_c))
    return plant, np.array(rows)


def test_wet_load_stays_on_a_plateau_down_to_its_critical_content():
    plant, rows = dried(1.0)
    _, dry_rows = dried(0.0)
    wet = rows[:, 1] > CRITICAL
    assert 600 < np.sum(wet) < 5000
    # Never above boiling while wet all over; it lies between the wet bulb and the boiling point in the end of the
    # plateau.
    assert np.max(rows[wet, 0]) < 101.0
    last = np.flatnonzero(wet)[-1]
    assert rows[last, 2] - rows[last, 0] > 40.0, "the chamber is far above the wet load"
    assert rows[-1, 0] > 150.0 and plant.water_kg < 0.15 * CRITICAL
    assert np.argmax(rows[:, 0] > 120.0) > np.argmax(dry_rows[:, 0] > 120.0) + 300


@pytest.mark.slow
def test_the_rate_falls_without_a_step_and_only_below_the_critical_content(monkeypatch):
    """The last water and its heat went within one tick before: the light air of a drawn oven jumped by 10 K."""
    _, rows = dried(1.0)
    rate = -np.diff(rows[:, 1])
    # Where the rate begins to fall, the load takes a part of the heat to warm up; from then on it only fades.
    steps = np.abs(np.diff(rate)) / np.max(rate)
    assert np.max(steps) < 0.4
    assert np.max(steps[rows[2:, 1] < 0.9 * CRITICAL]) < 0.02
    monkeypatch.setattr(moisture, "CRITICAL", 0.0)
    _, wet_to_the_end = dried(1.0)
    above = rows[:, 1] > CRITICAL
    assert np.array_equal(rows[above], wet_to_the_end[above])
    assert wet_to_the_end[-1, 1] == 0.0 < rows[-1, 1]


@pytest.mark.parametrize(
    "around_c, share, constant_w",
    [
        (150.0, 0.02, None),
        pytest.param(300.0, 0.3, None, marks=pytest.mark.slow),
        (200.0, 0.998, 5.0 * (200.0 - 99.97)),
    ],
)
def test_the_falling_period_against_its_closed_form(around_c, share, constant_w):
    """A rate in proportion to what is left, in steady air and with convection alone: left = critical · exp(−rate ·
    t / critical), with the rate of the wet surface (theory of drying, from memory). In steam alone the wet surface
    takes film · (air − boiling point)."""
    film, water = np.array([5.0]), np.array([[CRITICAL]])
    wet = moisture.Moisture(np.array([[1.0]]), (0,), Humidity(1.0, share, share, inside=1e12))
    # Heat capacity of the node: so large that the relaxation of the boiling point does not count.
    capacity, around_k = np.array([[1e7]]), around_c + 273.15

    def settled(nodes_k):
        """The node's temperature at which film and sinks are equal, K, and its heat, W."""
        for _ in range(60):
            wet.freeze(1.0, nodes_k, nodes_k, capacity, film)
            diagonal, load = np.full((1, 1), 5.0), np.full((1, 1), 5.0 * around_k)
            wet.add_terms(1.0, diagonal, load)
            nodes_k = load / diagonal
        return nodes_k, 5.0 * (around_k - nodes_k[0, 0])

    nodes_k, at_first_w = settled(np.full((1, 1), 360.0))
    assert constant_w is None or at_first_w == pytest.approx(constant_w, rel=1e-3)
    constant_kg_per_s = at_first_w / latent_j_per_kg(nodes_k[0, 0])
    wet.water_kg = water
    took_s, dt_s = 0.0, 0.01 * CRITICAL / constant_kg_per_s
    while wet.water_kg[0, 0] > 0.05 * CRITICAL:
        nodes_k, watts = settled(nodes_k)
        wet.after_step(dt_s, 0.0, nodes_k, nodes_k, capacity)
        took_s += dt_s
        left = wet.water_kg[0, 0] / CRITICAL
        # Steps of a hundredth of the time constant are late by half a hundredth of the time.
        closed = np.exp(-took_s * constant_kg_per_s / CRITICAL)
        assert left == pytest.approx(closed, rel=0.02)
        assert watts == pytest.approx(at_first_w * left, rel=0.015)


def test_plateau_energy_is_the_latent_heat():
    """Energy drawn by evaporation = water × latent heat at the temperature at which it left, to 0.5 %, while the load
    is wet all over; afterwards it leaves at that of the wet places."""
    plant = loaded(1.0)
    rows = []
    while plant.water_kg > CRITICAL:
        plant.advance(1.0, 0.8 if plant.chamber_c < 200.0 else 0.2, True)
        rows.append((plant.part_c, plant.water_kg))
    lost = -np.diff(np.array(rows)[:, 1], prepend=1.0)
    at_k = np.minimum(np.array(rows)[:, 0] + 273.15, BOILING_K + 1.0)
    plateau_j = plant.ledger_j()["latent"]
    assert plateau_j == pytest.approx(float(np.sum(lost * latent_j_per_kg(at_k))), rel=5e-3)
    assert plateau_j == pytest.approx(2.3e6 * (1.0 - CRITICAL), rel=0.05)
    before_kg = plant.water_kg
    for _ in range(1800):
        plant.advance(1.0, 0.2, True)
    gone_kg = before_kg - plant.water_kg
    assert gone_kg > 0.4 * CRITICAL
    wet_bulb, boiling = (gone_kg * latent_j_per_kg(k) for k in (310.0, BOILING_K))
    assert boiling < plant.ledger_j()["latent"] - plateau_j < wet_bulb


def test_drying_lining_takes_its_heat_from_the_balance():
    o = oven("brick-kiln")

    def run(share):
        plant = VirtualOven(o, conditions=replace(CALM, lining_moisture=share))
        water, before = plant.water_kg, plant.stored_j()
        for _ in range(5400):
            plant.advance(1.0, 0.9, True)
        ledger = plant.ledger_j()
        lost = sum(j for n, j in ledger.items() if n not in ("elements", "fan"))
        assert abs(ledger["elements"] - lost - (plant.stored_j() - before)) < 1e-6 * ledger["elements"]
        return plant, water, ledger

    dry, water, _ = run(0.0)
    assert water == 0.0
    wet, water, ledger = run(0.05)
    assert water > 0.5 and wet.water_kg < water - 0.2
    gone = water - wet.water_kg
    # It boils where it sits: 2257 kJ/kg.
    assert ledger["latent"] / gone == pytest.approx(2.256e6, rel=5e-3)
    assert wet.chamber_c < dry.chamber_c - 5.0
    depth = wet.core.nodes_k[:, 0]
    assert np.all(wet.moisture.water_kg[depth > BOILING_K + 25.0, 0] == 0.0), "no water far above boiling"
