"""`kilnctl.learn`: the learning run of `kilnctl.commissioning.experiment`, driven by the same tick as every other
run.

The safety rules, the gate and the firing stage are those of `kilnctl.run.chain`; only where a schedule's
controller would stand, the experiment says which power it wants. The day-zero model's estimator runs along,
so that the rules about unexplained heat watch this run as they watch any other."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ..control import Decision, StepInput, estimator
from ..control.decision import duty_of
from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.energy import CHAMBER, ELEMENT, EnergyModel
from ..output import clock
from ..plants.injection import PlantFault
from ..plants.plant import Plant, truth_of
from ..reading import Reading
from ..record.run_record import read_run
from ..run.prepare import PreparedRun, prepared
from ..run.rehearsal import Progress, Sink, simulate
from ..run.result import Run
from ..run.virtual_plant import virtual_oven
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule, Step
from ..terms import Outcome, Phase, RequestKind
from . import experiment as trial

#: Heat ends so long before the oven's longest run, s: the start test counts towards that run.
SPARE_S = 300.0
#: A run that starts this far above room temperature would begin with an unknown lining, K.
HOT_K = 15.0
#: While the door is open the unexplained heat may change so many times faster than usual.
DOOR_WANDER = 16.0
#: Unexplained heat beyond this share of full power is not used to foresee a coast.
MOST_UNEXPLAINED = 0.3
#: The model is made for this share of the way from the room to the ceiling; its sensor has at least this noise, K.
WORKING_SHARE, LEAST_NOISE_K = 0.85, 0.05
#: A run may last so many times the time that its stages took on the model, and so much longer, s.
LONGEST_TIMES, LONGEST_MORE_S = 2.5, 3600.0

#: What records call this controller.
NAME = "learning run"


@dataclass(frozen=True)
class LearningProgramme:
    """What the chain and the loop need to know of a learning run; `legs` are the experiment's stages."""

    experiment: trial.Experiment
    model: EnergyModel
    ambient_c: float
    noise_k: float
    begin: trial.Progress

    @property
    def legs(self) -> tuple[trial.Stage, ...]:
        return self.experiment.stages

    @property
    def shortfalls(self) -> tuple[str, ...]:
        """None: nothing here has a deadline."""
        return ()


@dataclass(frozen=True, slots=True)
class LearningState:
    """Carried from step to step. `held`: the start test comes first."""

    time_s: float
    estimate: estimator.Estimate
    progress: trial.Progress
    held: bool = False
    position: None = None
    plan: None = None

    @property
    def leg(self) -> int:
        return self.progress.stage


class LearningControl:
    """The controller of a learning run. With `refuse_hot_of` it refuses that oven at the first reading if it is hot: a
    rig knows no temperature before."""

    def __init__(self, refuse_hot_of: Oven | None = None):
        self.refuse_hot_of = refuse_hot_of

    def start(self, programme: LearningProgramme, reading: Reading, time_s: float = 0.0) -> LearningState:
        known = math.isfinite(reading.chamber_c)
        if self.refuse_hot_of is not None and known:
            refuse_hot(self.refuse_hot_of, reading.chamber_c, False)
        value = reading.chamber_c if known else programme.ambient_c
        estimate = estimator.start(programme.model, value, min(programme.ambient_c, value))
        return LearningState(time_s, estimate, programme.begin)

    def step(
        self, programme: LearningProgramme, state: LearningState, given: StepInput
    ) -> tuple[LearningState, Decision]:
        """One tick. Of the requests only hold and proceed have an effect. `uneven` has none, since the powers follow no
        reading. Pure."""
        reading, dt_s = given.reading, given.dt_s
        asked = {request.kind for request in given.requests}
        held = (RequestKind.HOLD in asked or state.held) and RequestKind.PROCEED not in asked
        model, ambient = programme.model, programme.ambient_c
        share = reading.fired_or(given.fired or 0.0)
        full = model.full_power_w(reading.supply_v)
        estimate = estimator.update(
            model,
            state.estimate,
            reading.chamber_c,
            share * full,
            dt_s,
            ambient,
            programme.noise_k,
            DOOR_WANDER if reading.door_open else 1.0,
            usable=given.usable,
            # The run finds out what is wrong with the model; until then it uses the description.
            find_shares=False,
        )
        unexplained = min(MOST_UNEXPLAINED * full, max(-MOST_UNEXPLAINED * full, estimate.unexplained_w))
        seen_c = reading.chamber_c if given.usable else math.nan
        seen = trial.seen_by(model, estimate.now, ambient, seen_c, full, unexplained)
        progress, watts, reason = state.progress, 0.0, "held"
        if not held:
            progress, watts, reason = trial.advance(programme.experiment, progress, dt_s, seen)
        after = LearningState(state.time_s + dt_s, estimate, progress, held)
        return after, _decision(programme, after, watts, full, reason)


