"""The energy balance run backwards: which watts, from now on, bring the chamber along the reference within the power there is.

A small constrained optimisation over the horizon: minimise the squared distance to the reference plus a little for changing
the power, with 0 ≤ power ≤ full. Because the limit is in the plan, it heats at full power until the last moment at which
the heat stored in elements and lining still lands it on the soak. Prediction is the nonlinear model under the previous
plan; its sensitivity to the power is the model's tangent.
"""

from dataclasses import dataclass

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, SIGMA, EnergyModel

#: Steps of the prediction, and how many of them share one power: fine now, coarse later.
STEPS = 60
import os as _os
_MK = float(_os.environ.get("KC_MK", "0.1"))
BLOCKS = (1, 1, 1, 2, 2, 3, 4, 5, 7, 9, 11, 14)
_BLOCK_OF = np.repeat(np.arange(len(BLOCKS)), BLOCKS)
_FIRST = np.cumsum((0, *BLOCKS[:-1]))
_FIRST_LIST = _FIRST.tolist()
_MIDDLE = _FIRST + 0.5 * (np.array(BLOCKS) - 1.0)
import os
_DIFFERENCES = np.diff(np.eye(len(BLOCKS)), axis=0)
if os.environ.get("KC_CURV"):
    _H = np.diff(_MIDDLE)
    _S = _DIFFERENCES / _H[:, None]
    _DIFFERENCES = np.diff(_S, axis=0) * np.minimum(_H[1:], _H[:-1])[:, None]
#: Weight of a point above the reference relative to one below, once it is more than ABOVE_K above.
ABOVE, ABOVE_K = 8.0, 0.15
#: A change of power by a tenth of full costs as much as being off by this for the whole horizon, K.
MOVE_K = 0.1


@dataclass(frozen=True, slots=True)
class Plan:
    """Powers of the blocks in W (per element power), made at `time_s` with steps of `step_s`; `predicted_c` along it."""

    powers_w: tuple[float, ...]
    step_s: float
    time_s: float
    predicted_c: tuple[float, ...]
    unexplained_w: float
    highest_c: float

    def power_at(self, time_s: float) -> float:
        """Planned power at a later time, W; the last block's beyond the end."""
        step = min(max(0, int((time_s - self.time_s) / self.step_s)), STEPS - 1)
        return self.powers_w[int(_BLOCK_OF[step])]


def step_length_s(model: EnergyModel) -> float:
    """Length of a prediction step, s: a fast oven needs fine ones, a slow one must see further. 4 s and a fortieth of the time
    in which the near lining and the contents follow the chamber, at most 15 s."""
    coupling = model.film_w_per_k + 4.0 * SIGMA * model.film_m2 * 700.0**3
    return min(15.0, 4.0 + (model.lining_j_per_k[0] + model.contents_j_per_k) / coupling / 40.0)


