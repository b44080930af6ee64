"""Whole runs with a control sensor that reads wrong from the start, or drifts slowly: what fault_campaign --lying
counts.

There is no second sensor and none on the part, except for swapped sensors. Measured is how hot the chamber really gets.
Fault-free runs for comparison have opened doors, voltage sags, and loads whose mass and wetness differ from the
description, as far as it says that they may."""

import dataclasses
import math
import random
import subprocess
import sys
from pathlib import Path

from broken_ovens import Bench, file_of
from scenarios import schedule_file

from kilnctl import load_oven, load_schedule
from kilnctl.model.load_range import energy_range, load_range
from kilnctl.plants.conditions import Conditions, Variation
from kilnctl.plants.injection import PlantFault
from kilnctl.settings.construction import Load
from kilnctl.settings.oven import Oven
from kilnctl.settings.schedule import Schedule
from kilnctl.terms import Phase

#: Longest simulated time of a run, s; its tick, s: the longest that is allowed, which takes half the time.
LONGEST_S, TICK_S = 14 * 3600.0, 2.0
#: A chamber whose highest temperature has not risen by this much, K, in this time of a soak, s, gets no hotter there.
SETTLED_K, SETTLED_S = 1.0, 2700.0
#: Goal with a fitted model: share of the oven's trip above the room, and K.
GOAL_SHARE, GOAL_K = 0.08, 15.0
TYPES = "BEJKNRST"
#: How well the owners of some loads know them, as shares, and how many of them say so; of runs with a lie: how well.
KNOWN, SAY_SO, WEIGHED = (0.05, 0.1, 0.3, 1.0, 2.0), 0.4, 0.1


def lies(name: str, seed: int) -> list[PlantFault]:
    """Every sensor error that is tried on one oven: (kind, size), from the start."""
    generator = random.Random(f"lies{name}{seed}")
    low = [PlantFault("thermocouple reads low", size=s) for s in (0.05, 0.1, 0.14, 0.2, 0.3, 0.5)]
    out = [PlantFault("thermocouple half out", size=s) for s in (0.1, 0.3, 0.5)]
    slowly = [PlantFault("thermocouple creeping out", generator.uniform(600.0, 3600.0), size=s) for s in (0.2, 0.5)]
    off = [PlantFault("calibration wrong", size=k) for k in (-30.0, -80.0)]
    wrong = [PlantFault(f"thermocouple of type {letter}") for letter in TYPES]
    return [*low, *out, *slowly, *off, *wrong, PlantFault("control and part sensors swapped")]


def hottest_schedule(name: str, schedule: str | None) -> Schedule:
    """A schedule of the workshop, or (None) one that goes to the oven's highest as fast as it can and stays; it has its
    own `highest`."""
    if schedule is not None:
        return load_schedule(schedule_file(schedule))
    oven = load_oven(file_of(name))
    plan = load_schedule(schedule_file("temper"))
    top_c = oven.limits.highest_c - 5.0
    step = dataclasses.replace(plan.steps[0], to_c=top_c, hold_s=4 * 3600.0, at_k_per_s=None, in_s=None)
    return dataclasses.replace(plan, steps=(step,), highest_c=oven.limits.highest_c, load=None)


def learnt(name: str, folder: Path) -> str | None:
    """The file of a model that a learning run on the virtual oven gave, with the usual load in; None where it gave
    none."""
    file, home = folder / f"{Path(name).stem}-model.yaml", folder / Path(name).stem
    if file.exists():
        return str(file)
    command = [sys.executable, "-m", "kilnctl"]
    loaded = ["--loaded"] if load_oven(file_of(name)).usual_load is not None else []
    where = ["--out", str(home / "runs"), "--home", str(home), "--confirm", "--quiet"]
    subprocess.run([*command, "learn", str(file_of(name)), *loaded, *where], capture_output=True, check=False)
    records = sorted((home / "runs").glob("*/"))
    if records:
        fit = [*command, "fit", str(file_of(name)), str(records[0]), "--quick", "--save", str(file)]
        subprocess.run(fit, capture_output=True, check=False)
    return str(file) if file.exists() else None


def heated(plan: Schedule) -> Schedule:
    """The schedule without its coolings, in which no rule of heat has anything to judge."""
    return dataclasses.replace(plan, steps=tuple(s for s in plan.steps if not s.let_cool))


def put_in_of(oven: Oven, load: Load, wet_kg: float, learnt: bool, generator: random.Random) -> Load:
    """What is really in, which the file calls `load`: as well known as it says, else from 0.3 times that to the most
    that the rules allow, half as much again in an oven that was learnt."""
    most = energy_range(oven, dataclasses.replace(load, known_within=None), learnt).most
    times, like = math.exp(generator.uniform(math.log(0.3), math.log(most))), generator.uniform(0.5, 1.0)
    mass, area, may_be = times, times, load_range(oven, load)
    if may_be.declared:
        mass, area = (math.exp(generator.uniform(math.log(may_be.least), math.log(may_be.most))) for _ in range(2))
        area = min(max(area, mass / may_be.most), mass / may_be.least)
    water_kg = wet_kg * min(mass, 1.2) * like
    return dataclasses.replace(load, mass_kg=mass * load.mass_kg, area_m2=area * load.area_m2, moisture_kg=water_kg)


