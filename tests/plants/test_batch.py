"""The batch is the same physics as the single oven, member by member."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl.errors import KilnctlError
from kilnctl.plants.batch import OvenBatch
from kilnctl.plants.conditions import Conditions, Variation
from kilnctl.plants.probes import SensorErrors
from kilnctl.plants.virtual_oven import VirtualOven
from tests.plants.plant_cases import OVENS, oven


@pytest.mark.parametrize("name", OVENS)
def test_members_agree_with_single_ovens(name):
    o = oven(name)
    variations = [
        Variation(),
        Variation(conductivity=1.15, film=0.9),
        Variation(power=0.9, load_mass=1.5, leakage=2.0),
    ]
    conditions = [Conditions(ambient_c=a, lining_moisture=m) for a, m in ((15.0, 0.0), (20.0, 0.02), (28.0, 0.0))]
    batch = OvenBatch([o] * 3, [o.usual_load] * 3, [7, 8, 9], conditions=conditions, variations=variations)
    singles = [
        VirtualOven(o, o.usual_load, s, conditions=c, variation=v) for s, c, v in zip((7, 8, 9), conditions, variations)
    ]
    for plant in singles:
        plant.electrics.contactor_delay_s = 0.0  # the batch has no contactor
    for second in range(600):
        duty = np.array([1.0, 0.7, 0.4]) * (second < 400)
        reading = batch.advance(1.0, duty)
        shown = [plant.advance(1.0, d, True) for plant, d in zip(singles, duty.tolist())]
    # Blocks of frozen coefficients end together in a batch, and flows come from tables: some hundredths of a
    # kelvin.
    assert batch.chamber_c == pytest.approx([p.chamber_c for p in singles], abs=0.3)
    assert batch.part_c == pytest.approx([p.part_c for p in singles], abs=0.3)
    assert batch.energy_j == pytest.approx([p.energy_j for p in singles], rel=1e-4)
    assert batch.moisture.water_kg.sum(axis=(0, 1)) == pytest.approx([p.water_kg for p in singles], abs=0.02)
    # Same seeds, same noise: readings agree far closer than the noise.
    assert reading.chamber_c == pytest.approx([r.chamber_c for r in shown], abs=0.3)
    assert reading.limit_c == pytest.approx([r.limit_c for r in shown], abs=0.5)


def test_different_ovens_of_one_layout():
    """Other wall materials, sizes and sensors in one batch."""
    o = oven("brick-kiln")
    wide = replace(o, chamber=replace(o.chamber, width_m=0.4))
    layers = (replace(o.walls.sides.layers[0], material="insulating firebrick 26"), *o.walls.sides.layers[1:])
    other = replace(o, walls=replace(o.walls, sides=replace(o.walls.sides, layers=layers)))
    ovens = [o, wide, other]
    batch = OvenBatch(ovens)
    singles = [VirtualOven(x, seed=i) for i, x in enumerate(ovens)]
    for plant in singles:
        plant.electrics.contactor_delay_s = 0.0
    for _ in range(400):
        batch.advance(1.0, 1.0)
        for plant in singles:
            plant.advance(1.0, 1.0, True)
    assert batch.chamber_c == pytest.approx([p.chamber_c for p in singles], abs=0.4)
    assert np.ptp(batch.chamber_c) > 20.0


def test_sensor_errors_and_contactor_of_members():
    o = oven("curing-cabinet")
    conditions = [
        Conditions(supply_drift=0.0, control=e)
        for e in (SensorErrors(), SensorErrors(offset_k=3.0), SensorErrors(gain=0.05))
    ]
    batch = OvenBatch([o] * 3, seeds=[1, 1, 1], conditions=conditions)
    for _ in range(300):
        reading = batch.advance(1.0, 1.0, np.array([True, True, True]))
    base = reading.chamber_c[0]
    assert reading.chamber_c[1] == pytest.approx(base + 3.0, abs=0.02)
    assert reading.chamber_c[2] == pytest.approx(1.05 * base, abs=0.05)
    dark = OvenBatch([o] * 2)
    dark.advance(1.0, 1.0, np.array([False, True]))
    assert dark.power_w[0] == 0.0 and dark.power_w[1] > 2000.0


def test_same_seeds_same_batch():
    o = oven("bench-muffle")
    a, b = (OvenBatch([o] * 4, [o.usual_load] * 4) for _ in range(2))
    for _ in range(100):
        ra, rb = a.advance(1.0, 0.6), b.advance(1.0, 0.6)
    assert np.array_equal(ra.chamber_c, rb.chamber_c) and np.array_equal(a.chamber_c, b.chamber_c)


def test_what_cannot_go_together_is_refused():
    with pytest.raises(KilnctlError, match="member 1"):
        OvenBatch([oven("curing-cabinet"), oven("brick-kiln")])
    with pytest.raises(KilnctlError, match="at least one"):
        OvenBatch([])
    batch = OvenBatch([oven("bench-muffle")] * 2)
    for dt, duty in ((0.0, 0.5), (10.0, 0.5), (1.0, 1.5), (1.0, np.array([0.5, np.nan]))):
        with pytest.raises(ValueError):
            batch.advance(dt, duty)
