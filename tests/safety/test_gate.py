"""The gate: no heat without a fresh permit, for any input."""

import ast
import itertools
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from kilnctl import Reading
from kilnctl.safety import LEASE_S, Gate, Permit, Policy, SafetyState, Tick, acknowledge, judge, pass_duty
from kilnctl.safety.gate import desk_permit
from kilnctl.safety.judge import cause_stands

PACKAGE = Path(__file__).parents[2] / "kilnctl"
WEIRD = [
    math.nan,
    math.inf,
    -math.inf,
    -1.0,
    -1e-300,
    0.0,
    1e-9,
    0.5,
    1,
    1.0,
    1.0 + 1e-12,
    2.0,
    1e308,
    10**15,
    10**15 + 1,
    10**400,
    None,
    "1",
    True,
]


@pytest.mark.parametrize("duty", WEIRD)
def test_without_a_permit_nothing_passes(duty):
    odd: tuple[Any, ...] = (None, False, 0, "permit", object(), (0.0, 1e9, 5, 1.0))
    for permit in odd:
        assert pass_duty(duty, permit, 10.0, 5) == 0.0
        assert Gate().pass_duty(duty, permit, 10.0, 5) == 0.0


def test_matrix_of_permission_and_values_around_every_limit():
    """Every combination of a permit's fields at, just inside and just outside their limits, with every unusual duty."""
    now, step = 100.0, 7
    eps = 1e-9
    froms = [
        now - LEASE_S,
        now - LEASE_S - 1.0,
        now - 0.5,
        now,
        now + eps,
        100,
        10**400,
        math.nan,
        math.inf,
        -math.inf,
        "now",
    ]
    untils = [now - eps, now, now + 0.5, now + LEASE_S, now + 1e9, math.nan, math.inf]
    limits = [0.0, -1.0, 0.5, 1, 1.0, 1.0 + 1e-9, 1.1, 1.5, math.nan, math.inf, True]
    steps = [step, step - 1, step + 1, 7.0, None, True]
    passed = 0
    for f, u, limit, s, duty in itertools.product(froms, untils, limits, steps, WEIRD):
        answer = pass_duty(duty, Permit(f, u, s, limit), now, step)

        def number(v):
            return (type(v) is float and math.isfinite(v)) or (type(v) is int and abs(v) <= 10**15)

        fresh = number(f) and number(u) and number(limit) and f <= now <= u and u - f <= LEASE_S
        fresh = fresh and type(s) is int and s == step and 0.0 < limit <= 1.0
        if fresh and number(duty) and duty > 0.0:
            assert answer == min(duty, limit) and 0.0 < answer <= 1.0 and type(answer) is float
            passed += 1
        else:
            assert answer == 0.0, (f, u, limit, s, duty)
    assert passed > 100


@pytest.mark.parametrize("now", [math.nan, math.inf, -math.inf, None, "100", True, 99.9999, 102.0001, 10**400])
def test_a_time_outside_the_lease_or_no_time_at_all_passes_nothing(now):
    permit = Permit(100.0, 102.0, 7)
    assert pass_duty(0.5, permit, now, 7) == 0.0
    assert pass_duty(0.5, permit, 100.0, 7) == pass_duty(0.5, permit, 102.0, 7) == pass_duty(0.5, permit, 101, 7) == 0.5


@pytest.mark.parametrize("step", [6, 8, 7.0, None, "7", True])
def test_another_step_passes_nothing(step):
    assert pass_duty(0.5, Permit(100.0, 102.0, 7), 101.0, step) == 0.0
    assert pass_duty(0.5, Permit(100.0, 102.0, step), 101.0, 7) == 0.0
    assert pass_duty(0.5, Permit(100.0, 102.0, True), 101.0, 1) == 0.0


def test_no_lease_is_longer_than_two_seconds():
    assert LEASE_S == 2.0
    assert pass_duty(0.5, Permit(100.0, 102.0 + 1e-9, 7), 101.0, 7) == 0.0


