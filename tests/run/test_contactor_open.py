"""Where the plan has no heat in it, the contactor is open and there is no permit: in every second, with every
controller."""

from dataclasses import replace

import pytest

from kilnctl.commissioning import experiment as trial
from kilnctl.commissioning import learning_run
from kilnctl.model.day_zero import day_zero
from kilnctl.model.model_oven import ModelOven
from kilnctl.reading import Reading
from kilnctl.run.chain import Actuation, Chain
from kilnctl.run.prepare import PreparedRun, prepare
from kilnctl.run.rehearsal import follow
from kilnctl.service.session import Rest
from kilnctl.settings.schedule import Schedule, Step


class Watched(Chain):
    """Keeps the result of each tick."""

    def __init__(self, run: PreparedRun):
        super().__init__(run)
        self.acts: list[Actuation] = []

    def tick(self, *arguments, **named):
        act = super().tick(*arguments, **named)
        self.acts.append(act)
        return act


def played(run):
    chain = Watched(run)
    outcome = follow(ModelOven(run.oven, run.model, seed=3), chain, [])
    assert outcome == "finished" and not chain.safety.trips
    return chain.acts


def spans(acts, cold):
    """[(first, last + 1)] of the ticks where the plan has no heat."""
    flags = [cold(act) for act in acts]
    edges = [
        i for i in range(len(flags) + 1) if (flags[i] if i < len(flags) else False) != (flags[i - 1] if i else False)
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))


def nothing_can_heat(acts, cold, at_least: int):
    found = spans(acts, cold)
    assert len(found) >= at_least
    for first, last in found:
        # The permit of the tick in which it begins was given before anything was decided.
        assert not any(act.contactor for act in acts[first:last]), "a relay that sticks now would heat"
        assert not any(act.verdict.permit is not None for act in acts[first + 1 : last])
        assert not any(act.fired for act in acts[first:last])
    assert any(act.contactor and act.fired for act in acts)


def test_in_every_fall_and_coast_of_the_learning_run(oven):
    """F02 of SAFETY.md and the words of `kilnctl learn`: the fall needs no watching, the heat is off."""
    cabinet = oven("curing-cabinet")
    run = learning_run.prepare(cabinet, ceiling_c=110.0)
    # Short stages: what is looked at is the contactor, not what is learnt.
    plan = run.programme.experiment
    short = tuple(
        replace(s, longest_s=min(s.longest_s, 90.0)) if s.kind in ("level", "fall", "coast") else s for s in plan.stages
    )
    acts = played(replace(run, programme=replace(run.programme, experiment=replace(plan, stages=short))))
    kinds = [short[act.decision.step].kind for act in acts]
    assert set(kinds) == {"rest", "full", "coast", "level", "fall"}
    nothing_can_heat(acts, lambda act: short[act.decision.step].kind in ("rest", "coast", "fall"), 5)
    assert trial.HEATED == ("full", "level")


@pytest.mark.parametrize("kind", ["model", "thermostat", "pi", "pid"])
def test_in_every_cooling_of_a_schedule(oven, kind):
    cabinet = oven("curing-cabinet")
    steps = (
        Step(to_c=60.0, hold_s=60.0),
        Step(to_c=55.0, let_cool=True),
        Step(to_c=65.0, at_k_per_s=0.05),
        Step(to_c=57.0, let_cool=True),
    )
    schedule = Schedule(name="Up and down", steps=steps)
    acts = played(prepare(cabinet, schedule, day_zero(cabinet, None, 65.0), controller=kind))
    nothing_can_heat(acts, lambda act: act.decision.step in (1, 3) or act.decision.done, 2)


def test_without_a_run(oven):
    rest = Rest(oven("curing-cabinet"))
    for second in range(1, 5):
        act = rest.tick(Reading(chamber_c=22.0), float(second), 1.0, second)
        assert not act.decision.wants_heat and not act.contactor and act.verdict.permit is None
