"""`judge`, `acknowledge` and what keeps a cause standing, to the letter: every bound just met, just missed, and what is said of it."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import LEASE_S, Policy, SafetyState, Tick, acknowledge, judge
from kilnctl.safety.rules import cause_stands
from kilnctl.safety.state import Fall

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
ALL = dataclasses.replace(
    POLICY,
    has_limit_sensor=True,
    has_part_sensor=True,
    part_trip_c=200.0,
    nominal_v=200.0,
    airflow_required=True,
    door_switch=True,
)
QUIET = dict(limit_c=101.0, part_c=90.0, cold_junction_c=30.0, airflow_proved=True, door_open=False, supply_v=200.0)


def state(**values) -> SafetyState:
    made = SafetyState()
    for name, value in values.items():
        setattr(made, name, value)
    return made


def warm(**values) -> SafetyState:
    """After some good ticks, the last at 100 s, and a purge until 50 s."""
    known = dict(
        time_s=100.0,
        step=100,
        good_c=100.0,
        good_s=100.0,
        before_c=100.0,
        slow_c=100.0,
        top_c=100.0,
        coil=True,
        purge_until_s=50.0,
    )
    return state(**{**known, **values})


def look(s=None, policy=ALL, chamber=100.0, seconds=1.0, tick=None, **reading):
    s = warm() if s is None else s
    return judge(
        s,
        policy,
        Reading(chamber, **{**QUIET, **reading}),
        Tick((s.time_s or 0.0) + seconds, (s.step or 0) + 1, **{"fired": 0.3, **(tick or {})}),
    )


# ---- judge -----------------------------------------------------------------------------------------------------------


def test_a_good_tick_gives_a_lease_of_this_tick():
    s, v = look()
    assert dataclasses.astuple(v.permit) == (101.0, 101.0 + LEASE_S, 101, 1.0) and v.duty_limit == 1.0
    assert (v.contactor_allowed, v.trips, v.new_trips, v.warnings, v.usable, v.danger) == (True, (), (), (), True, "")
    assert v.reason == "all rules are content" and (s.time_s, s.step) == (101.0, 101)


@pytest.mark.parametrize("tick", [dict(time_s=99.0), dict(time_s=math.nan), dict(step=100), dict(step=1.5)])
def test_without_a_clock_nothing_else_is_judged(tick):
    s = warm(fired_60=0.5)
    new, v = judge(
        s, ALL, Reading(999.0, faults=("board-lost",)), Tick(**{"time_s": 101.0, "step": 101, "fired": 1.0, **tick})
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
        # The first that applies is said.
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
    assert v.permit.duty_limit == v.duty_limit == pytest.approx(0.3) and v.reason == FELL and v.contactor_allowed


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
    # A tick without a time cannot say when.
    blind, _ = judge(warm(coil_s=7.0), ALL, Reading(100.0), Tick(math.nan, 101, 0.0))
    assert (blind.coil, blind.coil_s) == (True, 7.0)


def test_latched_trips_alone_are_no_danger_whatever_their_number():
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
    s.off_s, s.quiet_c = ALL.unasked_rise_s, 100.0
    new, standing = acknowledge(s, ALL, Reading(100.0, **QUIET), Tick(102.0, 102, 0.0), who)
    assert standing == (() if heard else ("board-lost",)) and (new is s) is (not heard)
    assert set(s.trips) == {"board-lost"} and s.danger == "pull" and s.believed
    if heard:
        assert (new.trips, new.over, new.danger, new.excess, new.believed) == ({}, {}, "", 0.0, {})


def test_while_one_cause_stands_nothing_is_cleared():
    s, _ = look(faults=("board-lost", "board-fault"))
    new, standing = acknowledge(s, ALL, Reading(100.0, faults=("board-fault",)), Tick(102.0, 102, 0.0), "the keeper")
    assert standing == ("board-fault",) and new is s and set(s.trips) == {"board-lost", "board-fault"}


@pytest.mark.parametrize(
    "seen", [dict(off_s=ALL.unasked_rise_s - 0.1), dict(quiet_c=None), dict(slow_c=100.1 + 0.5 * ALL.unasked_rise_k)]
)
def test_heat_that_could_not_be_cut_must_be_seen_to_have_ended(seen):
    """What was shouted about is not taken back on a word, whichever rule saw it."""
    s = warm(
        **{
            **dict(danger="pull", off_s=ALL.unasked_rise_s, quiet_c=100.0, slow_c=100.0 + 0.5 * ALL.unasked_rise_k),
            **seen,
        }
    )
    s.trips["unexplained-heat"] = s.trips["clock"] = "latched"
    now = Tick(102.0, 102, 0.0)
    assert acknowledge(s, ALL, Reading(100.0, **QUIET), now, "the keeper") == (s, ("unexplained-heat", "clock"))
    over = dataclasses.replace(s, off_s=ALL.unasked_rise_s, quiet_c=100.0, slow_c=100.0 + 0.5 * ALL.unasked_rise_k)
    assert acknowledge(over, ALL, Reading(100.0, **QUIET), now, "the keeper")[1] == ()
    assert acknowledge(dataclasses.replace(s, danger=""), ALL, Reading(100.0, **QUIET), now, "the keeper")[1] == ()


def stands(fault, chamber=100.0, s=None, policy=ALL, tick=None, **reading):
    return cause_stands(
        fault,
        s or warm(),
        policy,
        Reading(chamber, **{**QUIET, **reading}),
        Tick(**{"time_s": 200.0, "step": 200, "fired": 0.0, **(tick or {})}),
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
        dataclasses.replace(ALL, chamber_trip_c=1360.0, schedule_trip_c=1360.0),
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


@pytest.mark.parametrize(
    "off_s, quiet, slow, gone",
    [(120.0, 90.0, 91.5, True), (119.9, 90.0, 80.0, False), (120.0, None, 80.0, False), (120.0, 90.0, 91.6, False)],
)
def test_a_rise_without_heat_stands_until_the_chamber_is_back_where_it_began(off_s, quiet, slow, gone):
    policy = dataclasses.replace(ALL, unasked_rise_s=120.0, unasked_rise_k=3.0)
    s = warm(off_s=off_s, quiet_c=quiet, slow_c=slow)
    assert stands("rise-no-heat", s=s, policy=policy) is (not gone) and stands(
        "rise-no-heat", chamber=math.nan, s=s, policy=policy
    )


@pytest.mark.parametrize("slope, gone", [(0.0, True), (1.0, True), (1.01, False)])
def test_a_rise_beyond_physics_stands_while_it_still_rises_half_as_fast(slope, gone):
    policy = dataclasses.replace(ALL, rise_k_per_s=2.0)
    assert stands("rise-too-fast", s=warm(slope_k_per_s=slope), policy=policy) is (not gone)
    assert stands("rise-too-fast", chamber=math.nan, policy=policy)


@pytest.mark.parametrize("chamber, gone", [(-60.0, True), (-60.1, False), (1820.0, True), (1820.1, False)])
def test_a_sensor_is_well_within_the_range_of_any_thermocouple(chamber, gone):
    assert stands("sensor-open", chamber=chamber) is (not gone)


@pytest.mark.parametrize(
    "fault, reading, standing",
    [
        ("over-oven", dict(chamber=298.0), False),
        ("over-oven", dict(chamber=298.1), True),
        ("over-oven", dict(limit_c=298.0), False),
        ("over-oven", dict(limit_c=298.1), True),
        ("over-oven", dict(limit_c=None), False),
        ("over-oven", dict(limit_c=math.nan), True),
        ("over-oven", dict(limit_c=-math.inf), True),
        ("over-schedule", dict(chamber=248.0), False),
        ("over-schedule", dict(chamber=248.1), True),
        ("over-schedule", dict(limit_c=290.0), False),
        ("over-part", dict(part_c=198.0), False),
        ("over-part", dict(part_c=198.1), True),
        ("over-part", dict(part_c=None), True),
        ("over-part", dict(part_c=math.nan), True),
        ("over-part", dict(part_c=-60.1), True),
        ("over-part", dict(part_c=90.0, faults=("part-open",)), True),
        ("over-part", dict(chamber=math.nan), False),
        ("part-sensor", dict(), False),
        ("part-sensor", dict(part_c=None), True),
        ("part-sensor", dict(part_c=math.nan), True),
        ("part-sensor", dict(part_c=-60.0), False),
        ("part-sensor", dict(part_c=-60.1), True),
        ("part-sensor", dict(faults=("part-open",)), True),
        ("part-sensor", dict(faults=("limit-open", "open")), False),
        ("limit-sensor", dict(), False),
        ("limit-sensor", dict(limit_c=None), True),
        ("limit-sensor", dict(limit_c=math.nan), True),
        ("limit-sensor", dict(limit_c=-60.0), False),
        ("limit-sensor", dict(limit_c=-60.1), True),
        ("limit-sensor", dict(faults=("limit-open",)), True),
        ("limit-sensor", dict(faults=("part-open", "open")), False),
        # Four fifths of the greater of 40 K and 6 %.
        ("sensors-disagree", dict(limit_c=132.0), False),
        ("sensors-disagree", dict(limit_c=132.1), True),
        ("sensors-disagree", dict(limit_c=68.0), False),
        ("sensors-disagree", dict(limit_c=67.9), True),
        ("sensors-disagree", dict(chamber=1000.0, limit_c=1047.9), False),
        ("sensors-disagree", dict(chamber=1000.0, limit_c=1048.1), True),
        ("sensors-disagree", dict(limit_c=None), True),
        ("sensors-disagree", dict(limit_c=100.0, faults=("limit-open",)), True),
        ("cold-junction", dict(cold_junction_c=None), False),
        ("cold-junction", dict(cold_junction_c=-20.0), False),
        ("cold-junction", dict(cold_junction_c=-20.1), True),
        ("cold-junction", dict(cold_junction_c=80.0), False),
        ("cold-junction", dict(cold_junction_c=80.1), True),
        ("cold-junction", dict(cold_junction_c=math.nan), True),
        ("cold-junction", dict(cold_junction_c="x"), True),
        ("board-lost", dict(), False),
        ("board-lost", dict(faults=("board-lost",)), True),
        ("board-lost", dict(faults=("board-fault",)), False),
        ("board-fault", dict(faults=("board-fault",)), True),
        ("board-fault", dict(faults=("board-lost",)), False),
        # 30 % of 200 V.
        ("supply-lost", dict(supply_v=60.0), True),
        ("supply-lost", dict(supply_v=60.1), False),
        ("supply-lost", dict(supply_v=math.nan), True),
        ("supply-lost", dict(supply_v=None), True),
        ("ventilation", dict(), False),
        ("ventilation", dict(airflow_proved=False), True),
        ("ventilation", dict(airflow_proved=None), True),
        ("contactor-welded", dict(contactor_closed=False), False),
        ("contactor-welded", dict(contactor_closed=True), True),
        ("contactor-welded", dict(contactor_closed=None), True),
        ("start-contactor", dict(contactor_closed=False), False),
        ("start-contactor", dict(contactor_closed=True), True),
        ("start-contactor", dict(contactor_closed=None), False),
        ("relay-on-unasked", dict(fired=0.02), False),
        ("relay-on-unasked", dict(fired=0.0), False),
        ("relay-on-unasked", dict(fired=0.021), True),
        ("relay-on-unasked", dict(fired=None), False),
        ("relay-on-unasked", dict(fired=math.nan), False),
        # A rig that reads back no power may still read a current.
        ("relay-on-unasked", dict(fired=None, current_a=0.19), False),
        ("relay-on-unasked", dict(fired=None, current_a=0.2), True),
        ("relay-on-unasked", dict(fired=math.nan, current_a=math.nan), True),
        ("relay-on-unasked", dict(fired=0.0, current_a=13.0), False),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing


def test_what_an_oven_does_not_have_keeps_no_cause_standing():
    assert not stands("supply-lost", policy=POLICY, supply_v=0.0) and not stands(
        "ventilation", policy=POLICY, airflow_proved=False
    )
    for odd in (None, math.nan):
        assert not stands("limit-sensor", policy=POLICY, limit_c=odd) and not stands(
            "sensors-disagree", policy=POLICY, limit_c=odd
        )
    assert not stands("limit-sensor", policy=POLICY, faults=("limit-open",)) and stands(
        "sensors-disagree", policy=POLICY, limit_c=None, faults=("open",)
    )


@pytest.mark.parametrize(
    "fault, name, limit", [("energy", "energy_j", "most_energy_j"), ("run-time", "run_s", "longest_s")]
)
def test_a_ceiling_of_the_run_just_kept_is_kept(fault, name, limit):
    policy = dataclasses.replace(ALL, **{limit: 5000.0})
    for value, standing in ((5000.0, False), (5000.1, True), (math.nan, True), (None, True), (-math.inf, True)):
        assert stands(fault, policy=policy, tick={name: value}) is standing


def test_a_counter_that_has_stood_for_five_seconds_keeps_a_frozen_reading_frozen():
    for sample, last, since, standing in (
        (5, 5, 195.0, True),
        (5, 5, 195.1, False),
        (5, 5, 100.0, True),
        (6, 5, 100.0, False),
        (None, None, 100.0, False),
        (None, 5, 100.0, False),
    ):
        assert stands("sensor-frozen", s=warm(sample=last, sample_since_s=since), sample=sample) is standing


def test_noise_has_to_be_within_its_limit_and_jumps_to_be_one_at_most():
    limit = ALL.noise_k
    for noise, rejects, standing in (
        (limit, 0.0, False),
        (limit + 0.01, 0.0, True),
        (0.0, 1.0, False),
        (0.0, 1.01, True),
    ):
        assert stands("sensor-noisy", s=warm(noise_k=noise, rejects=rejects)) is standing


def test_a_sensor_that_came_and_went_has_to_stay_for_a_while():
    for share, standing in ((0.1, False), (0.101, True)):
        assert stands("sensor-unsteady", s=warm(unsteady=share)) is standing


# 10 K either way, and downward another 0.1 K/s since then.
BACK = [
    (0.0, 90.0, True),
    (0.0, 89.95, False),
    (0.0, 110.0, True),
    (0.0, 110.05, False),
    (-50.0, 90.0, True),
    (-50.0, 89.95, False),
    (100.0, 80.0, True),
    (100.0, 79.95, False),
    (100.0, 110.05, False),
    (1000.0, -10.0, True),
]


@pytest.mark.parametrize("since, now_c, back", BACK)
@pytest.mark.parametrize("fault", ["sensor-jump", "sensor-shorted", "reading-fell"])
def test_a_reading_is_taken_back_where_it_was_or_where_the_oven_may_have_cooled_to(fault, since, now_c, back):
    # Only by what was believed when this very trip latched: not by the moving last good reading, nor by a fall that is under way.
    s = warm(good_s=0.0, good_c=5.0, fall=Fall(0.0, 5.0, 5.0, 0.2, None), believed={fault: (100.0, 200.0 - since)})
    assert stands(fault, chamber=now_c, s=s, policy=POLICY) is (not back)
    unknown = warm(
        good_s=200.0 - since,
        good_c=100.0,
        fall=Fall(200.0 - since, 100.0, 50.0, 0.2, None),
        believed={"another": (100.0, 200.0 - since)},
    )
    assert stands(fault, chamber=now_c, s=unknown, policy=POLICY), "nobody knows where it was"
