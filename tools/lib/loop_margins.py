"""How robust the running control is: margins of its loop, measured on itself in closed loop around a steady
temperature.

The control makes a new plan every few seconds and is no transfer function, so its margins are measured. On the model as
the oven, without noise, around a steady state:

gain margin    the factor on the oven's answer to power (about its steady power) at which a disturbance no longer
               dies away
delay margin   the extra delay of the reading, s, at which it no longer does
peak Ms        a small sine on the reading comes back in the loop as (1 − T)·sine = S·sine: the largest |S| over
               frequencies

For small deviations away from the limits of power. `margins` and `linear_at` do the same for a loop whose transfer
function is known. (Definitions: K. J. Åström and R. M. Murray, Feedback Systems, 2nd ed., section 10.3.)"""

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kilnctl.control import AnyController, EnergyBalanceControl, StepInput
from kilnctl.control.feasibility import programme_of
from kilnctl.model.energy import CHAMBER, CONTENTS, SENSOR, EnergyModel
from kilnctl.reading import Reading
from kilnctl.settings.oven import Oven
from kilnctl.settings.schedule import Schedule, Step

#: Ticks before the disturbance, and ticks for which it is followed; the pulse on the reading, K; the share of it that
#: counts as "still there".
SETTLE, FOLLOW, PULSE_K = 600, 2400, 0.3
#: Amplitude of the sine, K, and periods of it: the last ones are measured.
SINE_K, PERIODS, MEASURED = 0.05, 8, 4
LARGEST_GAIN, LARGEST_DELAY_S = 8.0, 240.0


@dataclass(frozen=True)
class Margins:
    """Gain margin (factor), phase margin (degrees), delay margin (s), peak of |1/(1 + L)|; infinite where
    there is no crossing."""

    gain: float
    phase_deg: float
    delay_s: float
    peak: float