def _decision(programme: LearningProgramme, state: LearningState, watts: float, full: float, reason: str) -> Decision:
    estimate, progress = state.estimate, state.progress
    stage = programme.experiment.stages[progress.stage]
    return Decision(
        duty=duty_of(watts, full),
        demand_w=watts,
        feedforward_w=watts,
        trim_w=0.0,
        reference_c=math.nan,
        expected_c=estimate.now[CHAMBER],
        chamber_c=estimate.now[CHAMBER],
        element_c=estimate.now[ELEMENT],
        unexplained_w=estimate.unexplained_w,
        full_w=full,
        step=progress.stage,
        phase=Phase.FINISHED if progress.done else Phase(stage.kind),
        left_s=trial.seconds_left(programme.experiment, progress),
        done=progress.done,
        wants_heat=not progress.done and (state.held or stage.kind in trial.HEATED),
        reason=reason,
        holding_w=programme.model.keeping_w(estimate.now, programme.ambient_c),
    )


def prepare(
    oven: Oven,
    *,
    ceiling_c: float | None = None,
    top_c: float | None = None,
    load: Load | None = None,
    begin_stage: int = 0,
) -> PreparedRun[LearningProgramme]:
    """The learning run of an oven, ready to start. Raises KilnctlError when that oven cannot be learnt."""
    programme = programme_of(oven, ceiling_c, top_c, load, begin_stage)
    return prepared(
        oven,
        as_schedule(programme),
        load,
        programme.model,
        programme,
        LearningControl(),
        NAME,
        model_words="from the oven's description",
    )


def programme_of(
    oven: Oven,
    ceiling_c: float | None = None,
    top_c: float | None = None,
    load: Load | None = None,
    begin_stage: int = 0,
) -> LearningProgramme:
    """The stages for an oven. Raises KilnctlError for an impossible ceiling or top temperature."""
    highest = oven.limits.highest_c
    ceiling = highest if ceiling_c is None else ceiling_c
    where = oven.file or oven.name
    if ceiling > highest:
        raise KilnctlError(
            f"{where}: a ceiling of {ceiling:.0f} °C is above the {highest:.0f} °C that this oven may "
            "reach (limits: highest)"
        )
    model = day_zero(oven, load, oven.site.ambient_c + WORKING_SHARE * (ceiling - oven.site.ambient_c))
    try:
        experiment = trial.plan(model, ceiling, top_c)
    except ValueError as error:
        raise KilnctlError(f"{where}: no learning run is possible: {error}") from None
    if not 0 <= begin_stage < len(experiment.stages):
        raise KilnctlError(
            f"the learning run has stages 1 to {len(experiment.stages)}; it cannot go on at {begin_stage + 1}"
        )
    begin = trial.resumed(trial.Progress(begin_stage), experiment)
    longest, needed = oven.limits.longest_s, experiment.heated_s(begin.stage)
    if needed > longest - SPARE_S:
        raise KilnctlError(
            f"{where}: a learning run to {experiment.temperatures_c[-1]:.0f} °C has heat in it for "
            f"about {clock(needed)}, and this oven may not run for longer than {clock(longest)} (limits: longest); "
            "raise that, or learn at a lower temperature (--to)"
        )
    experiment = replace(experiment, heat_until_s=longest - SPARE_S)
    return LearningProgramme(
        experiment, model, oven.site.ambient_c, max(LEAST_NOISE_K, oven.sensors.control.noise_k), begin
    )


