"""The only way to ready a run: everything that a run needs, from an oven and a schedule, or a refusal before any
heat."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np

from ..body.bursts import pattern_for
from ..control import AnyController, AnyProgramme, EnergyBalanceControl, Plain, Programme, programme_of
from ..errors import KilnctlError
from ..firing import Pattern
from ..model.energy import EnergyModel
from ..model.trained_file import TrainedModel, model_for
from ..safety import Policy, policy_for
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule

#: Power that a chamber temperature takes to be held, °C → W.
Holding = Callable[[float], float]
#: Controller → what records call it.
CONTROLLERS = {
    "model": "energy balance and trim",
    "thermostat": "on/off thermostat, ±3 °C",
    "pi": "PI",
    "pid": "PID",
}


#: What the controller of a prepared run follows.
PreparedT = TypeVar("PreparedT", bound=AnyProgramme)
ProgrammeT = TypeVar("ProgrammeT", bound=AnyProgramme, covariant=True)


@dataclass(frozen=True)
class PreparedRun(Generic[ProgrammeT]):
    """A run that is ready to start.

    load         what is in the oven; None: nothing
    model        what the control and the rules believe of the oven, and where it is from in words
    programme    what the controller follows
    policy       the limits of the rules
    holding      the model's steady power
    pattern      how duty becomes mains cycles
    controller   what decides, and its name in records
    model_file   the trained model's file; empty without one
    """

    oven: Oven
    schedule: Schedule
    load: Load | None
    model: EnergyModel
    model_words: str
    programme: ProgrammeT
    policy: Policy
    holding: Holding
    pattern: Pattern
    controller: AnyController
    controller_name: str
    model_file: str = ""


def prepare(
    oven: Oven,
    schedule: Schedule,
    model: EnergyModel | TrainedModel | str | Path | None = None,
    start_c: float | None = None,
    *,
    controller: str = "model",
    load: Load | None = None,
) -> PreparedRun[Programme]:
    """Ready a run of `schedule`.

    `model`: an energy balance, a trained model or its file; None: from the description. `start_c`: where the chamber
    is, °C; None: at room temperature. `controller`: "model" (ours), "thermostat", "pi" or "pid". `load`: None: the
    schedule's, or else the oven's usual one. Raises KilnctlError for a model that cannot be used, and for a schedule
    that this oven may not or cannot do."""
    load = load if load is not None else load_of(oven, schedule)
    if isinstance(model, EnergyModel):
        believed, words = model, "as given"
    elif isinstance(model, TrainedModel):
        believed, words = model.for_load(oven, load), "as given, trained"
    else:
        believed, words = model_for(oven, load, schedule.top_c, model)
    return prepared(
        oven,
        schedule,
        load,
        believed,
        programme_of(oven, schedule, believed, start_c),
        controller_of(controller),
        CONTROLLERS[controller],
        model_words=words,
        model_file=str(model) if isinstance(model, str | Path) else "",
        start_c=start_c,
    )


def prepared(
    oven: Oven,
    schedule: Schedule,
    load: Load | None,
    model: EnergyModel,
    programme: PreparedT,
    controller: AnyController,
    controller_name: str,
    *,
    model_words: str,
    model_file: str = "",
    start_c: float | None = None,
) -> PreparedRun[PreparedT]:
    """What follows for a run once it is known what the controller follows. Raises KilnctlError for limits that cannot
    be."""
    return PreparedRun(
        oven=oven,
        schedule=schedule,
        load=load,
        model=model,
        model_words=model_words,
        programme=programme,
        policy=policy_for(oven, schedule, model, start_c=start_c),
        holding=holding_table(model, oven),
        pattern=pattern_for(oven),
        controller=controller,
        controller_name=controller_name,
        model_file=model_file,
    )


def load_of(oven: Oven, schedule: Schedule | None) -> Load | None:
    """What is in the oven: the schedule's load, or else the usual one."""
    return schedule.load if schedule is not None and schedule.load is not None else oven.usual_load


def controller_of(kind: str) -> AnyController:
    """ "model" (ours), "thermostat", "pi" or "pid". Raises KilnctlError for another."""
    if kind not in CONTROLLERS:
        raise KilnctlError(f"there is no controller '{kind}'; there are {', '.join(CONTROLLERS)}")
    return EnergyBalanceControl() if kind == "model" else Plain(kind)


def holding_table(model: EnergyModel, oven: Oven) -> Holding:
    """Steady power against temperature as a quick table: the rules only need it to a few per cent."""
    temperatures = np.linspace(oven.site.ambient_c, oven.limits.highest_c + 60.0, 40)
    powers = [model.holding_w(float(t)) for t in temperatures]
    low, step, top = float(temperatures[0]), float(temperatures[1] - temperatures[0]), len(powers) - 2

    def holding(chamber_c: float) -> float:
        if not math.isfinite(chamber_c):
            return 0.0
        place = (chamber_c - low) / step
        i = min(max(int(place), 0), top)
        return powers[i] + (powers[i + 1] - powers[i]) * (place - i)

    return holding
