"""The danger message (heat that cannot be cut): it ends when nothing shows such heat any more, people are informed, and
it returns with its cause."""

import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, danger
from kilnctl.safety.messages import LOUD, WORDS
from kilnctl.safety.rule import Look
from kilnctl.safety.state import DANGER, WELDED, Trip, endanger, trip
from tests.safety.safety_scenes import QUIET, Bench, ramp

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
STOPPED = dict(tick=dict(commanded=0.0, contactor=False, fired=0.0, heating=False), **QUIET)


def look(state, now=1000.0, usable=True, **reading) -> list[str]:
    """One look; what it warns of."""
    found = Look(state, POLICY, Reading(100.0, **reading), Tick(now, 1, 0.0), 1.0, usable=usable)
    danger.take_back(found)
    return found.warnings


def in_danger(*causes, **values) -> SafetyState:
    state = SafetyState(slow_c=100.0, **values)
    trip(state, "relay-on-unasked", 900.0, given=100.0, asked=0.0)
    for cause in causes:
        endanger(state, cause)
    return state


def test_a_shorted_relay_whose_contactor_opens_is_no_danger_for_long_nor_at_all():
    """The textbook fault: power until the contactor has opened, then none."""
    bench = Bench().feed(30, fired=0.3, contactor_closed=True, tick=dict(commanded=0.3, fired=0.3), **QUIET)
    bench.feed(5, fired=1.0, contactor_closed=True, tick=dict(commanded=0.3, fired=1.0), **QUIET)
    assert bench.faults == {"relay-on-unasked"}
    bench.feed(1, fired=0.6, contactor_closed=False, **STOPPED).feed(300, fired=0.0, contactor_closed=False, **STOPPED)
    assert bench.dangers == set() and bench.state.trips["relay-on-unasked"].act == WORDS["relay-on-unasked"][0]


def test_measured_power_raises_the_danger_message_which_ends_with_a_notice():
    bench = Bench().feed(10, fired=0.0, **STOPPED).feed(10, fired=1.0, contactor_closed=False, **STOPPED)
    assert bench.verdict.danger == DANGER and bench.state.trips["relay-on-unasked"].act == LOUD
    bench.feed(9, fired=0.0, contactor_closed=False, **STOPPED)
    assert bench.verdict.danger == DANGER
    bench.feed(3, fired=0.0, contactor_closed=False, **STOPPED)
    assert bench.verdict.danger == "" and bench.state.trips["relay-on-unasked"].act == WORDS["relay-on-unasked"][0]
    assert danger.CUT_AFTER_ALL in bench.verdict.warnings
    bench.feed(100, fired=0.0, contactor_closed=False, **STOPPED)
    assert bench.verdict.danger == "" and bench.verdict.warnings == ()
    bench.feed(5, fired=1.0, contactor_closed=False, **STOPPED)
    assert bench.verdict.danger == DANGER and danger.CUT_AFTER_ALL not in bench.verdict.warnings


def test_a_contactor_that_opens_late_withdraws_its_danger_message():
    welded = dict(tick=dict(contactor=False, heating=False, fired=0.0), **QUIET)
    bench = Bench().feed(10, contactor_closed=True, **welded)
    assert bench.verdict.danger == WELDED and bench.state.trips["contactor-welded"].act == LOUD
    bench.feed(12, contactor_closed=False, **welded)
    assert bench.verdict.danger == "" and bench.state.trips["contactor-welded"].act == LOUD


def test_a_rise_past_everything_is_taken_back_when_the_oven_cools():
    stopped = dict(tick=dict(fired=0.0, commanded=0.0, contactor=False, heating=False), **{**QUIET, "limit_c": None})
    bench = Bench().feed(400, chamber=ramp(0.05), **stopped)
    assert bench.verdict.danger == DANGER
    bench.feed(200, chamber=ramp(-0.02, 120.0), **stopped)
    assert bench.verdict.danger == DANGER
    bench.feed(300, chamber=ramp(-0.05, 116.0), **stopped)
    assert bench.verdict.danger == "" and bench.state.trips["rise-no-heat"].act == WORDS["rise-no-heat"][0]


