"""`judge`, `acknowledge` and what keeps a cause standing, exactly: every bound just met and just missed, and its
text."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl import Reading
from kilnctl.safety import LEASE_S, Permit, Policy, SafetyState, Tick, Trip, acknowledge, judge
from tests.safety.safety_scenes import ALL_WELL, EVERYTHING, stands, warm

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def look(
    s: Any = None, policy: Any = EVERYTHING, chamber: Any = 100.0, seconds: Any = 1.0, tick: Any = None, **reading: Any
):
    s = warm() if s is None else s
    return judge(
        s,
        policy,
        Reading(chamber, **{**ALL_WELL, **reading}),
        Tick((s.time_s or 0.0) + seconds, (s.step or 0) + 1, **{"fired": 0.3, **(tick or {})}),
    )


# ---- judge -----------------------------------------------------------------------------------------------------------


def test_a_good_tick_gives_a_lease_of_this_tick():
    s, v = look()
    assert v.permit == Permit(101.0, 101.0 + LEASE_S, 101, 1.0) and v.duty_limit == 1.0
    assert (v.contactor_allowed, v.trips, v.new_trips, v.warnings, v.usable, v.danger) == (True, (), (), (), True, "")
    assert v.reason == "all rules are content" and (s.time_s, s.step) == (101.0, 101)


@pytest.mark.parametrize("tick", [dict(time_s=99.0), dict(time_s=math.nan), dict(step=100), dict(step=1.5)])
def test_without_a_clock_nothing_else_is_judged(tick):
    s = warm(fired_60=0.5)
    new, v = judge(
        s,
        EVERYTHING,
        Reading(999.0, faults=("board-lost",)),
        Tick(**{"time_s": 101.0, "step": 101, "fired": 1.0, **tick}),
    )
    assert set(new.trips) == {"clock"} and v.permit is None and v.reason == new.trips["clock"].seen
    assert not v.usable and not v.contactor_allowed and new.fired_60 == 0.5


@pytest.mark.parametrize("seconds, counted", [(0.5, 0.5), (2.5, 2.5), (2.51, 0.0), (1000.0, 0.0)])
def test_fired_lately_has_time_constants_of_one_and_five_minutes_and_no_time_passes_in_a_stall(seconds, counted):
    s, v = look(warm(fired_60=0.2, fired_300=0.1), seconds=seconds, tick=dict(fired=0.6))
    assert s.fired_60 == pytest.approx(0.6 - 0.4 * math.exp(-counted / 60.0), abs=1e-12)
    assert s.fired_300 == pytest.approx(0.6 - 0.5 * math.exp(-counted / 300.0), abs=1e-12)
    assert (set(s.trips) == {"loop-stalled"}) is (counted == 0.0) and (v.permit is None) is (counted == 0.0)


def test_the_first_tick_of_all_counts_no_time():
    s, v = look(SafetyState(), seconds=5.0)
    assert s.fired_60 == s.fired_300 == 0.0 and s.time_s == 5.0 and not v.usable and v.permit is None
    assert s.slow_c is None, "heat is not judged by a reading that is not believed"


@pytest.mark.parametrize(
    "fired, share",
    [
        (0.0, 0.0),
        (0.01, 0.01),
        (1.0, 1.0),
        (1.1, 1.0),
        (-0.001, 1.0),
        (math.nan, 1.0),
        (math.inf, 1.0),
        (None, 1.0),
        ("0", 1.0),
    ],
)
def test_what_cannot_be_a_share_counts_as_full_power(fired, share):
    s, _ = look(tick=dict(fired=fired))
    assert s.fired_60 == pytest.approx(share * (1.0 - math.exp(-1.0 / 60.0)), abs=1e-12)
    assert (s.off_s > 0.0) is (share <= 0.02), "the rules of heat are told the same"


FELL = "the reading fell faster than a closed oven can cool: no more heat than before"
NO_READING = "no trustworthy reading at the moment: heat is off, waiting a few seconds for it to come back"
ABOVE = "a temperature is above its limit, or the sensor that watches it is not there"


@pytest.mark.parametrize(
    "change, reason, contactor",
    [
        (dict(chamber=math.nan), NO_READING, True),
        (dict(chamber=200.0), NO_READING, True),
        (dict(part_c=200.5), ABOVE, True),
        (dict(limit_c=None), ABOVE, True),
        (dict(airflow_proved=False), "the ventilation is not proved", False),
        (dict(door_open=True), "the door is open", False),
        (dict(supply_v=10.0), "there is no mains", False),
        (
            dict(s=warm(purge_until_s=110.0)),
            "purging the chamber with fresh air for another 9 s before there is heat",
            False,
        ),
        # The first reason that applies is given.
        (dict(chamber=math.nan, limit_c=None, door_open=True), NO_READING, False),
        (dict(limit_c=None, door_open=True), ABOVE, False),
        (dict(door_open=True, supply_v=0.0), "the door is open", False),
        (dict(chamber=math.nan, supply_v=0.0), NO_READING, False),
        (dict(airflow_proved=None, supply_v=0.0), "the ventilation is not proved", False),
    ],
)
def test_what_takes_the_heat_and_what_is_said_of_it(change, reason, contactor):
    _, v = look(**change)
    assert (
        v.permit is None
        and v.duty_limit == 0.0
        and v.reason == reason
        and v.contactor_allowed is contactor
        and v.trips == ()
    )
    assert v.usable is (reason != NO_READING)


def test_a_door_that_can_tell_no_more_may_be_open():
    s, v = look(door_open=None)
    assert v.contactor_allowed and v.permit is not None and v.warnings == ("the door switch does not answer",)
    s, _ = look(s)
    s, v = look(s, door_open=None)
    assert (
        not v.contactor_allowed
        and v.permit is None
        and v.reason == "the door switch no longer answers"
        and not v.trips
        and not v.warnings
    )


def test_a_fall_caps_the_permit_and_says_so():
    _, v = look(warm(slope_k_per_s=-50.0, fired_60=0.3))
    assert (
        v.permit is not None
        and v.permit.duty_limit == v.duty_limit == pytest.approx(0.3)
        and v.reason == FELL
        and v.contactor_allowed
    )


def test_every_part_has_its_word():
    s, v = look(
        warm(wall_ahead_s=0.0),
        tick=dict(wall_s=200.0, energy_j=math.inf, recording=False, commanded=0.2),
        faults=("board-lost",),
        fired=0.9,
    )
    assert (
        set(s.trips) == {"board-lost", "energy"}
        and len(v.warnings) == 1
        and "wall clock" in v.warnings[0]
        and "record" in s.over
        and s.unasked > 0.0
    )


def test_what_heat_explains_is_asked_of_a_believed_reading_only():
    heated = dict(unexplained_w=900.0, full_power_w=1000.0, commanded=0.0)
    s, _ = look(warm(off_s=5.0), tick=heated)
    assert s.excess > 0.0 and s.off_s == 6.0 and s.slow_c is not None
    blind, _ = look(warm(off_s=5.0), chamber=math.nan, tick=heated)
    assert blind.excess == 0.0 and blind.off_s == 5.0


def test_a_trip_ends_permit_and_contactor_and_is_new_once():
    s, v = look(faults=("board-lost",))
    assert (
        v.permit is None
        and not v.contactor_allowed
        and v.reason == v.trips[0].seen
        and [t.fault for t in v.new_trips] == ["board-lost"]
    )
    s, v = look(s, faults=("board-fault",))
    assert [t.fault for t in v.trips] == ["board-lost", "board-fault"] and [t.fault for t in v.new_trips] == [
        "board-fault"
    ]
    assert v.reason == s.trips["board-lost"].seen and look(s)[1].new_trips == ()


def test_where_no_heat_is_wanted_there_is_none_and_no_contactor():
    for change, reason in (
        (dict(), "no heat is wanted"),
        (dict(chamber=math.nan), NO_READING),
        (dict(faults=("board-lost",)), "the I/O board does not answer"),
    ):
        _, v = look(tick=dict(heating=False), **change)
        assert v.permit is None and not v.contactor_allowed and v.reason == reason


def test_the_coil_is_remembered_with_the_time_it_was_told():
    s, _ = look(warm(coil_s=7.0))
    assert (s.coil, s.coil_s) == (True, 7.0)
    s, _ = look(s, tick=dict(heating=False))
    assert (s.coil, s.coil_s) == (False, 102.0)
    assert look(s)[0].coil_s == 103.0 and look(s, tick=dict(heating=False))[0].coil_s == 102.0
    # A tick without a time cannot say when it happened.
    blind, _ = judge(warm(coil_s=7.0), EVERYTHING, Reading(100.0), Tick(math.nan, 101, 0.0))
    assert (blind.coil, blind.coil_s) == (True, 7.0)


def test_latched_trips_alone_are_no_danger_in_any_number():
    some = look(faults=("board-lost",))[0].trips["board-lost"]
    _, v = look(
        warm(trips={t: dataclasses.replace(some, fault=t) for t in ("rise-no-heat", "board-lost", "reading-fell")})
    )
    assert v.danger == "" and v.reason == some.seen


def test_a_danger_is_said_before_any_reason():
    assert look(warm(danger="pull"))[1].reason == look(warm(danger="pull"))[1].danger == "pull"


# ---- acknowledge -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("who, heard", [("the keeper", True), ("", False), ("  \t", False), (None, False), (7, False)])
def test_only_a_name_clears_a_trip(who, heard):
    s, _ = look(faults=("board-lost",))
    s.over["noise"], s.danger, s.excess, s.believed = 5.0, "pull", 3.0, {"reading-fell": (90.0, 5.0)}
    s.off_s, s.quiet_c = EVERYTHING.unasked_rise_s, 100.0
    new, standing = acknowledge(s, EVERYTHING, Reading(100.0, **ALL_WELL), Tick(102.0, 102, 0.0), who)
    assert standing == (() if heard else ("board-lost",)) and (new is s) is (not heard)
    assert set(s.trips) == {"board-lost"} and s.danger == "pull" and s.believed
    if heard:
        assert (new.trips, new.over, new.danger, new.excess, new.believed) == ({}, {}, "", 0.0, {})


def test_while_one_cause_stands_nothing_is_cleared():
    s, _ = look(faults=("board-lost", "board-fault"))
    new, standing = acknowledge(
        s, EVERYTHING, Reading(100.0, faults=("board-fault",)), Tick(102.0, 102, 0.0), "the keeper"
    )
    assert standing == ("board-fault",) and new is s and set(s.trips) == {"board-lost", "board-fault"}


@pytest.mark.parametrize(
    "seen",
    [
        dict(off_s=EVERYTHING.unasked_rise_s - 0.1),
        dict(quiet_c=None),
        dict(slow_c=100.1 + 0.5 * EVERYTHING.unasked_rise_k),
    ],
)
def test_heat_that_could_not_be_cut_must_be_seen_to_have_ended(seen):
    """A person's confirmation does not withdraw the danger message, for any rule."""
    s = warm(
        **{
            **dict(
                danger="pull",
                off_s=EVERYTHING.unasked_rise_s,
                quiet_c=100.0,
                slow_c=100.0 + 0.5 * EVERYTHING.unasked_rise_k,
            ),
            **seen,
        }
    )
    s.trips["unexplained-heat"] = s.trips["clock"] = Trip("clock", 3.0, "act", "seen", "check")
    now = Tick(102.0, 102, 0.0)
    assert acknowledge(s, EVERYTHING, Reading(100.0, **ALL_WELL), now, "the keeper") == (
        s,
        ("unexplained-heat", "clock"),
    )
    over = dataclasses.replace(
        s, off_s=EVERYTHING.unasked_rise_s, quiet_c=100.0, slow_c=100.0 + 0.5 * EVERYTHING.unasked_rise_k
    )
    assert acknowledge(over, EVERYTHING, Reading(100.0, **ALL_WELL), now, "the keeper")[1] == ()
    assert (
        acknowledge(dataclasses.replace(s, danger=""), EVERYTHING, Reading(100.0, **ALL_WELL), now, "the keeper")[1]
        == ()
    )


