"""The worst draws as ovens, and draws of a fitted model."""

import dataclasses
import math

import numpy as np
import pytest

import kilnctl
from kilnctl import KilnctlError, rehearse
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import EnergyModel
from kilnctl.model.parameters import PARAMETERS, free_in, value_of
from kilnctl.model.trained_file import TrainedModel, load_model, save_model
from kilnctl.plants.injection import PlantFault
from kilnctl.studies import case_of, run_case
from kilnctl.studies.draw import measures_of, oven_of
from kilnctl.studies.replay_files import save_worst
from tests.studies.study_cases import WARM


@pytest.mark.slow
def test_the_worst_draws_are_ovens_that_rehearse_replays_exactly(case, tmp_path):
    whole = dataclasses.replace(case, whole=True)
    made = run_case(whole, 3, jobs=2)
    saved = save_worst(made, tmp_path / "worst")
    assert saved and any("energy" in why for _, why in saved)
    for path, _ in saved:
        run = rehearse(kilnctl.load_oven(path), WARM)
        row = next(r for r in made.rows if r["draw"] == int(path.stem.split("-")[1]))
        assert measures_of(run) == row["measures"] and run.outcome == row["outcome"]
    with pytest.raises(KilnctlError, match="one draw of a study"):
        case_of(kilnctl.load_oven(saved[0][0]), WARM)


@pytest.fixture(scope="module")
def trained_file(oven, tmp_path_factory):
    """A model as `fit` would have saved it, with a covariance of two correlated and all other independent
    parameters."""
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet, cabinet.usual_load, 80.0)
    names = tuple(p.name for p in free_in(model))
    covariance = np.diag([0.01**2] * len(names))
    covariance[0, 0], covariance[1, 1], covariance[0, 1], covariance[1, 0] = 0.05**2, 0.04**2, 0.8 * 0.002, 0.8 * 0.002
    path = tmp_path_factory.mktemp("model") / "cabinet.model.yaml"
    save_model(
        path,
        TrainedModel(
            cabinet.name,
            model,
            cabinet.usual_load,
            80.0,
            20.0,
            90.0,
            0.3,
            "2026-01-01",
            (("r", 0.3),),
            dict.fromkeys(names, 0.01),
            covariance_of=names,
            covariance=tuple(map(tuple, covariance.tolist())),
        ),
    )
    return path


def test_draws_of_a_fit_have_its_covariance(oven, trained_file):
    cabinet = oven("curing-cabinet")
    known = load_model(trained_file, cabinet)
    assert (
        np.array(known.covariance).shape == (len(known.covariance_of),) * 2
        and known.covariance[0][1] == known.covariance[1][0] == 0.8 * 0.002
    )
    case = case_of(cabinet, WARM, seed=1, model=trained_file, fitted=True)
    assert isinstance(case.model, EnergyModel)
    by_name = {p.name: p for p in PARAMETERS}
    first, second = (by_name[n] for n in known.covariance_of[:2])
    drawn = [model for k in range(1500) if (model := oven_of(case, k)[1]) is not None]
    logs = np.array([[math.log(value_of(m, p) / value_of(case.model, p)) for p in (first, second)] for m in drawn])
    found = np.cov(logs.T)
    # Standard error of a variance of n draws: σ²·√(2/n) = 3.7 %; four of them.
    assert found[0, 0] == pytest.approx(0.05**2, rel=0.15) and found[1, 1] == pytest.approx(0.04**2, rel=0.15)
    assert found[0, 1] / math.sqrt(found[0, 0] * found[1, 1]) == pytest.approx(0.8, abs=0.04)
    virtual = oven_of(case, 0)[0]
    assert virtual.conductivity == 1.0 and virtual.supply != 1.0


@pytest.mark.slow
def test_a_study_of_a_fit_runs_and_its_worst_replay_exactly(oven, trained_file, tmp_path):
    cabinet = oven("curing-cabinet")
    case = case_of(cabinet, WARM, seed=1, model=trained_file, fitted=True, whole=True)
    made = run_case(case, 2, jobs=1)
    assert not made.failed and made.rows[0]["measures"]["overshoot_k"] < 3.0
    saved = save_worst(made, tmp_path, trained_file)
    for path, _ in saved:
        again = kilnctl.load_oven(path)
        run = rehearse(again, WARM, model=load_model(trained_file, cabinet).for_load(cabinet, cabinet.usual_load))
        row = next(r for r in made.rows if r["draw"] == int(path.stem.split("-")[1]))
        assert measures_of(run) == row["measures"]
    with pytest.raises(KilnctlError, match="faults can be injected"):
        rehearse(kilnctl.load_oven(saved[0][0]), WARM, faults=(PlantFault("door open", 10.0, 5.0, 0.5),))
    with pytest.raises(KilnctlError, match="--model"):
        case_of(cabinet, WARM, fitted=True)


def test_a_model_saved_without_covariance_cannot_be_drawn_from(oven, trained_file, tmp_path):
    cabinet = oven("curing-cabinet")
    known = dataclasses.replace(load_model(trained_file, cabinet), covariance=(), covariance_of=())
    save_model(tmp_path / "old.yaml", known)
    with pytest.raises(KilnctlError, match="without its covariance"):
        case_of(cabinet, WARM, model=tmp_path / "old.yaml", fitted=True)
