"""What the bursts of a firing pattern will do to an oven held at one temperature: a forecast, for `check` and for the
rule of a noisy sensor."""

import numpy as np

from ..firing import Pattern, fire, ready
from ..model.energy import CHAMBER, SENSOR, EnergyModel, N
from ..safety.rules_sensor import SECOND_DIFFERENCE
from ..settings.oven import Oven

#: Steps of a shortest run, and of a whole forecast.
RUN_STEPS, STEPS = 20, 4000
#: Bursts may move a reading this many times as far as the model says: elements may be half as heavy.
UNSURE_TIMES = 2.0
#: Duties that a forecast of the noise tries, and ticks of each.
DUTIES, TICKS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9), 600


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


def noise_of(oven: Oven, model: EnergyModel, pattern: Pattern, at_c: float) -> float:
    """What the rule of a noisy sensor may take for noise, K, of bursts whose length the file gives, at at_c (°C) and
    the duty where it is most; 0 without such a length: other bursts are as short as the elements need."""
    if oven.switching.minimum_on_s is None:
        return 0.0
    tick_s = oven.control.tick_s
    a, by_power, _ = model.linearise(model.steady(at_c)[0], tick_s, model.ambient_c)
    most_k = 0.0
    for duty in DUTIES:
        state, ripple, seen = ready(pattern), np.zeros(N), []
        for _ in range(TICKS):
            state, burst = fire(pattern, state, duty, tick_s, runs_wanted=False)
            ripple = a.dot(ripple) + by_power * (model.power_w * (burst.fired - duty))
            seen.append(ripple[SENSOR])
        second_k: np.ndarray = np.diff(np.array(seen[TICKS // 2 :]), 2)
        turned = second_k[1:] * second_k[:-1] < 0.0
        most_k = max(most_k, float(np.mean(np.abs(second_k[1:]) * turned)) / SECOND_DIFFERENCE)
    return UNSURE_TIMES * most_k
