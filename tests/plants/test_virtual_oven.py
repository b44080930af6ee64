"""The virtual oven as a whole: what a controller sees, what is true, repeatability, and that it behaves like an
oven."""

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest

from kilnctl.errors import KilnctlError
from kilnctl.plants.conditions import Conditions, Variation
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.plant import Plant
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.reading import Reading
from kilnctl.settings.construction import Load
from kilnctl.thermal.enclosure import chamber_temperature_c
from tests.plants.plant_cases import OVENS, oven, told

CALM = Conditions(supply_drift=0.0)


def drive(plant, seconds, start=0):
    """A varied command; readings of it."""
    return [
        plant.advance(1.0, (0.2 + 0.15 * (s // 40 % 5)) if s % 3 else 1.0, s % 200 > 5)
        for s in range(start, start + seconds)
    ]


def same(a: list[Reading], b: list[Reading]) -> bool:
    return [repr(r) for r in a] == [repr(r) for r in b]  # repr, because NaN is not equal to itself


def test_it_is_a_plant():
    assert isinstance(VirtualOven(oven("brick-kiln")), Plant)


@pytest.mark.parametrize("name", OVENS)
def test_same_seed_same_readings_bit_for_bit(name):
    o = oven(name)
    faults = [PlantFault("thermocouple noisy", 50.0, 60.0, 5.0), PlantFault("door open", 100.0, 20.0)]
    first, second = (drive(VirtualOven(o, o.usual_load, seed=11, faults=faults), 240) for _ in range(2))
    assert same(first, second)
    other = drive(VirtualOven(o, o.usual_load, seed=12, faults=faults), 240)
    assert not same(first, other)


@pytest.mark.parametrize("name", OVENS)
def test_saved_and_continued_is_the_same_run(name):
    o = oven(name)
    assert o.usual_load is not None
    plant = VirtualOven(
        o,
        replace(o.usual_load, moisture_kg=0.2),
        seed=5,
        faults=[PlantFault("supply sag", 150.0, 30.0, 0.1)],
        conditions=Conditions(lining_moisture=0.02),
    )
    drive(plant, 137)
    twin = pickle.loads(pickle.dumps(plant))
    assert same(drive(plant, 200, 137), drive(twin, 200, 137))
    assert plant.energy_j == twin.energy_j and plant.stored_j() == twin.stored_j()


def test_readings_follow_the_truth_in_steady_heat():
    o = oven("brick-kiln")
    plant = VirtualOven(o, conditions=Conditions(supply_drift=0.0, start_c=500.0))
    pairs = [(plant.advance(1.0, 0.3, True).chamber_c, plant.chamber_c) for _ in range(900)][-200:]
    shown, true = np.array(pairs).T
    # lag and dead time of some seconds on a slope of 0.05 K/s; noise of 0.15 K
    assert -1.0 < np.mean(shown - true) < 0.0
    assert 0.12 < np.std(np.diff(shown)) / math.sqrt(2.0) < 0.18


def test_what_the_wiring_lacks_is_none():
    described = oven("bench-muffle")
    clamped = VirtualOven(described, described.usual_load).advance(1.0, 0.5, True)
    assert clamped.supply_v is None and told(clamped.current_a) > 5.0 and clamped.fired is not None
    muffle = VirtualOven(
        replace(described, meters=replace(described.meters, current=False)), described.usual_load
    ).advance(1.0, 0.5, True)
    assert muffle.supply_v is None and muffle.current_a is None and muffle.fired is None
    assert muffle.door_open is None and muffle.airflow_proved is None and muffle.part_c is None
    cabinet = VirtualOven(oven("curing-cabinet")).advance(1.0, 0.5, True)
    assert (
        cabinet.supply_v is not None
        and told(cabinet.current_a) > 10.0
        and cabinet.door_open is False
        and cabinet.airflow_proved is True
    )


def test_chamber_temperature_is_as_defined():
    o = oven("curing-cabinet")
    plant = VirtualOven(o, conditions=CALM)
    for _ in range(600):
        plant.advance(1.0, 0.8, True)
    assert o.fan is not None
    defined = chamber_temperature_c(plant.radiant_c, plant.air_c, o.fan.air_speed_m_per_s)
    assert plant.chamber_c == pytest.approx(defined, abs=0.02)


def test_air_is_layered_so_sensors_differ():
    o = oven("curing-cabinet")
    plant = VirtualOven(o, o.usual_load, conditions=CALM)
    readings = [plant.advance(1.0, 1.0, True) for _ in range(600)]
    assert told(readings[-1].limit_c) - readings[-1].chamber_c > 0.5  # above, while the elements heat the air
    stirred = plant.chamber_c
    assert plant.air_c > stirred > plant.radiant_c, "a fan oven heats by its air"


def test_door_lets_heat_out_by_air_and_radiation():
    o = oven("brick-kiln")

    def fall(opening):
        plant = VirtualOven(o, conditions=replace(CALM, start_c=900.0))
        plant.door_opening = opening
        for _ in range(120):
            plant.advance(1.0, 0.0, True)
        return 900.0 - plant.chamber_c, plant.ledger_j()["door"]

    shut, ajar, wide = fall(0.0), fall(0.1), fall(1.0)
    assert shut[0] < ajar[0] < wide[0] and shut[1] == 0.0
    # A black doorway of 0.096 m² at some 600–900 °C radiates several kilowatts by itself.
    assert wide[1] > 120.0 * 2500.0


def test_more_power_is_hotter_and_a_load_slows_it():
    o = oven("brick-kiln")

    def after(power=1.0, load=None, **more):
        plant = VirtualOven(o, load, conditions=CALM, variation=Variation(power=power, **more))
        for _ in range(1200):
            plant.advance(1.0, 0.8, True)
        return plant.chamber_c

    usual = after()
    assert after(power=1.2) > usual + 20.0
    assert after(load=o.usual_load) < usual - 20.0
    assert after(load=o.usual_load, load_mass=2.0) < after(load=o.usual_load) - 10.0
    assert after(conductivity=1.3) < usual and after(heat_capacity=1.3) < usual


def test_thick_load_has_a_colder_core():
    o = oven("brick-kiln")
    block = Load(name="block", mass_kg=4.0, material="dense firebrick", area_m2=0.05, thickness_m=0.08)
    plant = VirtualOven(o, block, conditions=CALM)
    for _ in range(1800):
        plant.advance(1.0, 1.0, True)
    assert told(plant.part_c) - told(plant.part_core_c) > 50.0
    thin = VirtualOven(o, o.usual_load, conditions=CALM)
    for _ in range(1800):
        thin.advance(1.0, 1.0, True)
    assert abs(told(thin.part_c) - told(thin.part_core_c)) < 15.0


def test_supply_drift_wanders_slowly_about_its_mean():
    plant = VirtualOven(oven("curing-cabinet"), conditions=Conditions(supply_drift=0.02))
    volts = np.array([plant.advance(5.0, 0.2, True).supply_v for _ in range(3000)])
    assert 0.3 < np.ptp(volts) / 2.0 / (0.02 * 230.0) < 1.0
    assert abs(np.mean(volts) - 230.0) < 1.5 and np.max(np.abs(np.diff(volts))) < 0.2


def test_long_tick_is_many_short_ones():
    o = oven("bench-muffle")
    long, short = (VirtualOven(o, o.usual_load, conditions=CALM) for _ in range(2))
    for _ in range(20):
        long.advance(60.0, 0.5, True)
        for _ in range(60):
            short.advance(1.0, 0.5, True)
    assert long.chamber_c == pytest.approx(short.chamber_c, abs=0.5)
    assert long.energy_j == pytest.approx(short.energy_j, rel=1e-3)


@pytest.mark.parametrize(
    "dt, duty",
    [
        (0.0, 0.5),
        (-1.0, 0.5),
        (math.nan, 0.5),
        (math.inf, 0.5),
        (1.0, 1.01),
        (1.0, -0.01),
        (1.0, math.nan),
        (1.0, [0.5, 0.5]),
    ],
)
def test_impossible_commands_are_refused(dt, duty):
    with pytest.raises(ValueError):
        VirtualOven(oven("bench-muffle")).advance(dt, duty, True)


def test_groups_can_be_fired_apart():
    plant = VirtualOven(oven("curing-cabinet"), conditions=CALM)
    for _ in range(120):
        plant.advance(1.0, [1.0, 0.5, 0.0], True)
    assert plant.elements_c[0] > plant.elements_c[1] > plant.elements_c[2]
    assert plant.power_w == pytest.approx(1500.0, rel=0.05)


def test_contactor_takes_its_time():
    o = replace(oven("brick-kiln"), switching=replace(oven("brick-kiln").switching, contactor_delay_s=0.4))
    plant = VirtualOven(o, conditions=CALM)
    plant.advance(1.0, 1.0, True)
    assert plant.fired == pytest.approx(0.6)
    plant.advance(1.0, 1.0, False)
    assert plant.fired == pytest.approx(0.4)


def test_a_load_that_cannot_be_in_the_chamber_is_refused():
    with pytest.raises(KilnctlError, match="does not fit"):
        VirtualOven(oven("bench-muffle"), Load(name="anvil", mass_kg=40.0, material="steel", area_m2=0.3))


@pytest.mark.parametrize(
    "bad",
    [dict(supply_share=-0.1), dict(supply_share=math.nan), dict(ambient_c=200.0), dict(room_humidity=2.0)],
)
def test_conditions_out_of_range_are_refused(bad):
    with pytest.raises(ValueError):
        Conditions(**bad)
    with pytest.raises(ValueError):
        Variation(conductivity=0.0)
