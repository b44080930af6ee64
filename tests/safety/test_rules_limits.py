"""Limits of chamber and part, and the other sensors, exactly: bounds, waits, disagreement and its lag."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_limits
from kilnctl.safety.rule import Look
from tests.safety.safety_scenes import SMALL, stands

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
BOTH = dataclasses.replace(POLICY, has_limit_sensor=True)


def state(**values) -> SafetyState:
    """After good readings of 100 °C, the last at 999 s."""
    return SafetyState(good_c=100.0, before_c=100.0, good_s=999.0, **values)


# ---- limits ----------------------------------------------------------------------------------------------------------


def below(
    s, policy, chamber: Any = 100.0, now: Any = 1000.0, usable: Any = True, warnings=None, dt=1.0, **reading
) -> bool:
    seen = Reading(chamber, **reading)
    kept = [] if warnings is None else warnings
    return rules_limits.below_limits(Look(s, policy, seen, Tick(now, 1, 0.3), dt, 0.3, usable, warnings=kept))


@pytest.mark.parametrize(
    "fault, name, at, policy",
    [
        ("over-oven", "chamber", 300.0, dataclasses.replace(BOTH, schedule_trip_c=1000.0)),
        ("over-schedule", "chamber", 250.0, BOTH),
        ("over-oven", "limit_c", 300.0, dataclasses.replace(BOTH, schedule_trip_c=1000.0)),
        ("over-schedule", "limit_c", 250.0, BOTH),
        ("over-part", "part_c", 210.0, dataclasses.replace(BOTH, part_trip_c=210.0)),
        ("over-oven", "part_c", 300.0, dataclasses.replace(BOTH, schedule_trip_c=1000.0)),
        ("over-schedule", "part_c", 250.0, BOTH),
    ],
)
def test_above_a_limit_there_is_no_heat_and_after_two_seconds_a_trip(fault, name, at, policy):
    for value, over in ((at, False), (at + 0.01, True)):
        s, reading = state(), {"limit_c": 240.0, name: value}
        for now, last in ((1000.0, False), (1001.9, False), (1002.0, True)):
            assert below(s, policy, now=now, **reading) is (not over)
            assert set(s.trips) == ({fault} if over and last else set())
        assert not over or f"{at:.0f} °C" in s.trips[fault].seen


def test_the_coldest_and_too_hot_are_temperatures_too():
    """A reading too hot for any sensor is above every limit at once; it is not treated as missing for ten seconds."""
    policy = dataclasses.replace(BOTH, has_part_sensor=True, part_trip_c=200.0)
    assert below(state(), policy, chamber=-60.0, part_c=-60.0, limit_c=-60.0)
    for hot, fault in (
        (dict(part_c=5000.0, limit_c=100.0), {"over-part", "over-oven", "over-schedule"}),
        (dict(part_c=100.0, limit_c=5000.0), {"over-oven", "over-schedule"}),
    ):
        s = state()
        for now in (1000.0, 1002.0):
            assert not below(s, policy, now=now, **hot)
        assert set(s.trips) == fault


def test_two_sensors_above_the_same_limit_have_a_clock_each():
    s = state()
    below(s, BOTH, limit_c=301.0)
    below(s, BOTH, chamber=301.0, now=1001.0, limit_c=240.0)
    below(s, BOTH, limit_c=240.0, part_c=301.0, now=1002.0)
    below(s, BOTH, limit_c=301.0, now=1003.0)
    assert not s.trips


def test_a_reading_that_is_not_believed_is_not_held_against_a_limit():
    s = state()
    assert below(s, BOTH, chamber=999.0, usable=False, limit_c=100.0) and below(
        s, BOTH, chamber=999.0, usable=False, limit_c=100.0, now=1100.0
    )
    assert not s.trips and not s.over


@pytest.mark.parametrize(
    "reading",
    [
        dict(part_c=None),
        dict(part_c=math.nan),
        dict(part_c=90.0, faults=("part-open",)),
        dict(part_c=999.0, faults=("part-open",)),
        dict(part_c=-60.1),
    ],
)
def test_a_part_with_a_limit_of_its_own_has_to_be_seen(reading):
    for policy, needed in (
        (dataclasses.replace(POLICY, has_part_sensor=True, part_trip_c=200.0), True),
        (dataclasses.replace(POLICY, has_part_sensor=True), False),
        (dataclasses.replace(POLICY, part_trip_c=200.0), False),
    ):
        s = state()
        for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
            assert below(s, policy, now=now, **reading) is (not needed)
            assert set(s.trips) == ({"part-sensor"} if needed and last else set())
    assert below(state(), POLICY, part_c=90.0, faults=("limit-open", "open"))


@pytest.mark.parametrize(
    "reading",
    [
        dict(limit_c=None),
        dict(limit_c=math.nan),
        dict(limit_c=100.0, faults=("limit-open",)),
        dict(limit_c=999.0, faults=("limit-open",)),
        dict(limit_c=-60.1),
    ],
)
def test_a_second_sensor_has_to_be_there_where_there_is_one(reading):
    for policy, needed in ((BOTH, True), (POLICY, False)):
        s = state()
        for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
            assert below(s, policy, now=now, **reading) is (not needed)
            assert set(s.trips) == ({"limit-sensor"} if needed and last else set())
    assert below(state(), BOTH, limit_c=100.0, faults=("part-open", "open"))


@pytest.mark.parametrize(
    "chamber, second, apart, warned",
    [
        (100.0, 140.0, False, True),
        (100.0, 140.1, True, True),
        (100.0, 60.0, False, True),
        (100.0, 59.9, True, True),
        (100.0, 132.0, False, False),
        (100.0, 132.1, False, True),
        (1000.0, 1060.0, False, True),
        (1000.0, 1064.0, True, True),
        (1000.0, 940.0, False, True),
        (1000.0, 939.9, True, True),
        (1000.0, 952.0, False, False),
        (1000.0, 951.9, False, True),
    ],
)
def test_two_sensors_may_be_apart_by_forty_kelvin_or_six_per_cent_for_a_minute(chamber, second, apart, warned):
    policy, s, warnings = dataclasses.replace(BOTH, chamber_trip_c=1300.0, schedule_trip_c=1300.0), state(), []
    for now, last in ((1000.0, False), (1059.9, False), (1060.0, True)):
        warnings.clear()
        assert below(s, policy, chamber, now, warnings=warnings, limit_c=second)
        assert set(s.trips) == ({"sensors-disagree"} if apart and last else set())
        assert warnings == (
            [f"the two sensors are {abs(second - chamber):.0f} K apart"] if warned and not (apart and last) else []
        )
    assert not apart or f"{chamber:.0f} °C and {second:.0f} °C" in s.trips["sensors-disagree"].seen
    blind = state()
    assert below(blind, policy, chamber, usable=False, warnings=warnings, limit_c=second) and "apart" not in blind.over


def test_what_the_place_of_the_control_sensor_explains_is_no_disagreement():
    """A sound oven's control sensor showed 48 K more than the second one, by a quarter of the elements' temperature."""
    near = dataclasses.replace(SMALL, near_elements=0.25, near_walls=0.6)
    described = dataclasses.replace(BOTH, envelope=(SMALL, SMALL, near))
    by_walls_k = 0.6 * 2000.0 / SMALL.film_w_per_k
    for policy, second, allowed_k in ((described, -1.0, 60.0), (described, 1.0, 40.0 + by_walls_k), (BOTH, -1.0, 40.0)):
        for more_k, tripped, warned in ((0.1, True, True), (-0.1, False, True), (-0.21 * allowed_k, False, False)):
            s, warnings = state(above_k=20.0, given_w=2000.0), []
            for now in (1000.0, 1060.0):
                at_c = 150.0 + second * (allowed_k + more_k)
                assert below(s, policy, 150.0, now, warnings=warnings, limit_c=at_c)
            assert ("sensors-disagree" in s.trips) is tripped and bool(warnings) is warned


def test_with_a_fit_the_place_that_its_records_showed_counts():
    """Its own lightest oven has none; the oven of the description with the place that was seen has."""
    placed = dataclasses.replace(SMALL, near_walls=0.3)
    by_walls_k = 0.3 * 2000.0 / SMALL.film_w_per_k
    fitted = dataclasses.replace(BOTH, envelope=(SMALL, SMALL, SMALL))
    for policy, allowed_k in ((fitted, 40.0), (dataclasses.replace(fitted, placed=placed), 40.0 + by_walls_k)):
        for more_k in (0.1, -0.1):
            s = state(given_w=2000.0)
            for now in (1000.0, 1060.0):
                assert below(s, policy, 150.0, now, limit_c=150.0 + allowed_k + more_k)
            assert ("sensors-disagree" in s.trips) is (more_k > 0.0)


def test_what_the_slower_ones_greater_lag_explains_is_no_disagreement():
    """With 60 s more of lag in either sensor: the quicker one delayed by as much, and the slower may lie anywhere
    between the two."""
    share = 1.0 - math.exp(-2.0 / 60.0)
    for lag, order in ((60.0, lambda quick, slow: (quick, slow)), (-60.0, lambda quick, slow: (slow, quick))):
        policy = dataclasses.replace(BOTH, second_lag_s=lag)
        fresh = state()
        # At first the quick sensor is assumed to start at the slow sensor's value.
        assert rules_limits.apart_k(fresh, policy, *order(200.0, 100.0), 2.0) == pytest.approx(
            100.0 * share
        ) and fresh.delayed_c == pytest.approx(100.0 + 100.0 * share)
        for slow, apart in (
            (130.0, 20.0 + 50.0 * share),
            (150.0 + 50.0 * share, 0.0),
            (170.0, 0.0),
            (200.0, 0.0),
            (230.0, 30.0),
        ):
            s = state(delayed_c=150.0)
            assert rules_limits.apart_k(s, policy, *order(200.0, slow), 2.0) == pytest.approx(
                apart, abs=1e-9
            ) and s.delayed_c == pytest.approx(150.0 + 50.0 * share)
        for slow, apart in ((130.0, 30.0), (90.0, 10.0)):
            assert rules_limits.apart_k(state(delayed_c=150.0), policy, *order(100.0, slow), 1e-9) == pytest.approx(
                0.0 if slow == 130.0 else apart, abs=1e-6
            )
    same = state(delayed_c=150.0)
    assert (
        rules_limits.apart_k(same, BOTH, 200.0, 170.0, 2.0)
        == 30.0
        == rules_limits.apart_k(state(), BOTH, 170.0, 200.0, 2.0)
        and same.delayed_c == 200.0
    )
    short = state(delayed_c=100.0)
    assert rules_limits.apart_k(short, dataclasses.replace(BOTH, second_lag_s=0.5), 200.0, 100.0, 0.5) == pytest.approx(
        100.0 * (1.0 - math.exp(-1.0))
    )


def test_the_lag_is_allowed_for_in_every_look_that_is_believed():
    policy, warnings = dataclasses.replace(BOTH, second_lag_s=60.0, schedule_trip_c=300.0), []
    s = state(delayed_c=100.0)
    for now in (1000.0, 1060.0):
        assert below(s, policy, 290.0, now, dt=2.0, warnings=warnings, limit_c=100.0)
    delayed = 290.0 - 190.0 * math.exp(-4.0 / 60.0)
    assert s.delayed_c == pytest.approx(delayed) and not s.trips and not warnings
    below(s, policy, 290.0, 1061.0, usable=False, dt=2.0, limit_c=100.0)
    assert s.delayed_c == pytest.approx(delayed)
    late = state(delayed_c=180.0)
    below(late, policy, 290.0, 1000.0, dt=1e-9, warnings=warnings, limit_c=144.0)
    assert warnings == ["the two sensors are 36 K apart"]


@pytest.mark.parametrize(
    ("fault", "reading", "standing"),
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
        ("over-schedule", dict(limit_c=248.0), False),
        ("over-schedule", dict(limit_c=248.1), True),
        ("over-schedule", dict(limit_c=math.nan), True),
        ("over-schedule", dict(part_c=248.0), False),
        ("over-schedule", dict(part_c=248.1), True),
        ("over-schedule", dict(part_c=math.nan), False),
        ("over-oven", dict(part_c=298.0), False),
        ("over-oven", dict(part_c=298.1), True),
        ("over-oven", dict(part_c=400.0, faults=("part-open",)), False),
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
        ("sensors-disagree", dict(limit_c=132.0), False),
        ("sensors-disagree", dict(limit_c=132.1), True),
        ("sensors-disagree", dict(limit_c=68.0), False),
        ("sensors-disagree", dict(limit_c=67.9), True),
        ("sensors-disagree", dict(chamber=1000.0, limit_c=1047.9), False),
        ("sensors-disagree", dict(chamber=1000.0, limit_c=1048.1), True),
        ("sensors-disagree", dict(limit_c=None), True),
        ("sensors-disagree", dict(limit_c=100.0, faults=("limit-open",)), True),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing


def test_what_an_oven_does_not_have_keeps_no_cause_standing():
    for odd in (None, math.nan):
        assert not stands("limit-sensor", policy=POLICY, limit_c=odd) and not stands(
            "sensors-disagree", policy=POLICY, limit_c=odd
        )
    assert not stands("limit-sensor", policy=POLICY, faults=("limit-open",)) and stands(
        "sensors-disagree", policy=POLICY, limit_c=None, faults=("open",)
    )


@pytest.mark.parametrize("fault", ["over-oven", "over-schedule", "sensors-disagree"])
def test_a_cause_that_needs_a_good_control_reading_to_be_gone(fault):
    assert not stands(fault) and stands(fault, faults=("open",)) and stands(fault, chamber=math.nan)
