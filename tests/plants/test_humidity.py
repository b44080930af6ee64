"""The chamber's own humidity: a closed oven dries more slowly, and the part is never colder than the dew point."""

import math
from dataclasses import replace

import pytest

from kilnctl.body.contents import CRITICAL
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.humidity import Humidity
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.construction import Load
from kilnctl.thermal.psychrometrics import dew_point_c, wet_bulb_c
from tests.plants.plant_cases import oven

WET = Load(name="wet wood", mass_kg=6.0, area_m2=0.8, material="wood", thickness_m=0.02, moisture_kg=2.0)


def dried(vent_m3_per_h, gap_m=0.0003, water_kg=2.0, goal_c=105.0, hours=7.0):
    """(time to the critical content s, infinite where it does not; with half of the water gone, or at the end: part °C, dew point °C and
    wet bulb °C of the air)."""
    o = oven("curing-cabinet")
    assert o.vent is not None
    vent = replace(o.vent, flow_m3_per_s=vent_m3_per_h / 3600.0, switch_opens_m3_per_s=None) if vent_m3_per_h else None
    o = replace(o, vent=vent, door=replace(o.door, gap_m=gap_m))
    plant = VirtualOven(o, replace(WET, moisture_kg=water_kg), conditions=Conditions(supply_drift=0.0))
    before, middle, hold = plant.stored_j(), None, 0.1
    while plant.water_kg > CRITICAL * water_kg and plant.time_s < 3600.0 * hours:
        miss = goal_c - plant.chamber_c
        hold = min(max(hold + 5e-5 * miss, 0.0), 1.0)
        plant.advance(5.0, min(max(0.02 * miss + hold, 0.0), 1.0), True)
        share = plant.vapour_share
        part_c = plant.part_c
        assert part_c is not None
        if middle is None and plant.water_kg < 0.5 * water_kg:
            middle = part_c, dew_point_c(share), wet_bulb_c(plant.air_c, min(share, 0.99))
        assert part_c > dew_point_c(share) - 1.0 or plant.time_s < 600.0
    ledger = plant.ledger_j()
    lost = sum(j for name, j in ledger.items() if name not in ("elements", "fan"))
    assert ledger["elements"] + ledger["fan"] - lost == pytest.approx(plant.stored_j() - before, rel=1e-6)
    assert plant.part_c is not None
    return (plant.time_s if plant.water_kg <= CRITICAL * water_kg else math.inf), *(middle or (plant.part_c, 0.0, 0.0))


@pytest.mark.slow
def test_the_vent_decides_how_fast_it_dries_and_how_warm_the_part_is():
    vented, half, closed = dried(3.0), dried(1.5), dried(0.0)
    assert vented[0] * 1.05 < half[0] < closed[0] / 1.2
    assert vented[1] + 3.0 < half[1] < closed[1] - 5.0
    for _, part_c, dew_c, wet_c in (vented, half, closed):
        # Radiation makes it a little warmer than the wet bulb of the air alone.
        assert dew_c < part_c and wet_c - 1.0 < part_c < wet_c + 4.0


def test_a_strong_vent_brings_the_part_near_the_wet_bulb_of_the_room_air():
    _, part_c, dew_c, wet_c = dried(60.0)
    assert dew_c < 30.0 and wet_c < part_c < wet_c + 12.0


def test_without_any_exchange_the_chamber_fills_with_steam_and_the_part_boils():
    _, part_c, _, _ = dried(0.0, gap_m=0.0, water_kg=1.0, hours=4.0)
    assert 98.0 < part_c < 101.0


def test_steady_humidity_is_what_comes_in_over_what_goes_out():
    """x = (vapour + air · room) / (vapour + air) by hand."""
    air = Humidity(0.3, 0.01, 0.01)
    air.set(2.0 * 29.3e-3, 0.0, 373.15)  # 2 mmol/s of air
    for _ in range(2000):
        air.share = air.after(100.0, 0.001)
    assert air.share == pytest.approx((0.001 + 0.002 * 0.01) / 0.003, rel=1e-6)


def test_vapour_keeps_air_from_coming_in_through_the_leak():
    air = Humidity(0.3, 0.01, 0.01)
    air.set(0.0, 29.3e-3, 373.15)
    assert air.air(0.0) == pytest.approx(1e-3) and air.air(1e-3) == pytest.approx(0.5e-3) and air.air(0.01) == 0.0


def test_a_small_chamber_does_not_swing():
    """A litre with a wet square metre: an explicit step would overshoot a hundredfold; this one ends a little below the
    steady share of 0.4, and the next does not turn back."""
    air = Humidity(0.001, 0.01, 0.01)
    air.set(1e-3, 0.0, 373.15)
    first = air.ahead(5.0, lambda share: 0.3 * (0.4 - share))
    air.share = first
    assert 0.38 < first < air.ahead(5.0, lambda share: 0.3 * (0.4 - share)) < 0.4
