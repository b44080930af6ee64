"""Tuning of a PI or PID trim from the model, and how robust the loop is: gain, phase and delay margin, peak
sensitivity.

Rule: S. Skogestad, "Simple analytic rules for model reduction and PID controller tuning", J. Process Control
13 (2003) 291 (SIMC). Reduction by the half rule and the rules T1 to T3 for zeros (sections 2 and 3 there),
then, in series form,

    Kc = τ1/(k·(τc + θ)),   τI = min(τ1, 4·(τc + θ)),   τD = τ2,   τc = θ

and τc is raised until the peak sensitivity Ms of the loop with the whole model, not the reduced one, keeps
its bound."""

import math
from dataclasses import dataclass, replace
from typing import Callable, Sequence

import numpy as np

from .energy import CHAMBER, CONTENTS, SENSOR, EnergyModel


@dataclass(frozen=True)
class Process:
    """k·e^(−θs)/((τ1·s + 1)(τ2·s + 1)): gain in output per input, times in s."""

    gain: float
    lag_s: float
    second_s: float
    dead_s: float


@dataclass(frozen=True)
class Margins:
    """Gain margin (factor), phase margin (degrees), delay margin (s), peak of |1/(1 + L)|; infinite where
    there is no crossing."""

    gain: float
    phase_deg: float
    delay_s: float
    peak: float


@dataclass(frozen=True)
class TrimTuning:
    """Series form: gain·(1 + 1/(τI·s))·(τD·s + 1); at_c where it was made, closed_s the τc in it."""

    at_c: float
    gain_w_per_k: float
    integral_s: float
    derivative_s: float
    closed_s: float
    process: Process
    margins: Margins

    def __str__(self) -> str:
        m = self.margins
        derivative = f", derivative {self.derivative_s:.0f} s" if self.derivative_s else ""
        return (
            f"at {self.at_c:.0f} °C: {self.gain_w_per_k:.0f} W/K, integral {self.integral_s:.0f} "
            f"s{derivative}; "
            f"gain margin {m.gain:.1f}, phase margin {m.phase_deg:.0f}°, delay margin {m.delay_s:.0f} s, "
            f"Ms {m.peak:.2f}"
        )


# ---- the published rules
# ---------------------------------------------------------------------------------------------


def reduced(
    gain: float,
    lags_s: Sequence[float],
    leads_s: Sequence[float],
    dead_s: float,
    second: bool,
    closed_s: float | None = None,
) -> Process:
    """Half rule: k·Π(T·s + 1)/Π(τ·s + 1)·e^(−θs) → first order, or second with `second`. Negative leads are
    right-half-plane zeros.

    Leads are cancelled against lags by the rules T1 to T3, which depend on the τc that is aimed at (closed_s;
    the resulting dead time if None). Raises ValueError for lags that are not positive, or none at all."""
    if not lags_s or min(lags_s) <= 0.0 or dead_s < 0.0:
        raise ValueError("lags_s must be positive and at least one; dead_s must not be negative")
    aimed = closed_s
    process = None
    for _ in range(30):
        k, lags, dead = _without_leads(
            gain, list(lags_s), [t for t in leads_s if t > 0.0], aimed if aimed else max(dead_s, 1e-9)
        )
        dead += dead_s - sum(t for t in leads_s if t < 0.0)
        lags.sort(reverse=True)
        if second and len(lags) > 1:
            half = lags[2] / 2.0 if len(lags) > 2 else 0.0
            found = Process(k, lags[0], lags[1] + half, dead + half + sum(lags[3:]))
        else:
            half = lags[1] / 2.0 if len(lags) > 1 else 0.0
            found = Process(k, lags[0] + half, 0.0, dead + half + sum(lags[2:]))
        if closed_s is not None or (
            process is not None and abs(found.dead_s - process.dead_s) < 1e-9 * max(found.dead_s, 1e-9)
        ):
            return found
        process, aimed = found, max(found.dead_s, 1e-9)
    return process


def _without_leads(
    k: float, lags: list[float], leads: list[float], aimed: float
) -> tuple[float, list[float], float]:
    """Cancel each lead, largest first, against the neighbouring lag: the smallest above it, unless one below
    is closer and close."""
    for lead in sorted(leads, reverse=True):
        above = [t for t in lags if t >= lead]
        below = [t for t in lags if t < lead]
        lag = min(above) if above else max(below)
        if above and below and lead / max(below) < min(1.6, lag / lead) - 1e-9:
            lag = max(below)
        if len(lags) == 1:
            break
        lags.remove(lag)
        if lead >= lag:
            # T1, T1a, T1b
            k *= lead / lag if lag >= aimed else lead / aimed if lead >= aimed else 1.0
        elif lead >= 5.0 * aimed:
            k *= lead / lag  # T2
        else:
            near = min(lag, 5.0 * aimed)
            k *= near / lag
            if near - lead > 1e-12:
                lags.append(near - lead)  # T3
    return k, lags, 0.0


