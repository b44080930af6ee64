"""The only way to prepare a run: everything that a run needs, from an oven and a schedule, or a refusal before any
heat."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

import numpy as np

from ..body.bursts import pattern_for
from ..body.layers import material_of
from ..control import AnyController, AnyProgramme, EnergyBalanceControl, Plain, Programme, programme_of
from ..errors import KilnctlError
from ..firing import Pattern
from ..model.day_zero import day_zero
from ..model.doubt import (
    DAY_ZERO,
    Doubt,
    Unsure,
    coolest_of,
    day_zero_doubt,
    doubt_of,
    envelope_of,
    unsure_late,
    unsure_of,
)
from ..model.energy import EnergyModel
from ..model.loads import loads_of
from ..model.part_body import part_of
from ..model.place import placed_of
from ..model.trained_file import TrainedModel, load_model, trained_words, version_name
from ..safety import Policy, policy_for
from ..safety.extremes import greater, lesser
from ..safety.misplaced import Place
from ..settings.construction import Load
from ..settings.document import SettingsError, problem_at
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .burst_swing import noise_of
from .too_quick import refuse_too_quick

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


@dataclass(frozen=True, slots=True)
class HoldingTable:
    """Steady power, W, against chamber temperature as a quick table, from low_c in steps of step_k: the rules only need
    it to a few per cent. Data, so that a run can be prepared in another process."""

    low_c: float
    step_k: float
    powers_w: tuple[float, ...]

    def __call__(self, chamber_c: float) -> float:
        if not math.isfinite(chamber_c):
            return 0.0
        powers, place = self.powers_w, (chamber_c - self.low_c) / self.step_k
        i = lesser(greater(int(place), 0), len(powers) - 2)
        return powers[i] + (powers[i + 1] - powers[i]) * (place - i)


@dataclass(frozen=True)
class Guard:
    """The model that the rules' limits follow from, how wrong it may be, and where its records showed the control
    sensor (None: they did not)."""

    model: EnergyModel
    doubt: Doubt
    place: Place | None = None


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
    guard        what the rules go by
    model_file   the trained model's file; empty without one
    """

    oven: Oven
    schedule: Schedule
    load: Load | None
    model: EnergyModel
    model_words: str
    programme: ProgrammeT
    policy: Policy
    holding: HoldingTable
    pattern: Pattern
    controller: AnyController
    controller_name: str
    guard: Guard
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
    """Prepare a run of `schedule`.

    `model`: an energy balance, a trained model or its file; None: from the description. `start_c`: where the chamber
    is, °C; None: at room temperature. `controller`: "model" (ours), "thermostat", "pi" or "pid". `load`: None: the
    schedule's, or else the oven's usual one. Raises KilnctlError for a model that cannot be used, and for a schedule
    that this oven must not or cannot do."""
    load = load if load is not None else load_of(oven, schedule)
    believed, words, guard, unsure = _believed(oven, schedule, load, model)
    return prepared(
        oven,
        schedule,
        load,
        believed,
        programme_of(oven, schedule, believed, start_c, part_of(oven, load, schedule.top_c), unsure),
        controller_of(controller),
        CONTROLLERS[controller],
        model_words=words,
        model_file=str(model) if isinstance(model, str | Path) else "",
        start_c=start_c,
        guard=guard,
    )


def _believed(
    oven: Oven, schedule: Schedule, load: Load | None, model: EnergyModel | TrainedModel | str | Path | None
) -> tuple[EnergyModel, str, Guard, Unsure]:
    """The model that the control uses, a description of it in words, what the rules go by, and how wrong the model may
    be; see `prepare`."""
    if model is None:
        guard = _described(oven, schedule, load)
        words = "from the oven's description; no learning run yet"
        return guard.model, words, guard, unsure_of(oven, load, guard.model, None)
    if isinstance(model, EnergyModel):
        return model, "as given", Guard(model, DAY_ZERO), Unsure(late=unsure_late(model))
    trained, words = model, "as given, trained"
    if not isinstance(trained, TrainedModel):
        trained = load_model(trained, oven)
        words = trained_words(trained, schedule.top_c)
    fitted = trained.for_load(oven, load)
    return fitted, words, _guard(oven, schedule, load, trained), unsure_of(oven, load, fitted, trained)