@pytest.mark.parametrize("fault, needs_the_sensor", [("sensor-of-another-version", True), ("unknown", False)])
def test_a_trip_that_no_rule_has_is_gone_by_a_word_and_one_of_the_sensor_by_its_reading(fault, needs_the_sensor):
    """A damaged file of saved trips, or one of another version."""
    assert not stands(fault) and stands(fault, tick=dict(time_s=math.nan))
    assert stands(fault, faults=("open",)) is needs_the_sensor and stands(fault, chamber=math.nan) is needs_the_sensor


NEEDS_A_READING = (
    "over-oven",
    "over-schedule",
    "sensors-disagree",
    "sensor-frozen",
    "sensor-noisy",
    "sensor-unsteady",
    "sensor-jump",
    "sensor-shorted",
    "reading-fell",
    "sensor-open",
    "sensor-not-a-number",
    "sensor-no-chip",
)
BY_WORD = (
    "heat-no-rise",
    "unexplained-heat",
    "missing-heat",
    "relay-open",
    "contactor-open",
    "loop-stalled",
    "clock",
    "falls-when-heated",
)


@pytest.mark.parametrize("fault", NEEDS_A_READING)
def test_a_cause_that_needs_a_good_reading_to_be_gone(fault):
    s, policy = (
        warm(good_c=None, believed={fault: (100.0, 200.0)}),
        dataclasses.replace(EVERYTHING, chamber_trip_c=1360.0, schedule_trip_c=1360.0),
    )
    assert not stands(fault, s=s)
    for bad in (
        dict(faults=("open",)),
        dict(faults=("cold-junction",)),
        dict(chamber=math.nan),
        dict(chamber=math.inf),
        dict(chamber=None),
    ):
        assert stands(fault, s=s, policy=policy, **bad)
    assert not stands(fault, s=s, faults=("part-open", "board-lost")) and stands(fault, s=s, tick=dict(time_s=math.nan))


@pytest.mark.parametrize("fault", BY_WORD)
def test_a_cause_that_shows_only_under_heat_is_gone_by_a_word(fault):
    assert not stands(fault) and not stands(fault, chamber=math.nan, faults=("open",))
    assert stands(fault, tick=dict(time_s=math.nan))