def test_a_permit_cannot_be_altered():
    permit = Permit(100.0, 102.0, 7)
    for name in ("until_s", "duty_limit", "another"):
        with pytest.raises((AttributeError, TypeError)):
            setattr(permit, name, 1e9)
    assert not hasattr(permit, "__dict__")


@given(st.floats(), st.floats(), st.floats(), st.integers(-3, 3), st.floats(), st.floats(), st.integers(-3, 3))
def test_for_any_numbers_the_answer_is_a_duty_within_its_limit(f, u, limit, s, duty, now, step):
    answer = pass_duty(duty, Permit(f, u, s, limit), now, step)
    assert 0.0 <= answer <= 1.0
    if answer > 0.0:
        assert answer <= limit and f <= now <= u and u - f <= LEASE_S and s == step


def test_the_gate_opens_once_a_step_and_never_goes_back():
    gate = Gate()
    assert not hasattr(gate, "__dict__"), "it remembers nothing else"
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 1), 1.0, 1) == 0.5
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 1), 1.1, 1) == 0.0, "the same step again"
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 0), 1.1, 0) == 0.0, "an older step"
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 2), 1.0, 2) == 0.0, "the same moment again"
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 2), 0.9, 2) == 0.0, "an earlier moment"
    assert gate.pass_duty(0.5, Permit(0.0, 2.0, 2), 1.1, 2) == 0.5
    assert gate.pass_duty(0.0, Permit(0.0, 2.0, 3), 1.2, 3) == 0.0
    assert gate.pass_duty(0.4, Permit(0.0, 2.0, 3), 1.2, 3) == 0.4, "a step that gave nothing is not used up"


numbers = st.one_of(
    st.floats(),
    st.floats(-50.0, 400.0),
    st.sampled_from([math.nan, math.inf, -math.inf, None, 0.0, 250.0, 299.9, 300.0, 300.1]),
)
maybe = st.sampled_from([True, False, None])
words = st.lists(
    st.sampled_from(["open", "short-ground", "no-chip", "board-lost", "board-fault", "limit-open", "nonsense"]),
    max_size=2,
).map(tuple)


