"""Networks, their tangents, and the free run: against finite differences, the hand-written step, and
python-control."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl.identification.coordinates import coordinates_of
from kilnctl.identification.free_run import Extra, Stretch, delayed, network_of, predict, sensitivities, simulate
from kilnctl.identification.network import Column, Network, recur, run, tangents
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CONTENTS, ELEMENT, LINING, SENSOR, N
from kilnctl.model.parameters import free_in, scaled

OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")


def busy(model, steps: int = 700) -> Stretch:
    """Power that jumps, an open door, and a start that is not at rest."""
    power = np.repeat(np.random.default_rng(0).uniform(0.0, 1.0, steps // 50), 50) * model.power_w
    disturbance = np.zeros(steps)
    disturbance[300:360] = -0.1 * model.power_w
    return Stretch(1.0, power, np.full(steps, 20.0), tuple(20.0 + np.arange(N, dtype=float)), disturbance)


@pytest.mark.parametrize("name", OVENS)
def test_derivatives_to_every_unknown_equal_finite_differences(oven, name):
    model = day_zero(oven(name))
    stretch, parameters = busy(model), free_in(model)
    extras = (Extra(states={ELEMENT: 1.0, LINING: 0.5}), Extra(room=1.0), Extra(span=(300, 360)))
    predicted, jacobian = sensitivities(model, stretch, parameters, extras)
    assert np.array_equal(predicted, predict(model, stretch))
    for i, p in enumerate(parameters):
        step = np.zeros(len(parameters))
        step[i] = 1e-4
        by_difference = (
            predict(scaled(model, parameters, step), stretch) - predict(scaled(model, parameters, -step), stretch)
        ) / 2e-4
        # The dead time's interpolation is only smooth to second order.
        tolerance = 1e-3 if p.name == "dead_s" else 1e-6
        assert np.abs(by_difference - jacobian[:, i]).max() <= tolerance * np.abs(by_difference).max() + 5e-9, p.name
    start = np.array(stretch.start_c)
    shift = np.zeros(N)
    shift[ELEMENT], shift[LINING] = 1.0, 0.5
    disturbance_w = stretch.disturbance_w
    assert disturbance_w is not None
    moved = (
        lambda h: replace(stretch, start_c=tuple(start + h * shift)),
        lambda h: replace(stretch, ambient_c=stretch.ambient_c + h),
        lambda h: replace(stretch, disturbance_w=disturbance_w + h * (disturbance_w < 0.0)),
    )
    for i, change in enumerate(moved, len(parameters)):
        by_difference = (predict(model, change(1e-2)) - predict(model, change(-1e-2))) / 2e-2
        assert np.abs(by_difference - jacobian[:, i]).max() <= 1e-6 * np.abs(by_difference).max()


@pytest.mark.parametrize("name", OVENS)
def test_coarse_derivatives_are_close(oven, name):
    model = day_zero(oven(name))
    stretch, parameters = busy(model), free_in(model)
    _, exact = sensitivities(model, stretch, parameters)
    _, coarse = sensitivities(model, stretch, parameters, every=5)
    slow = [i for i, p in enumerate(parameters) if p.name.startswith(("lining_1", "lining_2", "film", "contents"))]
    error = np.linalg.norm(exact[::5][:, slow] - coarse[:, slow], axis=0) / np.linalg.norm(exact[:, slow][::5], axis=0)
    assert error.max() < 0.15


@pytest.mark.parametrize("name", OVENS)
def test_the_network_is_the_model_that_control_steps(oven, name):
    """The generic solver on `network_of` gives what `EnergyModel.step`, eliminated by hand, gives
    (constant-resistance elements)."""
    model = day_zero(oven(name)).but(resistance_rise_per_k=0.0)
    stretch = busy(model, 200)
    assert stretch.disturbance_w is not None
    x = simulate(model, stretch)
    heat = np.zeros((stretch.steps, SENSOR))
    heat[:, 0], heat[:, 1] = stretch.power_w, model.extra_w + stretch.disturbance_w
    nodes = run(
        network_of(model),
        np.array(stretch.start_c[:SENSOR]),
        heat,
        stretch.ambient_c[:, None],
        np.ones(stretch.steps),
    )
    kept = [i for i in range(SENSOR) if i != CONTENTS or model.contents_j_per_k > 0.0]
    assert np.abs(nodes[:, kept] - x[:, kept]).max() < 1e-8


@pytest.mark.slow
def test_step_and_sensitivities_against_python_control():
    """A linear network: our step is the backward difference of the same state space, and its derivative to a
    conductance is the difference of two such responses."""
    ct = pytest.importorskip("control", reason="python-control is the independent reference for discretisation")
    capacity, dt, steps = np.array([120.0, 900.0]), 5.0, 60

    def network(g: float) -> Network:
        return Network(capacity, (0, 1), (1, 2), np.array([g, 1.7]), np.zeros(2), np.zeros(2))

    def reference(g: float) -> np.ndarray:
        a = np.array([[-g, g], [g, -g - 1.7]]) / capacity[:, None]
        system = ct.ss(a, np.array([[1.0 / capacity[0]], [0.0]]), np.eye(2), np.zeros((2, 1)))
        discrete = ct.sample_system(system, dt, method="backward_diff")
        _time, out = ct.forced_response(discrete, np.arange(steps + 1) * dt, np.full(steps + 1, 40.0))[:2]
        # Its output has a direct part (the new input acts at once); ours at sample k+1 is its at k.
        return np.vstack((np.zeros(2), out.T[:steps])) if np.abs(out[0, 0]) > 0.0 else out.T

    heat = np.zeros((steps, 2))
    heat[:, 0] = 40.0
    boundary, times = np.zeros((steps, 1)), np.full(steps, dt)
    x = run(network(3.0), np.zeros(2), heat, boundary, times)
    assert x == pytest.approx(reference(3.0), abs=1e-9)
    a, b = tangents(network(3.0), x, boundary, times, [Column(w_per_k={0: 1.0})])
    s = recur(a, b, np.zeros((2, 1)), (0, 1))[:, :, 0]
    assert s == pytest.approx((reference(3.0 + 1e-4) - reference(3.0 - 1e-4)) / 2e-4, abs=1e-5)


@pytest.mark.parametrize("name", OVENS)
def test_coordinates_there_and_back(oven, name):
    model = day_zero(oven(name))
    parameters = free_in(model)
    coordinates = coordinates_of(model, parameters, 200.0)
    theta = np.random.default_rng(1).normal(0.0, 0.4, len(parameters))
    assert coordinates.logarithms(coordinates.of(theta)) == pytest.approx(theta, abs=1e-10)
    assert coordinates.logarithms(np.zeros(len(parameters))) == pytest.approx(np.zeros(len(parameters)), abs=1e-12)


def test_delay_is_exact_for_a_straight_line_and_on_the_grid():
    line = 3.0 + 0.25 * np.arange(50)
    assert delayed(line, 7.3, 2.0)[8:-3] == pytest.approx(line[8:-3] - 0.125 * 7.3)
    assert np.array_equal(delayed(line, 8.0, 2.0)[4:], line[:-4])
    assert delayed(line, 7.3, 2.0, slope=True)[8:-3] == pytest.approx(np.full(39, 0.125))
