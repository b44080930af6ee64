"""PI and PID by a published tuning rule, from a step response.

S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning", J. Process Control 13 (2003) 291
(SIMC): Kc = τ1 / (k (τc + θ)), τI = min(τ1, 4 (τc + θ)), with τc = θ. The process (gain k, lag τ1, delay θ) comes from
the step response of the energy balance at the working point."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from ..model.energy import SENSOR, EnergyModel


@dataclass(frozen=True, slots=True)
class Tuning:
    """gain_w_per_k, integral_s, derivative_s of the series form, and the process it was made for."""

    gain_w_per_k: float
    integral_s: float
    derivative_s: float
    slope_k_per_s: float
    dead_s: float
    lag_s: float


def simc_pi(
    model: EnergyModel, working_c: float, ambient_c: float, derivative: bool = False, slower: float = 1.0
) -> Tuning:
    """SIMC tuning at a working point to the nearest °C, τc = `slower` · θ. The sensor's response to a small power
    step from steady state is simulated; its steepest tangent gives slope and apparent dead time (for the PID the
    second lag is taken out of the dead time). Results are cached: a ramp asks once for each °C."""
    return _simulated(model, round(working_c, 0), ambient_c, derivative, slower)


@lru_cache(maxsize=64)
def _simulated(model: EnergyModel, working_c: float, ambient_c: float, derivative: bool, slower: float) -> Tuning:
    x, holding = model.steady(working_c, ambient_c)
    small, dt = 0.05 * model.power_w, 2.0
    base, rise = x[SENSOR], []
    for _ in range(900):
        x = model.step(x, max(0.0, holding) + small, dt, ambient_c)
        rise.append(x[SENSOR] - base)
    gain_static = 1.0 / max(1e-9, (model.steady(working_c + 1.0, ambient_c)[1] - holding))
    return by_tangent(rise, dt, small, gain_static, 0.0, model.dead_s, derivative, slower)


def by_tangent(
    rise_k: Sequence[float],
    dt_s: float,
    step_w: float,
    gain_static: float,
    before_s: float,
    late_s: float,
    derivative: bool,
    slower: float = 1.0,
) -> Tuning:
    """SIMC tuning from a step response: `rise_k` at the ends of steps of dt_s after a step of `step_w`. Its steepest
    tangent gives slope and apparent dead time. `before_s` of dead time are in the response already, `late_s` are not;
    for the PID half of the apparent dead time beyond those counts as the second lag. `gain_static` in K/W."""
    steepest, at, value_at, last = 0.0, 0.0, 0.0, 0.0
    for i, value in enumerate(rise_k):
        slope = (value - last) / dt_s
        if slope > steepest:
            steepest, at, value_at = slope, (i + 0.5) * dt_s, 0.5 * (value + last)
        last = value
    apparent = max(1.0, at - value_at / steepest) + late_s
    slope = steepest / step_w  # K/s per W
    lag = gain_static / slope
    second = min(0.5 * (apparent - late_s - before_s), 60.0) if derivative else 0.0
    dead = max(1.0, apparent - second)
    tau_c = slower * dead
    return Tuning(1.0 / (slope * (tau_c + dead)), min(lag, 4.0 * (tau_c + dead)), second, slope, dead, lag)