@dataclass(frozen=True)
class Interrupted:
    """What the record of an interrupted learning run says of it: enough to prepare the rest of the same run."""

    stage: int
    ceiling_c: float
    top_c: float
    load: Load | None


def interrupted(oven: Oven, folder: str | Path) -> Interrupted:
    """Read the record of a learning run that was interrupted, tripped or killed. Raises KilnctlError for any other."""
    record = read_run(folder)
    schedule = record.schedule
    top_c = schedule.steps[-1].to_c if schedule.steps else None
    if record.controller != NAME or schedule.highest_c is None or top_c is None:
        raise KilnctlError(f"{folder}: this is the record of '{schedule.name}', not of a learning run")
    if record.oven.name != oven.name:
        raise KilnctlError(f"{folder}: this learning run was of '{record.oven.name}', not of '{oven.name}'")
    if record.outcome == Outcome.FINISHED:
        raise KilnctlError(f"{folder}: this learning run is finished; `kilnctl fit` reads it")
    steps = np.asarray(record.data.get("step", ()), float)
    reached = int(np.nanmax(steps)) - 1 if np.isfinite(steps).any() else 0
    return Interrupted(max(0, reached), schedule.highest_c, top_c, record.load)


def as_schedule(programme: LearningProgramme) -> Schedule:
    """The learning run as a schedule, for what records and rules need to know of one: temperatures and
    limits."""
    steps = tuple(Step(name=f"levels around {t:.0f} °C", to_c=t) for t in programme.experiment.temperatures_c)
    longest = LONGEST_TIMES * programme.experiment.duration_s + LONGEST_MORE_S
    return Schedule(
        name="Learning run",
        about="heats in a planned way to learn how this oven behaves",
        steps=steps,
        highest_c=programme.experiment.ceiling_c,
        longest_s=longest,
    )


def learn(
    oven: Oven,
    plant: Plant | None = None,
    seed: int = 0,
    *,
    ceiling_c: float | None = None,
    top_c: float | None = None,
    load: Load | None = None,
    hot: bool = False,
    begin_stage: int = 0,
    faults: Sequence[PlantFault] = (),
    progress: Progress | None = None,
    sink: Sink | None = None,
) -> Run:
    """The commissioning run on `plant` (the virtual oven if None), under every interlock; returns a `Run`
    that `fit` reads.

    `ceiling_c`: never above it (the oven's highest if None); `top_c`: upper working temperature; `load`: what
    is in the oven (None: empty, as it should be); `hot`: start although it is warm; `begin_stage`: go on
    where an interrupted run stopped. Raises KilnctlError when it cannot be done; Ctrl-C ends the run with
    outcome "interrupted"."""
    run = prepare(oven, ceiling_c=ceiling_c, top_c=top_c, load=load, begin_stage=begin_stage)
    if plant is None:
        plant = virtual_oven(oven, load, seed, faults)
    return carry_out(run, plant, seed, hot=hot, progress=progress, sink=sink)


def carry_out(
    run: PreparedRun,
    plant: Plant,
    seed: int = 0,
    *,
    hot: bool = False,
    progress: Progress | None = None,
    sink: Sink | None = None,
) -> Run:
    """A prepared learning run on a plant. Raises KilnctlError for an oven that is hot, unless `hot`."""
    start_c = truth_of(plant).chamber_c
    if start_c is not None:
        refuse_hot(run.oven, start_c, hot)
    run = replace(run, controller=LearningControl(None if hot else run.oven))
    return simulate(run, plant, seed, progress=progress, sink=sink)


def refuse_hot(oven: Oven, reading_c: float, hot: bool) -> None:
    """Raise KilnctlError for an oven that is not at room temperature, unless that is wanted."""
    if not hot and reading_c > oven.site.ambient_c + HOT_K:
        raise KilnctlError(
            f"{oven.name} is at {reading_c:.0f} °C; a learning run starts cold, since it is not known how far "
            "a warm lining is warmed "
            "through. Let it cool, or start it hot with --hot"
        )