def _described(oven: Oven, schedule: Schedule, load: Load | None) -> Guard:
    return Guard(day_zero(oven, load, schedule.top_c), day_zero_doubt(oven, load))


def _guard(oven: Oven, schedule: Schedule, load: Load | None, trained: TrainedModel) -> Guard:
    """The rules do not follow what ordinary runs teach: a sensor that slips out of the chamber a little from run to run
    would be learnt, and the energy limiter would no longer find it. A version that cannot be read leaves the
    description, which promises less and trips no sooner."""
    if not trained.guards:
        file = Path(trained.file).with_name(version_name(trained.guard))
        if not trained.guard or not file.is_file():
            return _described(oven, schedule, load)
        try:
            trained = load_model(file, oven)
        except KilnctlError:
            return _described(oven, schedule, load)
    return Guard(trained.for_load(oven, load), doubt_of(trained, oven.limits.trip_at_c), trained.place)


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
    guard: Guard | None = None,
) -> PreparedRun[PreparedT]:
    """What follows for a run once it is known what the controller follows; `guard`: what the rules go by; None: the
    model, with all the doubt that a description leaves. Raises KilnctlError for limits that cannot be, and for an oven
    that is too quick for the rules."""
    guard, pattern = guard or Guard(model, DAY_ZERO), pattern_for(oven)
    placed = None
    if guard.doubt.learnt and oven.sensors.limit is not None:
        placed = placed_of(oven, load, day_zero(oven, load, schedule.top_c), guard.place)
    policy = policy_for(
        oven,
        schedule,
        guard.model,
        start_c=start_c,
        coolest=coolest_of(oven, load, guard.model, guard.doubt),
        envelope=envelope_of(oven, load, guard.model, guard.doubt),
        loads=loads_of(oven, load, guard.model, guard.doubt),
        placed=placed,
        described=not guard.doubt.learnt,
        bursts_k=noise_of(oven, guard.model, pattern, schedule.top_c),
    )
    refuse_too_quick(oven, guard.model, policy)
    return PreparedRun(
        oven=oven,
        schedule=schedule,
        load=load,
        model=model,
        model_words=model_words,
        programme=programme,
        policy=policy,
        holding=holding_table(model, oven),
        pattern=pattern,
        controller=controller,
        controller_name=controller_name,
        guard=guard,
        model_file=model_file,
    )


def load_of(oven: Oven, schedule: Schedule | None) -> Load | None:
    """What is in the oven: the schedule's load, or else the usual one. Raises SettingsError where the schedule's is of
    a material that neither the library nor this oven's file knows."""
    if schedule is None or schedule.load is None:
        return oven.usual_load
    try:
        material_of(oven, schedule.load.material)
    except KilnctlError as error:
        raise SettingsError([problem_at(schedule, ["load.material"], str(error))]) from None
    return schedule.load


def controller_of(kind: str) -> AnyController:
    """ "model" (ours), "thermostat", "pi" or "pid". Raises KilnctlError for another."""
    if kind not in CONTROLLERS:
        raise KilnctlError(f"there is no controller '{kind}'; there are {', '.join(CONTROLLERS)}")
    return EnergyBalanceControl() if kind == "model" else Plain(kind)


def holding_table(model: EnergyModel, oven: Oven) -> HoldingTable:
    """The model's steady powers from the room to above the oven's highest temperature."""
    temperatures = np.linspace(oven.site.ambient_c, oven.limits.highest_c + 60.0, 40)
    powers = tuple(model.holding_w(float(t)) for t in temperatures)
    return HoldingTable(float(temperatures[0]), float(temperatures[1] - temperatures[0]), powers)
