"""Every fault of the list does what it says, begins and ends when told, and is read from a file with its place in
errors."""

import math
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl.errors import KilnctlError
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.injection import FAULT_KINDS, PlantFault, load_faults
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings import SettingsError
from kilnctl.thermal.thermocouples import emf_mv, temperature_c
from tests.plants.plant_cases import OVENS, ROOT, oven, readings_of, told

CALM = Conditions(supply_drift=0.0)


def hot(name="curing-cabinet", seconds=240, load=True, **more):
    """An oven that has been heated for a while, at time `seconds`."""
    o = oven(name)
    plant = VirtualOven(o, o.usual_load if load else None, seed=3, conditions=CALM, **more)
    for _ in range(seconds):
        plant.advance(1.0, 1.0, True)
    return plant


def after(kind, seconds=30, duty=0.5, contactor=True, duration_s=None, **more):
    """Reading `seconds` after the fault, with the plant."""
    plant = hot()
    plant.inject(PlantFault(kind, plant.time_s, duration_s, **more))
    return plant, readings_of(plant, seconds, duty, contactor)[-1]


def test_relay_shorted():
    plant, reading = after("relay shorted", duty=0.0)
    assert plant.power_w > 2500.0 and reading.fired == 1.0 and told(reading.current_a) > 10.0


def test_relay_of_one_group_shorted():
    plant, reading = after("relay shorted", duty=0.0, group=2)
    assert reading.fired == pytest.approx(1.0 / 3.0)
    assert plant.elements_c[1] > plant.elements_c[0] + 20.0


def test_relay_half_shorted_gives_half_power():
    full, _ = after("relay shorted", duty=0.0)
    half, reading = after("relay half-shorted", duty=0.0)
    assert half.power_w == pytest.approx(0.5 * full.power_w, rel=0.02)
    assert reading.fired == 0.5


def test_relay_open():
    plant, reading = after("relay open", duty=1.0)
    assert plant.power_w == 0.0 and reading.current_a == 0.0


def test_contactor_welded():
    plant, reading = after("contactor welded", duty=1.0, contactor=False)
    assert plant.power_w > 2500.0 and reading.contactor_closed is True


def test_contactor_not_pulling_in():
    plant, reading = after("contactor not pulling in", duty=1.0)
    assert plant.power_w == 0.0 and reading.contactor_closed is False


def test_element_broken():
    plant, reading = after("element broken", duty=1.0)
    assert plant.power_w == 0.0 and reading.current_a == 0.0 and reading.contactor_closed is True


def test_element_group_broken_takes_its_share():
    plant, _reading = after("element group broken", duty=1.0, group=3)
    assert plant.power_w == pytest.approx(2000.0, rel=0.05)
    assert plant.elements_c[2] < plant.elements_c[0] - 40.0


def test_supply_lost_and_back():
    plant = hot()
    plant.inject(PlantFault("supply lost", plant.time_s, 10.0))
    reading = readings_of(plant, 9)[-1]
    assert reading.supply_v == 0.0 and plant.power_w == 0.0 and reading.contactor_closed is False
    reading = readings_of(plant, 11)[-1]
    assert reading.supply_v == 230.0 and reading.contactor_closed is True and plant.power_w > 2500.0


def test_supply_sag_is_quadratic_in_power():
    normal = hot()
    normal.advance(1.0, 1.0, True)
    plant, reading = after("supply sag", duty=1.0, seconds=1, size=0.2)
    assert reading.supply_v == pytest.approx(0.8 * 230.0)
    assert plant.power_w == pytest.approx(0.64 * normal.power_w, rel=0.01)


@pytest.mark.parametrize(
    "kind, word",
    [("thermocouple open", "open"), ("thermocouple short to ground", "short-ground"), ("front end dead", "no-chip")],
)
@pytest.mark.parametrize("sensor", ["control", "limit", "part"])
def test_faults_that_the_front_end_tells(kind, word, sensor):
    _, reading = after(kind, seconds=2, sensor=sensor)
    value = {"control": reading.chamber_c, "limit": reading.limit_c, "part": reading.part_c}[sensor]
    assert math.isnan(value)
    assert reading.faults == (word if sensor == "control" else f"{sensor}-{word}",)


def test_thermocouple_shorted_reads_its_terminals():
    plant, reading = after("thermocouple shorted", seconds=3)
    assert plant.chamber_c > 70.0
    assert reading.chamber_c == pytest.approx(reading.cold_junction_c, abs=1.0)


def test_thermocouple_reversed_falls_when_heated():
    plant, reading = after("thermocouple reversed", seconds=3)
    cold_mv = emf_mv("K", told(reading.cold_junction_c))
    # The emf of hot over cold junction with the other sign, and the cold junction's own added by the chip.
    reversed_c = temperature_c("K", 2.0 * cold_mv - emf_mv("K", plant.chamber_c))
    assert reading.chamber_c == pytest.approx(reversed_c, abs=4.0)


