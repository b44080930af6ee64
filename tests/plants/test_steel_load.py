"""A steel load through 735 °C, where it takes up ten times as much heat for a kelvin."""

import numpy as np
import pytest

from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.construction import Load
from tests.plants.plant_cases import oven

BAR = Load(name="bar", mass_kg=4.0, area_m2=0.09, material="steel", thickness_m=0.02)


def heated(step_s, hours=1.25, tolerance_k=3.0):
    plant = VirtualOven(oven("bench-muffle"), BAR, conditions=Conditions(supply_drift=0.0), tolerance_k=tolerance_k)
    before, parts = plant.stored_j(), []
    while plant.time_s < 3600.0 * hours:
        plant.advance(step_s, 1.0, True)
        parts.append((plant.time_s, plant.part_c))
    ledger = plant.ledger_j()
    lost = sum(j for name, j in ledger.items() if name not in ("elements", "fan"))
    assert ledger["elements"] - lost == pytest.approx(plant.stored_j() - before, rel=1e-6)
    return np.array(parts)


def test_it_slows_down_at_735_and_the_length_of_the_step_does_not_matter():
    long, short = heated(5.0), heated(1.0)
    assert long[-1, 1] == pytest.approx(short[-1, 1], abs=0.1)
    rate = np.gradient(long[:, 1], long[:, 0])
    near = (long[:, 1] > 732.0) & (long[:, 1] < 738.0)
    before = (long[:, 1] > 640.0) & (long[:, 1] < 660.0)
    assert near.sum() > 20 and rate[near].mean() < 0.4 * rate[before].mean()
