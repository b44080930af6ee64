"""Duty → whole cycles: exact energy, whole cycles only, shortest runs kept, off means off."""

import math
import random
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kilnctl.firing import Pattern, cut, fire, ready

patterns = st.builds(Pattern, st.sampled_from([50.0, 60.0]), st.integers(1, 120), st.integers(1, 3))
duties = st.floats(0.001, 1.0)
ticks = st.lists(st.tuples(duties, st.floats(0.05, 3.0)), min_size=1, max_size=60)


@given(ticks, st.sampled_from([50.0, 60.0]))
def test_single_cycles_keep_the_energy_right_to_half_a_cycle_at_every_moment(ticks, frequency):
    pattern = Pattern(frequency)
    state, asked, fired = ready(pattern), 0.0, 0
    for duty, dt in ticks:
        state, burst = fire(pattern, state, duty, dt)
        asked += duty * burst.cycles
        fired += burst.on_cycles[0]
        assert abs(asked - fired) <= 0.5 + 1e-6


@given(patterns, ticks)
def test_every_pattern_never_owes_more_than_half_its_shortest_run(pattern, ticks):
    state = ready(pattern)
    start = state.owed
    asked, fired = 0.0, [0] * pattern.groups
    for duty, dt in ticks:
        state, burst = fire(pattern, state, duty, dt)
        asked += duty * burst.cycles
        fired = [a + b for a, b in zip(fired, burst.on_cycles, strict=True)]
        for g in range(pattern.groups):
            assert state.owed[g] - start[g] == pytest.approx(asked - fired[g], abs=1e-6)
            assert state.owed[g] <= 0.5 * pattern.shortest_run + 1e-6
            assert state.owed[g] >= min(start[g], -0.5 * pattern.shortest_run) - 1e-6


@given(st.integers(1, 60), st.floats(0.02, 0.98), st.integers(5, 40))
def test_whole_periods_are_right_to_one_cycle_and_no_run_is_too_short(shortest, duty, seconds):
    """Between two moments of turning on, what was fired differs from what was asked by at most one cycle."""
    pattern = Pattern(50.0, shortest)
    state, sequence = ready(pattern), []
    for _ in range(seconds * 4):
        state, burst = fire(pattern, state, duty, 1.0)
        for on, count in burst.runs:
            sequence += [on] * count
    starts = [i for i in range(1, len(sequence)) if sequence[i] and not sequence[i - 1]]
    for a, b in pairwise(starts):
        assert abs(sum(sequence[a:b]) - duty * (b - a)) <= 1.0 + 1e-6
    edges = [i for i in range(1, len(sequence)) if sequence[i] != sequence[i - 1]]
    assert all(b - a >= shortest for a, b in pairwise(edges))


@given(patterns, ticks)
def test_only_whole_cycles_are_fired_and_time_is_not_lost(pattern, ticks):
    """A run is a count of whole cycles, each a positive and a negative half: no direct current by construction."""
    state, time = ready(pattern), 0.0
    cycles = 0
    for duty, dt in ticks:
        state, burst = fire(pattern, state, duty, dt)
        assert all(isinstance(n, int) and 0 <= n <= burst.cycles for n in burst.on_cycles)
        assert sum(n for _, n in burst.runs) == burst.cycles
        time += dt
        cycles += burst.cycles
    assert abs(cycles - time * pattern.frequency_hz) <= 1.0 + 1e-6


@given(patterns, ticks)
def test_zero_is_off_at_once_and_owes_nothing_afterwards(pattern, ticks):
    state = ready(pattern)
    for duty, dt in ticks:
        state, _ = fire(pattern, state, duty, dt)
    state, burst = fire(pattern, state, 0.0, 1.0)
    assert burst.fired == 0.0 and not any(state.on) and max(state.owed) <= 0.0
    assert cut(pattern, state).owed == ready(pattern).owed


def test_full_power_is_on_at_once():
    pattern = Pattern(60.0, 120)
    _, burst = fire(pattern, ready(pattern), 1.0, 1.0)
    assert (burst.cycles, burst.on_cycles, burst.fired) == (60, (60,), 1.0)


@pytest.mark.parametrize("duty", [math.nan, math.inf, -0.1, 1.0001])
def test_a_bad_duty_is_refused(duty):
    with pytest.raises(ValueError, match="duty"):
        fire(Pattern(50.0), ready(Pattern(50.0)), duty, 1.0)


@pytest.mark.parametrize("dt", [0.0, -1.0, math.nan, 1e9])
def test_a_bad_time_is_refused(dt):
    with pytest.raises(ValueError, match="dt_s"):
        fire(Pattern(50.0), ready(Pattern(50.0)), 0.5, dt)


def test_groups_take_turns():
    """Two relays at a third of the power are never on together when their runs are long enough to see."""
    pattern = Pattern(50.0, 50, 2)
    state, together = ready(pattern), 0
    for i in range(2000):
        state, burst = fire(pattern, state, 1 / 3, 0.1)
        together += i > 500 and all(burst.on_cycles)
    assert together < 30


@given(
    patterns,
    st.lists(st.sampled_from([1.0, 0.9999999999999999, 1.0 - 1e-12, 1e-12, 0.3, 1 / 3]), min_size=1, max_size=30),
)
@example(Pattern(50.0, 1, 2), [1.0, 0.9999999999999999])
def test_duties_next_to_the_ends_end(pattern, duties):
    """A duty a rounding error below 1 once made negative runs, and the tick never returned."""
    state = ready(pattern)
    for duty in duties:
        state, burst = fire(pattern, state, duty, 0.2)
        assert all(count > 0 for _, count in burst.runs) and sum(count for _, count in burst.runs) == burst.cycles


def test_cycles_without_their_runs_are_the_same():
    """Rows of drawn duties and ticks, also of less than a cycle."""
    generator = random.Random(5)
    for frequency_hz, shortest in ((50.0, 1), (60.0, 1), (50.0, 7)):
        pattern = Pattern(frequency_hz, shortest)
        whole = counted = ready(pattern)
        for _ in range(2000):
            duty = generator.choice((generator.random(), 0.5, 0.02, 1.0, 0.0))
            dt_s = generator.choice((1.0, 0.97, 0.013, 2.0))
            whole, burst = fire(pattern, whole, duty, dt_s)
            counted, plain = fire(pattern, counted, duty, dt_s, runs_wanted=False)
            assert (plain.cycles, plain.on_cycles, plain.fired) == (burst.cycles, burst.on_cycles, burst.fired)
            assert counted.on == whole.on and counted.owed == pytest.approx(whole.owed, abs=1e-6)
