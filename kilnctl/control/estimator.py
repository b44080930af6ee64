"""What the oven's hidden temperatures are, and how much heat nobody accounts for: an extended Kalman filter on the energy
balance with one added state, a slowly wandering heat flow into the chamber (the "unexplained watts").

The thermocouple tells of the past: it lags (a state of the model) and is late by the dead time. The filter therefore lives
at the time the reading speaks of, and `now` runs the model forward through the powers already fired since then.
Source of the filter: A. Gelb (ed.), Applied Optimal Estimation (1974), table 6.1-1; the update is in Joseph-free scalar form.
"""

import math
import os
from dataclasses import dataclass

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, N, SENSOR, EnergyModel

#: Random walk of the unexplained heat: share of full power per √s. CALM while the readings fall evenly around their prediction, which keeps their
#: noise out of the power; up to QUICK once their mean over SURPRISE_S does not, so that a wrong loss is explained within a minute. SURE and
#: DOUBTFUL: of that mean's square over its variance (were they white, χ² of one degree of freedom: 8 % lie above SURE, 0.3 % above DOUBTFUL).
CALM, QUICK = 0.0003, 0.002
_e = lambda n, d: float(os.environ.get(n, d))
CALM, QUICK = _e("KC_CALM", CALM), _e("KC_QUICK", QUICK)
SIZE = N + 4
W0 = _e("KC_W0", 0.05)
SHARES_SD = np.array([_e("KC_A", 0.1), _e("KC_B", 0.1), _e("KC_G", 0.2)])
SHARES_WALK = np.array([_e("KC_AW", 1e-4), _e("KC_BW", 1e-4), _e("KC_GW", 1e-4)])
SURPRISE_S, SURE, DOUBTFUL = _e("KC_SS",10.0), _e("KC_SU",3.0), _e("KC_DO",9.0)
#: Model error of each temperature, K per √s.
DRIFT_K = np.array([0.015, 0.006, 0.003, 0.003, 0.003, 0.003, 0.006, 0.0])
DRIFT_VARIANCE = np.append(DRIFT_K**2 * _e("KC_DR", 1.0) ** 2, [0.0] * 4)
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
    heat_w: float
    shares: tuple[float, float, float]
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
    covariance = np.zeros((SIZE, SIZE))
    covariance[range(N), range(N)] = spread**2
    covariance[N, N] = (W0 * model.power_w) ** 2
    covariance[range(N + 1, SIZE), range(N + 1, SIZE)] = SHARES_SD**2
    return Estimate(x, 0.0, (1.0, 1.0, 1.0), 0.0, covariance, (), None, 0, 0, 0.0, x)


def update(model: EnergyModel, estimate: Estimate, reading_c: float, power_w: float, dt_s: float, ambient_c: float,
           noise_k: float, wander: float = 1.0, drift: float = 1.0, usable: bool = True) -> Estimate:  # fmt: skip
    """The estimate dt_s later: `power_w` reached the elements meanwhile, the sensor now shows `reading_c` (noise_k its standard
    deviation). `wander` scales how fast the unexplained heat may change, `drift` how far the temperatures may stray from the model; an
    unusable reading only lets time pass. (A thermocouple at the part is not asked: shelf and load are one lump here, and pulling that lump to what
    the part's surface shows cost the chamber more than it gave.)"""
    x, heat, shares = estimate.x, estimate.heat_w, estimate.shares
    p, tangent, age = estimate.covariance, estimate.tangent, estimate.age
    surprise = estimate.surprise
    seen = usable and math.isfinite(reading_c)
    # While nothing is seen, anything may be going on.
    doubt = doubt_of(estimate, dt_s) if seen else DOUBTFUL
    news = min(1.0, max(0.0, (doubt - SURE) / (DOUBTFUL - SURE)))
    wander *= CALM + (QUICK - CALM) * news
    walk = SHARES_WALK * (_e("KC_SC", 1.0) * (1 - news) + news)
    pending = [*estimate.pending, (power_w, dt_s)]
    late = sum(dt for _, dt in pending)
    power, lining, load = shares
    while pending and late - pending[0][1] >= model.dead_s - 1e-9:
        watts, dt = pending.pop(0)
        late -= dt
        if tangent is None or age >= RENEW or _stale(tangent, x, dt):
            a, by_power, by_heat = model.linearise(x, dt, ambient_c, lining, load)
            matrix = np.eye(SIZE)
            matrix[:N, :N], matrix[:N, N] = a, by_heat
            tangent, age = (matrix, x, dt, by_power, by_heat), 0
        age += 1
        matrix, by_power, by_heat = tangent[0], tangent[3], tangent[4]
        into_lining, into_load = model.taken_w(x)
        matrix[:N, N + 1] = by_power * watts
        matrix[:N, N + 2] = by_heat * -into_lining
        matrix[:N, N + 3] = by_heat * -into_load
        x = model.step(x, power * watts, dt, ambient_c, heat, lining, load)
        p = matrix @ p @ matrix.T
        strayed = DRIFT_VARIANCE * (drift * drift * dt)
        strayed[N] = (wander * model.power_w) ** 2 * dt
        strayed[N + 1 :] = walk**2 * dt
        p.flat[:: SIZE + 1] += strayed
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
            corrected = (np.array((*x, heat, power, lining, load)) + gain * innovation).tolist()
            x, heat, power, lining, load = tuple(corrected[:N]), *corrected[N:]
            bound = LARGEST_UNEXPLAINED * model.power_w
            heat = min(bound, max(-bound, heat))
            power, lining, load = min(2.0, max(0.3, power)), min(3.0, max(0.3, lining)), min(6.0, max(0.0, load))
    if not all(LOWEST_C < t < HIGHEST_C for t in x):
        # No oven is like that: whatever led there (an oven wholly unlike the model, readings that jump), begin anew from what is seen.
        return start(model, reading_c if seen else min(HIGHEST_C, max(ambient_c, 0.0)), ambient_c)
    # The few seconds since then in one step, at their mean power.
    now = x
    watts = power_w
    if pending:
        watts = sum(watts * dt for watts, dt in pending) / late
        now = model.step(x, power * watts, late, ambient_c, heat, lining, load)
    into_lining, into_load = model.taken_w(now)
    unexplained = heat + (power - 1.0) * watts - (lining - 1.0) * into_lining - (load - 1.0) * into_load
    return Estimate(x, heat, (power, lining, load), unexplained, p, tuple(pending), tangent, age, rejected, surprise, now)


def doubt_of(estimate: Estimate, dt_s: float) -> float:
    """How far the recent readings were from their prediction as a whole: square of their mean over its variance."""
    return 2.0 * SURPRISE_S / dt_s * estimate.surprise**2


def _stale(tangent: tuple[np.ndarray, tuple[float, ...], float], x, dt_s: float) -> bool:
    _, at, step_s = tangent[:3]
    return (abs(x[ELEMENT] - at[ELEMENT]) > RENEW_ELEMENT_K or abs(x[CHAMBER] - at[CHAMBER]) > RENEW_CHAMBER_K
            or abs(dt_s - step_s) > 0.1 * step_s)  # fmt: skip


def spread_k(estimate: Estimate, state: int) -> float:
    """Standard deviation of one temperature, K."""
    return math.sqrt(max(0.0, float(estimate.covariance[state, state])))


__all__ = ["CHAMBER", "CONTENTS", "ELEMENT", "Estimate", "spread_k", "start", "update"]
