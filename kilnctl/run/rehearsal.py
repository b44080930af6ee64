"""Rehearse a schedule: the whole control and safety chain on a plant, in simulated time."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .. import control, safety
from ..body import bursts
from ..model.day_zero import day_zero
from ..record.columns import COLUMNS, row_of
from ..record.events import Event, Teller, on_run_clock
from ..record.run_data import RunData
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .chain import AFTER_TRIP_S, Chain


@dataclass(kw_only=True)
class Run(RunData):
    """What happened. One value a tick in each array (time_s, reference_c, chamber_c as the sensor shows it, part_c, duty,
    feedforward_w, trim_w, …; see `kilnctl.record.columns`); `trips` each with .fault and .time_s; `outcome` is "finished",
    "tripped" or "interrupted". true_chamber_c is the plant's own, where it tells."""

    oven: Oven
    shortfalls: tuple = ()


def controller_of(kind: str):
    """ "model" (ours), "thermostat", "pi" or "pid"."""
    return control if kind == "model" else control.Plain(kind)


def rehearse(
    oven: Oven,
    schedule: Schedule,
    plant=None,
    model=None,
    seed: int = 0,
    *,
    controller: str = "model",
    faults=(),
    progress: Callable[[float, float, str], None] | None = None,
    sink: Callable[[tuple], None] | None = None,
) -> Run:
    """Run `schedule` on `plant` (the virtual oven if None) with `model` (the description's own if None).

    Same arguments give the same run bit for bit. `progress(time_s, left_s, phase)` is called once a simulated minute, `sink` with
    each sample's values in the order of `COLUMNS`. Raises KilnctlError when the schedule cannot be run on this oven; Ctrl-C ends
    the run with outcome "interrupted".
    """
    load = schedule.load if schedule.load is not None else oven.usual_load
    if plant is None:
        from .virtual_plant import virtual_oven

        plant = virtual_oven(oven, load, seed, faults)
    if model is None:
        model = day_zero(oven, load, schedule.top_c)
    start_c = getattr(plant, "chamber_c", None)
    programme = control.prepare(oven, schedule, model, start_c)
    policy = safety.policy_for(oven, schedule, model, start_c=start_c)
    chain = Chain(controller_of(controller), programme, policy, bursts.pattern_for(oven), holding_table(model, oven))
    rows: list[tuple] = []
    events: list[Event] = []
    outcome = "interrupted"
    try:
        outcome = follow(oven, plant, chain, rows, events, progress, sink)
    except KeyboardInterrupt:
        events.append(Event(rows[-1][0] if rows else 0.0, "note", "interrupted"))
    told_s = {e.text.partition(":")[0]: e.time_s for e in reversed(events) if e.kind == "trip"}
    return as_run(
        rows,
        oven=oven,
        schedule=schedule,
        outcome=outcome,
        trips=on_run_clock(chain.safety.trips.values(), told_s),
        events=tuple(events),
        seed=seed,
        controller=controller,
        energy_j=chain.energy_j,
        model=model,
        shortfalls=programme.shortfalls,
        load=load,
    )


def as_run(rows: list[tuple], **facts) -> Run:
    """A `Run` from samples in the order of `COLUMNS`."""
    columns = list(zip(*rows)) if rows else [()] * len(COLUMNS)
    data = {c.name: np.array(v, dtype=object if c.name == "reason" else float) for c, v in zip(COLUMNS, columns)}
    return Run(data=data, **facts)


def holding_table(model, oven: Oven):
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


def follow(
    oven: Oven, plant, chain: Chain, rows: list, events: list | None = None, progress=None, sink=None, enough=None
) -> str:
    """Tick until it is finished, tripped, or `enough(time_s, decision)`; `rows` and `events` are filled. Returns the outcome."""
    dt = oven.control.tick_s
    time_s, step, tripped_s = 0.0, 0, None
    reading = plant.advance(dt, 0.0, False)
    teller = Teller(chain.programme.legs)
    while True:
        time_s += dt
        step += 1
        now = time_s + getattr(plant, "clock_jump_s", 0.0)
        if getattr(plant, "loop_stalled", False) and chain.last is not None:
            # The loop stands still: the rig goes on with its last command until the lease is over, then lets go by itself.
            stalled = 0.0
            while getattr(plant, "loop_stalled", False):
                alive = stalled < safety.LEASE_S
                reading = plant.advance(dt, chain.last.fired if alive else 0.0, chain.last.contactor and alive)
                stalled += dt
            time_s += stalled
            now = time_s + getattr(plant, "clock_jump_s", 0.0)
        act = chain.tick(reading, now, dt, step)
        d = act.decision
        row = row_of(time_s, reading, act, getattr(plant, "chamber_c", None), getattr(plant, "part_c", None))
        rows.append(row)
        if sink is not None:
            sink(row)
        if events is not None:
            events += teller.tell(time_s, reading, act, chain.control.position.leg)
        if act.verdict.new_trips and tripped_s is None:
            tripped_s = time_s
        if progress is not None and (step * dt) % 60.0 < dt:
            progress(time_s, d.left_s, d.phase)
        if d.done or (enough is not None and enough(time_s, d)):
            return "finished"
        if tripped_s is not None and time_s - tripped_s >= AFTER_TRIP_S:
            return "tripped"
        # The gate's answer, in whole cycles, is all that reaches the plant.
        reading = plant.advance(dt, act.fired, act.contactor)
