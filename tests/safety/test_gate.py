"""The gate: no heat without a fresh permit, whatever comes."""

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from kilnctl import Reading
from kilnctl.safety import LEASE_S, Permit, Policy, SafetyState, Tick, judge, pass_duty

WEIRD = [math.nan, math.inf, -math.inf, -1.0, -1e-300, 0.0, 1e-9, 0.5, 1.0, 1.0 + 1e-12, 2.0, 1e308, None, "1", True]


@pytest.mark.parametrize("duty", WEIRD)
def test_without_a_permit_nothing_passes(duty):
    for permit in (None, False, 0, "permit", object()):
        assert pass_duty(duty, permit, 10.0, 5) == 0.0


def test_matrix_of_permission_and_values_around_every_limit():
    """Every combination of a permit's fields at, just inside and just outside their limits with every odd duty."""
    now, step = 100.0, 7
    eps = 1e-9
    froms = [now - LEASE_S, now - LEASE_S - 1.0, now - 0.5, now, now + eps, math.nan, math.inf, -math.inf, "now"]
    untils = [now - eps, now, now + 0.5, now + LEASE_S, now + 1e9, math.nan, math.inf]
    limits = [0.0, -1.0, 0.5, 1.0, 1.5, math.nan, math.inf]
    steps = [step, step - 1, step + 1, 7.0, None, True]
    passed = 0
    for f, u, limit, s, duty in itertools.product(froms, untils, limits, steps, WEIRD):
        answer = pass_duty(duty, Permit(f, u, s, limit), now, step)
        fresh = (
            all(type(v) is float and math.isfinite(v) for v in (f, u, limit))
            and f <= now <= u and u - f <= LEASE_S and type(s) is int and s == step and 0.0 < limit <= 1.0
        )  # fmt: skip
        sane = type(duty) is float and math.isfinite(duty) and duty > 0.0
        if fresh and sane:
            assert answer == min(duty, limit) and 0.0 < answer <= 1.0
            passed += 1
        else:
            assert answer == 0.0, (f, u, limit, s, duty)
    assert passed > 50


@given(st.floats(), st.floats(), st.floats(), st.integers(-3, 3), st.floats(), st.floats(), st.integers(-3, 3))
def test_whatever_numbers_come_the_answer_is_a_duty_within_its_limit(f, u, limit, s, duty, now, step):
    answer = pass_duty(duty, Permit(f, u, s, limit), now, step)
    assert 0.0 <= answer <= 1.0
    if answer > 0.0:
        assert answer <= limit and f <= now <= u and u - f <= LEASE_S and s == step


numbers = st.one_of(st.floats(), st.floats(-50.0, 400.0), st.sampled_from([math.nan, math.inf, -math.inf, 0.0, 250.0, 299.9, 300.0, 300.1]))
words = st.lists(st.sampled_from(["open", "short-ground", "no-chip", "board-lost", "board-fault", "limit-open", "nonsense"]), max_size=2).map(tuple)


class AnySequence(RuleBasedStateMachine):
    """Readings, requests, clock jumps, stalls and nonsense in any order: heat passes only when this very tick's permit allows it."""

    @initialize(airflow=st.booleans(), second=st.booleans())
    def begin(self, airflow, second):
        self.policy = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, part_trip_c=240.0, airflow_required=airflow, has_limit_sensor=second,
                             longest_s=5000.0, most_energy_j=1e7, door_switch=True)  # fmt: skip
        self.state, self.now, self.step, self.passed = SafetyState(), 0.0, 0, 0.0
        self.permit, self.reading, self.last = None, None, None

    def _tick(self, reading, dt, forward=1, **more):
        self.now += dt
        self.step += forward
        self.reading = reading
        self.last = Tick(self.now, self.step, more.pop("fired", 0.3), **more)
        self.state, verdict = judge(self.state, self.policy, reading, self.last)
        self.verdict, self.permit = verdict, verdict.permit
        self.passed = pass_duty(0.7, verdict.permit, self.now, self.step)

    @rule(value=st.floats(20.0, 245.0), n=st.integers(1, 20))
    def good_ticks(self, value, n):
        for i in range(n):
            self._tick(Reading(value + 0.01 * i, limit_c=value, cold_junction_c=25.0, airflow_proved=True, door_open=False,
                               contactor_closed=self.state.commanded, sample=self.step), 1.0)  # fmt: skip

    @rule(chamber=numbers, limit=numbers, part=numbers, cold=numbers, faults=words, door=st.booleans(), airflow=st.sampled_from([True, False, None]),
          dt=st.one_of(st.just(1.0), st.floats(-5.0, 30.0), st.just(math.nan)), forward=st.integers(-1, 2), unexplained=numbers, energy=numbers)  # fmt: skip
    def odd_tick(self, chamber, limit, part, cold, faults, door, airflow, dt, forward, unexplained, energy):
        before = self.now
        self._tick(Reading(chamber, limit_c=limit, part_c=part, cold_junction_c=cold, faults=faults, door_open=door, airflow_proved=airflow), dt,
                   forward, unexplained_w=unexplained, full_power_w=3000.0, energy_j=energy)  # fmt: skip
        if self.passed > 0.0:
            assert math.isfinite(chamber) and chamber <= 1820.0 and not door
            assert not set(faults) & {"open", "short-ground", "no-chip", "board-lost", "board-fault"}
            assert 0.0 < dt <= self.policy.stall_s or before == 0.0
            assert forward > 0 or before == 0.0
        if not math.isfinite(self.now):
            self.now = before

    @rule(late=st.floats(0.0, 10.0), behind=st.integers(0, 3))
    def an_old_permit_is_used_again(self, late, behind):
        answer = pass_duty(0.7, self.permit, self.now + late, self.step + behind)
        if behind or late > LEASE_S:
            assert answer == 0.0

    @invariant()
    def no_heat_with_a_trip_or_without_a_permit(self):
        if getattr(self, "last", None) is None:
            return
        if self.verdict.trips or self.permit is None:
            assert self.passed == 0.0
        if self.verdict.trips:
            assert not self.verdict.contactor_allowed


TestAnySequence = AnySequence.TestCase