def test_thermocouple_pulled_out_falls_to_the_room_with_its_lag():
    _, early = after("thermocouple pulled out", seconds=6)
    _, late = after("thermocouple pulled out", seconds=200)
    assert early.chamber_c > 40.0
    assert late.chamber_c == pytest.approx(20.0, abs=1.0)


def test_thermocouple_drifting():
    _plant, reading = after("thermocouple drifting", seconds=600, duty=0.3, size=-60.0 / 3600.0)
    healthy = hot()
    expected = readings_of(healthy, 600, 0.3)[-1]
    assert reading.chamber_c - expected.chamber_c == pytest.approx(-10.0, abs=0.6)


def test_thermocouple_frozen_stands_with_its_counter():
    plant = hot()
    before = plant.advance(1.0, 0.5, True)
    plant.inject(PlantFault("thermocouple frozen", plant.time_s))
    readings = [plant.advance(1.0, 1.0, True) for _ in range(30)]
    assert {r.chamber_c for r in readings} == {before.chamber_c}
    assert {r.sample for r in readings} == {before.sample}
    assert told(readings[-1].limit_c) > told(readings[0].limit_c) + 0.5


def test_a_converter_that_repeats_itself_goes_on_counting():
    plant = hot()
    before = plant.advance(1.0, 0.5, True)
    plant.inject(PlantFault("converter repeating", plant.time_s, 30.0))
    readings = [plant.advance(1.0, 1.0, True) for _ in range(30)]
    assert {(r.chamber_c, r.cold_junction_c) for r in readings} == {(before.chamber_c, before.cold_junction_c)}
    assert [r.sample for r in readings] == [told(before.sample) + 10 * i for i in range(1, 31)]
    assert told(readings[-1].limit_c) > told(readings[0].limit_c) + 0.5
    assert plant.advance(1.0, 1.0, True).chamber_c != before.chamber_c


def test_thermocouple_noisy():
    def spread(fault):
        plant = hot()
        if fault:
            plant.inject(PlantFault("thermocouple noisy", plant.time_s, size=8.0))
        values = [plant.advance(1.0, 0.3, True).chamber_c - plant.chamber_c for _ in range(300)]
        middle = sorted(values)
        return middle[230] - middle[70], max(map(abs, values))

    quiet, noisy = spread(False), spread(True)
    assert noisy[0] > 8.0 * quiet[0] and noisy[0] > 6.0
    assert noisy[1] > 60.0, "wild single samples belong to it"


def test_cold_junction_wrong_shifts_reading_and_says_a_wrong_terminal():
    _plant, reading = after("cold junction wrong", seconds=3, size=30.0)
    healthy = hot()
    expected = readings_of(healthy, 3, 0.5)[-1]
    assert told(reading.cold_junction_c) - told(expected.cold_junction_c) == pytest.approx(30.0, abs=0.1)
    assert 20.0 < reading.chamber_c - expected.chamber_c < 40.0


def test_door_open_cools_and_the_switch_tells():
    plant, reading = after("door open", seconds=60, duty=0.0)
    shut = hot()
    for _ in range(60):
        shut.advance(1.0, 0.0, True)
    assert reading.door_open is True
    assert plant.chamber_c < shut.chamber_c - 15.0
    assert plant.ledger_j()["door"] > 1e4


def test_door_closes_again():
    _plant, reading = after("door open", seconds=40, duty=0.3, duration_s=10.0)
    assert reading.door_open is False


def test_fan_stopped_uncouples_air_and_elements():
    plant, _reading = after("fan stopped", seconds=120, duty=1.0)
    healthy = hot()
    for _ in range(120):
        healthy.advance(1.0, 1.0, True)
    assert plant.element_c > healthy.element_c + 30.0


def test_ventilation_lost():
    _plant, reading = after("ventilation lost", seconds=5)
    assert reading.airflow_proved is False
    assert hot().advance(1.0, 0.5, True).airflow_proved is True


def test_load_against_the_sensor():
    plant = hot()
    plant.inject(PlantFault("load against the sensor", plant.time_s))
    reading, part_c = readings_of(plant, 60)[-1], told(plant.part_c)
    assert plant.chamber_c - part_c > 10.0
    assert abs(reading.chamber_c - part_c) < abs(reading.chamber_c - plant.chamber_c)


def test_board_lost_keeps_heat_for_its_lease_only():
    plant, reading = after("board lost", seconds=5, duty=1.0)
    assert reading.faults == ("board-lost",) and math.isnan(reading.chamber_c) and plant.power_w == 0.0


def test_loop_stalled_is_told_to_the_loop():
    plant = hot(seconds=10, faults=[PlantFault("loop stalled", 12.0, 5.0)])
    seen = []
    for _ in range(12):
        plant.advance(1.0, 0.0, True)
        seen.append(plant.loop_stalled)
    assert seen == [False] + [True] * 5 + [False] * 6


