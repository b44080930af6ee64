"""The terminals of the thermocouple, exactly: range, jumps, and a box that gets warm."""

import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick
from kilnctl.safety.rule import Look
from kilnctl.safety.rules_terminals import cold_junction
from tests.safety.safety_scenes import stands

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    return SafetyState(**values)


# ---- terminals -------------------------------------------------------------------------------------------------------


def terminals(s, cold, now=1000.0, dt=1.0):
    warnings = []
    cold_junction(Look(s, POLICY, Reading(100.0, cold_junction_c=cold), Tick(now, 1, 0.3), dt, warnings=warnings))
    return warnings


@pytest.mark.parametrize(
    "cold, well",
    [
        (-20.0, True),
        (-20.1, False),
        (80.0, True),
        (80.1, False),
        (math.nan, False),
        (-math.inf, False),
        ("x", False),
        (None, True),
    ],
)
def test_terminals_must_be_within_the_range_of_electronics(cold, well):
    s = state()
    for now, last in ((1000.0, False), (1002.9, False), (1003.0, True)):
        terminals(s, cold, now)
        assert bool(s.trips) is (last and not well)
    assert well or "outside what electronics bear" in s.trips["cold-junction"].seen
    assert well or s.cold_c is None


def test_terminals_that_were_well_for_a_moment_start_again():
    s = state()
    for now, cold in ((1000.0, 81.0), (1002.0, 79.0), (1003.0, 81.0), (1005.0, 81.0)):
        terminals(s, cold, now)
    assert not s.trips
    terminals(s, 81.0, 1006.0)
    assert "read 81 °C" in s.trips["cold-junction"].seen


def test_the_terminals_usual_temperature_follows_in_fifty_seconds_at_any_tick():
    for dt, ticks in ((0.5, 44), (2.0, 11)):
        s, seen = state(cold_c=30.0), []
        for _ in range(ticks):
            terminals(s, 34.0, dt=dt)
            seen.append(s.cold_c)
        assert seen[0] == pytest.approx(34.0 - 4.0 * math.exp(-dt / 50.0)) and seen[-1] == pytest.approx(
            34.0 - 4.0 * math.exp(-22.0 / 50.0)
        )
    first = state()
    terminals(first, 44.0)
    assert first.cold_c == 44.0


@pytest.mark.parametrize("cold, jumped", [(35.0, False), (35.01, True), (25.0, False), (24.99, True)])
def test_terminals_that_jump_by_more_than_five_kelvin_for_three_seconds(cold, jumped):
    s = state(cold_c=30.0)
    for now, last in ((1000.0, False), (1002.9, False), (1003.0, True)):
        terminals(s, cold, now, dt=0.0)
        assert bool(s.trips) is (last and jumped)
    assert not jumped or f"jumped from 30 °C to {cold:.0f} °C" in s.trips["cold-junction"].seen
    held = state(cold_c=30.0)
    held.over["cold-jump"] = 990.0
    terminals(held, 36.0)
    assert held.cold_c == 30.0, "what they jumped from is kept"


@pytest.mark.parametrize("dt", [0.2, 0.5, 1.0, 2.0])
def test_a_jump_of_the_terminals_is_found_at_any_tick(dt):
    """An oven file may ask for ticks of 0.2 s; six kelvin are a jump then too."""
    s = state(cold_c=30.0)
    for i in range(math.ceil(3.0 / dt) + 1):
        terminals(s, 36.0, 1000.0 + i * dt, dt)
    assert set(s.trips) == {"cold-junction"}


@pytest.mark.parametrize("cold, warm", [(65.0, False), (65.1, True), (80.0, True), (81.0, False)])
def test_a_box_that_gets_warm_gives_a_warning_fifteen_kelvin_before_the_limit(cold, warm):
    assert terminals(state(), cold) == (
        [f"the terminals of the thermocouple are at {cold:.0f} °C: the electronics box is getting too warm"]
        if warm
        else []
    )


@pytest.mark.parametrize(
    ("fault", "reading", "standing"),
    [
        ("cold-junction", dict(cold_junction_c=None), False),
        ("cold-junction", dict(cold_junction_c=-20.0), False),
        ("cold-junction", dict(cold_junction_c=-20.1), True),
        ("cold-junction", dict(cold_junction_c=80.0), False),
        ("cold-junction", dict(cold_junction_c=80.1), True),
        ("cold-junction", dict(cold_junction_c=math.nan), True),
        ("cold-junction", dict(cold_junction_c="x"), True),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing
