"""Model predictive control: the powers, W, from now on that bring the chamber along the reference within the power
there is.

A small constrained optimisation over the horizon: minimise the squared distance to the reference plus a small cost for
bends of the power curve, with 0 ≤ power ≤ full. Because the plan knows the limit, it heats at full power as long as
possible: until the heat stored in elements and lining just brings the chamber to the soak. Prediction is the nonlinear
model under the previous plan; its sensitivity to the power is the model's tangent."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, EnergyModel
from ..safety.extremes import greater, lesser
from ..thermal.constants import STEFAN_BOLTZMANN

#: The horizon in steps: how many steps share one power (a block), and how many the prediction takes at once (a stride).
#: Near ones are fine and later ones coarse, which saves time.
BLOCKS = (1, 1, 1, 2, 2, 3, 4, 4, 8, 8, 12, 16)
STRIDES = (1,) * 10 + (2,) * 8 + (4,) * 9
STEPS = sum(BLOCKS)
#: The strides of one step.
FINE = STRIDES.count(1)
#: Ends of the prediction's strides, in steps, and the block that each belongs to.
ENDS = np.cumsum(STRIDES)
_STRIDES = np.array(STRIDES, dtype=float)
_HALVES = np.full(len(BLOCKS), 0.5)
_BLOCK_OF = np.repeat(np.arange(len(BLOCKS)), BLOCKS)
_BLOCK_OF_STEP = _BLOCK_OF.tolist()
_FIRST = np.cumsum((0, *BLOCKS[:-1]))
#: (strides, blocks): steps from the start and from the end of each block to each of ENDS; 0 before it.
_SINCE_START = np.maximum(0, ENDS[:, None] - _FIRST)
_SINCE_END = np.maximum(0, ENDS[:, None] - _FIRST - np.array(BLOCKS))
_BLOCK_OF_STRIDE = _BLOCK_OF[ENDS - 1].tolist()
_MIDDLE = _FIRST + 0.5 * (np.array(BLOCKS) - 1.0)
#: (blocks − 2, blocks): how much the power's slope changes from one gap between blocks to the next (W per step of the
#: shorter one); and its square.
_GAPS = np.diff(_MIDDLE)
_BENDS = (
    np.diff(np.diff(np.eye(len(BLOCKS)), axis=0) / _GAPS[:, None], axis=0) * np.minimum(_GAPS[1:], _GAPS[:-1])[:, None]
)
_BENDS_SQUARED = _BENDS.T @ _BENDS
#: Weight of a point more than ABOVE_K (K) above the reference, relative to one below it: an overshoot is worse than a
#: late arrival.
ABOVE, ABOVE_K = 8.0, 0.15  # ±30 %: none
_STRIDES_ABOVE = ABOVE * _STRIDES
_NONE_ABOVE = bytes(len(STRIDES))
#: Weight of a point at which the chamber is above its limit, relative to one off the reference: the limit is kept, the
#: reference gives way.
LIMIT_WEIGHT = 50.0  # ±30 %: none
#: A bend of the power curve by a tenth of full power costs as much as this error over the whole horizon, K. (Bends
#: cost, not changes: a power that must fall for an hour is not held back.) It only smooths: a tenth of it changes
#: ∫|error| of a soak by −1 %, ten times as much by +4 %.
BEND_K = 0.08  # ±30 %: none
#: The bend that costs so much, as a share of full power.
BEND_SHARE = 0.1  # ±30 %: none
#: Length of a prediction step: this share of the time in which the near lining and the contents follow the chamber, and
#: its bounds, s. Shorter steps than 2 s are finer than the tick; longer ones than 15 s miss the elements' own lag.
STEP_SHARE, STEP_LEAST_S, STEP_MOST_S = 1.0 / 35.0, 2.0, 15.0  # ±30 %: none
#: Temperature at which the radiation in that time is taken, K: between a drying oven's and a kiln's.
STEP_AT_K = 700.0  # ±30 %: overshoot -0.03/0 K, error +2.0/-0.6 %


@dataclass(frozen=True, slots=True)
class Plan:
    """Powers of the blocks in W (as rated), made at `time_s` with steps of `step_s`, when the followed temperature was
    `from_c`; `predicted_c` (°C) at the ENDS of the strides."""

    powers_w: tuple[float, ...]
    step_s: float
    time_s: float
    predicted_c: tuple[float, ...]
    heat_w: float
    highest_c: float
    from_c: float
    full_w: float

    def power_at(self, time_s: float) -> float:
        """Planned power at a later time, W; the last block's beyond the end."""
        step = lesser(greater(0, int((time_s - self.time_s) / self.step_s)), STEPS - 1)
        return self.powers_w[_BLOCK_OF_STEP[step]]

    def expected_c(self, time_s: float) -> float:
        """What the followed temperature should be at a later time by this plan, °C; only over the strides of one step,
        beyond them the last of these."""
        steps = lesser((time_s - self.time_s) / self.step_s, FINE - 1e-9)
        before = int(steps)
        from_c = self.predicted_c[before - 1] if before else self.from_c
        return from_c + (steps - before) * (self.predicted_c[before] - from_c)


