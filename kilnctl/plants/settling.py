"""The steady state of a heat balance, reached by steps that grow until they are hours long."""

import numpy as np

from .core import Core

#: Length of the first and of the longest step, s. Steps grow by half while no temperature changes by FAST_K, and shrink
#: when one changes by more than TOO_FAST_K, K.
FIRST_S, LONGEST_S, FAST_K, TOO_FAST_K = 2.0, 20000.0, 5.0, 15.0
#: The state is steady when steps longer than LONG_S (s) change no temperature faster than this, K/s.
LONG_S, STILL_K_PER_S = 1000.0, 1e-8
MOST_STEPS = 3000
#: The least share of a step that is taken when steps oscillate.
LEAST_SHARE = 0.2


def settle(core: Core, element_w: np.ndarray) -> None:
    """Bring the core to the steady state with `element_w` watts in each element group. Raises ArithmeticError where no
    steady state is found.

    Coefficients are frozen within a step. With steps of hours that can oscillate for ever: a wall with a low frozen
    conductivity gets hot in one step, conducts well in the next, and is cold after it. When a step reverses the one
    before, only a part of it is taken: the steady state stays the same and the oscillation dies out."""
    dt, share, last, moved = FIRST_S, 1.0, np.zeros_like(core.nodes_k), 0.0
    for _ in range(MOST_STEPS):
        nodes, surfaces, air = core.nodes_k, core.surfaces_k, core.air_k
        core.refresh()
        core.step(dt, element_w)
        core.refresh()
        change = core.nodes_k - nodes
        moved = float(np.abs(change).max())
        if dt > LONG_S and moved / dt < STILL_K_PER_S:
            return
        share = max(LEAST_SHARE, 0.7 * share) if float((change * last).sum()) < 0.0 else min(1.0, 1.1 * share)
        if share < 1.0:
            core.nodes_k = nodes + share * change
            core.surfaces_k = surfaces + share * (core.surfaces_k - surfaces)
            core.air_k = air + share * (core.air_k - air)
        last = change
        dt = min(LONGEST_S, dt * (1.5 if moved < FAST_K else 0.7 if moved > TOO_FAST_K else 1.0))
    raise ArithmeticError(f"no steady state within {MOST_STEPS} steps; the last one moved by {moved:.2g} K")