def sound(job: tuple) -> tuple[str, float, list[str]]:
    """One fault-free run with doors, sags, and another load than described: where, seconds in which it heated up or
    soaked, and any trip. `job`: oven, schedule (or None), model file (or None), seed, wiring's lacks, whether its door
    has a switch."""
    name, schedule, model, seed, lacks, switch = job
    generator = random.Random(f"sound{name}{schedule}{seed}{model is None}")
    oven, plan = load_oven(file_of(name)), heated(hottest_schedule(name, schedule))
    load, put_in = plan.load or oven.usual_load, None
    if load is not None:
        wet_kg = 0.1 * load.mass_kg if generator.random() < 0.3 else 0.0
        within = generator.choice(KNOWN) if generator.random() < SAY_SO else None
        load = dataclasses.replace(load, moisture_kg=wet_kg, known_within=load.known_within or within)
        plan, put_in = dataclasses.replace(plan, load=load), put_in_of(oven, load, wet_kg, model is not None, generator)
    # A learnt oven differs only in what changes from day to day.
    unlike = (
        {}
        if model is not None
        else {"conductivity": (0.85, 1.18), "heat_capacity": (0.85, 1.18), "power": (0.93, 1.07)}
    )
    variation = Variation(**{k: generator.uniform(*v) for k, v in unlike.items()}, leakage=generator.uniform(0.5, 2.0))
    room = Conditions(ambient_c=oven.site.ambient_c + generator.uniform(-9.0, 9.0))
    bench = Bench(name, seed, lacks, variation, room, plan, switch, model, put_in, TICK_S)
    heating_s = 0.0
    disturbed_s = {"door open": 600.0, "supply sag": 0.0}
    said = f"load known within {load.known_within}" if load is not None else "empty"
    where = f"{name} {schedule or 'to its highest'} seed {seed} {'fitted' if model else 'day zero'} {lacks} {said}"
    while bench.plant.time_s < 40 * 3600.0:
        act, now = bench.tick(), bench.plant.time_s
        heating_s += bench.dt if act.decision.wants_heat and act.decision.phase != Phase.PURGE else 0.0
        if act.verdict.trips:
            return where, heating_s, [f"{now:.0f} s, {act.decision.phase}: {t}" for t in act.verdict.trips]
        if act.decision.done:
            break
        for kind, least, most, low, high in (
            ("door open", 5.0, 60.0, 0.2, 1.0),
            ("supply sag", 1.0, 600.0, 0.02, 0.14),
        ):
            if now > disturbed_s[kind] and generator.random() < bench.dt / 3600.0:
                disturbed_s[kind] = now + 900.0
                for_s, size = generator.uniform(least, most), generator.uniform(low, high)
                bench.plant.inject(PlantFault(kind, now, for_s, size))
    return where, heating_s, []


def is_loaded(name: str, schedule: str | None) -> bool:
    """Whether the file has a load in such a run."""
    return (hottest_schedule(name, schedule).load or load_oven(file_of(name)).usual_load) is not None


def lie(job: tuple) -> dict:
    """One whole run: how hot the chamber gets, and what ends it. `job`: oven, schedule (or None), model file (or None),
    seed, wiring's lacks, fault (or None), how well the load is known (or None)."""
    name, schedule, model, seed, lacks, fault, within = job
    plan = heated(hottest_schedule(name, schedule))
    if within is not None:
        load = plan.load or load_oven(file_of(name)).usual_load
        assert load is not None
        plan = dataclasses.replace(plan, load=dataclasses.replace(load, known_within=within))
    bench = Bench(name, seed, lacks, schedule=plan, model=model, tick_s=TICK_S)
    if fault is not None:
        bench.plant.inject(fault)
    trip_c, room_c = bench.chain.run.oven.limits.trip_at_c, bench.plant.ambient_c
    out = {"job": job, "hottest_c": -math.inf, "trip": "", "trip_s": None, "warned": ()}
    out["allowed_c"] = room_c + (1.0 + GOAL_SHARE) * (trip_c - room_c) + GOAL_K
    level_c, since_s, where = -math.inf, 0.0, ()
    while bench.plant.time_s < LONGEST_S:
        act = bench.tick()
        out["hottest_c"] = max(out["hottest_c"], bench.plant.chamber_c)
        place = (act.decision.step, act.decision.phase)
        if out["hottest_c"] > level_c + SETTLED_K or place != where or place[1] != Phase.SOAK:
            level_c, since_s, where = out["hottest_c"], bench.plant.time_s, place
        last = act.decision.step == len(plan.steps) - 1
        if last and bench.plant.time_s - since_s > SETTLED_S and not act.verdict.trips:
            break
        trips = act.verdict.trips
        if trips and out["trip_s"] is None:
            out["trip"], out["trip_s"] = trips[0].fault, bench.plant.time_s
        if act.decision.done or (out["trip_s"] is not None and bench.plant.time_s - out["trip_s"] > 180.0):
            break
    out["kept"] = out["hottest_c"] <= out["allowed_c"]
    out["reads_c"], out["warned"] = bench.reading.chamber_c, tuple(sorted(bench.warned))
    return out