class AnySequence(RuleBasedStateMachine):
    """Readings, requests, clock jumps, stalls and invalid values in any order: heat passes only when the permit of this
    tick allows it."""

    @initialize(airflow=st.booleans(), second=st.booleans(), volts=st.sampled_from([None, 230.0]))
    def begin(self, airflow, second, volts):
        self.policy = Policy(
            chamber_trip_c=300.0,
            schedule_trip_c=250.0,
            part_trip_c=240.0,
            airflow_required=airflow,
            has_limit_sensor=second,
            longest_s=5000.0,
            most_energy_j=1e7,
            door_switch=True,
            nominal_v=volts,
        )
        self.state, self.gate, self.now, self.step, self.passed = SafetyState(), Gate(), 0.0, 0, 0.0
        self.verdict, self.reading, self.tick = None, None, None

    def _tick(self, reading, dt, forward=1, **more):
        self.now += dt
        self.step += forward
        self.reading, self.tick = reading, Tick(self.now, self.step, more.pop("fired", 0.3), **more)
        self.state, self.verdict = judge(self.state, self.policy, reading, self.tick)
        self.passed = self.gate.pass_duty(0.7, self.verdict.permit, self.now, self.step)

    @rule(value=st.floats(20.0, 245.0), n=st.integers(1, 20))
    def good_ticks(self, value, n):
        for i in range(n):
            self._tick(
                Reading(
                    value + 0.01 * i,
                    limit_c=value,
                    cold_junction_c=25.0,
                    airflow_proved=True,
                    door_open=False,
                    supply_v=230.0,
                    contactor_closed=self.state.coil,
                    sample=self.step,
                ),
                1.0,
            )

    @rule(
        chamber=numbers,
        limit=numbers,
        part=numbers,
        cold=numbers,
        faults=words,
        door=maybe,
        airflow=maybe,
        closed=maybe,
        fired=numbers,
        volts=numbers,
        current=numbers,
        sample=st.one_of(st.none(), st.integers()),
    )
    def odd_reading(self, chamber, limit, part, cold, faults, door, airflow, closed, fired, volts, current, sample):
        self._tick(
            Reading(
                chamber,
                limit_c=limit,
                part_c=part,
                cold_junction_c=cold,
                faults=faults,
                door_open=door,
                airflow_proved=airflow,
                contactor_closed=closed,
                fired=fired,
                supply_v=volts,
                current_a=current,
                sample=sample,
            ),
            1.0,
        )
        if self.passed > 0.0:
            assert math.isfinite(chamber) and chamber <= 250.0 and not door
            assert part is None or not part > 240.0
            assert not set(faults) & {"open", "short-ground", "no-chip", "board-lost", "board-fault"}
            assert airflow or not self.policy.airflow_required
            assert not self.policy.has_limit_sensor or (limit <= 300.0 and "limit-open" not in faults)
            assert self.policy.nominal_v is None or volts is None or volts > 69.0

    @rule(
        dt=st.one_of(st.floats(-5.0, 30.0), st.sampled_from([0.0, math.nan, math.inf])),
        forward=st.integers(-2, 3),
        wall=numbers,
    )
    def odd_time(self, dt, forward, wall):
        first, before, step = self.state.time_s is None, self.now, self.step
        self._tick(Reading(100.0, limit_c=100.0, airflow_proved=True, sample=None), dt, forward, wall_s=wall)
        if self.passed > 0.0 and not first:
            assert 0.0 < dt <= self.policy.stall_s and forward > 0
        if not math.isfinite(self.now):
            self.now, self.step, self.passed = before, step, 0.0

    @rule(
        unexplained=numbers,
        full=numbers,
        holding=numbers,
        energy=numbers,
        run=numbers,
        commanded=numbers,
        fired=numbers,
        heating=st.booleans(),
        contactor=maybe,
        recording=maybe,
    )
    def odd_facts(self, unexplained, full, holding, energy, run, commanded, fired, heating, contactor, recording):
        self._tick(
            Reading(100.0, limit_c=100.0, airflow_proved=True, supply_v=230.0),
            1.0,
            fired=fired,
            unexplained_w=unexplained,
            full_power_w=full,
            holding_w=holding,
            energy_j=energy,
            run_s=run,
            commanded=commanded,
            heating=heating,
            contactor=contactor,
            recording=recording,
        )
        if self.passed > 0.0:
            assert heating and energy <= 1e7 and run <= 5000.0

    @rule(late=st.floats(0.0, 10.0), behind=st.integers(0, 3), duty=st.one_of(st.floats(), st.none()))
    def an_old_permit_is_used_again(self, late, behind, duty):
        permit = None if self.verdict is None else self.verdict.permit
        answer = pass_duty(duty, permit, self.now + late, self.step + behind)
        if permit is None or behind or late > LEASE_S:
            assert answer == 0.0
        if self.passed:
            assert self.gate.pass_duty(duty, permit, self.now + late, self.step) == 0.0, "a step opens the gate once"

    @rule(who=st.sampled_from(["", "the keeper"]))
    def somebody_acknowledges(self, who):
        if self.tick is None or self.reading is None:
            return
        before = dict(self.state.trips)
        state, standing = acknowledge(self.state, self.policy, self.reading, self.tick, who)
        if not who or standing:
            assert state.trips == before
        else:
            assert state.trips == {} and not any(
                cause_stands(fault, self.state, self.policy, self.reading, self.tick) for fault in before
            )
        self.state = state

    @invariant()
    def no_heat_with_a_trip_or_without_a_permit(self):
        if self.verdict is None:
            return
        assert 0.0 <= self.passed <= 0.7
        if self.verdict.trips or self.verdict.permit is None:
            assert self.passed == 0.0
        if self.verdict.trips:
            assert not self.verdict.contactor_allowed
        assert set(self.verdict.new_trips) <= set(self.verdict.trips)


