"""Plain controllers for comparison and as a fall-back: an on/off thermostat, and PI and PID by a published tuning rule.

Tuning: S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning", J. Process Control 13 (2003)
291 (SIMC): Kc = τ1 / (k (τc + θ)), τI = min(τ1, 4 (τc + θ)), with τc = θ. The process (gain k, lag τ1, delay θ) is taken from
the energy balance at the working point, by the slope of its step response.
"""

import copy
import math
from dataclasses import dataclass

from ..model.energy import CHAMBER, SENSOR, EnergyModel
from ..reading import Reading
from . import reference
from .feasibility import Programme


@dataclass(frozen=True, slots=True)
class Tuning:
    """gain_w_per_k, integral_s, derivative_s of the series form, and the process it was made for."""

    gain_w_per_k: float
    integral_s: float
    derivative_s: float
    slope_k_per_s: float
    dead_s: float
    lag_s: float


_TUNINGS: dict = {}


def simc_pi(
    model: EnergyModel, working_c: float, ambient_c: float, derivative: bool = False, slower: float = 1.0
) -> Tuning:
    """SIMC tuning at a working point, τc = `slower` · θ. The sensor's response to a small power step from steady state is simulated; its
    steepest tangent gives slope and apparent dead time (for the PID the second lag is taken out of the dead time)."""
    key = (model, round(working_c, 0), ambient_c, derivative, slower)
    if key in _TUNINGS:
        return _TUNINGS[key]
    x, holding = model.steady(working_c, ambient_c)
    small, dt = 0.05 * model.power_w, 2.0
    base, rise = x[SENSOR], []
    for _ in range(900):
        x = model.step(x, max(0.0, holding) + small, dt, ambient_c)
        rise.append(x[SENSOR] - base)
    gain_static = 1.0 / max(1e-9, (model.steady(working_c + 1.0, ambient_c)[1] - holding))
    tuning = by_tangent(rise, dt, small, gain_static, 0.0, model.dead_s, derivative, slower)
    _TUNINGS[key] = tuning
    return tuning


def by_tangent(
    rise_k,
    dt_s: float,
    step_w: float,
    gain_static: float,
    before_s: float,
    late_s: float,
    derivative: bool,
    slower: float = 1.0,
) -> Tuning:
    """SIMC tuning from a step response: `rise_k` at the ends of steps of dt_s after a step of `step_w`. Its steepest tangent gives slope and
    apparent dead time. `before_s` of dead time are in the response already, `late_s` are not; for the PID half of the apparent dead time beyond
    those counts as the second lag. `gain_static` in K/W."""
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


@dataclass(slots=True)
class PlainState:
    time_s: float
    position: reference.Position
    on: bool = False
    integral_w: float = 0.0
    filtered_c: float = math.nan
    slope_k_per_s: float = 0.0


def start(programme: Programme, reading: Reading, time_s: float = 0.0) -> PlainState:
    value = reading.chamber_c if math.isfinite(reading.chamber_c) else programme.ambient_c
    return PlainState(time_s, reference.begin(programme.legs, value), filtered_c=value)


class Plain:
    """The control step's interface with a thermostat, PI or PID behind it: kind "thermostat", "pi" or "pid". `tuning` None: by the
    rule on the programme's model."""

    def __init__(self, kind: str, hysteresis_k: float = 3.0, tuning: Tuning | None = None):
        if kind not in ("thermostat", "pi", "pid"):
            raise ValueError(f"kind = {kind!r}: thermostat, pi or pid")
        self.kind, self.hysteresis_k, self.tuning = kind, hysteresis_k, tuning

    start = staticmethod(start)

    def step(
        self,
        programme: Programme,
        state: PlainState,
        reading: Reading,
        dt_s: float,
        fired: float | None = None,
        requests: tuple[str, ...] = (),
        usable: bool = True,
        uneven: float = 0.0,
    ):
        from .controller import Decision

        s = copy.copy(state)
        s.time_s += dt_s
        model = programme.model
        full = model.full_power_w(reading.supply_v)
        value = reading.chamber_c if usable and math.isfinite(reading.chamber_c) else s.filtered_c
        s.position = reference.advance(programme.legs, s.position, value, dt_s, programme.count_always)
        # Measured value filtered over a fifth of the derivative time, as the rule's author advises (N = 5 to 10).
        target = s.position.reference_c
        cooling = s.position.done or math.isnan(target)
        if cooling:
            s.on, demand = False, 0.0
            s.filtered_c = value
        elif self.kind == "thermostat":
            if value > target + self.hysteresis_k:
                s.on = False
            elif value < target - self.hysteresis_k:
                s.on = True
            demand = full if s.on else 0.0
        else:
            demand = self._pid(s, programme, target, value, full, dt_s)
        leg = programme.legs[min(s.position.leg, len(programme.legs) - 1)]
        phase = (
            "finished"
            if s.position.done
            else {"ramp": "ramp", "jump": "heat up", "cool": "cooling", "hold": "soak"}[leg.kind]
        )
        return s, Decision(
            duty=min(1.0, demand / full) if full > 0.0 else 0.0,
            demand_w=demand,
            feedforward_w=0.0,
            trim_w=demand,
            reference_c=target,
            expected_c=math.nan,
            expected_sd_k=math.nan,
            chamber_c=value,
            part_c=None,
            part_sd_k=None,
            element_c=None,
            unexplained_w=0.0,
            full_w=full,
            step=leg.step,
            phase=phase,
            left_s=reference.seconds_left(programme.legs, s.position),
            done=s.position.done,
            wants_heat=not cooling,
            reason=self.kind,
        )

    def _pid(self, s: PlainState, programme: Programme, target: float, value: float, full: float, dt: float) -> float:
        t = self.tuning or simc_pi(programme.model, programme.working_c, programme.ambient_c, self.kind == "pid")
        if self.kind == "pid":
            share = dt / (dt + max(1.0, 0.2 * t.derivative_s))
            filtered = s.filtered_c + share * (value - s.filtered_c)
            s.slope_k_per_s, s.filtered_c = (filtered - s.filtered_c) / dt, filtered
        else:
            s.slope_k_per_s, s.filtered_c = 0.0, value
        # Series form turned parallel: gain·(1 + τD/τI).
        ratio = 1.0 + t.derivative_s / t.integral_s
        gain, integral_s = t.gain_w_per_k * ratio, t.integral_s * ratio
        error = target - (s.filtered_c if self.kind == "pid" else value)
        wanted = gain * error + s.integral_w - t.gain_w_per_k * t.derivative_s * s.slope_k_per_s
        demand = min(full, max(0.0, wanted))
        # Back-calculation with the integral time: the textbook anti-windup.
        s.integral_w += dt * (gain * error / integral_s + (demand - wanted) / integral_s)
        return demand


__all__ = ["CHAMBER", "Plain", "PlainState", "Tuning", "simc_pi", "start"]
