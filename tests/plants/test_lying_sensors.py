"""Sensors that lie without a fault word: by a share, from the wrong place, by the wrong wires or numbers."""

import dataclasses

import pytest

from kilnctl.plants.conditions import Conditions
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.virtual_oven import VirtualOven
from tests.plants.plant_cases import oven, readings_of

CALM = Conditions(supply_drift=0.0)


def shown(kind, seconds=300, held=False, **more):
    """(reading, truth, room) of a cabinet after a heat-up with that fault from the start; `held`: its heat is cut for
    as long again."""
    o = oven("curing-cabinet")
    plant = VirtualOven(o, o.usual_load, seed=3, conditions=CALM, faults=(PlantFault(kind, **more),))
    reading = readings_of(plant, seconds, 1.0, True)[-1]
    if held:
        reading = readings_of(plant, seconds, 0.25, True)[-1]
    return reading, plant.chamber_c, plant.ambient_c


def test_reads_low_by_a_share_of_what_the_chamber_is_above_the_room():
    for size in (0.1, 0.3):
        reading, true_c, room_c = shown("thermocouple reads low", held=True, size=size)
        assert reading.limit_c is not None
        assert (reading.chamber_c - room_c) / (true_c - room_c) == pytest.approx(1.0 - size, abs=0.03)
        assert reading.faults == () and abs(reading.limit_c - true_c) < 10.0


def test_half_out_sits_between_chamber_and_room():
    reading, true_c, room_c = shown("thermocouple half out", held=True, size=0.5)
    assert (reading.chamber_c - room_c) / (true_c - room_c) == pytest.approx(0.5, abs=0.04)


def test_creeping_out_takes_an_hour():
    half, true_c, room_c = shown("thermocouple creeping out", 1800, size=0.6)
    assert (half.chamber_c - room_c) / (true_c - room_c) == pytest.approx(0.7, abs=0.03)
    out, true_c, room_c = shown("thermocouple creeping out", 3600, held=True, size=0.6)
    assert (out.chamber_c - room_c) / (true_c - room_c) == pytest.approx(0.4, abs=0.03)


def test_a_wrong_calibration_moves_the_reading():
    reading, true_c, _ = shown("calibration wrong", held=True, size=-40.0)
    assert reading.chamber_c - true_c == pytest.approx(-40.0, abs=4.0)


@pytest.mark.parametrize(
    "kind, reads",
    [
        # Voltages of ITS-90 (IEC 60584-1), from memory: at 200 °C type K gives 8.14 mV, E 13.42, J 10.78, T 9.29,
        # N 5.91, R and S 1.45, B 0.18; the terminals are at 50 °C (2.02, 3.05, 2.59, 2.04, 1.34, 0.30, 0.00). The
        # bounds are about what type K makes of the differences.
        ("thermocouple of type B", (50.0, 60.0)),
        ("thermocouple of type E", (260.0, 340.0)),
        ("thermocouple of type J", (220.0, 280.0)),
        ("thermocouple of type K", (190.0, 210.0)),
        ("thermocouple of type N", (150.0, 172.0)),
        ("thermocouple of type R", (70.0, 90.0)),
        ("thermocouple of type S", (70.0, 90.0)),
        ("thermocouple of type T", (200.0, 240.0)),
    ],
)
def test_wires_of_another_type(kind, reads):
    o = oven("curing-cabinet")
    plant = VirtualOven(
        o, o.usual_load, conditions=dataclasses.replace(CALM, start_c=200.0), faults=(PlantFault(kind),)
    )
    reading = plant.advance(1.0, 0.2, True)
    assert reads[0] < reading.chamber_c < reads[1] and reading.faults == ()


def test_swapped_sensors_show_each_others_place():
    well, _, _ = shown("thermocouple of type K")
    swapped, _, _ = shown("control and part sensors swapped")
    assert well.part_c is not None and swapped.part_c is not None
    assert well.chamber_c - well.part_c > 20.0
    assert swapped.chamber_c == pytest.approx(well.part_c, abs=3.0)
    assert swapped.part_c == pytest.approx(well.chamber_c, abs=6.0)
    assert swapped.limit_c == pytest.approx(well.limit_c, abs=3.0)
