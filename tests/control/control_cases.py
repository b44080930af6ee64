"""Shared by the tests of control."""

import numpy as np
from drawn_ovens import uncabled

from kilnctl import size
from kilnctl.control import estimator
from kilnctl.model.energy import SENSOR
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import Schedule, Step
from tests.generated.ovens import numbered


def schedule_of(*steps, **more):
    return Schedule(name="test", steps=tuple(Step(**s) for s in steps), **more)


def drawn_oven(seed: int, number: int):
    """(oven, goal °C): 0.8 of the way from the room to its top."""
    oven = oven_from(numbered(seed, number), f"{seed}/{number}")
    room = oven.site.ambient_c
    return oven, round(room + 0.8 * (min(oven.limits.highest_c, size(uncabled(oven)).max_chamber_c) - room), 1)


def at_rest(m, seconds, extra=lambda t: 0.0, noise_k=0.15, seed=4):
    """Estimates and true unexplained heat while the model itself, held at 200 °C, is disturbed."""
    rng = np.random.default_rng(seed)
    x, power = m.steady(200.0)
    estimate, line, out = estimator.start(m, 200.0, 20.0), [200.0] * (1 + int(m.dead_s)), []
    # The holding power is known, and the filter has settled.
    estimate.x = estimate.now = tuple(x)
    for t in range(seconds):
        x = m.step(x, power, 1.0, 20.0, extra(t))
        line.append(x[SENSOR])
        estimate = estimator.update(
            m, estimate, line[-1 - int(m.dead_s)] + noise_k * rng.standard_normal(), power, 1.0, 20.0, noise_k
        )
        out.append((estimate.unexplained_w, estimator.doubt_of(estimate, 1.0)))
    return np.array(out)
