"""One tick of the chain with a controller that asks for what the test says: what reaches relay and contactor, what the
rules and the controller are told."""

import dataclasses
import math
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scenarios import oven_file

from kilnctl import firing, load_oven, safety
from kilnctl.control import Decision, StepInput
from kilnctl.reading import Reading
from kilnctl.run.chain import AFTER_TRIP_S, REFUSED, Actuation, Chain
from kilnctl.run.prepare import PreparedRun, prepare
from kilnctl.safety import Tick, start_test
from kilnctl.service.session import Rest
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.terms import HOLD, PROCEED, SKIP, Phase


@cache
def prepared() -> PreparedRun:
    """Made when the first test asks: every process that collects reads this file."""
    schedule = Schedule(name="one", steps=(Step(to_c=120.0),))
    return prepare(load_oven(oven_file("curing-cabinet")), schedule, None, 20.0, load=None)


@cache
def without_vent() -> PreparedRun:
    ready = prepared()
    return dataclasses.replace(ready, policy=dataclasses.replace(ready.policy, airflow_required=False))


class Asks:
    """A controller that asks for `duty`; `given` is what it got in each step."""

    def __init__(self):
        self.duty, self.wants_heat, self.more, self.held = 0.5, True, {}, False
        self.given: list[StepInput] = []

    def start(self, programme, reading, now_s) -> Any:
        return SimpleNamespace(held=self.held)

    def step(self, programme, state, given) -> Any:
        self.given.append(given)
        decision = Decision.at_rest(given.reading)
        return state, dataclasses.replace(
            decision,
            duty=self.duty,
            wants_heat=self.wants_heat,
            phase=Phase.RAMP,
            **{"full_w": without_vent().programme.model.power_w, **self.more},
        )


class Played:
    """A chain, tick by tick, with what the rules were told."""

    def __init__(self, monkeypatch, run: PreparedRun | None = None, *, prove: bool = False):
        self.controller, self.told, self.dt_s = Asks(), [], 1.0
        self.chain = Chain(dataclasses.replace(run or without_vent(), controller=self.controller), prove=prove)
        self.now_s, self.step = 100.0, 0
        judge = safety.judge

        def listening(state, policy, reading, tick):
            self.told.append(tick)
            return judge(state, policy, reading, tick)

        monkeypatch.setattr(safety, "judge", listening)

    def ticks(self, count: int = 1, requests=(), **reading) -> Actuation:
        """`count` ticks with such readings; the last one's result."""
        self.now_s, self.step = self.now_s + self.dt_s, self.step + 1
        shown = Reading(**{"chamber_c": 20.0 + 0.03 * math.sin(self.step), "door_open": False, **reading})
        shown = dataclasses.replace(shown, limit_c=shown.chamber_c)
        act = self.chain.tick(shown, self.now_s, self.dt_s, self.step, requests)
        return act if count == 1 else self.ticks(count - 1, requests, **reading)

    @property
    def last_told(self) -> Tick:
        return self.told[-1]


@pytest.fixture
def played(monkeypatch):
    return Played(monkeypatch)


def test_the_contactor_closes_a_tick_before_the_heat_and_opens_with_none(played):
    acts = [played.ticks() for _ in range(5)]
    assert not any(act.verdict.trips for act in acts)
    first = next(i for i, act in enumerate(acts) if act.contactor)
    assert [act.duty for act in acts] == [0.0] * (first + 1) + [0.5] * (4 - first)
    played.controller.wants_heat = False
    assert (played.ticks().contactor, played.ticks().duty) == (False, 0.0)
    played.controller.wants_heat = True
    again = [played.ticks() for _ in range(3)]
    # The rules, too, learn a tick later that heat is wanted again.
    assert [(act.contactor, act.duty) for act in again[-2:]] == [(True, 0.0), (True, 0.5)]


def test_without_a_demand_the_contactor_stays_and_nothing_is_fired(played):
    played.ticks(5)
    played.controller.duty = 0.0
    act = played.ticks()
    assert act.contactor and act.duty == act.fired == 0.0 and REFUSED not in act.verdict.warnings
    assert act.burst == firing.Burst(0, (0,) * without_vent().pattern.groups, (), 0.0)


def test_heat_that_was_refused_is_not_made_up_for(played):
    played.controller.duty = 0.37
    played.ticks(8)
    assert played.chain.firing.owed != firing.ready(without_vent().pattern).owed
    played.controller.duty = 0.0
    played.ticks()
    assert played.chain.firing == firing.cut(without_vent().pattern, played.chain.firing)


def test_after_a_trip_an_oven_is_watched_for_longer_than_an_unasked_rise_needs():
    """And no longer than the five minutes that a person waits for the record."""
    assert 2.0 * without_vent().policy.unasked_rise_s <= AFTER_TRIP_S <= 300.0


