"""What the rules keep from tick to tick: what a restart of the timers clears, and what it must not; the small
helpers."""

import dataclasses
import math
from fractions import Fraction

import numpy as np
import pytest

from kilnctl import Reading
from kilnctl.safety import Permit, Policy, SafetyState, Tick, Trip, Verdict, judge
from kilnctl.safety.messages import LOUD, UNKNOWN, WORDS
from kilnctl.safety.state import DANGER, WELDED, Fall, endanger, finite, latch, number, trip

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
LATCHED = Trip("sensor-open", 3.0, "act", "seen", "check")
NOTHING = Verdict(None, False, (), (), (), "because")


def test_a_tick_that_says_no_more_than_its_time_forbids_nothing():
    """What a rig cannot tell must not look like a fault: with the time, the step and the power alone there is heat."""
    state, _ = judge(SafetyState(), POLICY, Reading(100.0, sample=1), Tick(1.0, 1, 0.3))
    state, verdict = judge(state, POLICY, Reading(100.1, sample=2), Tick(2.0, 2, 0.3))
    assert verdict.permit is not None and verdict.warnings == () and state.trips == {}


def test_a_fresh_state_knows_nothing_and_trusts_nothing():
    """Its first reading is not believed, and a chamber that was not seen purged counts as not purged."""
    fresh = SafetyState()
    state, verdict = judge(fresh, POLICY, Reading(100.0), Tick(1.0, 1, 0.3))
    assert not verdict.usable and verdict.permit is None and not state.trips and fresh == SafetyState()
    airy = dataclasses.replace(POLICY, airflow_required=True)
    _, verdict = judge(fresh, airy, Reading(100.0, airflow_proved=True), Tick(1.0, 1, 0.3))
    assert not verdict.contactor_allowed
    assert fresh.top_c == -math.inf, "any first reading is above it"


def test_what_nobody_has_measured_yet_is_nothing():
    """Sums, shares and times begin at zero; what marks a level or a moment begins before or after every other."""
    fresh, tick = SafetyState(), Tick(1.0, 1, 0.3)
    unlike = {
        "top_c": -math.inf,
        "danger_top_c": -math.inf,
        "cut_s": -math.inf,
        "purge_until_s": math.inf,
        "needed": math.inf,
    }
    for f in dataclasses.fields(SafetyState):
        value = getattr(fresh, f.name)
        if isinstance(value, (bool, int, float)) and f.name != "lumps_c":
            assert value == unlike.get(f.name, 0), f.name
    assert math.isnan(fresh.lumps_c) and tick.energy_j == tick.run_s == tick.holding_w == 0.0


def test_a_contactor_that_stays_closed_is_told_apart_from_heat_that_flows():
    state = SafetyState()
    endanger(state, "contactor")
    assert state.danger == WELDED and state.danger_by == {"contactor"}
    endanger(state, "power")
    assert state.danger == DANGER and state.danger_by == {"contactor", "power"}
    endanger(state, "contactor")
    assert state.danger == DANGER, "one more sign takes nothing back"


def test_without_a_permit_there_is_no_heat():
    assert (NOTHING.duty_limit, NOTHING.usable, NOTHING.danger) == (0.0, False, "")
    assert NOTHING._replace(permit=Permit(0.0, 2.0, 1, 0.4)).duty_limit == 0.4


@pytest.mark.parametrize("made", [Tick(1.0, 2, 0.3), NOTHING, Trip("energy", 0.0, "act", "seen", "check")])
def test_what_was_said_cannot_be_changed(made):
    names = getattr(made, "_fields", None) or [f.name for f in dataclasses.fields(made)]
    for name in names:
        with pytest.raises(AttributeError):  # of a frozen dataclass FrozenInstanceError, which is one
            setattr(made, name, 1.0)
    assert not hasattr(made, "__dict__")


def scrambled() -> SafetyState:
    made = SafetyState()
    for f in dataclasses.fields(SafetyState):
        if f.name == "trips":
            made.trips["sensor-open"] = LATCHED
        elif f.name == "over":
            made.over["noise"] = 5.0
        elif f.name == "believed":
            made.believed["sensor-jump"] = (200.0, 5.0)
        else:
            setattr(made, f.name, 123.5)
    return made


def test_a_restart_of_the_timers_forgets_spans_and_comparisons_and_nothing_else():
    made, fresh = scrambled(), SafetyState()
    made.restart_timers()
    assert made.trips == {"sensor-open": LATCHED} and made.over == {} and made.believed == {"sensor-jump": (200.0, 5.0)}
    # It keeps the latches and the readings believed before them, the clock, the recent power, and the rig's facts.
    kept = {"trips", "believed", "time_s", "step", "good_s", "reach_k", "raw_since_s", "sample_since_s", "fired_60"}
    kept |= {"fired_300", "coil_s", "door_told", "danger", "danger_by", "danger_top_c", "cut_s"}
    kept |= {"lumps_c"}
    for name in {f.name for f in dataclasses.fields(SafetyState)} - kept - {"settled_s", "shut_s"}:
        assert getattr(made, name) == getattr(fresh, name), name
    for name in kept - {"trips", "believed"}:
        assert getattr(made, name) == 123.5, name
    # The missing-heat sum need not pause: the estimator has nothing to unlearn.
    assert made.settled_s == made.shut_s == made.top_c == -math.inf and made.purge_until_s == math.inf