TestAnySequence = AnySequence.TestCase


# ---- the one way to the heater, checked in the source ----------------------------------------------------------------


#: Pure functions of that name which drive nothing: a schedule's and an experiment's next position.
OTHER_ADVANCES = {"reference.advance", "trial.advance", "advance", "u.heat"}


def test_the_desk_s_permit_is_a_lease_like_any_other():
    permit = desk_permit(10.0, 3)
    assert pass_duty(0.5, permit, 11.9, 3) == 0.5
    assert pass_duty(0.5, permit, 12.1, 3) == 0.0 and pass_duty(0.5, permit, 11.0, 4) == 0.0


def calls(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node, node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def test_only_the_chain_passes_duty_to_firing_and_only_loops_drive_a_plant():
    """One way to the heater: only the chain calls the gate and `fire`, and a plant or rig is driven only with a chain's
    answer."""
    callers: dict[str, set[str]] = {
        "pass_duty": set(),
        "fire": set(),
        "heat": set(),
        "advance": set(),
        "Permit": set(),
        "desk_permit": set(),
        "Gate": set(),
    }
    for path in PACKAGE.rglob("*.py"):
        relative = path.relative_to(PACKAGE).as_posix()
        if relative.startswith(("plants/", "firmware/")):
            continue
        for node, name in calls(ast.parse(path.read_text(encoding="utf-8"))):
            if name in callers and ast.unparse(node.func) not in OTHER_ADVANCES:
                callers[name].add(relative)
    assert callers["pass_duty"] == {"run/chain.py", "safety/gate.py"}
    # The flickermeter and the forecast of a swing work out the cycles of a pattern and drive nothing.
    assert callers["fire"] == {"run/chain.py", "firing/flicker.py", "run/burst_swing.py"}
    assert callers["Permit"] == {"safety/judge.py", "safety/gate.py"}, "permits are made by the rules alone"
    assert callers["desk_permit"] == {"rig/desk.py"}, "but for the guided test with the heater disconnected"
    assert callers["Gate"] == {"run/chain.py"}
    # The sizing makes a virtual oven and heats it at full power; it cannot reach a rig. The stand-in is the I/O board's
    # firmware.
    assert callers["advance"] <= {
        "run/rehearsal.py",
        "rig/virtual_rig.py",
        "rig/simulated_board.py",
        "sizing/comparison.py",
        "sizing/sizing.py",
    }
    assert all(c.startswith(("service/", "rig/", "commands/board.py")) for c in callers["heat"])


def test_in_the_chain_only_the_gate_s_answer_reaches_firing():
    """The name handed to `fire` is assigned from the gate or from 0.0, and from nothing else."""
    tree = ast.parse((PACKAGE / "run/chain.py").read_text(encoding="utf-8"))
    fired = [node for node, name in calls(tree) if name == "fire"]
    assert len(fired) == 1
    duty = fired[0].args[2]
    assert isinstance(duty, ast.Name)
    sources = [
        n.value
        for n in ast.walk(tree)
        if isinstance(n, ast.Assign)
        for target in n.targets
        if ast.unparse(target) == duty.id
    ]
    assert sources
    for value in sources:
        assert ast.unparse(value) == "0.0" or (
            isinstance(value, ast.Call) and ast.unparse(value.func).endswith(".pass_duty")
        ), ast.unparse(value)
    others = [
        n
        for n in ast.walk(tree)
        if isinstance(n, (ast.AugAssign, ast.NamedExpr)) or (isinstance(n, ast.AnnAssign) and n.value)
    ]
    assert not [n for n in others if ast.unparse(n.target) == duty.id]