def test_an_oven_at_rest_draws_and_commands_nothing():
    act = Rest(without_vent().oven).tick(Reading(20.0), 1.0, 1.0, 1)
    assert act.power_w == act.commanded == act.duty == act.fired == 0.0 and not act.contactor


def test_energy_is_the_commanded_share_where_nothing_is_measured(played):
    played.dt_s = 2.0
    fired = sum(played.ticks().fired for _ in range(20))
    told = played.ticks()
    assert fired > 5.0 and told.commanded == pytest.approx(0.5, abs=0.1)
    assert played.chain.energy_j == pytest.approx(fired * 2.0 * without_vent().programme.model.power_w)
    assert played.last_told.energy_j == played.chain.energy_j


def test_energy_is_what_the_meters_measure(played):
    """P = V·I of an ohmic load."""
    played.ticks(4)
    before_j = played.chain.energy_j
    act = played.ticks(supply_v=225.0, current_a=4.0, mean_current_a=2.0, fired=0.5)
    assert act.power_w == pytest.approx(450.0) == played.chain.energy_j - before_j == played.last_told.power_w


def test_hot_elements_draw_less(monkeypatch):
    """R = R0 (1 + a ΔT); the elements are rated at `rated_c`. A coefficient that would leave no resistance is not
    followed."""
    model = dataclasses.replace(without_vent().programme.model, resistance_rise_per_k=1e-3, rated_c=100.0)
    programme = dataclasses.replace(without_vent().programme, model=model)  # pyright: ignore[reportArgumentType]
    played = Played(monkeypatch, dataclasses.replace(without_vent(), programme=programme))
    for element_c, share in ((100.0, 1.0), (600.0, 1.0 / 1.5), (None, 1.0), (-790.0, 1.0 / 0.11), (-875.0, 1.0)):
        played.controller.more = {"element_c": element_c}
        played.ticks(1)
        assert played.ticks(fired=1.0).power_w == pytest.approx(share * model.power_w)


def test_the_rules_are_told_what_was_read_and_decided(played):
    played.chain.recording, played.chain.wall_s, played.chain.before_s = True, 1e9, 50.0
    played.ticks()
    first = played.last_told
    assert (first.time_s, first.step, first.fired, first.commanded, first.contactor) == (101.0, 1, 0.0, 0.0, False)
    assert first.unexplained_w is None and first.heating and first.recording and first.wall_s == 1e9
    assert first.full_power_w == without_vent().programme.model.power_w and first.holding_w == without_vent().holding(
        20.0 + 0.03 * math.sin(1)
    )
    assert first.run_s == 50.0 and first.power_w == 0.0 == first.energy_j
    played.controller.more = {"unexplained_w": 7.0, "holding_w": 1e5, "full_w": 2345.0}
    played.ticks(3)
    act = played.ticks(fired=0.25)
    told = played.last_told
    assert (told.fired, told.unexplained_w, told.holding_w, told.run_s) == (0.25, 7.0, 1e5, 54.0)
    assert told.full_power_w == 2345.0, "the elements' power as hot as they are"
    assert told.contactor and told.heating and told.commanded == act.commanded
    played.controller.wants_heat = False
    played.ticks(2, fired=2.0)
    assert played.last_told.fired == 2.0, "unfiltered, so that the rules see that it is impossible"
    assert not played.last_told.heating and played.controller.given[-1].fired == 0.0
    played.ticks(door_open=True)
    assert played.last_told.unexplained_w is None


def test_a_rig_that_counts_its_cycles_says_what_was_commanded(played):
    played.ticks(4)
    assert played.ticks(commanded=0.9).commanded == 0.9 == played.last_told.commanded


def test_bursts_ahead_of_the_duty_are_told_to_the_controller(monkeypatch):
    """As far as half of the shortest run (30 of 50 cycles a second) and a tick, 2.6 s; more has another cause."""
    slow = firing.Pattern(50.0, shortest_run=60)
    played = Played(monkeypatch, dataclasses.replace(without_vent(), pattern=slow))
    played.dt_s = 2.0
    played.ticks(5, commanded=0.5)
    ahead = []
    for commanded in (0.75, 0.25, *[1.0] * 6, 0.0, 0.5, 1.0):
        played.ticks(commanded=commanded)
        ahead.append(played.controller.given[-1].uneven)
    assert ahead == pytest.approx([0.25, -0.25, 0.5, 0.5, 0.3, 0.0, 0.0, 0.0, -0.5, 0.0, 0.5])
    # Without a demand what was ahead is forgotten, and no burst takes it back.
    played.controller.duty = 0.0
    played.ticks(2, commanded=1.0)
    assert played.controller.given[-1].uneven is None
    played.controller.duty = 0.5
    played.ticks(2, commanded=1.0)
    assert played.controller.given[-1].uneven == 0.5