@pytest.mark.parametrize(
    "cause, reading, ended",
    [
        ("power", dict(fired=0.0), True),
        ("power", dict(current_a=0.0), True),
        ("power", dict(fired=0.5), False),
        ("power", dict(), False),
        ("contactor", dict(contactor_closed=False), True),
        ("contactor", dict(contactor_closed=True), False),
        ("contactor", dict(), False),
        ("heat", dict(), True),
        ("heat", dict(fired=0.0), True),
        ("heat", dict(fired=0.5), False),
    ],
)
def test_what_ends_a_cause_must_last_ten_seconds(cause, reading, ended):
    state = in_danger(cause, danger_top_c=106.1)
    look(state, **reading)
    assert not look(state, 1009.9, **reading) and state.danger
    warnings = look(state, 1010.0, **reading)
    assert warnings == ([danger.CUT_AFTER_ALL] if ended else [])
    assert (state.danger == "") is ended and (state.danger_by == frozenset()) is ended
    assert state.trips["relay-on-unasked"].act == (WORDS["relay-on-unasked"][0] if ended else LOUD)
    if ended:
        assert state.danger_top_c == -math.inf and state.cut_s == 1010.0
        assert look(state, 1069.9, **reading) and not look(state, 1070.0, **reading)


@pytest.mark.parametrize(
    "top_c, past_open, usable, ended",
    [
        (106.0, 0.0, True, False),
        (106.1, 0.0, True, True),
        (106.1, 0.1, True, False),
        (106.1, 0.0, False, False),
        (99.0, 0.0, True, False),
        # A level of before the reading was lost says nothing of how hot it has become since.
        (99.0, 0.0, False, False),
    ],
)
def test_heat_ends_when_the_chamber_has_fallen_further_than_a_rise_that_trips(top_c, past_open, usable, ended):
    state = in_danger("heat", danger_top_c=top_c, past_open=past_open, quiet_c=80.0)
    for now in (1000.0, 1010.0):
        look(state, now, usable)
    assert (state.danger == "") is ended and state.quiet_c == (None if ended else 80.0)
    if not ended:
        assert state.danger_top_c == (max(top_c, 100.0) if usable else top_c)


def test_sums_start_again_when_their_cause_has_ended():
    state = in_danger("power", unasked_open=9.0, quiet_c=80.0)
    for now in (1000.0, 1010.0):
        look(state, now, fired=0.0)
    assert state.unasked_open == 0.0 and state.quiet_c == 80.0
    state = in_danger("heat", unasked_open=9.0, danger_top_c=200.0)
    for now in (1000.0, 1010.0):
        look(state, now)
    assert state.unasked_open == 9.0


def test_each_cause_ends_by_itself_and_the_words_follow():
    state = in_danger("contactor", "power")
    assert state.danger == DANGER
    for now in (1000.0, 1010.0):
        assert not look(state, now, fired=0.0, contactor_closed=True)
    assert state.danger == WELDED and state.danger_by == {"contactor"}
    for now in (1011.0, 1021.0):
        look(state, now, fired=0.0, contactor_closed=False)
    assert state.danger == ""


def test_a_danger_that_is_back_within_the_minute_is_not_said_to_be_over():
    state = in_danger("power")
    for now in (1000.0, 1010.0):
        look(state, now, fired=0.0)
    assert look(state, 1020.0, fired=0.0) == [danger.CUT_AFTER_ALL]
    endanger(state, "power")
    assert look(state, 1021.0, fired=0.5) == [] and state.danger == DANGER


def test_a_trip_of_another_version_says_what_to_do_first():
    state = in_danger("power")
    state.trips["of-old"] = Trip("of-old", 1.0, LOUD, "seen", "check")
    for now in (1000.0, 1010.0):
        look(state, now, fired=0.0)
    assert state.trips["of-old"].act == WORDS["over-oven"][0]


def test_without_a_danger_nothing_is_taken_back():
    state = SafetyState(slow_c=100.0)
    assert not look(state, 30.0) and state.danger_top_c == -math.inf and state.cut_s == -math.inf


def test_a_danger_of_unknown_cause_stands_until_a_person_acknowledges():
    state = SafetyState(slow_c=100.0, danger="pull")
    assert not look(state, 5000.0, fired=0.0, contactor_closed=False) and state.danger == "pull"
