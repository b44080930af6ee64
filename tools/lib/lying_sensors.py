"""Whole runs with a control sensor that lies from the start, or slowly: what fault_campaign --lying counts.

No second sensor is there, nor one on the part, but for swapped ones. What is measured is how hot the chamber truly
gets. Fault-free runs beside them have doors, sags, and loads of another mass and wetness than described."""

import dataclasses
import math
import random

from broken_ovens import CONFIGS, Bench

from kilnctl import load_oven, load_schedule
from kilnctl.plants.injection import PlantFault

#: A run is followed so long at most, s.
LONGEST_S = 14 * 3600.0
#: Goal with a fitted model: share of the oven's trip above the room, and K.
GOAL_SHARE, GOAL_K = 0.08, 15.0
TYPES = "BEJKNRST"


def lies(name: str, seed: int) -> list[PlantFault]:
    """Every lie that is tried on one oven: (kind, size), from the start."""
    generator = random.Random(f"lies{name}{seed}")
    low = [PlantFault("thermocouple reads low", size=s) for s in (0.05, 0.1, 0.2, 0.3, 0.5)]
    out = [PlantFault("thermocouple half out", size=s) for s in (0.1, 0.3, 0.5)]
    slowly = [PlantFault("thermocouple creeping out", generator.uniform(600.0, 3600.0), size=s) for s in (0.2, 0.5)]
    off = [PlantFault("calibration wrong", size=k) for k in (-30.0, -80.0)]
    wrong = [PlantFault(f"thermocouple of type {letter}") for letter in TYPES]
    return [*low, *out, *slowly, *off, *wrong, PlantFault("control and part sensors swapped")]


def hottest_schedule(name: str, schedule: str | None):
    """A schedule of the workshop, or (None) one that goes to the oven's highest as fast as it can and stays; with a
    `highest` of its own."""
    if schedule is not None:
        return load_schedule(CONFIGS / f"schedules/{schedule}.yaml")
    oven = load_oven(CONFIGS / f"ovens/{name}.yaml")
    plan = load_schedule(CONFIGS / "schedules/temper.yaml")
    top_c = oven.limits.highest_c - 5.0
    step = dataclasses.replace(plan.steps[0], to_c=top_c, hold_s=4 * 3600.0, at_k_per_s=None, in_s=None)
    return dataclasses.replace(plan, steps=(step,), highest_c=oven.limits.highest_c, load=None)


def lie(job: tuple) -> dict:
    """One whole run: how hot the chamber gets, and what ends it. `job`: oven, schedule (or None), model file (or None),
    seed, wiring's lacks, fault (or None)."""
    name, schedule, model, seed, lacks, fault = job
    bench = Bench(name, seed, lacks, schedule=hottest_schedule(name, schedule), model=model)
    if fault is not None:
        bench.plant.inject(fault)
    trip_c, room_c = bench.chain.run.oven.limits.trip_at_c, bench.plant.ambient_c
    out = {"job": job, "hottest_c": -math.inf, "trip": "", "trip_s": None, "warned": ()}
    out["allowed_c"] = room_c + (1.0 + GOAL_SHARE) * (trip_c - room_c) + GOAL_K
    while bench.plant.time_s < LONGEST_S:
        act = bench.tick()
        out["hottest_c"] = max(out["hottest_c"], bench.plant.chamber_c)
        trips = act.verdict.trips
        if trips and out["trip_s"] is None:
            out["trip"], out["trip_s"] = trips[0].fault, bench.plant.time_s
        if act.decision.done or (out["trip_s"] is not None and bench.plant.time_s - out["trip_s"] > 180.0):
            break
    out["reads_c"], out["warned"] = bench.reading.chamber_c, tuple(sorted(bench.warned))
    return out
