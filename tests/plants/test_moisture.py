"""Drying: the plateau, its energy, and that water is not lost on the way."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl.plants.conditions import Conditions
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


def dried(moisture_kg, **more):
    o = oven("curing-cabinet")
    assert o.usual_load is not None
    plant = VirtualOven(o, replace(o.usual_load, moisture_kg=moisture_kg), conditions=replace(CALM, **more))
    rows = []
    for _ in range(5400):
        plant.advance(1.0, 0.8 if plant.chamber_c < 200.0 else 0.2, True)
        rows.append((plant.part_c, plant.water_kg, plant.chamber_c))
    return plant, np.array(rows)


def test_wet_load_stays_on_a_plateau_until_it_is_dry():
    plant, rows = dried(1.0)
    _, dry_rows = dried(0.0)
    wet = rows[:, 1] > 0.02
    assert plant.water_kg == 0.0 and 600 < np.sum(wet) < 5000
    # Never above boiling while wet; it lies between the wet bulb and the boiling point in the end of the
    # plateau.
    assert np.max(rows[wet, 0]) < 101.0
    last = np.flatnonzero(wet)[-1]
    assert rows[last, 2] - rows[last, 0] > 40.0, "the chamber is far above the wet load"
    assert rows[-1, 0] > 150.0
    assert np.argmax(rows[:, 0] > 120.0) > np.argmax(dry_rows[:, 0] > 120.0) + 300


def test_plateau_energy_is_the_latent_heat():
    """Energy drawn by evaporation = water × latent heat at the temperature at which it left, to 0.5 %."""
    plant, rows = dried(1.0)
    ledger = plant.ledger_j()
    lost = -np.diff(rows[:, 1], prepend=1.0)
    assert np.sum(lost) == pytest.approx(1.0)
    expected = float(np.sum(lost * latent_j_per_kg(np.minimum(rows[:, 0] + 273.15, BOILING_K + 1.0))))
    assert ledger["latent"] == pytest.approx(expected, rel=5e-3)
    assert ledger["latent"] == pytest.approx(2.3e6, rel=0.05)


def test_drying_lining_takes_its_heat_from_the_balance():
    o = oven("brick-kiln")

    def run(moisture):
        plant = VirtualOven(o, conditions=replace(CALM, lining_moisture=moisture))
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