def simc(process: Process, closed_s: float | None = None) -> tuple[float, float, float]:
    """(Kc, τI, τD) of the series PID. Raises ValueError without any dead time or lag to be robust against."""
    closed = process.dead_s if closed_s is None else closed_s
    if process.gain == 0.0 or closed + process.dead_s <= 0.0:
        raise ValueError("process: needs a gain, and a dead time or a closed_s above zero")
    return (
        process.lag_s / (process.gain * (closed + process.dead_s)),
        min(process.lag_s, 4.0 * (closed + process.dead_s)),
        process.second_s,
    )


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


# ---- the oven
# --------------------------------------------------------------------------------------------------------


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

    @property
    def factors(self) -> tuple[float, list[float], list[float]]:
        """(steady gain K/W, lags s, leads s), all real for a network of heat flows."""
        lags = sorted((-1.0 / np.linalg.eigvals(self.a).real).tolist(), reverse=True)
        gain = float(-self.c @ np.linalg.solve(self.a, self.b))
        leads = []
        # Zeros: eigenvalues of A with the output pinned to zero (generalised problem, by a large feedback).
        pinned = np.linalg.eigvals(
            self.a - 1e9 * np.outer(self.b, self.c) / max(abs(float(self.c @ self.b)), 1e-12)
            if float(self.c @ self.b)
            else self.a
            - 1e9 * np.outer(self.b, self.c @ self.a) / max(abs(float(self.c @ self.a @ self.b)), 1e-300)
        )
        for value in pinned:
            if (
                abs(value) < 1e5 * max(1.0, 1.0 / lags[-1])
                and abs(value.imag) < 1e-6 * abs(value) + 1e-12
                and value.real < 0.0
            ):
                leads.append(float(-1.0 / value.real))
        return gain, [*lags, self.sensor_s] if self.sensor_s > 0.0 else lags, leads


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


def tune(
    model: EnergyModel, at_c: float, peak: float = 1.6, derivative: bool = False, tick_s: float = 1.0
) -> TrimTuning:
    """PI (or series PID) trim at a working temperature, with Ms of the whole loop at most `peak`. The hold of
    one tick counts as half a tick of dead time. Raises ValueError for a peak outside 1.1 to 3."""
    return _tuned(linear_at(model, at_c), at_c, [at_c], [linear_at(model, at_c)], peak, derivative, tick_s)


def tune_range(
    model: EnergyModel,
    low_c: float,
    high_c: float,
    peak: float = 1.6,
    derivative: bool = False,
    tick_s: float = 1.0,
    points: int = 4,
) -> tuple[TrimTuning, ...]:
    """One tuning that keeps Ms at most `peak` everywhere between two temperatures, evaluated at `points` of
    them."""
    at = np.linspace(low_c, high_c, points).tolist()
    linear = [linear_at(model, t) for t in at]
    # The oven is quickest, and its gain at the crossover highest, at one of them: the lowest allowed gain
    # rules.
    alone = [_tuned(one, t, [t], [one], peak, derivative, tick_s) for one, t in zip(linear, at)]
    strictest = min(range(points), key=lambda i: alone[i].gain_w_per_k)
    chosen = _tuned(linear[strictest], at[strictest], at, linear, peak, derivative, tick_s)
    return tuple(replace(chosen, at_c=t, margins=_margins(one, chosen, tick_s)) for one, t in zip(linear, at))


def _tuned(
    linear: Linear, at_c: float, temperatures, everywhere, peak: float, derivative: bool, tick_s: float
) -> TrimTuning:
    if not 1.1 <= peak <= 3.0:
        raise ValueError(f"peak = {peak:g}: a bound of Ms lies between 1.1 and 3")
    gain, lags, leads = linear.factors
    process = reduced(gain, lags, leads, linear.dead_s + 0.5 * tick_s, derivative)
    closed = process.dead_s
    for _ in range(60):
        kc, integral, second = simc(process, closed)
        made = TrimTuning(at_c, kc, integral, second, closed, process, Margins(0.0, 0.0, 0.0, 0.0))
        worst = max(_margins(one, made, tick_s).peak for one in everywhere)
        if worst <= peak:
            break
        closed *= 1.12
    return replace(made, margins=_margins(linear, made, tick_s))


def loop_of(linear: Linear, tuning: TrimTuning, tick_s: float = 1.0) -> Callable[[np.ndarray], np.ndarray]:
    """L(ω) of the trim around the linear oven, with a derivative filter of a tenth of τD and half a tick of
    hold."""

    def loop(w: np.ndarray) -> np.ndarray:
        s = 1j * w
        lead = (1.0 + tuning.derivative_s * s) / (1.0 + 0.1 * tuning.derivative_s * s)
        return (
            tuning.gain_w_per_k
            * (1.0 + 1.0 / (tuning.integral_s * s))
            * lead
            * linear.response(w)
            * np.exp(-0.5 * tick_s * s)
        )

    return loop


def _margins(linear: Linear, tuning: TrimTuning, tick_s: float) -> Margins:
    around = 1.0 / max(tuning.closed_s + tuning.process.dead_s, 1e-6)
    return margins(loop_of(linear, tuning, tick_s), 1e-3 * around, 60.0 * around, 1500)


__all__ = [
    "Linear",
    "Margins",
    "Process",
    "TrimTuning",
    "linear_at",
    "loop_of",
    "margins",
    "reduced",
    "simc",
    "tune",
    "tune_range",
]
