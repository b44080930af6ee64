"""Rehearse a schedule: the whole control and safety chain on a plant, in simulated time."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from .. import safety
from ..control import Decision
from ..model.energy import EnergyModel
from ..model.trained_file import TrainedModel
from ..plants.injection import PlantFault
from ..plants.plant import Plant, computer_of, truth_of
from ..reading import Reading
from ..record.columns import row_of
from ..record.events import Event, Teller, on_run_clock
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import Outcome
from .chain import AFTER_TRIP_S, Chain
from .prepare import PreparedRun, load_of, prepare
from .result import Run, as_run
from .virtual_plant import virtual_oven

#: Called once a simulated minute with the time since the start, s, the time left, s, and the phase.
Progress = Callable[[float, float, str], None]
#: Called with each sample's values in the order of `COLUMNS`.
Sink = Callable[[tuple], Any]


def rehearse(
    oven: Oven,
    schedule: Schedule,
    plant: Plant | None = None,
    model: EnergyModel | TrainedModel | str | Path | None = None,
    seed: int = 0,
    *,
    controller: str = "model",
    faults: Sequence[PlantFault] = (),
    progress: Progress | None = None,
    sink: Sink | None = None,
) -> Run:
    """Run `schedule` on `plant` (the virtual oven if None) with `model` (the description's own if None).

    Same arguments give the same run bit for bit. Raises KilnctlError when the schedule cannot be run on this oven;
    Ctrl-C ends the run with outcome "interrupted"."""
    if plant is None:
        plant = usual_plant(oven, schedule, seed, faults)
    run = prepare(oven, schedule, model, truth_of(plant).chamber_c, controller=controller)
    return simulate(run, plant, seed, progress=progress, sink=sink)


def usual_plant(oven: Oven, schedule: Schedule, seed: int = 0, faults: Sequence[PlantFault] = ()) -> Plant:
    """The virtual oven with what the schedule says is in it."""
    return virtual_oven(oven, load_of(oven, schedule), seed, faults)


def simulate(
    run: PreparedRun,
    plant: Plant,
    seed: int = 0,
    *,
    progress: Progress | None = None,
    sink: Sink | None = None,
) -> Run:
    """Follow a prepared run on a plant to its end. Ctrl-C ends it with outcome "interrupted"."""
    chain = Chain(run)
    rows: list[tuple] = []
    events: list[Event] = []
    told_s: dict[str, float] = {}
    outcome = Outcome.INTERRUPTED
    try:
        outcome = follow(plant, chain, rows, events, progress, sink, told_s=told_s)
    except KeyboardInterrupt:
        events.append(Event(rows[-1][0] if rows else 0.0, "note", "interrupted"))
    return as_run(
        run,
        rows,
        outcome=outcome,
        trips=on_run_clock(chain.safety.trips.values(), told_s),
        events=events,
        seed=seed,
        energy_j=chain.energy_j,
    )


def follow(
    plant: Plant,
    chain: Chain,
    rows: list[tuple],
    events: list[Event] | None = None,
    progress: Progress | None = None,
    sink: Sink | None = None,
    enough: Callable[[float, Decision], bool] | None = None,
    told_s: dict[str, float] | None = None,
) -> Outcome:
    """Tick until it is finished, tripped, or `enough(time_s, decision)`; `rows` and `events` are filled, and with these
    `told_s`: trip → when it was told."""
    dt = chain.run.oven.control.tick_s
    time_s, step, tripped_s = 0.0, 0, None
    reading = plant.advance(dt, 0.0, False)
    teller = Teller(chain.programme.legs)
    if told_s is not None:
        teller.tripped_s = told_s
    while True:
        time_s += dt
        step += 1
        computer = computer_of(plant)
        if computer.loop_stalled and chain.last is not None:
            reading, stalled_s = _stalled(plant, chain, dt)
            time_s += stalled_s
            computer = computer_of(plant)
        act = chain.tick(reading, time_s + computer.clock_jump_s, dt, step)
        assert chain.control is not None
        d, truth = act.decision, truth_of(plant)
        row = row_of(time_s, reading, act, truth.chamber_c, truth.part_c)
        rows.append(row)
        if sink is not None:
            sink(row)
        if events is not None:
            events += teller.tell(time_s, reading, act, chain.control.leg)
        if act.verdict.new_trips and tripped_s is None:
            tripped_s = time_s
        if progress is not None and (step * dt) % 60.0 < dt:
            progress(time_s, d.left_s, d.phase)
        if d.done or (enough is not None and enough(time_s, d)):
            return Outcome.FINISHED
        if tripped_s is not None and time_s - tripped_s >= AFTER_TRIP_S:
            return Outcome.TRIPPED
        # The gate's answer, in whole cycles, is all that reaches the plant.
        reading = plant.advance(dt, act.fired, act.contactor)


def _stalled(plant: Plant, chain: Chain, dt: float) -> tuple[Reading, float]:
    """While the loop stands still the rig keeps its last command until the lease is over, then switches off by itself.
    Returns the first reading afterwards, and how long the loop stood, s."""
    assert chain.last is not None
    stalled_s = 0.0
    while True:
        alive = stalled_s < safety.LEASE_S
        reading = plant.advance(dt, chain.last.fired if alive else 0.0, chain.last.contactor and alive)
        stalled_s += dt
        if not computer_of(plant).loop_stalled:
            return reading, stalled_s