def make(model: EnergyModel, x, unexplained_w: float, reference_c: np.ndarray, previous: Plan | None, time_s: float, full_w: float,
         ambient_c: float, step_s: float, follows: int = CHAMBER, chamber_limit_c: float = 1e9,
         shares: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> Plan:  # fmt: skip
    """The plan from state x. `reference_c` (STEPS,) at the ends of the steps; `follows` CHAMBER or CONTENTS; the chamber is kept
    below chamber_limit_c. Pure; numpy only; well under a millisecond."""
    if previous is None:
        nominal = np.full(len(BLOCKS), 0.5 * full_w)
    else:
        shift = (time_s - previous.time_s) / previous.step_s
        at = np.minimum(_MIDDLE + shift, STEPS - 1).astype(np.intp)
        nominal = np.clip(np.array(previous.powers_w)[_BLOCK_OF[at]], 0.0, full_w)
    powers = nominal.tolist()
    state, followed, chamber = x, np.empty(STEPS), np.empty(STEPS)
    gain, lining, load = shares
    a, power, disturbance = model.linearise(x, step_s, ambient_c, lining, load)
    power = gain * power
    i = 0
    for block, count in enumerate(BLOCKS):
        watts = gain * powers[block]
        for _ in range(count):
            after = model.step(state, watts, step_s, ambient_c, unexplained_w, lining, load)
            floor = min(ambient_c, x[CHAMBER])
            if unexplained_w < 0.0 and after[CHAMBER] < floor:
                # An unknown loss ends with what drives it: a wide-open door cools the chamber to the surroundings, not below absolute zero.
                less = min(0.0, unexplained_w + (floor - after[CHAMBER]) / disturbance[CHAMBER])
                after = model.step(state, watts, step_s, ambient_c, less, lining, load)
            state = after
            followed[i], chamber[i] = state[follows], state[CHAMBER]
            i += 1

    response = _responses(a, power, (follows,) if follows == CHAMBER else (follows, CHAMBER))
    sensitivity = response[0]
    error = followed - reference_c
    scale = STEPS * (_MK / (0.1 * full_w)) ** 2
    moves = scale * (_DIFFERENCES.T @ _DIFFERENCES)
    moves_at_nominal = moves @ nominal
    weight = np.ones(STEPS)
    low, high = -nominal, full_w - nominal
    change = np.zeros(len(BLOCKS))
    for attempt in range(3):
        weighted = sensitivity.T * weight
        hessian = weighted @ sensitivity + moves
        gradient = weighted @ error + moves_at_nominal
        if follows != CHAMBER:
            over = np.maximum(0.0, chamber + response[1] @ change - chamber_limit_c)
            hot = over > 0.0
            if hot.any():
                limited = response[1][hot]
                hessian = hessian + 50.0 * limited.T @ limited
                gradient = gradient + 50.0 * limited.T @ (chamber[hot] - chamber_limit_c)
        change = _box(hessian, gradient, low, high, change)
        above = (error + sensitivity @ change) > ABOVE_K
        new = np.where(above, ABOVE, 1.0)
        if follows == CHAMBER and np.array_equal(new, weight):
            break
        weight = new
    predicted = followed + sensitivity @ change
    top = float(np.max(chamber + response[-1] @ change))
    return Plan(tuple(np.clip(nominal + change, 0.0, full_w).tolist()), step_s, time_s, tuple(predicted.tolist()), unexplained_w, top)


def _responses(a: np.ndarray, power: np.ndarray, outputs: tuple[int, ...]) -> list[np.ndarray]:
    """(STEPS, blocks) change of each output per watt in each block: the step's tangent, convolved and summed per block."""
    impulse = np.empty((STEPS, len(power)))
    column = power
    for i in range(STEPS):
        impulse[i] = column
        column = a @ column
    answers = []
    for output in outputs:
        # The response to a block that starts at step f and lasts n: running sum of the impulse response, shifted, minus itself n later.
        total = np.concatenate(([0.0], np.cumsum(impulse[:, output])))
        matrix = np.zeros((STEPS, len(BLOCKS)))
        for block, (first, count) in enumerate(zip(_FIRST_LIST, BLOCKS)):
            matrix[first:, block] = total[1 : STEPS - first + 1]
            matrix[first + count :, block] -= total[1 : STEPS - first - count + 1]
        answers.append(matrix)
    return answers


def _box(hessian: np.ndarray, gradient: np.ndarray, low: np.ndarray, high: np.ndarray, start: np.ndarray) -> np.ndarray:
    """Minimum of ½ z'Hz + g'z in a box by projected Newton steps (D. P. Bertsekas, SIAM J. Control Optim. 20 (1982) 221):
    Newton on the free variables, clipped to the box, halved until the cost falls."""
    z = np.clip(start, low, high)
    slope = hessian @ z + gradient
    cost = 0.5 * z @ (slope + gradient)
    small = 1e-9 * (np.abs(gradient).max() + 1e-300)
    for _ in range(25):
        free = ~(((z <= low) & (slope > 0.0)) | ((z >= high) & (slope < 0.0)))
        if not free.any() or np.abs(slope[free]).max() <= small:
            break
        direction = np.zeros_like(z)
        direction[free] = -np.linalg.solve(hessian[np.ix_(free, free)], slope[free])
        share = 1.0
        for _ in range(12):
            trial = np.clip(z + share * direction, low, high)
            trial_slope = hessian @ trial + gradient
            trial_cost = 0.5 * trial @ (trial_slope + gradient)
            if trial_cost < cost - 1e-14 * abs(cost):
                break
            share *= 0.5
        else:
            break
        z, slope, cost = trial, trial_slope, trial_cost
    return z


__all__ = ["CHAMBER", "CONTENTS", "STEPS", "Plan", "make", "step_length_s"]
