"""Plain controllers for comparison: an on/off thermostat, and PI and PID tuned by `kilnctl.control.simc`."""

import copy
import math
from dataclasses import dataclass

from ..reading import Reading
from . import reference
from .decision import Decision, ScheduleState, StepInput, duty_of
from .feasibility import Programme
from .simc import Tuning, simc_pi


@dataclass(slots=True)
class PlainState(ScheduleState):
    """Carried from step to step; `step` returns a new one."""

    on: bool = False
    integral_w: float = 0.0
    filtered_c: float = math.nan
    slope_k_per_s: float = 0.0
    estimate: None = None
    plan: None = None


class Plain:
    """The control step's interface with a thermostat, PI or PID behind it: kind "thermostat", "pi" or "pid". `tuning`
    None: by the rule on the programme's model."""

    def __init__(self, kind: str, hysteresis_k: float = 3.0, tuning: Tuning | None = None):
        if kind not in ("thermostat", "pi", "pid"):
            raise ValueError(f"kind = {kind!r}: thermostat, pi or pid")
        self.kind, self.hysteresis_k, self.tuning = kind, hysteresis_k, tuning

    def start(self, programme: Programme, reading: Reading, time_s: float = 0.0) -> PlainState:
        value = reading.chamber_c if math.isfinite(reading.chamber_c) else programme.ambient_c
        return PlainState(time_s, reference.begin(programme.legs, value), filtered_c=value)

    def step(self, programme: Programme, state: PlainState, given: StepInput) -> tuple[PlainState, Decision]:
        """For comparison only: it follows the schedule, ignores requests, and does not know of bursts."""
        s, reading, dt_s = copy.copy(state), given.reading, given.dt_s
        s.time_s += dt_s
        model = programme.model
        full = model.full_power_w(reading.supply_v)
        value = reading.chamber_c if given.usable and math.isfinite(reading.chamber_c) else s.filtered_c
        s.position = reference.advance(programme.legs, s.position, value, dt_s, programme.count_always)
        # Filter the measured value over a fifth of the derivative time: the rule's author advises N = 5 to 10.
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
        return s, Decision(
            duty=duty_of(demand, full),
            demand_w=demand,
            feedforward_w=0.0,
            trim_w=demand,
            reference_c=target,
            expected_c=math.nan,
            chamber_c=value,
            full_w=full,
            step=leg.step,
            phase=reference.phase_of(programme.legs, s.position),
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
