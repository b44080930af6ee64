"""Schedule → reference → estimator → feedforward + trim: one pure `step` a tick.

`programme_of(oven, schedule, model)` gives a `Programme` (or refuses, saying which step and which rate is feasible).
A `Controller` has `start(programme, reading)` for the first state and `step(programme, state, given)` for the next
state and a `Decision`; `given` is a `StepInput`. `EnergyBalanceControl()` is ours, and
`Plain("thermostat" | "pi" | "pid")` is for comparison."""

from .controller import EnergyBalanceControl, EnergyBalanceState
from .decision import AnyController, AnyProgramme, Controller, ControlState, Decision, StepInput
from .feasibility import Programme, least_energy_j, planned_s, programme_of
from .pid import Plain
from .shortfall import Shortfall

__all__ = [
    "AnyController",
    "AnyProgramme",
    "ControlState",
    "Controller",
    "Decision",
    "EnergyBalanceControl",
    "EnergyBalanceState",
    "Plain",
    "Programme",
    "Shortfall",
    "StepInput",
    "least_energy_j",
    "planned_s",
    "programme_of",
]
