"""The fit on records that the model itself made: the truth is found, standard errors are honest, and doors, gaps and
wild readings do no harm."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl import fit
from kilnctl.identification.free_run import Stretch, predict
from kilnctl.identification.records import Log
from kilnctl.identification.stretches import wild_readings
from kilnctl.model.least_squares import huber, minimise
from kilnctl.model.parameters import PARAMETERS, prior_covariance, value_of
from tests.identification.apparatus_records import powers, synthetic, truth_of


@pytest.fixture(scope="module")
def cabinet(oven):
    return oven("curing-cabinet")


@pytest.fixture(scope="module")
def truth(cabinet):
    return truth_of(cabinet)


@pytest.fixture(scope="module")
def found(cabinet, truth):
    return fit(cabinet, synthetic(truth))


def inside(found, truth) -> float:
    """Share of the parameters whose 95 % interval holds the truth."""
    of = {p.name: p for p in PARAMETERS}
    hits = [found.interval(n)[0] <= value_of(truth, of[n]) <= found.interval(n)[1] for n in found.parameters]
    return float(np.mean(hits))


def test_truth_lies_within_the_intervals(found, truth):
    """24 parameters, 95 % each: 20 or more of them inside but for one draw in a hundred (the study in tools/
    counts a hundred draws)."""
    assert found.converged and found.white
    assert found.rms_c == pytest.approx(0.15, rel=0.05)
    assert inside(found, truth) >= 20 / 24
    watts, error = found.spread_of(lambda m: m.holding_w(180.0))
    assert abs(watts - truth.holding_w(180.0)) < 3.0 * error < 0.02 * watts


def test_standard_errors_are_in_the_parameters_unit(found):
    assert found.standard_errors["lag_s"] == pytest.approx(found.values["lag_s"] * found.log_errors["lag_s"])
    assert found.correlations.diagonal() == pytest.approx(np.ones(len(found.parameters)))
    assert np.abs(found.correlations).max() <= 1.0 + 1e-12


def test_little_data_leaves_the_description_and_says_so(cabinet, truth):
    log = synthetic(truth)
    short = Log("twelve minutes", log.time_s[:150], log.reading_c[:150], log.power_w[:150])
    found = fit(cabinet, short, validate=False)
    deep = found.parameters.index("lining_4_w_per_k")
    assert abs(found.logarithms[deep]) < 0.15
    assert {"lining_4_w_per_k", "rise_per_k"} <= set(found.undetermined)
    assert any("hardly determined" in w for w in found.warnings)
    # What twelve minutes of full power do tell is told: the fast part.
    assert found.log_errors["element_w_per_k"] < 0.5 * found.spreads[found.parameters.index("element_w_per_k")]


def test_free_run_on_unseen_power(found, truth):
    """Another hour of other power, predicted from the power alone."""
    power = powers(truth, 2.0, 5.0, 150.0, seed=99)
    stretch = Stretch(5.0, power, np.full(len(power), 20.0), truth.rest(20.0))
    error = predict(found.model, stretch) - predict(truth, stretch)
    assert np.sqrt(np.mean(error**2)) < 0.3


@pytest.mark.slow
def test_wild_readings_do_no_harm(cabinet, truth, found):
    log = synthetic(truth)
    reading = log.reading_c.copy()
    spots = np.random.default_rng(4).choice(len(reading), 40, replace=False)
    reading[spots] += np.where(np.arange(40) % 2, 60.0, -45.0)
    spoilt = fit(cabinet, replace(log, reading_c=reading), validate=False)
    assert sum(r.wild for r in spoilt.records) >= 36
    assert spoilt.model.holding_w(180.0) == pytest.approx(found.model.holding_w(180.0), rel=0.01)


def test_single_wild_readings_are_found_and_steps_are_not():
    smooth = 100.0 + 0.5 * np.arange(200.0)
    smooth[100:] += 30.0
    assert not wild_readings(smooth, 0.1).any()
    smooth[50] += 5.0
    assert np.flatnonzero(wild_readings(smooth, 0.1)).tolist() == [50]


def door(time_s):
    return np.where((time_s >= 4000.0) & (time_s < 4060.0), -2500.0, 0.0)


@pytest.mark.slow
def test_a_noted_door_is_allowed_for(cabinet, truth, found):
    log = replace(synthetic(truth, dt_s=10.0, disturbance_w=door), doors=((4000.0, 4060.0),))
    opened = fit(cabinet, log, validate=False)
    assert opened.rms_c < 0.2
    assert opened.model.holding_w(180.0) == pytest.approx(truth.holding_w(180.0), rel=0.01)


def test_a_door_that_nobody_noted_is_found(cabinet, truth):
    opened = fit(cabinet, synthetic(truth, dt_s=10.0, disturbance_w=door), validate=False)
    ((start, end),) = opened.records[0].doors
    assert 3960.0 <= start <= 4030.0 and 4040.0 <= end <= 4130.0
    assert any("open door" in note for note in opened.records[0].notes)
    assert opened.model.holding_w(180.0) == pytest.approx(truth.holding_w(180.0), rel=0.02)


@pytest.mark.slow
def test_a_gap_cuts_the_record_and_the_rest_is_used(cabinet, truth):
    log = synthetic(truth, dt_s=10.0)
    kept = np.r_[0:450, 550 : len(log.time_s)]
    found = fit(cabinet, Log("gap", log.time_s[kept], log.reading_c[kept], log.power_w[kept]), validate=False)
    assert [r.cold for r in found.records] == [True, False]
    assert found.model.holding_w(180.0) == pytest.approx(truth.holding_w(180.0), rel=0.02)


@pytest.mark.slow
def test_several_records_tell_more_than_one(cabinet, truth, found):
    both = fit(
        cabinet,
        [synthetic(truth, dt_s=10.0), synthetic(truth, dt_s=10.0, top_c=120.0, seed=11)],
        validate=False,
    )
    assert len(both.records) == 2
    assert both.log_errors["rise_per_k"] < found.log_errors["rise_per_k"]
    assert inside(both, truth) >= 20 / 24


@pytest.mark.slow
def test_a_load_in_one_record_does_not_spoil_the_other(cabinet):
    loaded = truth_of(cabinet, load=cabinet.usual_load)
    log = replace(synthetic(loaded, dt_s=10.0), load=cabinet.usual_load)
    found = fit(cabinet, log, validate=False)
    assert found.model.contents_j_per_k == pytest.approx(loaded.contents_j_per_k, rel=0.25)
    assert inside(found, loaded) >= 19 / 24


@pytest.mark.slow
def test_a_disturbed_record_is_warned_of(cabinet, truth):
    """Ten minutes of heat that was not fired: no closed oven does that, and the fit must say so."""
    log = synthetic(
        truth,
        dt_s=10.0,
        disturbance_w=lambda t: np.where((t > 2500.0) & (t < 6000.0), 0.5 * truth.power_w * np.sin(t / 500.0), 0.0),
    )
    found = fit(cabinet, log)
    assert not found.white
    assert found.warnings
    assert found.news_k > 20.0 * found.noise_k


def test_same_record_same_fit(cabinet, truth):
    log = synthetic(truth, hours=1.0)
    one, two = fit(cabinet, log, validate=False), fit(cabinet, log, validate=False)
    assert np.array_equal(one.logarithms, two.logarithms) and np.array_equal(one.covariance, two.covariance)


def test_prior_covariance_is_one():
    covariance = prior_covariance(PARAMETERS)
    assert np.linalg.eigvalsh(covariance).min() > 0.0
    assert np.array_equal(covariance, covariance.T)


# ---- the minimiser
# ---------------------------------------------------------------------------------------------------


def test_minimiser_against_the_closed_form():
    """A straight line with a normal prior: the answer and its covariance are those of linear Bayes."""
    generator = np.random.default_rng(2)
    design = np.column_stack((np.ones(30), np.linspace(0.0, 1.0, 30)))
    data = design @ [1.0, 2.0] + 0.1 * generator.standard_normal(30)
    spread = np.array([0.5, 0.05])
    result = minimise(lambda u, j: (data - design @ u, design), np.zeros(2), spread, 0.1, tolerance=1e-9)
    precision = design.T @ design / 0.01 + np.diag(1.0 / spread**2)
    assert result.converged
    assert result.unknowns == pytest.approx(np.linalg.solve(precision, design.T @ data / 0.01), abs=1e-8)
    assert result.covariance == pytest.approx(np.linalg.inv(precision), rel=1e-8)


def test_minimiser_walks_a_curved_valley():
    """Rosenbrock's function as residuals: from (−1.2, 1) to (1, 1)."""
    result = minimise(
        lambda u, j: (
            np.array([10.0 * (u[1] - u[0] ** 2), 1.0 - u[0]]),
            np.array([[20.0 * u[0], -10.0], [1.0, 0.0]]),
        ),
        np.array([-1.2, 1.0]),
        np.full(2, np.inf),
        1.0,
        most=200,
        tolerance=1e-8,
    )
    assert result.converged and result.unknowns == pytest.approx([1.0, 1.0], abs=1e-5)


def test_huber_grows_linearly_beyond_its_knee():
    loss, weight = huber(np.array([0.5, -6.0]), 2.0)
    assert loss == pytest.approx([0.125, 2.0 * 6.0 - 2.0])
    assert weight == pytest.approx([1.0, 2.0 / 6.0])
