"""The rules of heat one function at a time, to the letter: every threshold, time constant and rate where it stands."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, heat
from kilnctl.safety.rule import Look
from kilnctl.safety.state import DANGER, Fall, Span, trip
from kilnctl.safety.words import LOAD_FIRST, LOUD, WORDS

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    made = SafetyState()
    for name, value in {"slow_c": 100.0, "top_c": 100.0, **values}.items():
        setattr(made, name, value)
    return made


def tick(time_s: float = 100.0, **values) -> Tick:
    return Tick(time_s, 1, values.pop("fired", 0.3), **values)


def at(
    s: SafetyState, reading=Reading(100.0), tick=None, *, policy=POLICY, now=100.0, dt=1.0, fired=0.3, warnings=None
) -> Look:  # noqa: B008
    """A look of the rules of heat."""
    tick = Tick(now, 1, 0.3) if tick is None else tick
    return Look(s, policy, reading, tick, dt, fired, usable=True, warnings=[] if warnings is None else warnings)


def see(s: SafetyState, chamber, dt: float, ticks: int, limit=None, fired=0.3, policy: Policy = POLICY, **values):
    """`behaviour` for so many ticks; the least that the duty might be."""
    least, start = 1.0, s.settled_s if math.isfinite(s.settled_s) else 0.0
    for i in range(ticks):
        now = start + 1000.0 + i * dt
        reading = Reading(
            chamber(i * dt) if callable(chamber) else chamber,
            limit_c=limit(i * dt) if callable(limit) else limit,
            **values,
        )
        least = min(least, heat.behaviour(at(s, reading, tick(now, fired=fired), policy=policy, dt=dt, fired=fired)))
    return least


# ---- smoothing -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dt", [0.5, 1.0, 2.0])
def test_level_and_slope_follow_a_ramp_with_five_seconds_lag(dt):
    level, slope = 100.0, 0.0
    for i in range(1, int(120.0 / dt) + 1):
        level, slope = heat.smoothed(level, slope, 100.0 + 0.4 * i * dt, dt)
    # A first-order lag stays rate × τ behind a ramp (in steps: as much less as a step is long).
    assert slope == pytest.approx(0.4, abs=1e-6)
    assert 148.0 - level == pytest.approx(0.4 * dt / (math.exp(dt / 5.0) - 1.0), abs=1e-6)
    once, its = heat.smoothed(100.0, 0.0, 110.0, dt)
    share = 1.0 - math.exp(-dt / 5.0)
    assert once == pytest.approx(100.0 + 10.0 * share) and its == pytest.approx(10.0 * share / dt * share)


def test_the_second_sensor_begins_anew_after_it_was_gone():
    s = state()
    see(s, 100.0, 1.0, 30, limit=lambda t: 90.0 + t)
    assert s.second_slope == pytest.approx(1.0, abs=0.02) and 110.0 < s.second_c < 120.0
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
        heat.rise_too_fast(at(s, now=i * dt, dt=dt))
    assert s.top_c == pytest.approx(100.0 - 0.02 * 50.0)
    s.slow_c = 120.0
    heat.rise_too_fast(at(s, now=60.0, dt=dt))
    assert s.top_c == 120.0


def test_a_rise_counts_only_above_its_limit_and_the_old_top_and_after_five_seconds():
    limit = POLICY.rise_k_per_s

    def tripped(slope: float, slow: float, seconds: int) -> bool:
        s = state(slow_c=slow, top_c=100.0, slope_k_per_s=slope)
        for i in range(seconds + 1):
            heat.rise_too_fast(at(s, now=float(i), dt=1e-9))
        return "rise-too-fast" in s.trips

    assert tripped(limit * 1.001, 100.0, 5) and not tripped(limit * 1.001, 100.0, 4)
    assert not tripped(limit, 100.0, 60) and not tripped(limit * 2.0, 99.0, 60) and tripped(limit * 1.001, 101.0, 5)


# ---- fall ------------------------------------------------------------------------------------------------------------


def test_a_fall_begins_just_beyond_its_rate_and_remembers_what_was():
    rate = POLICY.fall_k_per_s
    for slope, falls in ((-rate, False), (-rate * 1.001, True)):
        s = state(slope_k_per_s=slope, fired_60=0.25, second_c=90.0, second_slope=-2.0)
        limit = heat.reading_fell(at(s, Reading(100.0), tick(50.0)))
        assert (s.fall is not None) is falls and limit == (0.25 if falls else 1.0)
    assert s.fall == (50.0, pytest.approx(100.0 + 5.0 * rate * 1.001), 100.0, 0.25, pytest.approx(100.0))
    assert s.settled_s == 50.0 + 180.0 and s.window is None
    door = state(slope_k_per_s=-10.0)
    assert heat.reading_fell(at(door, Reading(100.0, door_open=True), tick())) == 1.0 and door.fall is None


def test_the_cap_of_a_fall_is_the_greater_of_what_was_fired_what_holds_and_two_percent():
    for fired, holding, cap in ((0.0, 0.0, 0.02), (0.01, 0.0, 0.02), (0.3, 0.1, 0.3), (0.1, 0.3, 0.3), (1.7, 0.0, 1.0)):
        s = state(slope_k_per_s=-50.0, fired_60=fired)
        assert heat.reading_fell(
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
    assert heat.reading_fell(at(s, Reading(slow), tick(10.0))) == 0.2 and (s.fall is None) is over
    late = state(slow_c=slow, slope_k_per_s=slope, fall=Fall(0.0, origin, 50.0, 0.2, None))
    assert heat.reading_fell(at(late, Reading(slow), tick(POLICY.fall_s + 1.0))) == 0.2 and set(late.trips) == (
        set() if over else {"reading-fell"}
    )


def test_the_lowest_of_a_fall_is_kept():
    s = state(slow_c=60.0, slope_k_per_s=-1.0, fall=Fall(0.0, 100.0, 70.0, 0.2, None))
    heat.reading_fell(at(s, Reading(60.0), tick(10.0)))
    assert s.fall.lowest_c == 60.0
    s.slow_c = 61.0
    heat.reading_fell(at(s, Reading(61.0), tick(11.0)))
    assert s.fall.lowest_c == 60.0


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
    heat.reading_fell(at(s, Reading(slow), tick(100.0 + since)))
    assert ("sensors-disagree" in s.trips) is tripped
    alone = state(slow_c=slow, slope_k_per_s=-1.0, second_c=second, fall=Fall(100.0, 100.0, slow, 0.2, None))
    heat.reading_fell(at(alone, Reading(slow), tick(100.0 + since)))
    assert not alone.trips


@pytest.mark.parametrize("lag, after", [(60.0, 80.0), (0.5, 20.5), (0.0, 20.0), (-60.0, 20.0)])
def test_a_slower_second_sensor_has_that_much_longer_to_follow(lag, after):
    for since, tripped in ((after, False), (after + 0.1, True)):
        s = state(slow_c=60.0, slope_k_per_s=-1.0, second_c=99.0, fall=Fall(100.0, 100.0, 60.0, 0.2, 100.0))
        heat.reading_fell(
            at(s, Reading(60.0), tick(100.0 + since), policy=dataclasses.replace(POLICY, second_lag_s=lag))
        )
        assert ("sensors-disagree" in s.trips) is tripped


@pytest.mark.parametrize(
    "heating, origin, after",
    [(True, 200.0, (10.0, 200.0)), (False, 200.0, (500.0, 199.8)), (False, 60.1, (500.0, 60.0))],
)
def test_while_no_heat_is_wanted_a_fall_is_not_counted_and_what_was_before_it_fades(heating, origin, after):
    s = state(slow_c=60.0, fall=Fall(10.0, origin, 60.0, 0.3, 190.0))
    assert heat.behaviour(at(s, Reading(60.0), tick(500.0, heating=heating), dt=2.0, fired=0.0)) == 0.3
    assert s.fall == (after[0], pytest.approx(after[1]), 60.0, 0.3, 190.0) and ("reading-fell" in s.trips) is heating
    calm = state()
    heat.behaviour(at(calm, Reading(100.0), tick(500.0, heating=heating), dt=2.0, fired=0.0))
    assert calm.fall is None


@pytest.mark.parametrize(
    "switch, told, longest", [(False, None, 1.0), (False, False, 1.0), (True, False, 0.2), (True, None, 1.0)]
)
def test_how_long_a_fall_may_last(switch, told, longest):
    policy = dataclasses.replace(POLICY, door_switch=switch)
    edge = policy.fall_s * longest
    for seconds, tripped in ((edge, False), (edge + 0.5, True)):
        s = state(slow_c=50.0, slope_k_per_s=-0.1, fall=Fall(1000.0, 60.0, 50.0, 0.2, None))
        heat.reading_fell(at(s, Reading(50.0, door_open=told), tick(1000.0 + seconds), policy=policy))
        assert ("reading-fell" in s.trips) is tripped
    words = state(slow_c=50.0, slope_k_per_s=-0.1, fall=Fall(1000.0, 60.0, 50.0, 0.2, None))
    heat.reading_fell(at(words, Reading(50.0), tick(1000.0 + POLICY.fall_s + 3.0)))
    assert (
        " 10 K" in words.trips["reading-fell"].seen
        and f"within {POLICY.fall_s + 3.0:.0f} s" in words.trips["reading-fell"].seen
    )


# ---- heat without rise, and the rest ---------------------------------------------------------------------------------


def test_heat_without_rise_adds_up_fired_seconds_from_nine_tenths_on():
    s = state(window=None)
    heat.heat_no_rise(at(s, tick=tick(), fired=1.0, dt=1.0))
    assert s.window == (100.0, 0.0)
    for dt, fired, used in ((2.0, 0.9, 1.8), (0.5, 1.0, 2.3)):
        heat.heat_no_rise(at(s, tick=tick(), fired=fired, dt=dt))
        assert s.window == (100.0, pytest.approx(used))
    for fired, slow, more in (
        (0.899, 100.0, {}),
        (1.0, 100.0 + POLICY.no_rise_k + 0.01, {}),
        (1.0, 100.0, {"full_power_w": 100.0, "holding_w": 71.0}),
    ):
        s = state(slow_c=slow, window=Span(100.0, 50.0))
        heat.heat_no_rise(at(s, tick=tick(**more), fired=fired, dt=1.0))
        assert s.window == (slow, 0.0)
    for slow, more in ((100.0 + POLICY.no_rise_k, {}), (100.0, {"full_power_w": 100.0, "holding_w": 70.0})):
        s = state(slow_c=slow, window=Span(100.0, 50.0))
        heat.heat_no_rise(at(s, tick=tick(**more), fired=1.0, dt=1.0))
        assert s.window == (100.0, 51.0)
    for used, tripped in ((POLICY.no_rise_s - 1.0, False), (POLICY.no_rise_s - 0.5, True)):
        s = state(window=Span(100.0, used))
        heat.heat_no_rise(at(s, tick=tick(), fired=1.0, dt=1.0))
        assert ("heat-no-rise" in s.trips) is tripped
    slow = state(slow_c=101.5, window=Span(100.0, POLICY.no_rise_s))
    heat.heat_no_rise(at(slow, tick=tick(), fired=1.0, dt=1.0))
    assert "only 1.5 K" in slow.trips["heat-no-rise"].seen
    falling = state(window=Span(100.0, 50.0), fall=Fall(0.0, 100.0, 90.0, 0.2, None))
    heat.heat_no_rise(at(falling, tick=tick(), fired=1.0, dt=1.0))
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
    heat.falls_when_heated(at(s, Reading(slow, cold_junction_c=cold), tick(), fired=1.0, dt=1.0))
    assert ("falls-when-heated" in s.trips) is tripped
    assert not tripped or "fell by 3 K" in s.trips["falls-when-heated"].seen


def test_a_hot_oven_without_terminals_may_follow_its_schedule_down():
    for start, tripped in ((59.9, True), (60.0, False)):
        s = state(slow_c=start - 5.0, fired_60=0.5, sink=Span(start, 30.0))
        heat.falls_when_heated(at(s, Reading(start - 5.0), tick(), fired=1.0, dt=1.0))
        assert ("falls-when-heated" in s.trips) is tripped
    for reset in (
        dict(sink=None),
        dict(slow_c=20.0, sink=Span(20.0, 30.0)),
        dict(fall=Fall(0.0, 1.0, 1.0, 0.1, None), slow_c=15.0, sink=Span(20.0, 30.0)),
    ):
        s = state(**{"slow_c": 18.0, "fired_60": 0.5, **reset})
        heat.falls_when_heated(at(s, Reading(s.slow_c, cold_junction_c=25.0), tick(), fired=1.0, dt=1.0))
        assert s.sink == (s.slow_c, 0.0) and not s.trips
    s = state(slow_c=19.0, fired_60=0.5, sink=Span(20.0, 4.0))
    heat.falls_when_heated(at(s, Reading(19.0, cold_junction_c=25.0), tick(), fired=0.5, dt=2.0))
    assert s.sink == (20.0, 5.0)


@pytest.mark.parametrize("dt", [0.5, 2.0])
def test_the_level_of_a_rise_nobody_asked_for(dt):
    quiet = POLICY.unasked_rise_s
    s = state(off_s=quiet - dt - 0.01)
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert s.off_s == pytest.approx(quiet - 0.01) and s.quiet_c is None
    exactly = state(off_s=quiet - dt)
    heat.rise_no_heat(at(exactly, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert exactly.off_s == quiet and exactly.quiet_c == 100.0
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.02, dt=dt))
    assert s.quiet_c == 100.0 and s.off_s > quiet
    # It begins where the chamber has lately been, and sinks with it, but only so fast.
    dipped = state(slow_c=80.0, top_c=95.0, off_s=quiet)
    heat.rise_no_heat(at(dipped, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert dipped.quiet_c == pytest.approx(95.0 - 0.02 * dt)
    s.slow_c = 60.0
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert s.quiet_c == pytest.approx(100.0 - 0.02 * dt)
    s.slow_c = s.quiet_c - 0.001
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    level = s.quiet_c
    assert level == s.slow_c
    s.slow_c = level + POLICY.unasked_rise_k
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    # It creeps up as a room warms, 3 K an hour, and not beyond the chamber.
    assert not s.trips and s.quiet_c == pytest.approx(level + 3.0 / 3600.0 * dt, abs=1e-9)
    still = state(slow_c=100.0 + 1e-5, top_c=100.0, off_s=quiet, quiet_c=100.0)
    heat.rise_no_heat(at(still, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert still.quiet_c == 100.0 + 1e-5
    level = s.quiet_c
    s.slow_c = level + POLICY.unasked_rise_k + 0.01
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.0, dt=dt))
    assert (
        f"rose by {POLICY.unasked_rise_k:.1f} K" in s.trips["rise-no-heat"].seen
        and f"for {s.off_s:.0f} s" in s.trips["rise-no-heat"].seen
    )
    heat.rise_no_heat(at(s, Reading(100.0), now=0.0, fired=0.021, dt=dt))
    assert s.off_s == 0.0 and s.quiet_c is None
    door = state(slow_c=80.0, top_c=100.0, off_s=1e4, quiet_c=50.0)
    heat.rise_no_heat(at(door, Reading(100.0, door_open=True), now=0.0, fired=0.0, dt=dt))
    assert door.quiet_c == 100.0 and not door.trips


@pytest.mark.parametrize(
    "fired, commanded, counts",
    [
        (0.04, 0.0, True),
        (0.04, 0.02, True),
        (0.04, 0.021, False),
        (0.021, None, False),
        (0.021, math.nan, False),
        (0.02, None, True),
        (0.0, 0.5, True),
        (0.5, 0.5, False),
    ],
)
def test_what_leaks_past_a_relay_that_nobody_asked_is_no_heat_that_explains_a_rise(fired, commanded, counts):
    s = state(off_s=7.0)
    heat.behaviour(at(s, Reading(100.0), tick(500.0, commanded=commanded), dt=1.0, fired=fired))
    assert s.off_s == (8.0 if counts else 0.0)


def test_a_rise_is_measured_anew_once_the_contactor_is_told_to_open():
    quiet = POLICY.unasked_rise_s
    for coil, told_s, off_s, begun in (
        (False, 1000.0 - quiet, 1e5, True),
        (False, 1000.1 - quiet, 1e5, False),
        (False, 0.0, quiet - 1.1, False),
        (True, 1000.0, 1e5, True),
        (None, 1000.0, 1e5, True),
    ):
        s = state(coil=coil, coil_s=told_s, off_s=off_s)
        heat.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
        assert (s.quiet_c is not None) is begun


@pytest.mark.parametrize(
    "coil, since_s, trips, shouted",
    [
        (False, 30.1, True, True),
        (False, 30.0, True, False),
        (False, 500.0, False, False),
        (True, 500.0, True, False),
        (None, 500.0, True, False),
    ],
)
def test_unexplained_heat_that_goes_on_behind_an_open_contactor_is_shouted(coil, since_s, trips, shouted):
    s = state(coil=coil, coil_s=1000.0 - since_s)
    if trips:
        trip(s, "sensor-noisy", 900.0, noise="it is noisy")
    # Full power unexplained: each second adds what it is above the allowance, and the sum must be exceeded.
    need = POLICY.excess_share_s / (1.0 - POLICY.unexplained_share)
    for seconds, watts in ((need, 9000.0 if trips else 3000.0), (0.01, 3000.0)):
        assert s.danger == "", "what looks like three times full power counts as full"
        heat.unexplained(at(s, tick=tick(1000.0, heating=False, unexplained_w=watts, full_power_w=3000.0), dt=seconds))
    assert s.danger == (DANGER if shouted else "") and "unexplained-heat" in s.trips
    assert all((t.done == LOUD) is shouted for t in s.trips.values())
    s.coil = True
    heat.unexplained(at(s, tick=tick(1001.0, heating=False, unexplained_w=3000.0, full_power_w=3000.0), dt=1.0))
    assert s.past_open == 0.0


@pytest.mark.parametrize("noise_k, grows", [(0.0, True), (POLICY.noise_k, True), (POLICY.noise_k + 0.01, False)])
def test_what_the_estimate_makes_of_a_jittering_reading_is_no_heat_past_an_open_contactor(noise_k, grows):
    s = state(coil=False, coil_s=900.0, noise_k=noise_k, past_open=2.0)
    trip(s, "sensor-noisy", 900.0, noise="it is noisy")
    heat.unexplained(at(s, tick=tick(1000.0, heating=False, unexplained_w=3000.0, full_power_w=3000.0), dt=1.0))
    assert s.past_open == pytest.approx(2.0 + 1.0 - POLICY.unexplained_share if grows else 2.0)
    heat.unexplained(at(s, tick=tick(1001.0, heating=False, unexplained_w=-3000.0, full_power_w=3000.0), dt=1.0))
    assert (s.past_open < 2.0) is grows


@pytest.mark.parametrize(
    "off_s, quiet_c, rise, rising",
    [
        (POLICY.unasked_rise_s - 0.01, 80.0, 0.0, True),
        (POLICY.unasked_rise_s, 80.0, 0.0, False),
        (POLICY.unasked_rise_s, None, 0.0, True),
        (1e4, 80.0, 0.5 * POLICY.unasked_rise_k, False),
        (1e4, 80.0, 0.5 * POLICY.unasked_rise_k + 0.01, True),
        (1e4, 80.0, -50.0, False),
    ],
)
def test_a_rise_may_go_on_until_somebody_has_looked_long_enough_and_seen_less_than_half_of_it(
    off_s, quiet_c, rise, rising
):
    assert heat.still_rising(state(off_s=off_s, quiet_c=quiet_c, slow_c=80.0 + rise), POLICY) is rising


@pytest.mark.parametrize("since_s, rose", [(29.9, False), (30.0, True)])
def test_what_rises_with_a_cold_junction_that_stepped_is_no_heat(since_s, rose):
    s = state(
        off_s=POLICY.unasked_rise_s + 300.0,
        quiet_c=80.0,
        slow_c=80.0 + POLICY.unasked_rise_k + 1.0,
        top_c=70.0,
        coil=False,
    )
    trip(s, "cold-junction", 1000.0 - since_s, what="moved")
    heat.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
    assert ("rise-no-heat" in s.trips, s.danger, s.quiet_c) == ((True, DANGER, 80.0) if rose else (False, "", s.slow_c))


@pytest.mark.parametrize("noise_k, rose", [(POLICY.noise_k, True), (POLICY.noise_k + 0.01, False)])
def test_what_the_level_of_a_jittering_reading_does_is_no_rise(noise_k, rose):
    s = state(
        off_s=POLICY.unasked_rise_s + 300.0,
        quiet_c=80.0,
        slow_c=80.0 + POLICY.unasked_rise_k + 1.0,
        top_c=70.0,
        coil=False,
        noise_k=noise_k,
    )
    trip(s, "sensor-noisy", 900.0, noise="it is noisy")
    heat.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
    assert ("rise-no-heat" in s.trips, s.danger, s.quiet_c) == ((True, DANGER, 80.0) if rose else (False, "", s.slow_c))


@pytest.mark.parametrize("coil, danger", [(False, DANGER), (True, ""), (None, "")])
def test_what_rises_past_relay_and_open_contactor_is_shouted(coil, danger):
    for rise, tripped in ((POLICY.unasked_rise_k, False), (POLICY.unasked_rise_k + 0.01, True)):
        s = state(slow_c=80.0 + rise, coil=coil, quiet_c=80.0, off_s=300.0)
        heat.rise_no_heat(at(s, Reading(100.0), now=1000.0, fired=0.0, dt=1.0))
        assert set(s.trips) == ({"rise-no-heat"} if tripped else set()) and s.danger == (danger if tripped else "")
    latched = s.trips["rise-no-heat"]
    assert (
        latched.done == (LOUD if danger else WORDS["rise-no-heat"][2])
        and "for 301 s" in latched.seen
        and latched.time_s == 1000.0
        and s.quiet_c == 80.0
    )
    # One that was the relay's alone is more once the contactor was told to open.
    s.coil, s.coil_s = False, 1000.0 - POLICY.unasked_rise_s
    heat.rise_no_heat(at(s, Reading(100.0), now=1001.0, fired=0.0, dt=1.0))
    assert s.danger == DANGER and s.trips["rise-no-heat"].done == LOUD and s.trips["rise-no-heat"].time_s == 1000.0


@pytest.mark.parametrize(
    "cold, level",
    [(102.0, 102.0), (103.0, 103.0), (110.0, 103.0), (90.0, None), (None, None), (math.nan, None), (math.inf, None)],
)
def test_up_to_its_terminals_an_oven_warms_with_the_room(cold, level):
    s = state(slow_c=103.0, quiet_c=100.0, off_s=300.0)
    heat.rise_no_heat(at(s, Reading(100.0, cold_junction_c=cold), now=1000.0, fired=0.0, dt=2.0))
    assert s.quiet_c == pytest.approx(100.0 + 2.0 * 3.0 / 3600.0 if level is None else level, abs=1e-9) and not s.trips
    seen = state(slow_c=103.0, top_c=103.0, quiet_c=100.0, off_s=300.0)
    heat.behaviour(at(seen, Reading(103.0, cold_junction_c=cold), tick(1000.0), dt=2.0, fired=0.0))
    assert seen.quiet_c == pytest.approx(s.quiet_c)


@pytest.mark.parametrize(
    "fired, load_first",
    [
        (dict(fired_60=0.6), False),
        (dict(fired_60=0.601), True),
        (dict(fired_300=0.601), True),
        (dict(fired_60=0.6, fired_300=0.6), False),
    ],
)
def test_while_nearly_full_power_is_fired_the_load_is_named_first(fired, load_first):
    s = state(excess=POLICY.excess_share_s, **fired)
    look = Tick(100.0, 1, 1.0, unexplained_w=900.0, full_power_w=1000.0)
    heat.unexplained(at(s, tick=look, dt=1.0))
    assert s.trips["unexplained-heat"].check == (LOAD_FIRST if load_first else WORDS["unexplained-heat"][1])
    # What was said stays said.
    s.fired_60, s.fired_300 = (0.0, 0.0) if load_first else (1.0, 1.0)
    heat.unexplained(at(s, tick=dataclasses.replace(look, time_s=101.0), dt=1.0))
    assert s.trips["unexplained-heat"].check == (LOAD_FIRST if load_first else WORDS["unexplained-heat"][1])


def test_unexplained_heat_is_weighed_against_what_was_fired():
    base, per = POLICY.unexplained_share, POLICY.explained_per_fired

    def after(watts, dt=2.0, now=100.0, **values):
        s, warnings = state(**values), []
        heat.unexplained(
            at(s, tick=Tick(now, 1, 0.3, unexplained_w=watts, full_power_w=1000.0), dt=dt, warnings=warnings)
        )
        return s, warnings

    assert after(1000.0 * (base + 0.1))[0].excess == pytest.approx(0.2)
    lately = dict(fired_60=0.02)
    assert after(-1000.0 * (base + 0.02 * per + 0.1), **lately)[0].missing == pytest.approx(0.2)
    for values in (dict(fired_60=0.5), dict(fired_300=0.5), dict(fired_60=0.5, fired_300=0.2)):
        assert after(1000.0 * (base + 0.5 * per + 0.1), **values)[0].excess == pytest.approx(0.2)
    assert (
        after(-2000.0, now=100.0, settled_s=100.5, **lately)[0].missing == 0.0
        and after(-2000.0, now=100.0, settled_s=100.0, **lately)[0].missing > 0.0
    )
    # Where no heat has been fired, or none is wanted, none can be missing.
    assert after(-2000.0, fired_300=0.0199, missing=3.0)[0].missing == 3.0
    cooling = state(fired_60=0.5)
    heat.unexplained(
        at(cooling, tick=Tick(1.0, 1, 0.3, unexplained_w=-900.0, full_power_w=1000.0, heating=False), dt=1.0)
    )
    assert cooling.missing == 0.0
    for name, sign, fault in (("excess", 1.0, "unexplained-heat"), ("missing", -1.0, "missing-heat")):
        limit = getattr(POLICY, f"{name}_share_s")
        for had, tripped in ((limit - 0.2, False), (limit - 0.19, True)):
            s, _ = after(sign * 1000.0 * (base + 0.02 * per + 0.1), **{name: had}, **lately)
            assert (fault in s.trips) is tripped
            assert not tripped or s.trips[fault].seen.startswith(f"{1000.0 * (base + 0.02 * per + 0.1):.0f} W")
    tiny = state()
    heat.unexplained(at(tiny, tick=Tick(1.0, 1, 0.3, unexplained_w=0.5, full_power_w=0.5), dt=1.0))
    assert tiny.excess == pytest.approx(1.0 - base)
    for odd in (None, math.nan):
        assert after(odd)[0].excess == 0.0
    for full in (0.0, -1.0, math.nan, math.inf):
        s = state(excess=3.0, missing=3.0, fired_60=0.5)
        heat.unexplained(at(s, tick=Tick(1.0, 1, 0.3, unexplained_w=900.0, full_power_w=full), dt=1.0))
        assert s.excess == s.missing == 3.0, "no share can be told, so what was is kept"


@pytest.mark.parametrize(
    "fired, share, told",
    [(0.41, -0.13, True), (0.4, -0.2, False), (0.41, -0.12, False), (1.0, -0.31, True), (1.0, -0.3, False)],
)
def test_too_little_heat_for_five_minutes_is_told(fired, share, told):
    s, warnings = state(fired_300=fired), []
    for now in (0.0, 299.0, 300.0):
        warnings.clear()
        heat.unexplained(
            at(
                s,
                tick=Tick(now, 1, fired, unexplained_w=1000.0 * share, full_power_w=1000.0),
                dt=0.0,
                warnings=warnings,
            )
        )
        assert bool(warnings) is (told and now == 300.0)
    if told:
        assert f"seem to give {-100.0 * share / fired:.0f} % less" in warnings[0]


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
    assert heat.holding_share(tick(full_power_w=full, holding_w=holding)) == share


@pytest.mark.parametrize("told", [False, None])
def test_one_look_is_passed_through_every_rule(told):
    s = state(fall=Fall(480.0, 120.0, 90.0, 0.2, None), window=Span(100.0, 5.0), sink=Span(90.0, 3.0), off_s=7.0)
    look = Tick(500.0, 1, 0.0, unexplained_w=500.0, full_power_w=1000.0)
    assert heat.behaviour(at(s, Reading(110.0, door_open=told), look, dt=1.0, fired=0.0)) == 0.2
    level = 100.0 + 10.0 * (1.0 - math.exp(-0.2))
    assert (
        s.slow_c == s.top_c == pytest.approx(level)
        and s.off_s == 8.0
        and s.excess == pytest.approx(0.5 - POLICY.unexplained_share)
    )
    assert s.fall is None and s.settled_s == 680.0, "it has risen again"
    assert s.window == s.sink == (s.slow_c, 0.0)
    calm = state(settled_s=-math.inf)
    assert (
        heat.behaviour(at(calm, Reading(100.0, door_open=told), tick(500.0), dt=1.0, fired=0.3)) == 1.0
        and calm.settled_s == -math.inf
    )


def test_an_open_door_ends_falls_and_lets_the_losses_settle():
    s = state(fall=Fall(0.0, 100.0, 90.0, 0.2, None), window=Span(100.0, 5.0))
    heat.behaviour(at(s, Reading(100.0, door_open=True), tick(500.0), dt=1.0, fired=0.3))
    assert s.fall is None and s.settled_s == 680.0
    first = SafetyState()
    heat.behaviour(at(first, Reading(77.0, limit_c=70.0), tick(), dt=1.0, fired=0.3))
    assert first.slow_c == first.top_c == 77.0 and first.second_c == 70.0