@pytest.mark.parametrize(("duty", "warned"), [(0.5, False), (np.float32(0.5), True), (math.nan, False)])
def test_a_duty_that_is_no_plain_number_is_refused_and_said(played, duty, warned):
    played.ticks(4)
    played.controller.duty = duty
    act = played.ticks()
    assert (act.duty > 0.0) is (duty == 0.5 and not warned) and (REFUSED in act.verdict.warnings) is warned
    act = played.ticks(door_open=True)
    assert act.duty == 0.0 and REFUSED not in act.verdict.warnings, "no permit: the rules say why"


def test_a_purge_is_a_phase_of_its_own_while_heat_is_wanted(monkeypatch):
    policy = dataclasses.replace(without_vent().policy, airflow_required=True, purge_s=30.0)
    played = Played(monkeypatch, dataclasses.replace(without_vent(), policy=policy))
    acts = [played.ticks(airflow_proved=True) for _ in range(40)]
    assert [act.decision.phase for act in acts] == [Phase.PURGE] * 30 + [Phase.RAMP] * 10
    assert played.chain.safety.purge_until_s == 131.0 and acts[-1].duty == 0.5
    played = Played(monkeypatch, dataclasses.replace(without_vent(), policy=policy))
    act = played.ticks(5, airflow_proved=True, chamber_c=math.nan, faults=("open",))
    while not act.verdict.trips:
        act = played.ticks(airflow_proved=True, chamber_c=math.nan, faults=("open",))
    assert played.now_s < 131.0 and act.decision.phase == Phase.RAMP, "a trip is no purge"
    played = Played(monkeypatch, dataclasses.replace(without_vent(), policy=policy))
    played.controller.wants_heat = False
    assert played.ticks(3, airflow_proved=True).decision.phase == Phase.RAMP


@pytest.mark.parametrize("held", [False, True])
def test_the_start_test_holds_the_schedule_and_keeps_what_was_asked(monkeypatch, held):
    played = Played(monkeypatch, prove=True)
    played.controller.held, played.controller.duty = held, 0.37
    act = played.ticks(requests=(SKIP,))
    assert played.chain.proving and act.decision.phase == Phase.START_TEST and "start test: " in act.decision.reason
    assert played.controller.given[-1].requests == (HOLD,)
    warm, relay_alone = 20.0, []
    for _ in range(60):
        warm += 3.0 * act.fired if act.contactor else 0.0
        before, act = act, played.ticks(chamber_c=warm + 0.03 * math.sin(played.step))
        assert played.last_told.commanded == (before.fired if before.contactor else 0.0)
        if not played.chain.proving:
            break
        assert played.controller.given[-1].requests == () and REFUSED not in act.verdict.warnings
        relay_alone += [act.duty] if act.fired and not act.contactor else []
    assert relay_alone and set(relay_alone) == {start_test.PROBE_DUTY}, "against the open contactor"
    assert not act.verdict.trips and played.controller.given[-1].requests == ((SKIP,) if held else (PROCEED, SKIP))
    act = played.ticks(chamber_c=warm)
    assert act.decision.phase == Phase.RAMP and played.controller.given[-1].requests == ()


def test_without_the_wish_there_is_no_start_test_and_a_run_begins_at_zero(played):
    chain = Chain(played.chain.run)
    act = chain.tick(Reading(20.0), 100.0, 1.0, 1)
    assert not chain.proving and act.decision.phase == Phase.RAMP and played.last_told.run_s == 0.0


def test_an_open_door_opens_the_contactor_in_the_start_test_too(monkeypatch):
    played, reasons = Played(monkeypatch, prove=True), []
    while not (act := played.ticks()).contactor:
        reasons.append(act.decision.reason)
    assert set(reasons[1:]) == {"start test: relay alone"}
    assert act.decision.reason == "start test: contactor alone"
    act = played.ticks(door_open=True)
    assert played.chain.proving and not act.contactor and act.duty == 0.0
    assert act.decision.reason.startswith("start test: waiting, ")


def test_the_start_test_gives_no_heat_that_is_no_longer_wanted(monkeypatch):
    """Not in the very tick, in which the rules still permit it."""
    played = Played(monkeypatch, prove=True)
    while not ((act := played.ticks()).contactor and act.duty > 0.0):
        assert played.step < 30
    played.controller.wants_heat = False
    act = played.ticks()
    assert act.verdict.permit is not None and not act.contactor and act.duty == 0.0


def test_a_failed_start_test_latches_and_ends_the_heat(monkeypatch):
    played = Played(monkeypatch, prove=True)
    act = played.ticks()
    while not act.verdict.trips and played.step < 30:
        act = played.ticks(current_a=5.0, mean_current_a=2.5)
    assert act.verdict.permit is None and not act.contactor and act.duty == 0.0
    assert played.controller.given[-1].requests == (), "the schedule stays held"
    assert act.verdict.new_trips[-1].fault.startswith("start-") and act.verdict.reason == act.verdict.trips[-1].seen
    assert played.chain.safety.trips.keys() >= {act.verdict.trips[-1].fault}
    assert not played.ticks().contactor