def test_clock_jump_is_told_to_the_loop():
    plant = hot(
        seconds=10, faults=[PlantFault("clock jump", 12.0, size=-90.0), PlantFault("clock jump", 15.0, size=30.0)]
    )
    seen = []
    for _ in range(6):
        plant.advance(1.0, 0.0, True)
        seen.append(plant.clock_jump_s)
    assert seen == [0.0, -90.0, -90.0, -90.0, -60.0, -60.0]


def test_every_kind_has_a_test():
    """The list of faults and these files cannot drift apart."""
    source = Path(__file__).read_text() + Path(__file__).with_name("test_lying_sensors.py").read_text()
    named = set(re.findall(r'"([a-z][a-zA-Z -]+)"', source))
    assert set(FAULT_KINDS) <= named


def test_fault_ends_and_the_oven_is_well_again():
    plant, reading = after("thermocouple open", seconds=20, duration_s=5.0)
    assert reading.faults == () and abs(reading.chamber_c - plant.chamber_c) < 15.0


@st.composite
def any_fault(draw):
    kind = FAULT_KINDS[draw(st.sampled_from(sorted(FAULT_KINDS)))]
    size = None if kind.dimension is None else draw(st.floats(kind.low, kind.high))
    return PlantFault(
        kind.name,
        draw(st.floats(0.0, 90.0)),
        draw(st.one_of(st.none(), st.floats(0.5, 60.0))),
        size,
        draw(st.sampled_from(("control", "limit", "part"))),
    )


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(OVENS),
    st.lists(any_fault(), min_size=1, max_size=4),
    st.sampled_from((20.0, 250.0)),
    st.integers(0, 9),
)
def test_no_mix_of_faults_breaks_the_simulation(name, faults, start_c, seed):
    """With any faults at the same time there is a reading, the truth stays finite, and energy adds up."""
    o = oven(name)
    plant = VirtualOven(o, o.usual_load, seed, faults=faults, conditions=Conditions(start_c=start_c))
    before = plant.stored_j()
    for second in range(100):
        reading = plant.advance(1.0, (seed + second) % 10 / 9.0, second % 50 > 2)
        assert math.isnan(reading.chamber_c) == bool(
            {"open", "short-ground", "no-chip", "board-lost"} & set(reading.faults)
        )
        assert math.isfinite(plant.chamber_c) and math.isfinite(plant.element_c)
    ledger = plant.ledger_j()
    lost = sum(joules for where, joules in ledger.items() if where not in ("elements", "fan"))
    assert ledger["elements"] + ledger["fan"] - lost == pytest.approx(plant.stored_j() - before, abs=1.0)


def test_example_of_the_workshop_is_read():
    kinds = [f.kind for f in load_faults(ROOT / "configs" / "faults" / "bad-day.yaml")]
    assert kinds == ["supply sag", "door open", "thermocouple noisy", "relay shorted"]


@pytest.mark.parametrize(
    "bad",
    [
        dict(kind="relay stuck"),
        dict(kind="relay shorted", start_s=-1.0),
        dict(kind="relay shorted", start_s=math.nan),
        dict(kind="relay shorted", duration_s=0.0),
        dict(kind="relay shorted", size=1.0),
        dict(kind="supply sag", size=2.0),
        dict(kind="supply sag", size=math.nan),
        dict(kind="thermocouple open", sensor="door"),
    ],
)
def test_nonsense_is_refused(bad):
    with pytest.raises(ValueError):
        PlantFault(**bad)


def test_a_group_that_the_oven_lacks_is_refused():
    with pytest.raises(KilnctlError, match="no group 5"):
        VirtualOven(oven("brick-kiln"), faults=[PlantFault("relay shorted", group=5)])


def test_faults_from_a_file(tmp_path):
    file = tmp_path / "faults.yaml"
    file.write_text("""about: a bad day
faults:
  - {kind: relay shorted, at: 40 min, for: 10 min}
  - {kind: thermocouple drifting, sensor: limit, at: 1 h, size: 20 °C/h}
  - {kind: supply sag, at: 5 min, size: 12 %}
  - {kind: element group broken, at: 1 h, group: 2}
""")
    assert load_faults(file) == (
        PlantFault("relay shorted", 2400.0, 600.0),
        PlantFault("thermocouple drifting", 3600.0, None, 20.0 / 3600.0, "limit"),
        PlantFault("supply sag", 300.0, None, 0.12),
        PlantFault("element group broken", 3600.0, None, None, "control", 2),
    )


def test_problems_of_a_file_come_with_their_places(tmp_path):
    file = tmp_path / "faults.yaml"
    file.write_text("""faults:
  - {kind: relay shortened, at: 40 min}
  - {kind: supply sag, at: 5 min, size: 12 K}
  - {kind: relay open, at: 5 min, size: 3}
  - {kind: relay open, at: 5}
""")
    with pytest.raises(SettingsError) as caught:
        load_faults(file)
    message = str(caught.value)
    for place in (":2:12:", ":3:", ":4:", ":5:"):
        assert f"faults.yaml{place}" in message
    assert "relay shorted" in message
