"""Heat that has moved is expected to move again."""

import math

import numpy as np

from kilnctl.control import estimator
from kilnctl.model.energy import SENSOR
from tests.control.control_cases import at_rest


def test_heat_that_has_moved_is_expected_to_move_again(cabinet_model, monkeypatch):
    """As a supply without a meter varies: later changes are found sooner than the first. Noise alone leaves no such
    expectation."""
    m, waves = cabinet_model, (lambda t: 0.08 * cabinet_model.power_w * math.sin(t / 97.0))
    true_w = np.array([waves(t) for t in range(3600)])

    def off_w():
        return float(np.sqrt(np.mean((at_rest(m, 3600, waves)[1800:, 0] - true_w[1800:]) ** 2)))

    with_it = off_w()
    monkeypatch.setattr(estimator, "RESTLESS", 0.0)
    assert with_it < 0.85 * off_w()


def test_noise_and_a_door_leave_no_restlessness(cabinet_model):
    """A door that a switch reports ends, and tells nothing of what comes after it."""
    m, rng = cabinet_model, np.random.default_rng(4)
    x, power = m.steady(200.0)
    estimate = estimator.start(m, 200.0, 20.0)
    estimate.x = estimate.now = tuple(x)
    for t in range(3000):
        x = m.step(x, power, 1.0, 20.0)
        estimate = estimator.update(m, estimate, x[SENSOR] + 0.15 * rng.standard_normal(), power, 1.0, 20.0, 0.15)
        assert estimate.restless < 0.05 or t < 600

    def after(x, estimate, *door):
        for _ in range(120):
            x = m.step(x, power, 1.0, 20.0, -0.15 * m.power_w)
            estimate = estimator.update(m, estimate, x[SENSOR], power, 1.0, 20.0, 0.15, *door)
        return estimate.restless

    assert after(x, estimate, 80.0, 20.0) < 0.05 < after(x, estimate)
