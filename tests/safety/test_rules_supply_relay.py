"""What carries the power, exactly: the relay, and what must be gone before its trips can be acknowledged."""

import math

import pytest

from kilnctl import Reading
from kilnctl.safety import rules_supply
from kilnctl.safety.fault_table import FAULTS
from kilnctl.safety.state import DANGER
from tests.safety.safety_scenes import stands
from tests.safety.supply_looks import BARE, state, told

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
    """The power that tripped may have flowed while the contactor was closed."""
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


def test_power_past_the_contactor_raises_the_danger_message_above_its_seconds():
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
def test_flowing_comes_from_the_power_read_back_or_else_from_the_current(fired, current, flows):
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


@pytest.mark.parametrize("duty", [1.0, 0.3])
@pytest.mark.parametrize("had, after_s", [(True, 28), (False, 7)])
def test_a_relay_that_opens_shows_as_late_as_the_table_says(duty, had, after_s):
    """The means of 10 s fall below a tenth after 10·ln 10 = 23 s, and stay for 5 s; without power before, from a
    commanded mean of a twentieth on."""
    s = state(coil=True, coil_s=0.0, asked=duty if had else 0.0, given=duty if had else 0.0)
    now = 1000.0
    while not told(s, now=now, dt=0.5, commanded=duty, fired=0.0, contactor_closed=True) and now < 1100.0:
        now += 0.5
    assert set(s.trips) == {"relay-open"} and now - 1000.0 == pytest.approx(after_s, abs=2.0)
    text = next(fault for fault in FAULTS if fault.id == "F04").threshold
    assert f"{after_s} s after a" in text


def run(asked, given, closed: bool | None = True, powered=True, seconds=5.0, **change):
    """At that time and just before it, with nothing else changing: trips at that time, warnings at that time, trips and
    warnings before."""
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
def test_less_than_all_of_the_power_for_half_a_minute_gives_a_warning(asked, given, said):
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
