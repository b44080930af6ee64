"""The whole tick with any input: requests, readings, clock jumps and invalid values in any order, through control,
rules, gate and firing. `test_gate.py` does the same to rules and gate alone."""

import dataclasses
import math
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from kilnctl import Reading, load_oven, safety
from kilnctl.control import EnergyBalanceControl
from kilnctl.model.day_zero import day_zero
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.run.chain import REFUSED, Chain
from kilnctl.run.prepare import PreparedRun, prepare
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.terms import HOLD, PROCEED, SKIP, Request, RequestKind

OVEN = load_oven(Path(__file__).parents[2] / "configs" / "ovens" / "curing-cabinet.yaml")
PLAN = Schedule(
    name="any",
    steps=(
        Step(to_c=120.0, hold_s=60.0, within_k=5.0),
        Step(to_c=90.0, let_cool=True),
        Step(to_c=130.0, at_k_per_s=0.1, hold_s=60.0),
    ),
)
numbers = st.one_of(st.floats(), st.floats(-50.0, 300.0), st.sampled_from([math.nan, math.inf, -math.inf, 0.0, 1e300]))
maybe = st.sampled_from([True, False, None])
asked = st.lists(
    st.one_of(
        st.sampled_from([HOLD, PROCEED, SKIP]),
        st.sampled_from([600.0, -1e9, math.nan]).map(lambda seconds: Request(RequestKind.SOAK, seconds)),
    ),
    max_size=3,
).map(tuple)


@cache
def ready() -> PreparedRun:
    """Made when the first test asks: every process that collects reads this file."""
    model = day_zero(OVEN, OVEN.usual_load, PLAN.top_c)
    return dataclasses.replace(prepare(OVEN, PLAN, model, 20.0), holding=lambda c: 500.0)


class AnyRun(RuleBasedStateMachine):
    """Heat and contactor follow this tick's own permit, after any earlier ticks."""

    @initialize(prove=st.booleans(), seed=st.integers(0, 3))
    def begin(self, prove, seed):
        self.chain = Chain(ready(), prove=prove)
        self.plant = VirtualOven(OVEN, load=OVEN.usual_load, seed=seed)
        self.now, self.step = 100.0, 0
        self.act: Any = None

    def one_tick(self, reading, dt=1.0, forward=1, requests=()):
        before, self.now, self.step = self.act, self.now + dt, self.step + forward
        self.act = self.chain.tick(reading, self.now, 1.0, self.step, requests)
        permit = self.act.verdict.permit
        assert type(self.act.decision.duty) is float, "the gate passes nothing else"
        if self.act.duty > 0.0 or self.act.fired > 0.0:
            assert permit is not None and permit.from_s <= self.now <= permit.until_s and permit.step == self.step
            assert self.act.duty <= permit.duty_limit <= 1.0 and 0.0 <= self.act.fired <= 1.0
            assert (
                math.isfinite(reading.chamber_c)
                and not reading.faults
                and reading.door_open is not True
                and dt > 0.0
                and forward > 0
            )
            if self.act.decision.phase != "start test":  # which shows that relay or contactor alone give nothing
                assert self.act.contactor and before is not None and before.contactor, (
                    "the contactor moves while the relay is off"
                )

    @rule(n=st.integers(1, 60), requests=asked)
    def goes_on(self, n, requests):
        for k in range(n):
            fired, closed = (self.act.fired, self.act.contactor) if self.act else (0.0, False)
            self.one_tick(self.plant.advance(1.0, fired, closed), requests=requests if k == 0 else ())

    @rule(
        chamber=numbers,
        limit=numbers,
        part=numbers,
        cold=numbers,
        faults=st.sampled_from([(), (), ("open",), ("board-lost",), ("nonsense",)]),
        door=maybe,
        closed=maybe,
        fired=numbers,
        volts=numbers,
        current=numbers,
        requests=asked,
    )
    def odd_reading(self, chamber, limit, part, cold, faults, door, closed, fired, volts, current, requests):
        self.one_tick(
            Reading(
                chamber,
                limit_c=limit,
                part_c=part,
                cold_junction_c=cold,
                faults=faults,
                door_open=door,
                airflow_proved=True,
                contactor_closed=closed,
                fired=fired,
                supply_v=volts,
                current_a=current,
            ),
            requests=requests,
        )

    @rule(dt=st.one_of(st.floats(-5.0, 30.0), st.just(0.0)), forward=st.integers(-2, 3), requests=asked)
    def odd_time(self, dt, forward, requests):
        self.one_tick(self.plant.advance(1.0, 0.0, False), dt, forward, requests)

    @rule()
    def somebody_acknowledges(self):
        if self.act is not None and self.chain.last is not None:
            tick = safety.Tick(self.now, self.step, 0.0)
            self.chain.safety, _ = safety.acknowledge(
                self.chain.safety, self.chain.policy, self.plant.advance(1.0, 0.0, False), tick, "the keeper"
            )

    @invariant()
    def nothing_with_a_trip(self):
        if self.act is not None and self.act.verdict.trips:
            assert self.act.duty == self.act.fired == 0.0 and not self.act.contactor and self.act.verdict.permit is None


