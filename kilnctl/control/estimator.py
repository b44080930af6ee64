"""What the oven's hidden temperatures are, and how much heat nobody accounts for: an extended Kalman filter on the energy
balance with one added state, a slowly wandering heat flow into the chamber (the "unexplained watts").

The thermocouple tells of the past: it lags (a state of the model) and is late by the dead time. The filter therefore lives
at the time the reading speaks of, and `now` runs the model forward through the powers already fired since then.
Source of the filter: A. Gelb (ed.), Applied Optimal Estimation (1974), table 6.1-1; the update is in Joseph-free scalar form.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, N, SENSOR, EnergyModel

#: Random walk of the unexplained heat: share of full power per √s. CALM while the readings fall evenly around their prediction, which keeps their
#: noise out of the power; up to QUICK once their mean over SURPRISE_S does not, so that a wrong loss is explained within a minute. SURE and
#: DOUBTFUL: of that mean's square over its variance (were they white, χ² of one degree of freedom: 8 % lie above SURE, 0.3 % above DOUBTFUL).
CALM, QUICK = 0.0003, 0.002
SURPRISE_S, SURE, DOUBTFUL = 10.0, 3.0, 9.0
#: Model error of each temperature, K per √s.
DRIFT_K = np.array([0.015, 0.006, 0.003, 0.003, 0.003, 0.003, 0.006, 0.0])
DRIFT_VARIANCE = np.append(DRIFT_K**2, 0.0)
#: A reading this many standard deviations away is left out, at most REJECTS in a row.
WILD_SIGMAS, REJECTS = 6.0, 3
#: No heat that nobody accounts for is larger than so many times full power; no temperature of an oven lies beyond these, °C.
LARGEST_UNEXPLAINED, LOWEST_C, HIGHEST_C = 10.0, -200.0, 3000.0
#: The tangent is renewed once elements or chamber have moved so far, K, and after so many steps.
RENEW_ELEMENT_K, RENEW_CHAMBER_K, RENEW = 5.0, 1.0, 30


@dataclass(slots=True)
class Estimate:
    """Filter state; treated as immutable (each step makes a new one). `x` and `unexplained_w` are of dead time ago; `surprise` is the recent
    mean of reading minus prediction in its standard deviations."""

    x: tuple[float, ...]
    unexplained_w: float
    covariance: np.ndarray
    pending: tuple[tuple[float, float], ...]  # (power W, dt s) fired since then, oldest first
    tangent: tuple[np.ndarray, tuple[float, ...], float] | None  # the matrix, where and for which step it was taken
    age: int
    rejected: int
    surprise: float
    now: tuple[float, ...]


def start(model: EnergyModel, reading_c: float, ambient_c: float) -> Estimate:
    """Cold or warm: the chamber is what the sensor says; how far the lining has warmed through is unknown."""
    warm = max(0.0, reading_c - ambient_c)
    x = (reading_c, reading_c, reading_c, ambient_c + 0.8 * warm, ambient_c + 0.6 * warm, ambient_c + 0.4 * warm, reading_c, reading_c)
    spread = np.array([0.3, 0.3, 0.02, 0.15, 0.2, 0.2, 0.1, 0.0]) * warm + np.array([0.5] * 7 + [0.3])
    covariance = np.zeros((N + 1, N + 1))
    covariance[range(N), range(N)] = spread**2
    covariance[N, N] = (0.05 * model.power_w) ** 2
    return Estimate(x, 0.0, covariance, (), None, 0, 0, 0.0, x)


def update(model: EnergyModel, estimate: Estimate, reading_c: float, power_w: float, dt_s: float, ambient_c: float,
           noise_k: float, wander: float = 1.0, drift: float = 1.0, usable: bool = True) -> Estimate:  # fmt: skip
    """The estimate dt_s later: `power_w` reached the elements meanwhile, the sensor now shows `reading_c` (noise_k its standard
    deviation). `wander` scales how fast the unexplained heat may change, `drift` how far the temperatures may stray from the model; an
    unusable reading only lets time pass. (A thermocouple at the part is not asked: shelf and load are one lump here, and pulling that lump to what
    the part's surface shows cost the chamber more than it gave.)"""
    x, unexplained = estimate.x, estimate.unexplained_w
    p, tangent, age = estimate.covariance, estimate.tangent, estimate.age
    surprise = estimate.surprise
    seen = usable and math.isfinite(reading_c)
    # While nothing is seen, anything may be going on.
    doubt = doubt_of(estimate, dt_s) if seen else DOUBTFUL
    wander *= CALM + (QUICK - CALM) * min(1.0, max(0.0, (doubt - SURE) / (DOUBTFUL - SURE)))
    pending = [*estimate.pending, (power_w, dt_s)]
    late = sum(dt for _, dt in pending)
    while pending and late - pending[0][1] >= model.dead_s - 1e-9:
        watts, dt = pending.pop(0)
        late -= dt
        if tangent is None or age >= RENEW or _stale(tangent, x, dt):
            a, _, disturbance = model.linearise(x, dt, ambient_c)
            matrix = np.zeros((N + 1, N + 1))
            matrix[:N, :N], matrix[:N, N], matrix[N, N] = a, disturbance, 1.0
            tangent, age = (matrix, x, dt), 0
        age += 1
        x = model.step(x, watts, dt, ambient_c, unexplained)
        p = tangent[0] @ p @ tangent[0].T
        strayed = DRIFT_VARIANCE * (drift * drift * dt)
        strayed[N] = (wander * model.power_w) ** 2 * dt
        p.flat[:: N + 2] += strayed
    rejected = estimate.rejected
    if seen:
        s = p[SENSOR, SENSOR] + noise_k * noise_k + 1e-6
        innovation = reading_c - x[SENSOR]
        if innovation * innovation > WILD_SIGMAS**2 * s and rejected < REJECTS:
            rejected += 1
        else:
            rejected = 0
            surprise += (innovation / math.sqrt(s) - surprise) * min(1.0, dt_s / SURPRISE_S)
            gain = p[:, SENSOR] / s
            p = p - gain[:, None] * p[SENSOR]
            corrected = (np.array((*x, unexplained)) + gain * innovation).tolist()
            x, unexplained = tuple(corrected[:N]), corrected[N]
            bound = LARGEST_UNEXPLAINED * model.power_w
            unexplained = min(bound, max(-bound, unexplained))
    if not all(LOWEST_C < t < HIGHEST_C for t in x):
        # No oven is like that: whatever led there (an oven wholly unlike the model, readings that jump), begin anew from what is seen.
        return start(model, reading_c if seen else min(HIGHEST_C, max(ambient_c, 0.0)), ambient_c)
    # The few seconds since then in one step, at their mean power.
    now = x
    if pending:
        joule = sum(watts * dt for watts, dt in pending)
        now = model.step(x, joule / late, late, ambient_c, unexplained)
    return Estimate(x, unexplained, p, tuple(pending), tangent, age, rejected, surprise, now)


def doubt_of(estimate: Estimate, dt_s: float) -> float:
    """How far the recent readings were from their prediction as a whole: square of their mean over its variance."""
    return 2.0 * SURPRISE_S / dt_s * estimate.surprise**2


def _stale(tangent: tuple[np.ndarray, tuple[float, ...], float], x, dt_s: float) -> bool:
    _, at, step_s = tangent
    return (abs(x[ELEMENT] - at[ELEMENT]) > RENEW_ELEMENT_K or abs(x[CHAMBER] - at[CHAMBER]) > RENEW_CHAMBER_K
            or abs(dt_s - step_s) > 0.1 * step_s)  # fmt: skip


def spread_k(estimate: Estimate, state: int) -> float:
    """Standard deviation of one temperature, K."""
    return math.sqrt(max(0.0, float(estimate.covariance[state, state])))


__all__ = ["CHAMBER", "CONTENTS", "ELEMENT", "Estimate", "spread_k", "start", "update"]
