"""Synthetic records from the model itself, for the tests of the fit."""

import numpy as np

from kilnctl.identification.free_run import Stretch, predict
from kilnctl.identification.records import Log
from kilnctl.model.day_zero import day_zero
from kilnctl.model.parameters import free_in, scaled


def truth_of(oven, seed: int = 3, spread: float = 0.15, load=None):
    """A model whose every parameter is off the description's by some 15 %."""
    base = day_zero(oven, load)
    parameters = free_in(base)
    generator = np.random.default_rng(seed)
    return scaled(base, parameters, (spread * generator.standard_normal(len(parameters))).tolist())


def powers(truth, hours: float, dt_s: float, top_c: float, seed: int = 5) -> np.ndarray:
    """Full power, levels around what holds top_c, and a fall without heat at the end."""
    steps = int(hours * 3600.0 / dt_s)
    generator = np.random.default_rng(seed)
    block = int(420.0 / dt_s)
    level = np.repeat(generator.uniform(0.4, 1.9, steps // block + 1), block)[:steps] * truth.holding_w(top_c)
    level[: int(600.0 / dt_s)] = 0.8 * truth.power_w
    level[int(0.72 * steps) :] = 0.0
    return np.minimum(level, truth.power_w)


def synthetic(
    truth,
    hours: float = 3.0,
    dt_s: float = 5.0,
    noise_k: float = 0.15,
    top_c: float = 200.0,
    seed: int = 7,
    disturbance_w=None,
) -> Log:
    power = powers(truth, hours, dt_s, top_c)
    extra = None if disturbance_w is None else disturbance_w(dt_s * np.arange(len(power)))
    stretch = Stretch(dt_s, power, np.full(len(power), truth.ambient_c), truth.rest(truth.ambient_c), extra)
    reading = predict(truth, stretch) + noise_k * np.random.default_rng(seed).standard_normal(len(power) + 1)
    return Log("synthetic", dt_s * np.arange(len(power) + 1), reading, np.concatenate(([0.0], power)))