def test_a_copy_is_whole_and_its_latches_are_its_own():
    made = scrambled()
    other = made.copied()
    assert all(getattr(other, f.name) == getattr(made, f.name) for f in dataclasses.fields(SafetyState))
    other.trips["x"], other.over["y"], other.believed["z"], other.step = LATCHED, 1.0, (1.0, 2.0), 7
    assert "x" not in made.trips and "y" not in made.over and "z" not in made.believed and made.step == 123.5


@pytest.mark.parametrize(
    "value, good",
    [
        (1.0, True),
        (0, True),
        (-5, True),
        (True, True),
        (math.nan, False),
        (math.inf, False),
        (-math.inf, False),
        (None, False),
        ("1", False),
        (10**400, False),
        (1j, False),
        ([1.0], False),
        (np.float32(3.0), True),
        (np.int64(3), True),
        (np.float32("nan"), False),
        (Fraction(1, 3), True),
    ],
)
def test_what_a_number_is(value, good):
    assert finite(value) is good
    assert number(value) == float(value) if good else math.isnan(number(value))


def test_a_trip_latches_once_with_its_words():
    s = SafetyState()
    trip(s, "energy", 5.0, energy=1.0, limit=0.5)
    first = s.trips["energy"]
    trip(s, "energy", 9.0, energy=2.0, limit=0.5)
    assert s.trips["energy"] is first and first.time_s == 5.0 and first.fault == "energy"
    assert (
        str(first) == f"{first.act} This run has used 1.0 kWh; its limit is 0.5 kWh. {first.check} (energy)"
        and first.lines == (first.act, "This run has used 1.0 kWh; its limit is 0.5 kWh.", first.check)
        and first.act
        and first.check
    )


@pytest.mark.parametrize(
    "fault, facts, told",
    [
        ("energy", {"energy": 1.0, "limit": 0.5}, "has used 1.0 kWh"),
        ("energy", {"energy": math.nan, "limit": math.inf}, "energy is unknown"),
        ("run-time", {"hours": 2.0, "limit": 1.0}, "has lasted 2.0 h"),
        ("run-time", {"hours": math.nan, "limit": 1.0}, "length is unknown"),
    ],
)
def test_what_is_no_number_is_said_to_be_unknown_and_not_to_be_over_a_limit(fault, facts, told):
    s = SafetyState()
    trip(s, fault, 5.0, **facts)
    assert told in s.trips[fault].seen and "nan" not in s.trips[fault].seen
    assert s.trips[fault].act == WORDS[fault][0] and s.trips[fault].check == (
        UNKNOWN[fault][1] if math.nan in facts.values() else WORDS[fault][2]
    )
    # Other trips keep their words for any figures.
    trip(s, "sensor-frozen", 5.0, time=math.nan)
    assert s.trips["sensor-frozen"].check == WORDS["sensor-frozen"][2]


@pytest.mark.parametrize(
    "fault, kept",
    [
        ("sensor-jump", (90.0, 7.0)),
        ("sensor-shorted", (90.0, 7.0)),
        ("reading-fell", (200.0, 3.0)),
        ("sensor-open", None),
        ("energy", None),
    ],
)
def test_a_trip_that_doubts_the_reading_keeps_what_was_believed_before_it(fault, kept):
    """The last good reading and its time; for a fall, the chamber's temperature at its start. Stored once, with the
    trip; nothing is stored where nothing is known."""
    words = dict(last="x", time=1.0, fall=1.0, energy=1.0, limit=1.0)
    s = SafetyState(good_c=90.0, good_s=7.0, fall=Fall(3.0, 200.0, 150.0, 0.2, None))
    trip(s, fault, 9.0, **words)
    assert s.believed == ({} if kept is None else {fault: kept})
    s.good_c, s.fall = 10.0, Fall(8.0, 20.0, 15.0, 0.2, None)
    trip(s, fault, 10.0, **words)
    assert s.believed == ({} if kept is None else {fault: kept})
    blind = (
        SafetyState(good_c=90.0, good_s=7.0)
        if fault == "reading-fell"
        else SafetyState(good_s=7.0, fall=Fall(3.0, 200.0, 150.0, 0.2, None))
    )
    trip(blind, fault, 9.0, **words)
    assert blind.believed == ({"reading-fell": (90.0, 7.0)} if fault == "reading-fell" else {})
    unknown = SafetyState()
    trip(unknown, fault, 9.0, **words)
    assert unknown.believed == {} and fault in unknown.trips


def test_once_heat_cannot_be_cut_every_trip_says_what_to_do_first():
    s = SafetyState()
    trip(s, "clock", 5.0, what="it went back")
    assert s.trips["clock"].act == WORDS["clock"][0] != LOUD and s.danger == ""
    endanger(s)
    assert s.danger == DANGER and "MAIN SWITCH NOW" in s.danger
    trip(s, "board-lost", 6.0)
    for fault, when in (("clock", 5.0), ("board-lost", 6.0)):
        latched = s.trips[fault]
        assert (latched.act, latched.check, latched.time_s, latched.fault) == (LOUD, WORDS[fault][2], when, fault)


def test_a_trip_found_outside_the_rules_latches_in_a_new_state_and_the_first_of_its_kind_stays():
    before = SafetyState()
    first, again = LATCHED, dataclasses.replace(LATCHED, time_s=9.0, seen="seen once more")
    after = latch(before, first)
    assert before.trips == {} and after.trips == {"sensor-open": first}
    assert latch(after, again).trips == {"sensor-open": first}
    other = dataclasses.replace(LATCHED, fault="relay-open")
    assert latch(after, other).trips == {"sensor-open": first, "relay-open": other}
