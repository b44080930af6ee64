"""The one list of what the workshop's ovens are tried on names what is there, and all of it can be prepared."""

import pytest
from control_scenarios import control_scenarios
from scenarios import CONFIGS, FAULTS, OVENS, WORKSHOP

from kilnctl.plants.injection import load_faults
from kilnctl.run.prepare import prepare
from kilnctl.settings.schedule import Schedule, schedule_of


def test_every_oven_of_the_workshop_has_its_trials():
    assert set(OVENS) == {file.stem for file in (CONFIGS / "ovens").glob("*.yaml")}


@pytest.mark.slow
@pytest.mark.parametrize("name", OVENS)
def test_every_schedule_can_be_prepared(name, oven, schedule):
    it, trials = oven(name), WORKSHOP[name]
    plans = [schedule(plan) for plan in {trials.everyday, *trials.more, *trials.unseen}]
    plans += [schedule_of(f"schedule: {plan}\n{text}", plan) for plan, text in trials.short.items()]
    steps = {s.name: s.steps for s in control_scenarios(trials.top_c, trials.low_c, trials.settled_s)}
    plans += [Schedule(name=plan, steps=given, too_fast="stretch") for plan, given in steps.items()]
    for plan in plans:
        assert prepare(it, plan).programme.legs, plan.name


def test_the_faults_can_be_read(tmp_path):
    file = tmp_path / "faults.yaml"
    file.write_text(FAULTS, encoding="utf-8")
    assert len(load_faults(file)) == 4
