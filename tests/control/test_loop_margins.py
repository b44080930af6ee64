"""Margins of the running control, measured in closed loop; the measurement is checked on a loop that can be
computed."""

import dataclasses
import math

import numpy as np
import pytest
from loop_margins import Loop, edge, linear_at, loop_margins, margins

from kilnctl import control
from kilnctl.control import estimator
from kilnctl.control.simc import simc_pi
from kilnctl.model.day_zero import day_zero


def test_measured_margins_of_a_pi_against_its_transfer_function(oven):
    """The same measurement on a PI loop, whose L(jω) is known: the rule's gain and integral time around the model's
    linearisation, with half a tick of hold. (That `margins` is right is checked against published figures and
    python-control below.)"""
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet, cabinet.usual_load, 200.0)
    found = loop_margins(cabinet, model, 200.0, control.Plain("pi"))
    tuning, process = simc_pi(model, 200.0, cabinet.site.ambient_c), linear_at(model, 200.0)

    def loop(w: np.ndarray) -> np.ndarray:
        s = 1j * w
        return tuning.gain_w_per_k * (1.0 + 1.0 / (tuning.integral_s * s)) * process.response(w) * np.exp(-0.5 * s)

    exact = margins(loop, 1e-4, 2.0)
    # The measurement moves in steps of 3 % and of a tick, and calls stable what dies away within 40 min.
    assert found.gain == pytest.approx(exact.gain, rel=0.10)
    assert found.delay_s == pytest.approx(exact.delay_s, rel=0.10, abs=1.5)
    assert found.peak == pytest.approx(exact.peak, rel=0.05) and math.isnan(found.phase_deg)


@pytest.mark.slow
@pytest.mark.parametrize("name, at_c", [("brick-kiln", 900.0), ("bench-muffle", 700.0)])
def test_the_control_keeps_its_distance_from_trembling(oven, name, at_c):
    made = oven(name)
    model = day_zero(made, made.usual_load, at_c)
    loop = Loop(made, model, at_c)
    # A model 30 % wrong in its gain and twice the dead time stay far from the edge; Ms below 2 is the usual bound (K.
    # J. Åström and T. Hägglund, Advanced PID Control, 2006: 1.2 to 2.0).
    assert loop.dies_away(2.2, 0.0) and loop.dies_away(1.0, 3.0 * model.dead_s)
    periods = np.geomspace(max(6.0 * loop.dt, 2.0 * model.dead_s), 20.0 * (model.dead_s + model.lag_at_s(at_c)), 6)
    assert max(loop.sensitivity(float(p)) for p in periods) < 1.9
    # Thirty times the gain makes any loop oscillate that does not detect it.
    assert not Loop(made, model, at_c, control.Plain("pi")).dies_away(30.0, 0.0), (
        "the measurement knows what trembling is"
    )


@pytest.mark.parametrize("limit", [1.5, 2.2, 5.0, 7.9, 8.0, 100.0])
def test_an_edge_is_found_up_to_the_end_of_the_scale(limit):
    found = edge(lambda value: value <= limit, 1.0, 8.0, 0.03)
    assert found == (math.inf if limit >= 8.0 else pytest.approx(limit, abs=0.03 * limit))


def test_where_the_limits_rule_there_are_no_margins(oven):
    cabinet = oven("curing-cabinet")
    with pytest.raises(ValueError, match="no room"):
        loop_margins(cabinet, day_zero(cabinet, None, 200.0), 24.0)


def test_an_oven_wholly_unlike_the_model_does_not_break_the_estimate(oven):
    """Readings that no model can follow: the estimate starts again and does not diverge."""
    muffle = oven("bench-muffle")
    model = day_zero(muffle, muffle.usual_load, 700.0)
    estimate = estimator.start(model, 700.0, 20.0)
    for i in range(4000):
        reading = 700.0 + (600.0 if i // 7 % 2 else -650.0)
        estimate = estimator.update(model, estimate, reading, model.power_w if i % 3 else 0.0, 1.0, 20.0, 0.15)
        assert all(math.isfinite(v) and -200.0 < v < 3000.0 for v in estimate.x)
        assert abs(estimate.unexplained_w) <= estimator.LARGEST_UNEXPLAINED * model.power_w
    broken = dataclasses.replace(estimate, x=(math.nan,) * 8)
    again = estimator.update(model, broken, 650.0, 0.0, 1.0, 20.0, 0.15)
    assert again.x == estimator.start(model, 650.0, 20.0).x
    assert estimator.update(model, broken, math.nan, 0.0, 1.0, 20.0, 0.15, usable=False).x[0] == 20.0


def pi_loop(gain, integral_s, process):
    return lambda w: gain * (1.0 + 1.0 / (integral_s * 1j * w)) * process(w)


def test_margins_against_published():
    """SIMC on first order with delay, τ1 ≤ 8θ: GM 3.141, PM 61.35°, Ms 1.590. Integrating: GM 2.963, PM 46.86°, Ms
    1.704 (S. Skogestad, J. Process Control 13 (2003) 291, table 1)."""
    found = margins(pi_loop(6.0 / (2.0 * 2.0), 6.0, lambda w: 2.0 * np.exp(-1j * w) / (1.0 + 6.0j * w)), 1e-3, 1e2)
    assert (found.gain, found.phase_deg, found.peak) == pytest.approx((3.141, 61.35, 1.590), rel=1e-3)
    found = margins(pi_loop(0.5, 8.0, lambda w: np.exp(-1j * w) / (1j * w)), 1e-3, 1e2)
    assert (found.gain, found.phase_deg, found.peak) == pytest.approx((2.963, 46.86, 1.704), rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("name", ["curing-cabinet", "brick-kiln", "bench-muffle"])
def test_margins_of_the_oven_against_python_control(oven, name):
    """The whole loop with the dead time as a Padé approximation of high order, margins by python-control."""
    ct = pytest.importorskip("control", reason="python-control is the independent reference for margins")
    model, at = day_zero(oven(name)), 0.8 * oven(name).limits.highest_c
    linear, tuning = linear_at(model, at), simc_pi(model, at, model.ambient_c)
    s = ct.tf("s")
    plant = ct.ss(linear.a, linear.b[:, None], linear.c[None, :], [[0.0]]) * (1.0 / (1.0 + linear.sensor_s * s))
    delay = ct.tf(*ct.pade(linear.dead_s, 8))
    trim = tuning.gain_w_per_k * (1.0 + 1.0 / (tuning.integral_s * s))
    w = np.geomspace(1e-3 / tuning.dead_s, 30.0 / tuning.dead_s, 5000)
    response = np.squeeze(np.prod([ct.frequency_response(part, w).complex for part in (plant, delay, trim)], axis=0))
    ours = pi_loop(tuning.gain_w_per_k, tuning.integral_s, linear.response)
    assert np.abs(ours(w) / response - 1.0)[w < 1.5 / tuning.dead_s].max() < 1e-3
    gain, phase, _, _, crossing, _ = ct.stability_margins(ct.FRD(response, w))[:6]
    found = margins(ours, w[0], w[-1])
    assert found.gain == pytest.approx(float(gain), rel=0.01)
    assert found.phase_deg == pytest.approx(float(phase), abs=0.5)
    assert found.delay_s == pytest.approx(np.radians(float(phase)) / float(crossing), rel=0.02)
    assert found.peak == pytest.approx(np.abs(1.0 / (1.0 + response)).max(), rel=0.005)
