"""The run and its equipment, exactly: clock, wall clock, board, record, energy and time of a run."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_loop
from kilnctl.safety.rule import Look
from kilnctl.safety.state import finite
from tests.safety.safety_scenes import EVERYTHING, stands

SEEN = Reading(100.0)
POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    return SafetyState(**values)


def tick(time_s=1000.0, **values) -> Tick:
    return Tick(time_s, values.pop("step", 11), 0.3, **values)


def at(s, policy=POLICY, reading=SEEN, tick=None, warnings=None) -> Look:
    tick = Tick(1000.0, 11, 0.3) if tick is None else tick
    return Look(s, policy, reading, tick, 1.0, 0.3, True, warnings=[] if warnings is None else warnings)


# ---- clock -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "time_s, step",
    [(math.nan, 11), (math.inf, 11), (None, 11), (1001.0, 11.0), (1001.0, None), (1001.0, True), (1001.0, "11")],
)
def test_a_time_or_step_that_is_no_number_trips_at_the_last_good_time(time_s, step):
    for last, when in ((None, 0.0), (1000.0, 1000.0)):
        s = state(time_s=last, step=0 if last is None else 10, off_s=5.0)
        assert rules_loop.clock(at(s, tick=tick(time_s, step=step))) is False
        assert (
            s.trips["clock"].time_s == when
            and "gives no number" in s.trips["clock"].seen
            and s.time_s == last
            and s.off_s == 5.0
        )


def test_the_first_tick_has_nothing_to_be_compared_with():
    s = state()
    assert rules_loop.clock(at(s, tick=tick(-5.0, step=-5))) is True and not s.trips and s.time_s is None


@pytest.mark.parametrize(
    "gap, steps, well",
    [
        (1.0, 1, True),
        (0.001, 1, True),
        (0.0, 1, False),
        (-0.1, 1, False),
        (1.0, 0, False),
        (1.0, -3, False),
        (1.0, 100, True),
    ],
)
def test_time_and_step_have_to_advance(gap, steps, well):
    s = state(time_s=1000.0, step=10, off_s=5.0)
    assert rules_loop.clock(at(s, tick=tick(1000.0 + gap, step=10 + steps))) is well
    assert set(s.trips) == (set() if well else {"clock"}) and s.off_s == (5.0 if well else 0.0)
    # From a tick that went back, time is counted again.
    assert (s.time_s, s.step) == ((1000.0, 10) if well else (1000.0 + gap, 10 + steps))
    assert well or ("went back or stood still" in s.trips["clock"].seen and s.trips["clock"].time_s == 1000.0 + gap)


@pytest.mark.parametrize("gap, stalled", [(2.5, False), (2.51, True), (60.0, True)])
def test_a_pause_beyond_two_and_a_half_seconds_is_a_stall_and_everything_timed_starts_again(gap, stalled):
    s = state(time_s=1000.0, step=10, off_s=5.0)
    assert rules_loop.clock(at(s, tick=tick(1000.0 + gap))) is True
    assert set(s.trips) == ({"loop-stalled"} if stalled else set()) and s.off_s == (0.0 if stalled else 5.0)
    assert not stalled or (
        f"for {gap:.1f} s" in s.trips["loop-stalled"].seen and s.trips["loop-stalled"].time_s == 1000.0 + gap
    )


@pytest.mark.parametrize("ahead, said", [(5.0, ""), (5.1, "+5 s"), (-5.0, ""), (-5.1, "-5 s"), (3600.0, "+3600 s")])
def test_a_wall_clock_that_was_set_is_said_once(ahead, said):
    s, warnings = state(wall_ahead_s=7000.0), []
    for now in (1000.0, 1001.0):
        rules_loop.wall_clock(at(s, tick=tick(now, wall_s=now + 7000.0 + ahead), warnings=warnings))
    assert len(warnings) == bool(said) and said in "".join(warnings) and s.wall_ahead_s == 7000.0 + ahead


def test_a_wall_clock_that_says_nothing_changes_nothing():
    s, warnings = state(wall_ahead_s=7000.0), []
    for odd in (None, math.nan, math.inf):
        rules_loop.wall_clock(at(s, tick=tick(wall_s=odd), warnings=warnings))
    first = state()
    rules_loop.wall_clock(at(first, tick=tick(wall_s=9000.0), warnings=warnings))
    assert s.wall_ahead_s == 7000.0 and first.wall_ahead_s == 8000.0 and warnings == []


# ---- board, record, supply -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "faults", [(), ("board-lost",), ("board-fault",), ("board-lost", "board-fault"), ("open", "limit-open")]
)
def test_what_the_board_says_trips_at_once(faults):
    s = state()
    rules_loop.board(at(s, reading=Reading(100.0, faults=faults)))
    assert set(s.trips) == {f for f in faults if f.startswith("board")} and all(
        t.time_s == 1000.0 for t in s.trips.values()
    )


@pytest.mark.parametrize("recording, told", [(False, True), (True, False), (None, False)])
def test_a_record_that_is_not_written_gives_a_warning_after_ten_seconds(recording, told):
    s = state()
    for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
        warnings = []
        rules_loop.record(at(s, tick=tick(now, recording=recording), warnings=warnings))
        assert bool(warnings) is (told and last) and not s.trips


# ---- ceilings of a run -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "energy, run_s, heating, faults",
    [
        (7.2e6, 7200.0, True, set()),
        (7.3e6, 0.0, True, {"energy"}),
        (7.3e6, 0.0, False, {"energy"}),
        (0.0, 7201.0, True, {"run-time"}),
        (0.0, 7201.0, False, set()),
        (math.nan, 0.0, True, {"energy"}),
        (None, 0.0, True, {"energy"}),
        (-math.inf, 0.0, True, {"energy"}),
        (0.0, math.nan, True, {"run-time"}),
        (0.0, None, False, {"run-time"}),
        (0.0, -math.inf, True, {"run-time"}),
    ],
)
def test_energy_and_time_of_a_run_have_an_end(energy, run_s, heating, faults):
    s = state()
    known = finite(energy) and finite(run_s)
    rules_loop.run_limits(
        at(
            s,
            dataclasses.replace(POLICY, most_energy_j=7.2e6, longest_s=7200.0),
            tick=tick(energy_j=energy, run_s=run_s, heating=heating),
        )
    )
    assert set(s.trips) == faults and all(
        ("its limit is 2.0 " in t.seen) is known and ("is unknown" in t.seen) is not known for t in s.trips.values()
    )


def test_energy_and_time_are_said_in_kilowatt_hours_and_hours():
    s = state()
    rules_loop.run_limits(
        at(s, dataclasses.replace(POLICY, most_energy_j=3.6e6, longest_s=3600.0), tick=tick(energy_j=9e6, run_s=9000.0))
    )
    assert (
        "used 2.5 kWh; its limit is 1.0 kWh" in s.trips["energy"].seen
        and "lasted 2.5 h; its limit is 1.0 h" in s.trips["run-time"].seen
    )


@pytest.mark.parametrize(
    ("fault", "reading", "standing"),
    [
        ("board-lost", dict(), False),
        ("board-lost", dict(faults=("board-lost",)), True),
        ("board-lost", dict(faults=("board-fault",)), False),
        ("board-fault", dict(faults=("board-fault",)), True),
        ("board-fault", dict(faults=("board-lost",)), False),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing


@pytest.mark.parametrize(
    "fault, name, limit", [("energy", "energy_j", "most_energy_j"), ("run-time", "run_s", "longest_s")]
)
def test_a_ceiling_of_the_run_just_kept_is_kept(fault, name, limit):
    policy = dataclasses.replace(EVERYTHING, **{limit: 5000.0})
    for value, standing in ((5000.0, False), (5000.1, True), (math.nan, True), (None, True), (-math.inf, True)):
        assert stands(fault, policy=policy, tick={name: value}) is standing
