"""What feeds the heat, to the letter: supply, door and air, contactor and relay."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_supply
from kilnctl.safety.rule import Look
from kilnctl.safety.state import DANGER, WELDED
from tests.safety.safety_scenes import stands

SEEN = Reading(100.0)
BARE = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
POLICY = dataclasses.replace(BARE, nominal_v=200.0)
AIR = dataclasses.replace(POLICY, airflow_required=True, airflow_s=4.0, purge_s=90.0)


def state(**values) -> SafetyState:
    return SafetyState(**{"purge_until_s": -math.inf, **values})


def tick(time_s=1000.0, **values) -> Tick:
    return Tick(time_s, values.pop("step", 11), 0.3, **values)


def at(s, policy=POLICY, reading=SEEN, tick=None, dt=1.0, powered=True, warnings=None) -> Look:
    tick = Tick(1000.0, 11, 0.3) if tick is None else tick
    return Look(s, policy, reading, tick, dt, 0.3, True, powered, [] if warnings is None else warnings)


@pytest.mark.parametrize(
    "volts, nominal, lost, warned",
    [
        (200.0, 200.0, False, False),
        (60.0, 200.0, True, False),
        (60.1, 200.0, False, True),
        (0.0, 200.0, True, False),
        (math.nan, 200.0, True, False),
        (math.inf, 200.0, True, False),
        (None, 200.0, False, False),
        (0.0, None, False, False),
        (None, None, False, False),
        (170.0, 200.0, False, False),
        (169.9, 200.0, False, True),
        (230.0, 200.0, False, False),
        (230.1, 200.0, False, True),
        (35.0, 110.0, False, True),
        (33.0, 110.0, True, False),
    ],
)
def test_supply_is_lost_at_thirty_per_cent_and_told_beyond_fifteen(volts, nominal, lost, warned):
    policy, s = dataclasses.replace(POLICY, nominal_v=nominal), state()
    for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
        warnings = []
        assert rules_supply.supply(at(s, policy, Reading(100.0, supply_v=volts), tick(now), warnings=warnings)) is (
            not lost
        )
        assert warnings == ([f"the supply is at {volts:.0f} V instead of {nominal:.0f} V"] if warned else [])
        assert set(s.trips) == ({"supply-lost"} if lost and last else set())
    assert not lost or "for 10 s" in s.trips["supply-lost"].seen


# ---- door and air ----------------------------------------------------------------------------------------------------


def why_not(s, policy, dt=1.0, now=1000.0, warnings=None, heating=True, **reading) -> str:
    return rules_supply.door_and_air(
        at(s, policy, Reading(100.0, **reading), tick(now, heating=heating), dt, warnings=warnings)
    )


def test_an_open_door_blocks_and_so_does_a_switch_that_no_longer_answers():
    for switch in (False, True):
        policy = dataclasses.replace(POLICY, door_switch=switch)
        s = state()
        # Told, blocked, warned; in this order.
        for told, blocked, warned in (
            (None, "", switch),
            (None, "", switch),
            (False, "", False),
            (None, "the door switch no longer answers" if switch else "", False),
            (True, "the door is open", False),
            (None, "the door switch no longer answers" if switch else "", False),
        ):
            warnings = []
            assert why_not(s, policy, warnings=warnings, door_open=told) == blocked
            assert warnings == (["the door switch does not answer"] if warned else [])


@pytest.mark.parametrize("proved", [False, None])
def test_ventilation_that_is_not_proved_for_half_a_minute_trips_where_heat_is_wanted(proved):
    for heating in (True, False):
        s = state()
        for now, last in ((1000.0, False), (1029.9, False), (1030.0, True)):
            assert why_not(s, AIR, now=now, heating=heating, airflow_proved=proved) == "the ventilation is not proved"
            assert set(s.trips) == ({"ventilation"} if last and heating else set())
    assert why_not(state(), POLICY, airflow_proved=proved) == ""
    proved_s = state()
    assert (
        why_not(proved_s, AIR, airflow_proved=True) == why_not(proved_s, AIR, now=1100.0, airflow_proved=True) == ""
        and not proved_s.trips
    )


def test_more_than_so_long_without_air_needs_a_purge():
    s = state(airless_s=2.0)
    why_not(s, AIR, dt=2.0, airflow_proved=False)
    assert s.airless_s == 4.0 and s.purge_until_s == -math.inf, "so short a flicker"
    why_not(s, AIR, dt=0.5, now=1002.0, airflow_proved=False)
    assert s.airless_s == 4.5 and s.purge_until_s == 1092.0
    assert (
        why_not(s, AIR, now=1002.5, airflow_proved=True).endswith(
            "purging the chamber with fresh air for another 90 s before there is heat"
        )
        and s.airless_s == 0.0
    )
    assert "another 1 s" in why_not(s, AIR, now=1091.0, airflow_proved=True)
    assert why_not(s, AIR, now=1092.0, airflow_proved=True) == ""
    assert why_not(s, AIR, now=1092.0, airflow_proved=True, door_open=True) == "the door is open"


def test_a_chamber_that_was_not_seen_purged_is_purged_before_its_first_heat():
    s = state(purge_until_s=math.inf)
    assert "another 90 s" in why_not(s, AIR, airflow_proved=True) and s.purge_until_s == 1090.0
    assert (
        "another 1 s" in why_not(s, AIR, now=1089.0, airflow_proved=True)
        and why_not(s, AIR, now=1090.0, airflow_proved=True) == ""
    )
    airless = state(purge_until_s=math.inf)
    assert (
        why_not(airless, AIR, airflow_proved=False) == "the ventilation is not proved"
        and airless.purge_until_s == 1090.0
    )
    assert why_not(state(purge_until_s=math.inf), POLICY) == "", "nothing is purged where nothing gives off vapour"


def test_only_proved_air_purges():
    """Up to airflow_s without air prolong a purge; from there on it begins again."""
    s = state(purge_until_s=1050.0)
    why_not(s, AIR, dt=2.0, airflow_proved=False)
    assert s.purge_until_s == 1052.0
    why_not(s, AIR, dt=2.0, now=1001.0, airflow_proved=True)
    assert s.purge_until_s == 1052.0
    s.airless_s = 3.0
    why_not(s, AIR, dt=2.0, now=1002.0, airflow_proved=False)
    assert s.purge_until_s == 1092.0


# ---- contactor -------------------------------------------------------------------------------------------------------


def told(s, policy=POLICY, now=1000.0, dt=1.0, powered=True, warnings=None, commanded=None, contactor=None, **reading):
    look = Reading(100.0, **reading)
    seen = at(s, policy, look, tick(now, commanded=commanded, contactor=contactor), dt, powered, warnings)
    rules_supply.contactor(seen)
    rules_supply.relay(seen)
    return set(s.trips)


def test_what_the_caller_says_of_the_coil_counts_from_the_last_tick():
    for coil, says, after in (
        (True, None, (True, 5.0)),
        (True, True, (True, 5.0)),
        (True, False, (False, 998.0)),
        (None, True, (True, 998.0)),
        (False, True, (True, 998.0)),
    ):
        s = state(coil=coil, coil_s=5.0)
        told(s, dt=2.0, contactor=says)
        assert (s.coil, s.coil_s) == after


CONTACTOR = [
    (False, True, True, "contactor-welded"),
    (False, True, False, "contactor-welded"),
    (False, False, True, None),
    (True, False, True, "contactor-open"),
    (True, False, False, None),
    (True, True, True, None),
    (None, True, True, None),
    (None, False, True, None),
    (False, None, True, None),
    (True, None, True, None),
]


@pytest.mark.parametrize("coil, closed, powered, fault", CONTACTOR)
def test_the_contactor_has_a_second_to_follow_and_another_to_be_sure(coil, closed, powered, fault):
    s = state(coil=coil, coil_s=1000.0)
    for now in (1000.0, 1000.9, 1001.0, 1001.9):
        assert told(s, now=now, dt=0.1, powered=powered, contactor_closed=closed) == set()
    assert told(s, now=2000.0, dt=0.1, powered=powered, contactor_closed=closed) == ({fault} if fault else set())
    assert s.danger == (WELDED if fault == "contactor-welded" else "")


def test_the_second_to_follow_is_whole():
    for coil, closed in ((False, True), (True, False)):
        for since, begun in ((999.0, True), (999.1, False)):
            s = state(coil=coil, coil_s=since)
            told(s, contactor_closed=closed)
            assert bool(s.over) is begun
        s = state(coil=coil, coil_s=0.0)
        assert not told(s, now=1000.0, contactor_closed=closed) and not told(s, now=1000.9, contactor_closed=closed)
        assert told(s, now=1001.0, contactor_closed=closed)


# ---- relay -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "commanded, fired, dt, had, sum_s",
    [
        (0.3, 0.6, 2.0, 0.5, 1.0),
        (0.3, 0.35, 2.0, 0.5, 0.5),
        (0.3, 0.1, 1.0, 0.5, 0.25),
        (0.3, 0.1, 2.0, 0.4, 0.0),
        (0.0, 1.0, 0.5, 0.0, 0.475),
        (0.0, 0.6, 1.0, 0.5, 1.05),
        (0.0, 0.0, 1.0, 0.0, 0.0),
    ],
)
def test_unasked_power_is_summed_beyond_a_twentieth(commanded, fired, dt, had, sum_s):
    s = state(unasked=had)
    assert not told(s, dt=dt, commanded=commanded, fired=fired) and s.unasked == pytest.approx(sum_s)


@pytest.mark.parametrize("coil, coil_s", [(False, 998.0), (True, 0.0), (None, 0.0)])
def test_unasked_power_trips_above_its_seconds_and_is_no_danger_by_itself(coil, coil_s):
    """What made the trip may have flowed while the contactor was closed."""
    for had, faults in ((2.5, set()), (2.51, {"relay-on-unasked"})):
        s = state(unasked=had, coil=coil, coil_s=coil_s)
        assert told(s, dt=0.0, commanded=0.2, fired=0.6) == faults and s.danger == ""
    assert "for 60 % of the time; 20 %" in s.trips["relay-on-unasked"].seen


@pytest.mark.parametrize(
    "coil, coil_s, dt, had, sum_s",
    [
        (False, 998.0, 1.0, 1.0, 1.35),
        (False, 998.0, 0.5, 1.0, 1.175),
        (False, 998.01, 1.0, 1.0, 0.0),
        (True, 0.0, 1.0, 1.0, 0.0),
        (None, 0.0, 1.0, 1.0, 0.0),
    ],
)
def test_power_past_the_contactor_is_summed_over_looks_in_which_it_should_be_open_all_the_time(
    coil, coil_s, dt, had, sum_s
):
    s = state(coil=coil, coil_s=coil_s, unasked_open=had)
    told(s, dt=dt, commanded=0.2, fired=0.6)
    assert s.unasked_open == pytest.approx(sum_s) and s.danger == ""


def test_power_past_the_contactor_is_shouted_above_its_seconds():
    for had, danger in ((2.5, ""), (2.51, DANGER)):
        s = state(coil=False, coil_s=990.0, unasked_open=had)
        told(s, dt=0.0, commanded=0.2, fired=0.6)
        assert s.danger == danger and s.danger_by == ({"power"} if danger else set())
    s = state(coil=False, coil_s=990.0, unasked_open=0.02)
    told(s, commanded=0.0, fired=0.0)
    assert s.unasked_open == 0.0


@pytest.mark.parametrize(
    "commanded, current, unasked",
    [
        (0.0, 0.19, 0.0),
        (0.0, 0.2, 0.95),
        (0.0, 13.0, 0.95),
        (0.0, math.nan, 0.95),
        (0.0, -math.inf, 0.95),
        (0.0, None, 0.0),
        (0.1, 13.0, 0.0),
        (1.0, 0.0, 0.0),
        (None, 13.0, 0.0),
    ],
)
def test_where_no_power_is_read_back_a_current_says_that_something_flows(commanded, current, unasked):
    for odd in (None, math.nan):
        s = state()
        told(s, commanded=commanded, current_a=current, fired=odd)
        assert s.unasked == pytest.approx(unasked)
    known = state()
    told(known, commanded=0.0, current_a=13.0, fired=0.0)
    assert known.unasked == 0.0


@pytest.mark.parametrize(
    "fired, current, flows",
    [
        (0.02, 13.0, False),
        (0.021, 0.0, True),
        (0.0, None, False),
        (None, None, None),
        (math.nan, None, None),
        (None, 0.19, False),
        (None, 0.2, True),
        (math.nan, 0.0, False),
        (math.inf, 13.0, True),
        (None, math.nan, True),
        (None, -math.inf, True),
    ],
)
def test_what_flows_is_told_by_the_power_read_back_and_else_by_the_current(fired, current, flows):
    assert rules_supply.flowing(Reading(100.0, fired=fired, current_a=current)) is flows


def test_nothing_is_compared_with_what_is_not_known():
    for commanded, fired in ((None, 1.0), (math.nan, 1.0), (0.3, None), (0.3, math.nan), (0.0, None), (0.0, math.nan)):
        s = state(unasked=1.0, asked=0.3, given=0.3)
        told(s, commanded=commanded, fired=fired)
        assert (s.unasked, s.asked, s.given) == (1.0, 0.3, 0.3)


@pytest.mark.parametrize("dt", [0.5, 2.0])
def test_asked_and_given_are_means_of_ten_seconds(dt):
    s = state(asked=0.2, given=0.1)
    told(s, dt=dt, commanded=0.6, fired=0.5)
    assert (s.asked, s.given) == (
        pytest.approx(0.6 - 0.4 * math.exp(-dt / 10.0)),
        pytest.approx(0.5 - 0.4 * math.exp(-dt / 10.0)),
    )


def run(asked, given, closed: bool | None = True, powered=True, seconds=5.0, **change):
    """After so long, and just before, with nothing else changing: trips then, warnings then, trips and warnings
    before."""
    s = state(**{"coil": True, "asked": asked, "given": given, **change})
    before, after = [], []
    for now, warnings in ((1000.0, before), (1000.0 + seconds - 0.1, before), (1000.0 + seconds, after)):
        s.coil_s = now - 1000.0 + change.get("coil_s", 999.0)
        earlier = set(s.trips)
        told(s, now=now, dt=0.0, powered=powered, commanded=0.0, fired=0.0, contactor_closed=closed, warnings=warnings)
    return set(s.trips), after, earlier | set(before), s


@pytest.mark.parametrize(
    "asked, given, opened",
    [
        (0.5, 0.049, True),
        (0.5, 0.05, False),
        (0.051, 0.0, True),
        (0.05, 0.0, False),
        (1.0, 0.099, True),
        (1.0, 0.1, False),
    ],
)
def test_a_tenth_of_the_power_for_five_seconds_is_an_open_relay(asked, given, opened):
    trips, _, before, s = run(asked, given)
    assert trips == ({"relay-open"} if opened else set()) and before == set()
    assert not opened or f"and {100.0 * asked:.0f} %" in s.trips["relay-open"].seen


@pytest.mark.parametrize(
    "asked, given, said",
    [
        (1.0, 0.849, "85 %"),
        (1.0, 0.85, ""),
        (0.5, 0.2, "40 %"),
        (0.5, 0.424, "85 %"),
        (0.5, 0.425, ""),
        (0.05, 0.02, ""),
        (0.051, 0.02, "39 %"),
    ],
)
def test_less_than_all_of_the_power_for_half_a_minute_is_told(asked, given, said):
    trips, warnings, before, _ = run(asked, given, seconds=30.0)
    assert (
        trips == set()
        and before == set()
        and [w.split(" of")[0] for w in warnings] == ([f"only {said}"] if said else [])
    )


@pytest.mark.parametrize(
    "change",
    [
        dict(coil=False, closed=False),
        dict(coil=None),
        dict(coil_s=999.1),
        dict(closed=False, coil_s=999.1),
        dict(powered=False),
        dict(powered=False, closed=False),
    ],
)
def test_power_is_expected_only_through_a_shut_contactor_from_a_supply(change):
    assert run(0.5, 0.0, **change)[:1] == (set(),) and run(0.5, 0.3, seconds=30.0, **change)[1] == []
    assert run(0.5, 0.0, closed=None)[0] == {"relay-open"} and run(0.5, 0.3, closed=None, seconds=30.0)[1] != []


def test_a_contactor_that_reads_open_is_not_a_relay_that_is():
    assert run(0.5, 0.0, closed=False)[0] == {"contactor-open"} and run(0.5, 0.3, closed=False, seconds=30.0)[1] == []


@pytest.mark.parametrize(
    ("fault", "reading", "standing"),
    [
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
        ("relay-on-unasked", dict(fired=0.02), False),
        ("relay-on-unasked", dict(fired=0.0), False),
        ("relay-on-unasked", dict(fired=0.021), True),
        ("relay-on-unasked", dict(fired=None), False),
        ("relay-on-unasked", dict(fired=math.nan), False),
        ("relay-on-unasked", dict(fired=None, current_a=0.19), False),
        ("relay-on-unasked", dict(fired=None, current_a=0.2), True),
        ("relay-on-unasked", dict(fired=math.nan, current_a=math.nan), True),
        ("relay-on-unasked", dict(fired=0.0, current_a=13.0), False),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing


def test_what_an_oven_does_not_have_keeps_no_cause_standing():
    assert not stands("supply-lost", policy=BARE, supply_v=0.0)
    assert not stands("ventilation", policy=BARE, airflow_proved=False)