class Loop:
    """The control closed around the linear-in-power model at rest at at_c."""

    def __init__(self, oven: Oven, model: EnergyModel, at_c: float, control: AnyController | None = None) -> None:
        ambient = oven.site.ambient_c
        self.model, self.ambient, self.dt, self.control = (
            model,
            ambient,
            oven.control.tick_s,
            control or EnergyBalanceControl(),
        )
        self.x, self.holding_w = model.steady(at_c, ambient)
        if not 0.05 * model.power_w <= self.holding_w <= 0.95 * model.power_w:
            raise ValueError(
                f"at {at_c:g} °C holding takes {self.holding_w:.0f} W of {model.power_w:.0f} W: no room to either side"
            )
        schedule = Schedule(
            name="margins", steps=(Step(to_c=at_c, hold_s=1e6, within_k=20.0),), soak_counts="from arrival"
        )
        self.programme = programme_of(oven, schedule, model, at_c)

    def run(self, ticks: int, added: Callable[[int], float], gain: float = 1.0, late_s: float = 0.0) -> np.ndarray:
        """What the control saw each tick, less the steady reading, K. `added(i)` K is added to the reading."""
        model, full = self.model, self.model.power_w
        rest = self.x[SENSOR]
        state = self.control.start(self.programme, Reading(chamber_c=rest))
        state.integral_w = self.holding_w
        if state.estimate is not None:
            state.estimate.x = state.estimate.now = tuple(self.x)
            state.estimate.lately_w = state.estimate.before_w = self.holding_w
        delay = deque([rest] * (1 + round((model.dead_s + late_s) / self.dt)))
        x, share, out = tuple(self.x), self.holding_w / full, np.empty(ticks)
        for i in range(ticks):
            seen = delay.popleft() + added(i)
            out[i] = seen - rest
            given = StepInput(Reading(chamber_c=seen), self.dt, share)
            state, decision = self.control.step(self.programme, state, given)
            share = decision.duty
            x = model.step(x, self.holding_w + gain * (share * full - self.holding_w), self.dt, self.ambient)
            delay.append(x[SENSOR])
        return out

    def dies_away(self, gain: float, late_s: float) -> bool:
        out = self.run(SETTLE + FOLLOW, lambda i: PULSE_K if i == SETTLE else 0.0, gain, late_s)
        early, late = np.abs(out[SETTLE + 1 : SETTLE + FOLLOW // 3]).max(), np.abs(out[-FOLLOW // 3 :]).max()
        return late < max(0.3 * early, 0.02 * PULSE_K)

    def sensitivity(self, period_s: float) -> float:
        """|S| at that period."""
        n = round(period_s / self.dt)
        w = 2.0 * math.pi / n
        ticks = PERIODS * n
        out = self.run(ticks, lambda i: SINE_K * math.sin(w * i))
        last = np.arange(ticks - MEASURED * n, ticks)
        return float(abs(2.0 * np.mean(out[last] * np.exp(-1j * w * last)))) / SINE_K


def loop_margins(oven: Oven, model: EnergyModel, at_c: float, control: AnyController | None = None) -> Margins:
    """Margins of the control (ours, or a `Plain`) with that model around at_c, °C; phase_deg is not measured (NaN).
    Raises ValueError where holding takes so little or so much power that the limits rule, not the loop. Takes about ten
    seconds."""
    loop = Loop(oven, model, at_c, control)
    gain = edge(lambda g: loop.dies_away(g, 0.0), 1.0, LARGEST_GAIN, 0.03)
    delay = edge(lambda s: loop.dies_away(1.0, s), 0.0, LARGEST_DELAY_S, 0.05)
    # From a little above the fastest frequency that the delay passes to far below the loop's own speed.
    periods = np.geomspace(
        max(6.0 * loop.dt, 2.0 * model.dead_s), 60.0 * max(model.dead_s + model.lag_at_s(at_c), 4.0), 14
    )
    peak = max(loop.sensitivity(float(p)) for p in periods)
    return Margins(gain, math.nan, delay, peak)


def edge(good: Callable[[float], bool], low: float, high: float, relative: float) -> float:
    """The largest value up to which all is good, from a good low; infinite when high is still good."""
    step = 0.25 * max(low, 4.0)
    while good(min(high, low + step)):
        low += step
        if low >= high:
            return math.inf
        step *= 1.4
    high = min(high, low + step)
    while high - low > relative * max(1.0, low):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if good(middle) else (low, middle)
    return low


# ---- of a transfer function, for what can be computed


@dataclass(frozen=True)
class Linear:
    """The model around a steady temperature: chamber's answer c·(sI − A)⁻¹·b to power, then the sensor's lag
    and the dead time."""

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    sensor_s: float
    dead_s: float

    def response(self, w: np.ndarray) -> np.ndarray:
        """Sensor per watt of power at angular frequencies w, K/W."""
        values, vectors = np.linalg.eig(self.a)
        left = self.c @ vectors
        right = np.linalg.solve(vectors, self.b.astype(complex))
        s = 1j * w
        return (
            ((left * right)[None, :] / (s[:, None] - values[None, :])).sum(axis=1)
            / (1.0 + s * self.sensor_s)
            * np.exp(-s * self.dead_s)
        )


def linear_at(model: EnergyModel, at_c: float, ambient_c: float | None = None) -> Linear:
    """Continuous state space at the steady state of at_c: an implicit Euler step is (I − A·dt)⁻¹, so A = (I −
    step⁻¹)/dt."""
    ambient = model.ambient_c if ambient_c is None else ambient_c
    x, _ = model.steady(at_c, ambient)
    dt = 1.0
    step, power, _ = model.linearise(x, dt, ambient)
    kept = [i for i in range(SENSOR) if i != CONTENTS or model.contents_j_per_k > 0.0]
    inverse = np.linalg.inv(step[np.ix_(kept, kept)])
    a = (np.eye(len(kept)) - inverse) / dt
    b = inverse @ power[kept] / dt
    c = np.zeros(len(kept))
    c[kept.index(CHAMBER)] = 1.0
    return Linear(a, b, c, model.lag_at_s(at_c), model.dead_s)


def margins(loop: Callable[[np.ndarray], np.ndarray], low: float, high: float, points: int = 6000) -> Margins:
    """Margins of a loop transfer function given as L(ω in rad/s), between two frequencies on a fine
    logarithmic grid; crossings are found by interpolation there."""
    w = np.geomspace(low, high, points)
    value = loop(w)
    size, phase = np.log(np.abs(value)), np.unwrap(np.angle(value))
    # Unwrapped from the lowest frequency, where an integrating loop lies between −180° and 0°.
    phase -= 2.0 * math.pi * math.ceil((phase[0] - 0.5 * math.pi) / (2.0 * math.pi))
    log_w = np.log(w)
    gain = phase_margin = delay = math.inf
    for i in np.flatnonzero(np.diff(np.floor((phase + math.pi) / (2.0 * math.pi))) != 0):
        turn = math.pi * (2.0 * math.floor((max(phase[i], phase[i + 1]) + math.pi) / (2.0 * math.pi)) - 1.0)
        share = (turn - phase[i]) / (phase[i + 1] - phase[i])
        here = math.exp(-(size[i] + share * (size[i + 1] - size[i])))
        gain = min(gain, here) if here > 1.0 else gain
    for i in np.flatnonzero(np.diff(np.sign(size)) != 0):
        share = -size[i] / (size[i + 1] - size[i])
        crossing = math.exp(log_w[i] + share * (log_w[i + 1] - log_w[i]))
        angle = (phase[i] + share * (phase[i + 1] - phase[i]) + math.pi) % (2.0 * math.pi)
        phase_margin, delay = min(phase_margin, math.degrees(angle)), min(delay, angle / crossing)
    sensitivity = np.abs(1.0 / (1.0 + value))
    return Margins(gain, phase_margin, delay, float(sensitivity.max()))
