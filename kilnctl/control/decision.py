"""What every controller is: its `Decision`, its state as other rooms see it, and the `Controller` protocol."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

from ..model.energy import EnergyModel
from ..reading import Reading
from ..terms import Phase, Request
from .estimator import Estimate
from .predictive import Plan
from .reference import Position
from .swinging import Swing


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What the step decided, all of it for the record. `duty` is what is asked of the gate; watts are of the elements.

    `holding_w`: full power's part, W, that only keeps the chamber where it is while lining and contents are as warm as
    they are now (0: not known). `wants_heat`: whether the schedule has heat in it now. False in a cooling and at the
    end, where the contactor opens; a moment of no demand in a ramp or a soak is no reason to open it. `reason` is words
    for people: no rule reads it. `swing`: of the chamber about its reference, by the loop itself; `care`: how many
    times more careful than the model alone asks the control is (1: not at all)."""

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

    @classmethod
    def at_rest(cls, reading: Reading) -> "Decision":
        """Of an oven without a run: heat off."""
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
    return min(1.0, max(0.0, demand_w / full_w)) if full_w > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class StepInput:
    """What a step is told of the tick that has just passed, `dt_s` long, with `reading` at its end.

    `fired`: share of full power in it (the reading's own is used when it has one); `requests`: what people asked for;
    `usable`: False when safety does not trust the reading; `uneven`: how much more than asked the firing pattern gave,
    because it fires in bursts, share of full power (below 0: less)."""

    reading: Reading
    dt_s: float
    fired: float | None = None
    requests: tuple[Request, ...] = ()
    usable: bool = True
    uneven: float = 0.0


class NamedLeg(Protocol):
    """A part of a programme as events tell of it."""

    @property
    def name(self) -> str: ...


class AnyProgramme(Protocol):
    """What the chain and the records need to know of a programme: a schedule's (`feasibility.Programme`) or another."""

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
        """Where it is in a schedule's reference; None without one."""

    @property
    def estimate(self) -> Estimate | None:
        """What it believes of the oven; None without a model."""

    @property
    def plan(self) -> Plan | None:
        """The power that it plans; None without a plan."""


@dataclass(slots=True)
class ScheduleState:
    """What the state of every controller of a schedule begins with: time, and place in the reference."""

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


#: A controller together with whatever programme and state it takes.
AnyController = Controller[Any, Any]
