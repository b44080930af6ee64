"""What the bursts of a firing pattern will do to an oven held at one temperature: a forecast; it drives nothing."""

import numpy as np

from ..firing import Pattern, fire, ready
from ..model.energy import CHAMBER, SENSOR, EnergyModel, N

#: Steps of a shortest run, and of a whole forecast.
RUN_STEPS, STEPS = 20, 4000


def swing_of(model: EnergyModel, pattern: Pattern, at_c: float) -> tuple[float, float]:
    """By how much this pattern swings chamber and reading about their means, peak to peak, K, while the chamber is held
    at at_c (°C)."""
    x, watts = model.steady(at_c)
    duty = watts / model.power_w
    if not 0.0 < duty < 1.0:
        return 0.0, 0.0
    step_s = max(1.0, pattern.shortest_run / RUN_STEPS) / pattern.frequency_hz
    a, by_power, _ = model.linearise(x, step_s, model.ambient_c)
    state, ripple, seen = ready(pattern), np.zeros(N), []
    for _ in range(STEPS):
        state, burst = fire(pattern, state, duty, step_s, runs_wanted=False)
        ripple = a.dot(ripple) + by_power * (model.power_w * (burst.fired - duty))
        seen.append((ripple[CHAMBER], ripple[SENSOR]))
    chamber_k, reading_k = np.ptp(np.array(seen[STEPS // 2 :]), axis=0).tolist()
    return chamber_k, reading_k