def step_length_s(model: EnergyModel) -> float:
    """Length of a prediction step, s: a fast oven needs fine steps, a slow one a long horizon (STEP_SHARE)."""
    coupling = model.film_w_per_k + 4.0 * STEFAN_BOLTZMANN * model.film_m2 * STEP_AT_K**3
    follows_s = (model.lining_j_per_k[0] + model.contents_j_per_k) / coupling
    return min(STEP_MOST_S, max(STEP_LEAST_S, STEP_SHARE * follows_s))


def make(
    model: EnergyModel,
    x,
    heat_w: float,
    reference_c: np.ndarray,
    previous: Plan | None,
    time_s: float,
    full_w: float,
    ambient_c: float,
    step_s: float,
    follows: int = CHAMBER,
    chamber_limit_c: float = 1e9,
    shares: tuple[float, float, float] = (1.0, 1.0, 1.0),
    care: float = 1.0,
) -> Plan:
    """The plan from state x, with the unknown heat `heat_w` and shares of power, lining and contents as estimated.
    `reference_c` (len(ENDS),) at the ENDS of the strides; `follows` CHAMBER or CONTENTS; the chamber is kept below
    chamber_limit_c. `care` times BEND_K is the cost of a bend. Pure; numpy only; well under a millisecond."""
    nominal = _nominal_w(previous, time_s, full_w)
    followed, chamber = _forecast(model, x, nominal.tolist(), heat_w, ambient_c, step_s, follows, shares)
    a, by_power, _ = model.linearise(x, step_s, ambient_c, *shares[1:])
    response = _responses(a, shares[0] * by_power, (follows,) if follows == CHAMBER else (follows, CHAMBER))
    limited = None if follows == CHAMBER else _Limited(response[1], chamber, chamber_limit_c)
    change = _optimise(response[0], followed - reference_c, nominal, full_w, limited, care * BEND_K)
    predicted = (followed + response[0].dot(change)).tolist()
    hottest = predicted if follows == CHAMBER else (chamber + response[1].dot(change)).tolist()
    return Plan(
        powers_w=tuple(_within(nominal + change, 0.0, full_w).tolist()),
        step_s=step_s,
        time_s=time_s,
        predicted_c=tuple(predicted),
        heat_w=heat_w,
        highest_c=max(hottest),
        from_c=x[follows],
        full_w=full_w,
    )


def _within(values: np.ndarray, low, high) -> np.ndarray:
    """The values, none below low or above high. (`np.clip` takes five times as long for a dozen numbers.)"""
    return np.minimum(np.maximum(values, low), high)


def _nominal_w(previous: Plan | None, time_s: float, full_w: float) -> np.ndarray:
    """Powers of the blocks to start from, W: the previous plan's at that time, half of full without one."""
    if previous is None:
        return full_w * _HALVES
    shift = (time_s - previous.time_s) / previous.step_s
    at = np.minimum(_MIDDLE + shift, STEPS - 1).astype(np.intp)
    return _within(np.array(previous.powers_w)[_BLOCK_OF[at]], 0.0, full_w)


def _forecast(
    model: EnergyModel,
    x,
    powers_w: list[float],
    heat_w: float,
    ambient_c: float,
    step_s: float,
    follows: int,
    shares: tuple[float, float, float],
) -> tuple[np.ndarray, np.ndarray]:
    """The followed temperature and the chamber's at the ENDS of the strides, °C, under these powers of the blocks."""
    state, states, inside = x, [], model.inside
    gain, lining, load = shares
    floor = min(ambient_c, x[CHAMBER]) if heat_w < 0.0 else -math.inf
    for stride, block in zip(STRIDES, _BLOCK_OF_STRIDE):
        watts, length_s = gain * powers_w[block], stride * step_s
        after = inside(state, watts, length_s, ambient_c, heat_w, lining, load)
        if after[CHAMBER] < floor:
            # An unknown loss ends when the chamber is as cold as the surroundings: an open door cools it no further.
            without = inside(state, watts, length_s, ambient_c, 0.0, lining, load)[CHAMBER]
            less = heat_w * max(0.0, (without - floor) / (without - after[CHAMBER]))
            after = inside(state, watts, length_s, ambient_c, less, lining, load)
        state = after
        states.append(after)
    chamber = np.array([after[CHAMBER] for after in states])
    return chamber if follows == CHAMBER else np.array([after[follows] for after in states]), chamber


class _Limited(NamedTuple):
    """The chamber's limit while the contents are followed: its response to the powers, its forecast, °C, and the limit,
    °C."""

    response: np.ndarray
    chamber_c: np.ndarray
    limit_c: float


