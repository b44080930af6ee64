"""What the energy shows about the temperature, exactly: which energy counts, from which start, and when heat ends."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_energy
from kilnctl.safety.coolest import Lumps, step
from kilnctl.safety.rule import Look
from kilnctl.safety.state import Fall
from tests.safety.safety_scenes import QUIET, SMALL, Bench, stands

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, coolest=SMALL)
#: The chamber is at 100 °C, and the sensor may be wrong by 12 K and 2.5 % of 80 K.
ALLOWED_C = 114.0


def look(
    state, chamber: Any = 100.0, now=1000.0, dt=0.0, usable=True, policy=POLICY, fired=0.3, power_w=0.0, **reading
):
    made = Look(
        state, policy, Reading(chamber, **reading), Tick(now, 1, fired, power_w=power_w), dt, fired, usable=usable
    )
    rules_energy.energy_says_hotter(made)
    return made


def lumps_at(chamber_c: float) -> Lumps:
    c = chamber_c
    return c, c, c, c, c, c, c, 0.0


def at(chamber_c, **values) -> SafetyState:
    """The coolest oven at that temperature, and the delayed one too."""
    return SafetyState(lumps=lumps_at(chamber_c), lumps_c=chamber_c, fired_300=0.3, slow_c=100.0, **values)


def test_without_a_model_nothing_is_judged():
    made = look(SafetyState(), policy=dataclasses.replace(POLICY, coolest=None))
    assert made.state.lumps is None and not made.warnings
    assert rules_energy.energy_agrees(made)


def test_it_starts_from_the_first_believed_reading():
    s = SafetyState()
    look(s, usable=False, dt=1.0)
    assert s.lumps is None
    look(s, 90.0)
    assert s.lumps == SMALL.from_chamber(90.0) and s.lumps_c == 90.0
    look(s, 150.0)
    assert s.lumps == SMALL.from_chamber(90.0), "later readings do not move it"


@pytest.mark.parametrize("dt", [0.5, 2.0, 30.0])
def test_a_look_moves_it_on_by_the_energy_and_delays_it_like_a_reading(dt):
    s = at(100.0)
    look(s, dt=dt, power_w=900.0, supply_v=230.0)
    assert s.lumps is not None and s.lumps == step(SMALL, lumps_at(100.0), 900.0, dt, False)
    moved = s.lumps[1] - 100.0
    # Upward as late as the latest reading, downward at once: a reading need not be late.
    late = moved * (1.0 - math.exp(-dt / 6.0))
    assert s.lumps_c == pytest.approx(100.0 + (late if moved > 0.0 else moved))


@pytest.mark.parametrize(
    "power_w, fired, reading, counted",
    [
        (900.0, 0.3, dict(supply_v=230.0), 900.0),
        (900.0, 0.3, dict(current_a=4.0), 900.0),
        (900.0, 0.3, dict(mean_current_a=4.0), 900.0),
        (900.0, 0.3, dict(), 720.0),
        (900.0, 0.3, dict(supply_v=math.nan, current_a=math.inf), 720.0),
        (None, 0.3, dict(supply_v=230.0), 720.0),
        (math.nan, 0.3, dict(supply_v=230.0), 720.0),
        (-1.0, 0.3, dict(supply_v=230.0), 720.0),
        (0.0, 0.3, dict(supply_v=230.0), 0.0),
        (6000.0, 0.3, dict(supply_v=230.0), 6000.0),
        (9000.0, 0.3, dict(supply_v=230.0), 6000.0),
        (9000.0, 0.3, dict(), 4800.0),
    ],
)
def test_the_least_power_that_can_have_heated_counts(power_w, fired, reading, counted):
    made = look(at(100.0), power_w=power_w, fired=fired, **reading)
    assert rules_energy.power_w_of(made, SMALL) == pytest.approx(counted)
    shared = dataclasses.replace(SMALL, power_share=0.9)
    by = (
        0.9
        if rules_energy.finite(power_w) and power_w >= 0.0 and any(map(rules_energy.finite, reading.values()))
        else 1.0
    )
    assert rules_energy.power_w_of(made, shared) == pytest.approx(by * counted)


@pytest.mark.parametrize(
    "values, reading, opened",
    [
        (dict(), dict(), False),
        (dict(), dict(door_open=True), True),
        (dict(), dict(door_open=False), False),
        (dict(fall=Fall(990.0, 100.0, 80.0, 0.3, None)), dict(), True),
        (dict(slope_k_per_s=-0.101), dict(), True),
        (dict(slope_k_per_s=-0.1), dict(), False),
        (dict(slope_k_per_s=-0.101), dict(door_open=False), False),
        (dict(fired_300=0.019), dict(chamber=99.9), True),
        (dict(fired_300=0.02), dict(chamber=99.9), False),
        (dict(fired_300=0.019), dict(chamber=100.0), False),
        (dict(fired_300=0.019), dict(chamber=99.9, usable=False), False),
    ],
)
def test_a_door_lets_heat_out_with_and_without_a_switch(values, reading, opened):
    s = at(100.0)
    for name, value in values.items():
        setattr(s, name, value)
    look(s, dt=1.0, supply_v=230.0, **reading)
    assert s.lumps == step(SMALL, lumps_at(100.0), 0.0, 1.0, opened)


@pytest.mark.parametrize(
    "least_c, chamber, usable, schedule_c, hotter",
    [
        (ALLOWED_C, 100.0, True, 250.0, False),
        (ALLOWED_C + 0.01, 100.0, True, 250.0, True),
        (ALLOWED_C + 0.01, 100.0, False, 250.0, False),
        (250.0, 245.0, True, 250.0, False),
        (250.01, 245.0, True, 250.0, True),
        (250.01, math.nan, False, 250.0, True),
        (300.01, 299.0, True, 1000.0, True),
        (300.0, 299.0, True, 1000.0, False),
        (40.0, 10.0, True, 250.0, False),
        (40.01, 10.0, True, 250.0, True),
        (32.0, -20.0, True, 250.0, False),
    ],
)
def test_heat_ends_above_a_trip_and_above_what_the_sensor_can_mean(least_c, chamber, usable, schedule_c, hotter):
    policy = dataclasses.replace(POLICY, schedule_trip_c=schedule_c)
    above = least_c > min(schedule_c, 300.0)
    for last_s, tripped in ((1001.9, False), (1002.0, above), (1059.9, above), (1060.0, hotter)):
        s = at(least_c)
        look(s, chamber, 1000.0, usable=usable, policy=policy)
        made = look(s, chamber, last_s, usable=usable, policy=policy)
        assert ("energy-says-hotter" in s.trips) is tripped
        if tripped and usable:
            assert f"{least_c:.0f} °C at least" in s.trips["energy-says-hotter"].seen
            assert f"reads {chamber:.0f} °C" in s.trips["energy-says-hotter"].seen
        assert bool(made.warnings) is (not tripped and (hotter or (usable and least_c > 40.0 and least_c > chamber)))


def test_the_trip_is_compared_with_the_chamber_and_the_reading_with_what_comes_late():
    s = at(100.0)
    s.lumps = lumps_at(250.1)
    assert rules_energy.bound_c(s) == 250.1 and rules_energy.late_bound_c(s) == 100.0
    for now in (1000.0, 1002.0):
        look(s, 245.0, now)
    assert set(s.trips) == {"energy-says-hotter"}, "a sensor that lags shows it later"
    assert rules_energy.bound_c(SafetyState()) == -math.inf


@pytest.mark.parametrize(
    "least_c, chamber, usable, told",
    [
        (100.1, 100.0, True, True),
        (100.0, 100.0, True, False),
        (100.1, 100.0, False, False),
        (40.1, 40.0, True, True),
        (40.0, 35.0, True, False),
    ],
)
def test_the_warning_before_it_sends_to_the_sensor_first(least_c, chamber, usable, told):
    warnings = look(at(least_c), chamber, usable=usable).warnings
    assert bool(warnings) is told and all(w.startswith("compare the control sensor") for w in warnings)


@pytest.mark.parametrize(
    "least_c, reading, policy, standing",
    [
        (ALLOWED_C, dict(), POLICY, False),
        (ALLOWED_C + 0.01, dict(), POLICY, True),
        # A reading below the room has the constant part of the error only.
        (22.0, dict(chamber=10.0), POLICY, False),
        (22.01, dict(chamber=10.0), POLICY, True),
        (ALLOWED_C, dict(faults=("open",)), POLICY, True),
        (ALLOWED_C, dict(chamber=math.nan), POLICY, True),
        (250.0, dict(chamber=245.0), POLICY, False),
        (250.01, dict(chamber=249.0), POLICY, True),
        (300.01, dict(chamber=299.0), dataclasses.replace(POLICY, schedule_trip_c=999.0), True),
        (999.0, dict(), dataclasses.replace(POLICY, coolest=None), False),
    ],
)
def test_it_is_acknowledged_when_sensor_and_energy_agree(least_c, reading, policy, standing):
    assert stands("energy-says-hotter", s=at(least_c), policy=policy, **reading) is standing
    assert not stands("energy-says-hotter", s=SafetyState(), policy=policy, **reading)


def test_a_sensor_that_reads_a_third_low_ends_the_heat_and_a_true_one_does_not():
    """The oven itself is the coolest oven here, heated by a loop that believes its sensor."""
    for share, tripped in ((1.0, False), (0.66, True)):
        quiet = {**QUIET, "limit_c": None, "cold_junction_c": 20.0}
        bench, x = Bench(coolest=SMALL, fall_k_per_s=20.0).feed(1, 20.0, **quiet), SMALL.from_chamber(20.0)
        power_w = hottest_c = 0.0
        for _ in range(1500):
            x = step(SMALL, x, power_w, 1.0, False)
            hottest_c, reads_c = max(hottest_c, x[1]), 20.0 + share * (x[1] - 20.0)
            told = dict(power_w=power_w, fired=power_w / 3000.0, full_power_w=3000.0)
            bench.feed(1, reads_c, supply_v=230.0, tick=told, **quiet)
            power_w = min(3000.0, max(0.0, 60.0 * (200.0 - reads_c))) if bench.verdict.permit is not None else 0.0
        assert ("energy-says-hotter" in bench.faults) is tripped and hottest_c < 250.0
        if tripped:
            assert bench.faults == {"energy-says-hotter"}


def test_a_person_who_acknowledges_believes_the_sensor_again():
    s = at(200.0)
    s.restart_timers()
    assert s.lumps is None
