"""`kilnctl check` judges with the limits and the model that the run is started with."""

from dataclasses import replace

import pytest

from kilnctl import load_oven, load_schedule, rehearse, safety
from kilnctl.identification.fitting import fit
from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import day_zero_doubt, envelope_of
from kilnctl.model.trained_file import save_model, trained
from kilnctl.service.session import prepare
from kilnctl.settings.schedule import Schedule, Step


@pytest.fixture(scope="module")
def quick_model(oven, tmp_path_factory):
    """A trained model of a cabinet that is far quicker than its description."""
    cabinet = oven("curing-cabinet")
    brief = Schedule(name="Brief", steps=(Step(to_c=60.0, hold_s=600.0),))
    found = fit(cabinet, rehearse(cabinet, brief, seed=1), validate=False)
    m = found.model
    found = replace(
        found, model=m.but(element_j_per_k=0.2 * m.element_j_per_k, chamber_j_per_k=0.2 * m.chamber_j_per_k)
    )
    path = tmp_path_factory.mktemp("model") / "quick.yaml"
    save_model(path, trained(found))
    return path


@pytest.mark.slow
@pytest.mark.parametrize("with_model", [False, True])
def test_the_limits_that_it_tells_are_those_of_the_run(oven, schedule, here, quick_model, with_model):
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    model = str(quick_model) if with_model else None
    run = prepare(load_oven(cabinet.file), load_schedule(cure.file), model)
    bare = safety.policy_for(cabinet, cure)
    assert f"{run.policy.rise_k_per_s:.2f}" != f"{bare.rise_k_per_s:.2f}", (
        "without its model the rules have other numbers"
    )
    done = here("check", cabinet.file, cure.file, *(("--model", model) if model else ()))
    assert done.returncode == 0
    assert (
        f"rises faster than {run.policy.rise_k_per_s:.2f} K/s" in done.stdout
        and f"control's model: {run.model_words}" in done.stdout
    )
    assert ("before a learning run" in done.stdout) is not with_model
    load, model = cabinet.usual_load, day_zero(cabinet, cabinet.usual_load, cure.top_c)
    envelope = envelope_of(cabinet, load, model, day_zero_doubt(cabinet, load))
    described = safety.policy_for(cabinet, cure, model, envelope=envelope)
    assert (run.policy.rise_k_per_s == described.rise_k_per_s) is not with_model


def test_a_model_without_a_schedule_or_of_nothing_is_refused(oven, schedule, here, tmp_path):
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    assert here("check", cabinet.file, "--model", "x.yaml").returncode == 2
    done = here("check", cabinet.file, cure.file, "--model", tmp_path / "none.yaml")
    assert done.returncode == 2 and "none.yaml" in done.stderr