def _optimise(
    sensitivity: np.ndarray,
    error: np.ndarray,
    nominal: np.ndarray,
    full_w: float,
    limited: _Limited | None,
    bend_k: float,
) -> np.ndarray:
    """Change of the blocks' powers, W, that costs least. The weights of points above the reference, and the points
    above the chamber's limit, depend on the change: they are found in three passes."""
    bends = STEPS * (bend_k / (BEND_SHARE * full_w)) ** 2 * _BENDS_SQUARED
    bends_at_nominal = bends.dot(nominal)
    weight, weighed = _STRIDES, _NONE_ABOVE
    low, high = -nominal, full_w - nominal
    change = np.zeros(len(BLOCKS))
    for _ in range(3):
        weighted = sensitivity.T * weight
        hessian = weighted.dot(sensitivity) + bends
        gradient = weighted.dot(error) + bends_at_nominal
        if limited is not None:
            response, chamber, limit = limited
            hot = np.maximum(0.0, chamber + response @ change - limit) > 0.0
            if hot.any():
                penalty = LIMIT_WEIGHT * response[hot].T * _STRIDES[hot]
                hessian = hessian + penalty @ response[hot]
                gradient = gradient + penalty @ (chamber[hot] - limit)
        change = box_minimum(hessian, gradient, low, high, change)
        above = (error + sensitivity.dot(change)) > ABOVE_K
        before, weighed = weighed, above.tobytes()
        if limited is None and weighed == before:
            break
        weight = np.where(above, _STRIDES_ABOVE, _STRIDES)
    return change


def _responses(a: np.ndarray, power: np.ndarray, outputs: tuple[int, ...]) -> list[np.ndarray]:
    """(strides, blocks) change of each output per watt in each block: the step's tangent, convolved and summed per
    block."""
    impulse = np.empty((len(power), STEPS))
    impulse[:, 0] = power
    # The answers of the next n steps are those of the first n, moved on by n steps: n doubles each time.
    known, onward = 1, a
    while known < STEPS:
        more = lesser(known, STEPS - known)
        impulse[:, known : known + more] = onward.dot(impulse[:, :more])
        known, onward = known + more, onward.dot(onward)
    answers = []
    for output in outputs:
        total = np.zeros(STEPS + 1)
        np.cumsum(impulse[output], out=total[1:])
        # The response to a block that starts at step f and lasts n steps: the running sum of the impulse response,
        # shifted, minus the same n steps later.
        answers.append(total[_SINCE_START] - total[_SINCE_END])
    return answers


def box_minimum(
    hessian: np.ndarray, gradient: np.ndarray, low: np.ndarray, high: np.ndarray, start: np.ndarray
) -> np.ndarray:
    """Minimum of ½ z'Hz + g'z in a box by projected Newton steps (D. P. Bertsekas, SIAM J. Control Optim. 20 (1982)
    221): Newton on the free variables, clipped to the box, halved until the cost falls; if it never does, a step of
    steepest descent."""
    # In a ramp or a soak the minimum mostly lies inside the box.
    z = -np.linalg.solve(hessian, gradient)
    if (z > low).all() and (z < high).all():
        return z
    z = _within(start, low, high)
    slope = hessian.dot(z) + gradient
    cost = 0.5 * float(z.dot(slope + gradient))
    small = 1e-9 * (float(np.abs(gradient).max()) + 1e-300)
    for _ in range(25):
        free = ~(((z <= low) & (slope > 0.0)) | ((z >= high) & (slope < 0.0)))
        if float((np.abs(slope) * free).max()) <= small:
            break
        newton = _newton(hessian, slope, free)
        # Far from the minimum a Newton step can be a thousand times the box; clipped, it may lead uphill at any length.
        # The gradient over the curvature does not.
        lower = _lower(hessian, gradient, low, high, z, cost, newton) or _lower(
            hessian, gradient, low, high, z, cost, -slope / np.diagonal(hessian)
        )
        if lower is None:
            break
        z, slope, cost = lower
    return z


def _newton(hessian: np.ndarray, slope: np.ndarray, free: np.ndarray) -> np.ndarray:
    """The step to the minimum over the free variables; the others stay."""
    if free.all():
        return -np.linalg.solve(hessian, slope)
    step, at = np.zeros_like(slope), np.flatnonzero(free)
    step[at] = -np.linalg.solve(hessian[at[:, None], at], slope[at])
    return step


def _lower(hessian, gradient, low, high, z, cost: float, direction: np.ndarray):
    """(z, slope, cost) where it is lower along a direction clipped to the box, or None."""
    share = 1.0
    for _ in range(12):
        trial = _within(z + share * direction, low, high)
        slope = hessian.dot(trial) + gradient
        found = 0.5 * float(trial.dot(slope + gradient))
        if found < cost - 1e-14 * abs(cost):
            return trial, slope, found
        share *= 0.5
    return None


__all__ = ["CHAMBER", "CONTENTS", "STEPS", "Plan", "make", "step_length_s"]
