"""A rise although no heat is asked for, exactly: its level, its waits, and its danger message."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_unasked
from kilnctl.safety.messages import LOUD, WORDS
from kilnctl.safety.rule import Look
from kilnctl.safety.state import DANGER, trip
from tests.safety.safety_scenes import EVERYTHING, stands, warm

SEEN = Reading(100.0)
POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    return SafetyState(**{"slow_c": 100.0, "top_c": 100.0, **values})


def tick(time_s: float = 100.0, **values) -> Tick:
    return Tick(time_s, 1, values.pop("fired", 0.3), **values)


def at(s, reading=SEEN, tick=None, *, now=100.0, dt=1.0, fired=0.3) -> Look:
    tick = Tick(now, 1, 0.3) if tick is None else tick
    return Look(s, POLICY, reading, tick, dt, fired, usable=True)


@pytest.mark.parametrize("dt", [0.5, 2.0])
def test_the_level_of_a_rise_that_was_not_asked_for(dt):
    quiet = POLICY.unasked_rise_s
    s = state(off_s=quiet - dt - 0.01)
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert s.off_s == pytest.approx(quiet - 0.01) and s.quiet_c is None
    exactly = state(off_s=quiet - dt)
    rules_unasked.rise_no_heat(at(exactly, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert exactly.off_s == quiet and exactly.quiet_c == 100.0
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.02, dt=dt))
    assert s.quiet_c == 100.0 and s.off_s > quiet
    # The level begins at the chamber's recent temperature, and sinks with it at a limited rate.
    dipped = state(slow_c=80.0, top_c=95.0, off_s=quiet)
    rules_unasked.rise_no_heat(at(dipped, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert dipped.quiet_c == pytest.approx(95.0 - 0.02 * dt)
    s.slow_c = 60.0
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert s.quiet_c == pytest.approx(100.0 - 0.02 * dt)
    assert s.quiet_c is not None
    s.slow_c = s.quiet_c - 0.001
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    level = s.quiet_c
    assert level is not None and level == s.slow_c
    s.slow_c = level + POLICY.unasked_rise_k
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    # It rises slowly as a room warms, 3 K an hour, and not above the chamber.
    assert not s.trips and s.quiet_c == pytest.approx(level + 3.0 / 3600.0 * dt, abs=1e-9)
    still = state(slow_c=100.0 + 1e-5, top_c=100.0, off_s=quiet, quiet_c=100.0)
    rules_unasked.rise_no_heat(at(still, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert still.quiet_c == 100.0 + 1e-5
    level = s.quiet_c
    assert level is not None
    s.slow_c = level + POLICY.unasked_rise_k + 0.01
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert (
        f"rose by {POLICY.unasked_rise_k:.1f} K" in s.trips["rise-no-heat"].seen
        and f"for {s.off_s:.0f} s" in s.trips["rise-no-heat"].seen
    )
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.021, dt=dt))
    assert s.off_s == 0.0 and s.quiet_c is None
    door = state(slow_c=80.0, top_c=100.0, off_s=1e4, quiet_c=50.0)
    rules_unasked.rise_no_heat(at(door, Reading(100.0, door_open=True), now=0.0, fired=0.0, dt=dt))
    assert door.quiet_c == 100.0 and not door.trips


@pytest.mark.parametrize(
    "fired, commanded, counts",
    [
        (0.04, 0.0, True),
        (0.04, 0.02, True),
        (0.04, 0.021, False),
        (0.021, None, False),
        (0.021, math.nan, False),
        (0.02, None, True),
        (0.0, 0.5, True),
        (0.5, 0.5, False),
    ],
)
def test_what_leaks_past_a_relay_unasked_is_no_heat_that_explains_a_rise(fired, commanded, counts):
    s = state(off_s=7.0)
    rules_unasked.rise_no_heat(at(s, Reading(100.0), tick(500.0, commanded=commanded), dt=1.0, fired=fired))
    assert s.off_s == (8.0 if counts else 0.0)


def test_a_rise_is_measured_again_once_the_contactor_is_commanded_open():
    quiet = POLICY.unasked_rise_s
    for coil, told_s, off_s, begun in (
        (False, 1000.0 - quiet, 1e5, True),
        (False, 1000.1 - quiet, 1e5, False),
        (False, 0.0, quiet - 1.1, False),
        (True, 1000.0, 1e5, True),
        (None, 1000.0, 1e5, True),
    ):
        s = state(coil=coil, coil_s=told_s, off_s=off_s)
        rules_unasked.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
        assert (s.quiet_c is not None) is begun


@pytest.mark.parametrize(
    "off_s, quiet_c, rise, rising",
    [
        (POLICY.unasked_rise_s - 0.01, 80.0, 0.0, True),
        (POLICY.unasked_rise_s, 80.0, 0.0, False),
        (POLICY.unasked_rise_s, None, 0.0, True),
        (1e4, 80.0, 0.5 * POLICY.unasked_rise_k, False),
        (1e4, 80.0, 0.5 * POLICY.unasked_rise_k + 0.01, True),
        (1e4, 80.0, -50.0, False),
    ],
)
def test_a_rise_may_go_on_until_a_long_enough_watch_shows_less_than_half_of_it(off_s, quiet_c, rise, rising):
    assert rules_unasked.still_rising(state(off_s=off_s, quiet_c=quiet_c, slow_c=80.0 + rise), POLICY) is rising


@pytest.mark.parametrize("since_s, rose", [(29.9, False), (30.0, True)])
def test_what_rises_with_a_cold_junction_that_stepped_is_no_heat(since_s, rose):
    s = state(
        off_s=POLICY.unasked_rise_s + 300.0,
        quiet_c=80.0,
        slow_c=80.0 + POLICY.unasked_rise_k + 1.0,
        top_c=70.0,
        coil=False,
    )
    trip(s, "cold-junction", 1000.0 - since_s, what="moved")
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
    assert ("rise-no-heat" in s.trips, s.danger, s.quiet_c) == ((True, DANGER, 80.0) if rose else (False, "", s.slow_c))


@pytest.mark.parametrize("noise_k, rose", [(POLICY.noise_k, True), (POLICY.noise_k + 0.01, False)])
def test_what_the_level_of_a_jittering_reading_does_is_no_rise(noise_k, rose):
    s = state(
        off_s=POLICY.unasked_rise_s + 300.0,
        quiet_c=80.0,
        slow_c=80.0 + POLICY.unasked_rise_k + 1.0,
        top_c=70.0,
        coil=False,
        noise_k=noise_k,
    )
    trip(s, "sensor-noisy", 900.0, noise="it is noisy")
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
    assert ("rise-no-heat" in s.trips, s.danger, s.quiet_c) == ((True, DANGER, 80.0) if rose else (False, "", s.slow_c))


@pytest.mark.parametrize("coil, danger", [(False, DANGER), (True, ""), (None, "")])
def test_a_rise_past_relay_and_open_contactor_raises_the_danger_message(coil, danger):
    for rise, tripped in ((POLICY.unasked_rise_k, False), (POLICY.unasked_rise_k + 0.01, True)):
        s = state(slow_c=80.0 + rise, coil=coil, quiet_c=80.0, off_s=300.0)
        rules_unasked.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
        assert set(s.trips) == ({"rise-no-heat"} if tripped else set()) and s.danger == (danger if tripped else "")
    latched = s.trips["rise-no-heat"]
    assert (
        latched.act == (LOUD if danger else WORDS["rise-no-heat"][0])
        and "for 301 s" in latched.seen
        and latched.time_s == 1000.0
        and s.quiet_c == 80.0
    )
    # A rise blamed on the relay alone counts as more once the contactor was commanded open.
    s.coil, s.coil_s = False, 1000.0 - POLICY.unasked_rise_s
    rules_unasked.rise_no_heat(at(s, Reading(100.0), now=1001.0, fired=0.0, dt=1.0))
    assert s.danger == DANGER and s.trips["rise-no-heat"].act == LOUD and s.trips["rise-no-heat"].time_s == 1000.0


@pytest.mark.parametrize(
    "cold, level",
    [(102.0, 102.0), (103.0, 103.0), (110.0, 103.0), (90.0, None), (None, None), (math.nan, None), (math.inf, None)],
)
def test_up_to_its_terminals_an_oven_warms_with_the_room(cold, level):
    s = state(slow_c=103.0, quiet_c=100.0, off_s=300.0)
    rules_unasked.rise_no_heat(at(s, Reading(100.0, cold_junction_c=cold), now=1000.0, fired=0.0, dt=2.0))
    assert s.quiet_c == pytest.approx(100.0 + 2.0 * 3.0 / 3600.0 if level is None else level, abs=1e-9) and not s.trips
    seen = state(slow_c=103.0, top_c=103.0, quiet_c=100.0, off_s=300.0)
    rules_unasked.rise_no_heat(at(seen, Reading(103.0, cold_junction_c=cold), tick(1000.0), dt=2.0, fired=0.0))
    assert seen.quiet_c == pytest.approx(s.quiet_c)


@pytest.mark.parametrize(
    "off_s, quiet, slow, gone",
    [(120.0, 90.0, 91.5, True), (119.9, 90.0, 80.0, False), (120.0, None, 80.0, False), (120.0, 90.0, 91.6, False)],
)
def test_a_rise_without_heat_stands_until_the_chamber_is_back_where_it_began(off_s, quiet, slow, gone):
    policy = dataclasses.replace(EVERYTHING, unasked_rise_s=120.0, unasked_rise_k=3.0)
    s = warm(off_s=off_s, quiet_c=quiet, slow_c=slow)
    assert stands("rise-no-heat", s=s, policy=policy) is (not gone) and stands(
        "rise-no-heat", chamber=math.nan, s=s, policy=policy
    )


@pytest.mark.parametrize("commanded, explained_k", [(0.0, 0.0), (0.01, 0.15), (0.02, 0.3)])
def test_a_rise_that_a_little_heat_explains_is_no_fault(commanded, explained_k):
    """Drying at 40 K/h takes 2 % of full power; power that the relay adds to that does not excuse a rise."""
    s = state(slow_c=105.0, quiet_c=100.0, off_s=300.0)
    rules_unasked.rise_no_heat(at(s, Reading(105.0), tick(1000.0, commanded=commanded), dt=1.0, fired=0.02))
    assert s.quiet_c == pytest.approx(100.0 + explained_k + POLICY.warms_k_per_s) and not s.trips


def test_heat_that_heavy_elements_still_give_explains_a_rise():
    """A wire on a carrier, or a second zone of air, warms the sensor for minutes after the heat ends: in an invented
    oven of two zones the reading rose by 6 K then, and the rule ended a sound run."""
    rises_k = []
    for glow in (0.0, 0.01, 0.1):
        s = state(off_s=POLICY.unasked_rise_s, quiet_c=100.0, glow=glow)
        seconds = 0
        while not s.trips and seconds < 400:
            seconds += 1
            s.slow_c = 100.0 + 0.05 * seconds
            rules_unasked.rise_no_heat(at(s, now=100.0 + seconds, fired=0.0))
        rises_k.append(0.05 * seconds)
    assert rises_k[0] == pytest.approx(POLICY.unasked_rise_k, abs=0.3)
    assert rises_k[0] < rises_k[1], "all that is explained here is 0.15 K/s at most, and the rise is 0.05"
    assert rises_k[2] == pytest.approx(20.0)