def test_a_voltage_that_no_meter_shows_is_none():
    """Its square was an OverflowError in the tick."""
    run = AnyRun()
    run.begin(prove=False, seed=0)
    for second in (1.0, 1.0):
        run.one_tick(Reading(20.0, fired=0.5, supply_v=3e156, current_a=1e300), second)
    assert math.isfinite(run.chain.energy_j)


TestAnyRun = AnyRun.TestCase
TestAnyRun.settings = settings(max_examples=30, stateful_step_count=20)


class NotPlain(EnergyBalanceControl):
    """The control, with a duty that is no float of Python's."""

    def step(self, *arguments, **named):
        state, decision = super().step(*arguments, **named)
        return state, dataclasses.replace(decision, duty=np.float64(decision.duty))


@pytest.mark.parametrize("controller, told", [(NotPlain(), True), (EnergyBalanceControl(), False)])
def test_a_refusal_of_the_gate_alone_gives_a_warning(controller, told):
    plant = VirtualOven(OVEN, load=OVEN.usual_load, seed=1)
    chain = Chain(dataclasses.replace(ready(), controller=controller))
    reading = plant.advance(1.0, 0.0, False)
    act: Any = None
    for i in range(1, 8):
        act = chain.tick(dataclasses.replace(reading, airflow_proved=True), float(i), 1.0, i)
        reading = plant.advance(1.0, act.fired, act.contactor)
    assert act.decision.duty > 0.5 and act.verdict.permit is not None and act.contactor
    assert (REFUSED in act.verdict.warnings) is told and (act.duty == 0.0) is told


def test_no_heat_in_the_tick_in_which_the_contactor_closes():
    """A relay that conducts already would make the contact close onto its full current."""
    plant = VirtualOven(OVEN, load=OVEN.usual_load, seed=1)
    chain, acts = Chain(ready()), []
    reading = plant.advance(1.0, 0.0, False)
    for i in range(1, 15):
        told = dataclasses.replace(reading, airflow_proved=True, door_open=7 <= i < 10)
        acts.append(chain.tick(told, float(i), 1.0, i))
        reading = plant.advance(1.0, acts[-1].fired, acts[-1].contactor)
    before, opened, closes, follows = acts[5], acts[6:9], acts[9], acts[10]
    assert before.contactor and before.duty > 0.0
    assert not any(act.contactor or act.duty for act in opened)
    assert closes.contactor and closes.verdict.permit is not None and closes.decision.duty > 0.0
    assert closes.duty == 0.0 and closes.fired == 0.0
    assert follows.contactor and follows.duty > 0.0


class WantsNone(EnergyBalanceControl):
    """The control, with a duty although it wants no heat."""

    def step(self, *arguments, **named):
        state, decision = super().step(*arguments, **named)
        return state, dataclasses.replace(decision, wants_heat=state.time_s < 6.0 and decision.wants_heat)


def test_no_heat_in_the_tick_in_which_the_contactor_opens():
    plant = VirtualOven(OVEN, load=OVEN.usual_load, seed=1)
    chain, acts = Chain(dataclasses.replace(ready(), controller=WantsNone())), []
    reading = plant.advance(1.0, 0.0, False)
    for i in range(1, 11):
        acts.append(chain.tick(dataclasses.replace(reading, airflow_proved=True), float(i), 1.0, i))
        reading = plant.advance(1.0, acts[-1].fired, acts[-1].contactor)
    opens = next(k for k, act in enumerate(acts) if k > 2 and not act.contactor)
    assert acts[opens - 1].duty > 0.0 and acts[opens].verdict.permit is not None and acts[opens].decision.duty > 0.0
    assert not any(act.duty or act.fired or act.contactor for act in acts[opens:])


def test_what_cannot_be_a_share_is_not_taken_for_what_was_fired():
    """Otherwise a broken meter's power would reach the estimator and the energy count."""
    for told in (math.nan, math.inf, -0.1, 1.1, 181.3):
        assert Reading(20.0, fired=told).fired_or(0.4) == 0.4
    assert [Reading(20.0, fired=told).fired_or(0.4) for told in (None, 0.0, 0.7, 1.0)] == [0.4, 0.0, 0.7, 1.0]
    for volts, believed in (
        (None, False),
        (69.0, False),
        (69.1, True),
        (344.9, True),
        (345.0, False),
        (math.inf, False),
        (math.nan, False),
    ):
        assert ready().model.believes(volts) is believed, volts
