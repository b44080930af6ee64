"""What every controller is: its `Decision`, its state as other rooms see it, and the `Controller` protocol."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from ..model.energy import EnergyModel
from ..reading import Reading
from ..safety.extremes import greater, lesser
from ..terms import Phase, Request
from .estimator import Estimate
from .predictive import Plan
from .reference import Position
from .swinging import Swing


@dataclass(slots=True, kw_only=True)  # the chain alone may name the phase; `frozen` makes each six times as slow
class Decision:
    """What the step decided; all of it is recorded. `duty` is what is asked of the gate; powers are the elements', W.

    `holding_w`: the power, W, that keeps the chamber at its temperature while lining and contents are as warm as they
    are now (0: not known). `wants_heat`: whether the schedule asks for heat in this phase. False in a cooling and at
    the end, where the contactor opens; it stays closed in a ramp or a soak with no demand for a moment. `reason` is
    text for people: no rule reads it. `swing`: of the chamber about its reference, caused by the loop itself; `care`:
    by what factor the control is more cautious than the model alone requires (1: not at all); `bursts_k`: swing of the
    chamber about its mean that the firing pattern's bursts cause, peak to peak, K; 0 while a soak may swing so much."""

    duty: float
    demand_w: float
    feedforward_w: float
    trim_w: float
    reference_c: float
    expected_c: float
    chamber_c: float
    full_w: float
    step: int
    phase: Phase
    left_s: float
    done: bool
    wants_heat: bool
    reason: str
    part_c: float | None = None
    part_sd_k: float | None = None
    element_c: float | None = None
    unexplained_w: float = 0.0
    holding_w: float = 0.0
    swing: Swing | None = None
    care: float = 1.0
    bursts_k: float = 0.0

    @classmethod
    def at_rest(cls, reading: Reading) -> "Decision":
        """For an oven without a run: heat off."""
        return cls(
            duty=0.0,
            demand_w=0.0,
            feedforward_w=0.0,
            trim_w=0.0,
            reference_c=math.nan,
            expected_c=reading.chamber_c,
            chamber_c=reading.chamber_c,
            full_w=0.0,
            step=0,
            phase=Phase.IDLE,
            left_s=0.0,
            done=False,
            wants_heat=False,
            reason="no run: heat off",
        )


def duty_of(demand_w: float, full_w: float) -> float:
    """The duty that gives `demand_w` while full power is `full_w`; 0 when there is no power."""
    return lesser(1.0, greater(0.0, demand_w / full_w)) if full_w > 0.0 else 0.0


@dataclass(slots=True)  # as a decision
class StepInput:
    """Input of a step: the tick that has just passed, `dt_s` long, with `reading` at its end.

    `fired`: share of full power in it (the reading's own is used when it has one); `requests`: what people asked for;
    `usable`: False when safety does not trust the reading; `uneven`: by how much the firing pattern, which fires in
    bursts, gave more than was asked, share of full power (below 0: less), which its next bursts take back; None: the
    heat was off, and none is taken back."""

    reading: Reading
    dt_s: float
    fired: float | None = None
    requests: tuple[Request, ...] = ()
    usable: bool = True
    uneven: float | None = 0.0


class NamedLeg(Protocol):
    """A part of a programme as events report it."""

    @property
    def name(self) -> str: ...


class AnyProgramme(Protocol):
    """What the chain and the records need from a programme: a schedule's (`feasibility.Programme`) or another."""

    @property
    def legs(self) -> Sequence[NamedLeg]: ...
    @property
    def model(self) -> EnergyModel: ...
    @property
    def ambient_c(self) -> float: ...
    @property
    def noise_k(self) -> float: ...
    @property
    def shortfalls(self) -> Sequence[Any]: ...


class ControlState(Protocol):
    """What other rooms may ask of any controller's state. `leg`: index into the programme's legs; `held`: a person
    holds it."""

    @property
    def time_s(self) -> float: ...
    @property
    def leg(self) -> int: ...
    @property
    def held(self) -> bool: ...
    @property
    def position(self) -> Position | None:
        """The position in a schedule's reference; None without one."""

    @property
    def estimate(self) -> Estimate | None:
        """The estimate of the oven; None without a model."""

    @property
    def plan(self) -> Plan | None:
        """The power that it plans; None without a plan."""


@dataclass(slots=True)
class ScheduleState:
    """What the state of every schedule controller has: time, and position in the reference."""

    time_s: float
    position: Position

    @property
    def leg(self) -> int:
        return self.position.leg

    @property
    def held(self) -> bool:
        return self.position.held


ProgrammeT = TypeVar("ProgrammeT", contravariant=True)
StateT = TypeVar("StateT")


class Controller(Protocol[ProgrammeT, StateT]):
    """`start` gives the state before the first step, `step` the next state and what is decided for the coming tick.
    Both are pure: the old state stays as it was."""

    def start(self, programme: ProgrammeT, reading: Reading, time_s: float = 0.0) -> StateT: ...

    def step(self, programme: ProgrammeT, state: StateT, given: StepInput) -> tuple[StateT, Decision]: ...


#: A controller with any programme and state that it takes.
AnyController = Controller[Any, Any]
