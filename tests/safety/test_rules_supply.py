"""What carries or interlocks the power, exactly: supply, door and air, contactor and relay."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import rules_supply
from kilnctl.safety.state import WELDED
from tests.safety.supply_looks import AIR, POLICY, at, state, tick, told


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
def test_supply_is_lost_at_thirty_per_cent_and_warned_of_beyond_fifteen(volts, nominal, lost, warned):
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
        # (door state, heat blocked, warning), in this order.
        for said, blocked, warned in (
            (None, "", switch),
            (None, "", switch),
            (False, "", False),
            (None, "the door switch no longer answers" if switch else "", False),
            (True, "the door is open", False),
            (None, "the door switch no longer answers" if switch else "", False),
        ):
            warnings = []
            assert why_not(s, policy, warnings=warnings, door_open=said) == blocked
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


@pytest.mark.parametrize(
    "inputs, pulse_timer, more",
    [
        ({}, False, []),
        ({"door_open": False}, False, ["door switch"]),
        ({"airflow_proved": False}, False, ["airflow switch"]),
        ({"door_open": True, "airflow_proved": True}, True, ["door switch", "airflow switch", "pulse timer"]),
    ],
)
def test_the_coil_s_circuit_is_named_as_far_as_inputs_and_file_show(inputs, pulse_timer, more):
    members = rules_supply.coil_circuit(Reading(20.0, **inputs), pulse_timer).split(", ")
    always = ["limiter", "emergency stop", "heat sink's thermostat", "the coil and its fuse"]
    assert sorted(members) == sorted(always + more)
    assert members[:2] == always[:2] and members[-1] == always[-1]
