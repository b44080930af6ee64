"""The clairvoyant bound of tools/bench/control: the best powers, found afterwards against the true oven.

It knows the oven exactly and the whole schedule, and each disturbance from the moment it begins. A linear programme
(scipy's HiGHS) finds the change of power that minimises the sum of |error| within the limits on a linearisation; the
true oven is run again; and so on with a trust region until nothing improves. Then the grid is halved and it goes on
from there.

It must hold a soak within HELD_K until its end, as every controller must. Without that it would leave a soak by kelvins
before a jump of the reference, for a smaller sum, and so spoil the soak."""

import numpy as np
from control_scenarios import Scenario, plant_of
from scipy.optimize import linprog
from scipy.sparse import csr_matrix, hstack, identity

from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER, EnergyModel, N
from kilnctl.settings.oven import Oven

#: Sensitivities below this are left out, K per full power.
SMALL_K = 1e-4
#: How far off a soak may be in the minutes before a jump of the reference, K and s, and what each kelvin beyond that
#: costs.
HELD_K, HELD_S, DEAR = 0.2, 300, 20.0


def foresight(
    oven: Oven, scenario: Scenario, top: float, goal: np.ndarray, found: np.ndarray | None = None, iterations: int = 12
) -> tuple[np.ndarray, np.ndarray]:
    """(seconds,) true chamber under the best powers found, °C, and those powers as shares of full. `found`: the powers
    of the same scenario without its event, where they are known already."""
    model = day_zero(oven, scenario.load(oven.usual_load), top)
    u, grid = found, scenario.grid_s
    if u is not None:
        line = _simulate(oven, scenario, u, 0.5 * grid, False)
    else:
        u = np.full(round(scenario.seconds / grid), min(1.0, model.holding_w(float(goal.max())) / model.power_w))
        u, line = _improve(oven, scenario, model, goal, u, grid, 0, False, iterations)
        u, line = _improve(oven, scenario, model, goal, np.repeat(u, 2), 0.5 * grid, 0, False, iterations)
    if scenario.event_s is not None:
        # The event is unknown before it begins: powers before it stay as they were.
        u, line = _improve(
            oven, scenario, model, goal, u, 0.5 * grid, round(scenario.event_s / (0.5 * grid)), True, iterations
        )
    return line, u


def _held(goal: np.ndarray) -> np.ndarray:
    """(seconds,) whether the reference rests and jumps within HELD_S."""
    held = np.zeros(len(goal), bool)
    for jump in np.flatnonzero(np.abs(np.diff(goal)) > 1.0) + 1:
        held[max(0, jump - HELD_S) : jump] = goal[max(0, jump - HELD_S) : jump] == goal[jump - 1]
    return held


def _cost(line: np.ndarray, goal: np.ndarray) -> float:
    error = np.abs(line - goal)
    return float(error.sum() + (DEAR - 1.0) * np.maximum(0.0, error - HELD_K)[_held(goal)].sum())


def _simulate(oven: Oven, scenario: Scenario, u: np.ndarray, grid: float, with_event: bool) -> np.ndarray:
    plant, line, held = plant_of(oven, scenario), np.empty(scenario.seconds), int(grid)
    plant.advance(1.0, 0.0, True)
    for t in range(scenario.seconds):
        if with_event:
            scenario.disturb(plant, t)
        cut = with_event and scenario.blocked(t)
        plant.advance(1.0, 0.0 if cut else float(u[t // held]), True)
        line[t] = plant.chamber_c
    return line


def _sensitivity(
    oven: Oven,
    scenario: Scenario,
    model: EnergyModel,
    u: np.ndarray,
    grid: float,
    first: int,
    start_c: float,
    with_event: bool,
) -> np.ndarray:
    """(steps, steps) change of the chamber at the end of each step by full power in each step, from `first` on, K."""
    count = len(u)
    x, carried, rows = model.rest(start_c), np.zeros((N, count - first)), np.empty((count - first, count - first))
    for k in range(count):
        a, b, _ = model.linearise(x, grid, oven.site.ambient_c)
        carried = a @ carried
        share = 1.0
        if with_event:
            share = float(np.mean([not scenario.blocked(int(k * grid) + s) for s in range(int(grid))]))
        if k >= first:
            carried[:, k - first] += b * model.power_w * share
            rows[k - first] = carried[CHAMBER]
        x = model.step(x, float(u[k]) * share * model.power_w, grid, oven.site.ambient_c)
    rows[np.abs(rows) < SMALL_K] = 0.0
    return rows


def _improve(
    oven: Oven,
    scenario: Scenario,
    model: EnergyModel,
    goal: np.ndarray,
    u: np.ndarray,
    grid: float,
    first: int,
    with_event: bool,
    iterations: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Change u from step `first` on until the true oven's ∫|error| improves no more."""
    line = _simulate(oven, scenario, u, grid, with_event)
    best, trust = _cost(line, goal), 0.5
    ends = slice(int(grid) - 1, None, int(grid))
    n = len(u) - first
    sensitivity, held = None, np.flatnonzero(_held(goal)[ends][first:])
    # Variables: change of each power, error above, error below, and both once more where a soak must be held, beyond
    # HELD_K.
    cost = np.concatenate((np.zeros(n), np.ones(2 * n), np.full(2 * len(held), DEAR)))
    errors = np.full(n, np.inf)
    errors[held] = HELD_K
    off = [(0.0, e) for e in errors] * 2 + [(0.0, None)] * (2 * len(held))
    pick = identity(n).tocsr()[:, held]
    for _ in range(iterations):
        if sensitivity is None:
            sensitivity = csr_matrix(_sensitivity(oven, scenario, model, u, grid, first, float(line[0]), with_event))
        error = (line - goal)[ends][first:]
        equality = hstack([sensitivity, -identity(n), identity(n), -pick, pick]).tocsr()
        bounds = [(max(-v, -trust), min(1.0 - v, trust)) for v in u[first:]] + off
        answer = linprog(cost, A_eq=equality, b_eq=-error, bounds=bounds, method="highs")
        if answer.x is None:
            break
        trial = u.copy()
        trial[first:] = np.clip(u[first:] + answer.x[:n], 0.0, 1.0)
        new = _simulate(oven, scenario, trial, grid, with_event)
        total = _cost(new, goal)
        if total < best:
            gain = (best - total) / best
            u, line, best, sensitivity = trial, new, total, None
            if gain < 2e-5:
                break
        else:
            trust *= 0.35
            if trust < 2e-3:
                break
    return u, line
