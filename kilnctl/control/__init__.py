"""Schedule → reference → estimator → feedforward + trim: one pure `step` a tick.

`prepare(oven, schedule, model)` gives a `Programme` (or refuses, saying which step and which rate is feasible);
`start(programme, reading)` the first state; `step(programme, state, reading, dt_s, …)` the next state and a `Decision`.
`Plain("thermostat" | "pi" | "pid")` has the same `start` and `step`, for comparison.
"""

from .controller import ControlState, Decision, start, step
from .feasibility import Programme, Shortfall, planned_s, prepare
from .pid import Plain

__all__ = ["ControlState", "Decision", "Plain", "Programme", "Shortfall", "planned_s", "prepare", "start", "step"]
