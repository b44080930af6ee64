"""The rules of heat one function at a time, exactly: every threshold, time constant and rate."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_heat
from kilnctl.safety.rule import Look
from kilnctl.safety.state import Fall, Span
from tests.safety.safety_scenes import EVERYTHING, stands, warm

SEEN = Reading(100.0)
POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    made = SafetyState()
    for name, value in {"slow_c": 100.0, "top_c": 100.0, **values}.items():
        setattr(made, name, value)
    return made


def tick(time_s: float = 100.0, **values) -> Tick:
    return Tick(time_s, 1, values.pop("fired", 0.3), **values)


def at(s: SafetyState, reading=SEEN, tick=None, *, policy=POLICY, now=100.0, dt=1.0, fired=0.3, warnings=None) -> Look:
    """A look of the rules of heat."""
    tick = Tick(now, 1, 0.3) if tick is None else tick
    return Look(s, policy, reading, tick, dt, fired, usable=True, warnings=[] if warnings is None else warnings)


def see(s: SafetyState, chamber: Any, dt: float, ticks: int, limit: Any = None, fired=0.3, policy=POLICY, **values):
    """`behaviour` for that many ticks; returns the lowest of the highest duties allowed."""
    least, start = 1.0, s.settled_s if math.isfinite(s.settled_s) else 0.0
    for i in range(ticks):
        now = start + 1000.0 + i * dt
        shown: list[Any] = [v(i * dt) if callable(v) else v for v in (chamber, limit)]
        reading = Reading(shown[0], limit_c=shown[1], **values)
        least = min(
            least, rules_heat.behaviour(at(s, reading, tick(now, fired=fired), policy=policy, dt=dt, fired=fired))
        )
    return least


# ---- smoothing -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dt", [0.5, 1.0, 2.0])
def test_level_and_slope_follow_a_ramp_with_five_seconds_lag(dt):
    level, slope = 100.0, 0.0
    for i in range(1, int(120.0 / dt) + 1):
        level, slope = rules_heat.smoothed(level, slope, 100.0 + 0.4 * i * dt, dt)
    # A first-order lag stays rate × τ behind a ramp (computed in steps: less by one step).
    assert slope == pytest.approx(0.4, abs=1e-6)
    assert 148.0 - level == pytest.approx(0.4 * dt / (math.exp(dt / 5.0) - 1.0), abs=1e-6)
    once, its = rules_heat.smoothed(100.0, 0.0, 110.0, dt)
    share = 1.0 - math.exp(-dt / 5.0)
    assert once == pytest.approx(100.0 + 10.0 * share) and its == pytest.approx(10.0 * share / dt * share)


def test_the_second_sensor_begins_again_after_it_was_gone():
    s = state()
    see(s, 100.0, 1.0, 30, limit=lambda t: 90.0 + t)
    assert s.second_slope == pytest.approx(1.0, abs=0.02) and s.second_c == pytest.approx(115.0, abs=5.0)
    for gone in (None, math.nan, math.inf):
        see(s, 100.0, 1.0, 1, limit=gone)
        assert s.second_c is None and s.second_slope == 0.0
        see(s, 100.0, 1.0, 1, limit=55.0)
        assert s.second_c == 55.0 and s.second_slope == 0.0


# ---- rise ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dt", [0.5, 1.0, 2.0])
def test_what_the_chamber_had_been_is_forgotten_at_two_hundredths_a_second(dt):
    s = state(slow_c=80.0, top_c=100.0)
    for i in range(int(50.0 / dt)):
        rules_heat.rise_too_fast(at(s, now=i * dt, dt=dt))
    assert s.top_c == pytest.approx(100.0 - 0.02 * 50.0)
    s.slow_c = 120.0
    rules_heat.rise_too_fast(at(s, now=60.0, dt=dt))
    assert s.top_c == 120.0


def test_a_rise_counts_only_above_its_limit_and_the_old_top_and_after_five_seconds():
    limit = POLICY.rise_k_per_s

    def tripped(slope: float, slow: float, seconds: int) -> bool:
        s = state(slow_c=slow, top_c=100.0, slope_k_per_s=slope)
        for i in range(seconds + 1):
            rules_heat.rise_too_fast(at(s, now=float(i), dt=1e-9))
        return "rise-too-fast" in s.trips

    assert tripped(limit * 1.001, 100.0, 5) and not tripped(limit * 1.001, 100.0, 4)
    assert not tripped(limit, 100.0, 60) and not tripped(limit * 2.0, 99.0, 60) and tripped(limit * 1.001, 101.0, 5)


# ---- fall ------------------------------------------------------------------------------------------------------------


def test_a_fall_begins_just_beyond_its_rate_and_remembers_what_was():
    rate = POLICY.fall_k_per_s
    for slope, falls in ((-rate, False), (-rate * 1.001, True)):
        s = state(slope_k_per_s=slope, fired_60=0.25, second_c=90.0, second_slope=-2.0)
        limit = rules_heat.reading_fell(at(s, Reading(100.0), tick(50.0)))
        assert (s.fall is not None) is falls and limit == (0.25 if falls else 1.0)
    assert s.fall == (50.0, pytest.approx(100.0 + 5.0 * rate * 1.001), 100.0, 0.25, pytest.approx(100.0))
    assert s.settled_s == 50.0 + 180.0 and s.window is None
    door = state(slope_k_per_s=-10.0)
    assert rules_heat.reading_fell(at(door, Reading(100.0, door_open=True), tick())) == 1.0 and door.fall is None


def test_the_cap_of_a_fall_is_the_greater_of_what_was_fired_what_holds_and_two_percent():
    for fired, holding, cap in ((0.0, 0.0, 0.02), (0.01, 0.0, 0.02), (0.3, 0.1, 0.3), (0.1, 0.3, 0.3), (1.7, 0.0, 1.0)):
        s = state(slope_k_per_s=-50.0, fired_60=fired)
        assert rules_heat.reading_fell(
            at(s, Reading(100.0), tick(full_power_w=1000.0, holding_w=1000.0 * holding))
        ) == pytest.approx(cap)


@pytest.mark.parametrize(
    "origin, slow, slope, over",
    [
        (52.0, 53.1, 0.1, True),
        (52.0, 53.0, 0.1, False),
        (62.0, 53.5, 0.1, True),
        (62.0, 53.0, 0.1, False),
        (62.0, 53.5, 0.0, False),
        (62.0, 53.5, -0.1, False),
        (62.0, 52.0, 1.0, False),
        (90.0, 60.1, 0.1, True),
        (90.0, 60.0, 0.1, False),
        (850.0, 250.1, 0.1, True),
        (850.0, 250.0, 9.9, False),
    ],
)
def test_a_fall_is_over_after_three_kelvin_and_a_quarter_of_it_up_and_rising(origin, slow, slope, over):
    s = state(slow_c=slow, slope_k_per_s=slope, fall=Fall(0.0, origin, 50.0, 0.2, None))
    assert rules_heat.reading_fell(at(s, Reading(slow), tick(10.0))) == 0.2 and (s.fall is None) is over
    late = state(slow_c=slow, slope_k_per_s=slope, fall=Fall(0.0, origin, 50.0, 0.2, None))
    assert rules_heat.reading_fell(at(late, Reading(slow), tick(POLICY.fall_s + 1.0))) == 0.2 and set(late.trips) == (
        set() if over else {"reading-fell"}
    )


def test_the_lowest_of_a_fall_is_kept():
    s = state(slow_c=60.0, slope_k_per_s=-1.0, fall=Fall(0.0, 100.0, 70.0, 0.2, None))
    rules_heat.reading_fell(at(s, Reading(60.0), tick(10.0)))
    assert s.fall is not None and s.fall.lowest_c == 60.0
    s.slow_c = 61.0
    rules_heat.reading_fell(at(s, Reading(61.0), tick(11.0)))
    assert s.fall is not None and s.fall.lowest_c == 60.0


@pytest.mark.parametrize(
    "since, slow, second, tripped",
    [
        (20.5, 68.0, 94.0, True),
        (20.0, 68.0, 94.0, False),
        (20.5, 70.0, 94.5, False),
        (20.5, 69.5, 94.0, True),
        (20.5, 60.0, 92.5, True),
        (20.5, 60.0, 92.0, False),
        (20.5, 60.0, None, False),
    ],
)
def test_the_second_sensor_must_follow_a_fifth_of_a_fall_of_more_than_thirty_kelvin_within_twenty_seconds(
    since, slow, second, tripped
):
    s = state(slow_c=slow, slope_k_per_s=-1.0, second_c=second, fall=Fall(100.0, 100.0, slow, 0.2, 100.0))
    rules_heat.reading_fell(at(s, Reading(slow), tick(100.0 + since)))
    assert ("sensors-disagree" in s.trips) is tripped
    alone = state(slow_c=slow, slope_k_per_s=-1.0, second_c=second, fall=Fall(100.0, 100.0, slow, 0.2, None))
    rules_heat.reading_fell(at(alone, Reading(slow), tick(100.0 + since)))
    assert not alone.trips


@pytest.mark.parametrize("lag, after", [(60.0, 80.0), (0.5, 20.5), (0.0, 20.0), (-60.0, 20.0)])
def test_a_slower_second_sensor_has_that_much_longer_to_follow(lag, after):
    for since, tripped in ((after, False), (after + 0.1, True)):
        s = state(slow_c=60.0, slope_k_per_s=-1.0, second_c=99.0, fall=Fall(100.0, 100.0, 60.0, 0.2, 100.0))
        rules_heat.reading_fell(
            at(s, Reading(60.0), tick(100.0 + since), policy=dataclasses.replace(POLICY, second_lag_s=lag))
        )
        assert ("sensors-disagree" in s.trips) is tripped


@pytest.mark.parametrize(
    "heating, origin, after",
    [(True, 200.0, (10.0, 200.0)), (False, 200.0, (500.0, 199.8)), (False, 60.1, (500.0, 60.0))],
)
def test_while_no_heat_is_wanted_a_fall_is_not_counted_and_what_was_before_it_fades(heating, origin, after):
    s = state(slow_c=60.0, fall=Fall(10.0, origin, 60.0, 0.3, 190.0))
    assert rules_heat.behaviour(at(s, Reading(60.0), tick(500.0, heating=heating), dt=2.0, fired=0.0)) == 0.3
    assert s.fall == (after[0], pytest.approx(after[1]), 60.0, 0.3, 190.0) and ("reading-fell" in s.trips) is heating
    calm = state()
    rules_heat.behaviour(at(calm, Reading(100.0), tick(500.0, heating=heating), dt=2.0, fired=0.0))
    assert calm.fall is None


@pytest.mark.parametrize(
    "switch, told, longest", [(False, None, 1.0), (False, False, 1.0), (True, False, 0.2), (True, None, 1.0)]
)
def test_how_long_a_fall_may_last(switch, told, longest):
    policy = dataclasses.replace(POLICY, door_switch=switch)
    edge = policy.fall_s * longest
    for seconds, tripped in ((edge, False), (edge + 0.5, True)):
        s = state(slow_c=50.0, slope_k_per_s=-0.1, fall=Fall(1000.0, 60.0, 50.0, 0.2, None))
        rules_heat.reading_fell(at(s, Reading(50.0, door_open=told), tick(1000.0 + seconds), policy=policy))
        assert ("reading-fell" in s.trips) is tripped
    words = state(slow_c=50.0, slope_k_per_s=-0.1, fall=Fall(1000.0, 60.0, 50.0, 0.2, None))
    rules_heat.reading_fell(at(words, Reading(50.0), tick(1000.0 + POLICY.fall_s + 3.0)))
    assert (
        " 10 K" in words.trips["reading-fell"].seen
        and f"for {POLICY.fall_s + 3.0:.0f} s" in words.trips["reading-fell"].seen
    )


# ---- heat without rise, and the rest ---------------------------------------------------------------------------------


def test_heat_without_rise_adds_up_fired_seconds_from_nine_tenths_on():
    s = state(window=None)
    rules_heat.heat_no_rise(at(s, tick=tick(), fired=1.0, dt=1.0))
    assert s.window == (100.0, 0.0)
    for dt, fired, used in ((2.0, 0.9, 1.8), (0.5, 1.0, 2.3)):
        rules_heat.heat_no_rise(at(s, tick=tick(), fired=fired, dt=dt))
        assert s.window == (100.0, pytest.approx(used))
    for fired, slow, more in (
        (0.899, 100.0, {}),
        (1.0, 100.0 + POLICY.no_rise_k + 0.01, {}),
        (1.0, 100.0, {"full_power_w": 100.0, "holding_w": 71.0}),
    ):
        s = state(slow_c=slow, window=Span(100.0, 50.0))
        rules_heat.heat_no_rise(at(s, tick=tick(**more), fired=fired, dt=1.0))
        assert s.window == (slow, 0.0)
    for slow, more in ((100.0 + POLICY.no_rise_k, {}), (100.0, {"full_power_w": 100.0, "holding_w": 70.0})):
        s = state(slow_c=slow, window=Span(100.0, 50.0))
        rules_heat.heat_no_rise(at(s, tick=tick(**more), fired=1.0, dt=1.0))
        assert s.window == (100.0, 51.0)
    for used, tripped in ((POLICY.no_rise_s - 1.0, False), (POLICY.no_rise_s - 0.5, True)):
        s = state(window=Span(100.0, used))
        rules_heat.heat_no_rise(at(s, tick=tick(), fired=1.0, dt=1.0))
        assert ("heat-no-rise" in s.trips) is tripped
    for taken, used in ((0.71, 0.0), (0.7, 51.0)):
        s = state(window=Span(100.0, 50.0), taken=taken)
        rules_heat.heat_no_rise(at(s, tick=tick(full_power_w=100.0, holding_w=20.0), fired=1.0, dt=1.0))
        assert s.window == (100.0, used), "heavier walls may take it all"
    slow = state(slow_c=101.5, window=Span(100.0, POLICY.no_rise_s))
    rules_heat.heat_no_rise(at(slow, tick=tick(), fired=1.0, dt=1.0))
    assert "only 1.5 K" in slow.trips["heat-no-rise"].seen
    falling = state(window=Span(100.0, 50.0), fall=Fall(0.0, 100.0, 90.0, 0.2, None))
    rules_heat.heat_no_rise(at(falling, tick=tick(), fired=1.0, dt=1.0))
    assert falling.window == (100.0, 0.0)


@pytest.mark.parametrize(
    "slow, used, cold, fired_60, tripped",
    [
        (16.9, 19.5, 20.0, 0.11, True),
        (17.0, 19.5, 20.0, 0.2, False),
        (16.9, 19.0, 20.0, 0.2, False),
        (16.9, 19.5, 16.9, 0.2, False),
        (16.9, 19.5, 20.0, 0.1, False),
        (16.9, 19.5, None, 0.41, True),
        (16.9, 19.5, None, 0.4, False),
        (16.9, 19.5, math.nan, 0.41, True),
    ],
)
def test_a_reading_that_sinks_under_heat(slow, used, cold, fired_60, tripped):
    s = state(slow_c=slow, fired_60=fired_60, sink=Span(20.0, used))
    rules_heat.falls_when_heated(at(s, Reading(slow, cold_junction_c=cold), tick(), fired=1.0, dt=1.0))
    assert ("falls-when-heated" in s.trips) is tripped
    assert not tripped or "fell by 3 K" in s.trips["falls-when-heated"].seen


def test_a_hot_oven_without_terminals_may_follow_its_schedule_down():
    for start, tripped in ((59.9, True), (60.0, False)):
        s = state(slow_c=start - 5.0, fired_60=0.5, sink=Span(start, 30.0))
        rules_heat.falls_when_heated(at(s, Reading(start - 5.0), tick(), fired=1.0, dt=1.0))
        assert ("falls-when-heated" in s.trips) is tripped
    for reset in (
        dict(sink=None),
        dict(slow_c=20.0, sink=Span(20.0, 30.0)),
        dict(fall=Fall(0.0, 1.0, 1.0, 0.1, None), slow_c=15.0, sink=Span(20.0, 30.0)),
    ):
        s = state(**{"slow_c": 18.0, "fired_60": 0.5, **reset})
        assert s.slow_c is not None
        rules_heat.falls_when_heated(at(s, Reading(s.slow_c, cold_junction_c=25.0), tick(), fired=1.0, dt=1.0))
        assert s.sink == (s.slow_c, 0.0) and not s.trips
    s = state(slow_c=19.0, fired_60=0.5, sink=Span(20.0, 4.0))
    rules_heat.falls_when_heated(at(s, Reading(19.0, cold_junction_c=25.0), tick(), fired=0.5, dt=2.0))
    assert s.sink == (20.0, 5.0)


def test_before_the_first_believed_reading_there_is_no_level():
    assert math.isnan(rules_heat.level_c(SafetyState())) and rules_heat.level_c(SafetyState(slow_c=77.0)) == 77.0


@pytest.mark.parametrize(
    "full, holding, share",
    [
        (1000.0, 300.0, 0.3),
        (1000.0, 1500.0, 1.0),
        (1000.0, -5.0, 0.0),
        (0.0, 5.0, 0.0),
        (-1.0, 5.0, 0.0),
        (math.nan, 5.0, 0.0),
        (math.inf, 5.0, 0.0),
        (1000.0, math.nan, 0.0),
        (1000.0, math.inf, 0.0),
        (None, 5.0, 0.0),
        (0.5, 0.25, 0.5),
    ],
)
def test_holding_share(full, holding, share):
    assert rules_heat.holding_share(tick(full_power_w=full, holding_w=holding)) == share


@pytest.mark.parametrize("told", [False, None])
def test_one_look_is_passed_through_every_rule(told):
    s = state(fall=Fall(480.0, 120.0, 90.0, 0.2, None), window=Span(100.0, 5.0), sink=Span(90.0, 3.0), off_s=7.0)
    look = Tick(500.0, 1, 0.0, unexplained_w=500.0, full_power_w=1000.0)
    assert rules_heat.behaviour(at(s, Reading(110.0, door_open=told), look, dt=1.0, fired=0.0)) == 0.2
    level = 100.0 + 10.0 * (1.0 - math.exp(-0.2))
    assert s.slow_c == s.top_c == pytest.approx(level)
    assert s.fall is None and s.settled_s == 680.0 and s.shut_s == 0.0, "it has risen again"
    assert s.window == s.sink == (s.slow_c, 0.0)
    calm = state(settled_s=-math.inf)
    assert (
        rules_heat.behaviour(at(calm, Reading(100.0, door_open=told), tick(500.0), dt=1.0, fired=0.3)) == 1.0
        and calm.settled_s == -math.inf
    )


def test_an_open_door_ends_falls_and_lets_the_losses_settle():
    s = state(fall=Fall(0.0, 100.0, 90.0, 0.2, None), window=Span(100.0, 5.0))
    rules_heat.behaviour(at(s, Reading(100.0, door_open=True), tick(500.0), dt=1.0, fired=0.3))
    assert s.fall is None and s.settled_s == s.shut_s == 680.0
    first = SafetyState()
    rules_heat.behaviour(at(first, Reading(77.0, limit_c=70.0), tick(), dt=1.0, fired=0.3))
    assert first.slow_c == first.top_c == 77.0 and first.second_c == 70.0


@pytest.mark.parametrize("slope, gone", [(0.0, True), (1.0, True), (1.01, False)])
def test_a_rise_beyond_physics_stands_while_it_still_rises_half_as_fast(slope, gone):
    policy = dataclasses.replace(EVERYTHING, rise_k_per_s=2.0)
    assert stands("rise-too-fast", s=warm(slope_k_per_s=slope), policy=policy) is (not gone)
    assert stands("rise-too-fast", chamber=math.nan, policy=policy)


@pytest.mark.parametrize(("now_c", "back"), [(90.0, True), (89.9, False), (110.0, True), (110.1, False)])
def test_a_reading_that_fell_is_taken_back_where_it_was_before(now_c, back):
    s = warm(believed={"reading-fell": (100.0, 200.0)})
    assert stands("reading-fell", chamber=now_c, s=s) is (not back)
    assert stands("reading-fell", chamber=now_c, s=s, faults=("open",))
