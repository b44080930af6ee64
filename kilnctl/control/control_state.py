"""What our control carries from step to step, and what it asks of the elements."""

from dataclasses import dataclass, fields
from operator import attrgetter
from typing import NamedTuple

from . import estimator, swinging
from . import onset as onsets
from . import part as parts
from . import predictive as planning
from .decision import ScheduleState
from .ripple import EVEN

#: The plain PI starts with τc = 3 θ (SIMC): stable for an oven three times as quick as the model says.
PLAIN_SLOWER = 3.0  # ±30 %: none


@dataclass(slots=True)
class EnergyBalanceState(ScheduleState):
    """Carried from step to step; `step` returns a new one."""

    estimate: estimator.Estimate
    plan: planning.Plan | None = None
    door_since_s: float | None = None
    door_calm_w: float = 0.0
    by_current: float = 1.0
    settling_until_s: float = -1.0
    disagreeing_s: float = 0.0
    given_up: bool = False
    integral_w: float = 0.0
    plain_s: float = 0.0
    plain_slower: float = PLAIN_SLOWER
    watch: swinging.Watch = swinging.FRESH
    full_w: float = 0.0
    ripple_k: tuple[float, ...] = EVEN
    bursts_k: float = 0.0
    part: parts.Part | None = None
    onset: onsets.Onset | None = None

    def copied(self) -> "EnergyBalanceState":
        """A copy; what it holds is never changed, only replaced."""
        return EnergyBalanceState(*_values(self))


_values = attrgetter(*(f.name for f in fields(EnergyBalanceState)))


class Wanted(NamedTuple):
    """What is asked of the elements, W, and why."""

    demand_w: float
    feedforward_w: float
    trim_w: float
    reason: str
