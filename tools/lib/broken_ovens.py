"""Virtual ovens that break while the whole chain of control and safety runs on them: what tools/trials/fault_campaign
counts.

A fault-free run is frozen in the middle of each phase (`snapshots`); each fault starts from such a snapshot and is
followed until it is clear what became of it (`follow`)."""

import dataclasses
import math
import pickle
import random
from collections.abc import Callable, Sequence
from pathlib import Path

from scenarios import WORKSHOP, oven_file, schedule_file

from kilnctl import load_oven, load_schedule, safety
from kilnctl.model.day_zero import day_zero
from kilnctl.plants.conditions import Conditions, Variation
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.reading import Reading
from kilnctl.run.chain import Actuation, Chain
from kilnctl.run.prepare import prepare
from kilnctl.settings.construction import Load
from kilnctl.settings.schedule import Schedule

PHASES = ("heat-up", "soak", "cooling", "idle")
#: Wiring → what is not there.
WIRINGS = {"metered": (), "plain": ("power",), "bare": ("power", "contactor", "second", "door")}
#: Follow a fault for this long at most, and from when it shows for twice its row's time and five minutes, or until so
#: long after its trip (of those that nothing of ours can cut: until the shout), s.
LONGEST_S, AFTER_S = 2400.0, 180.0


def _drawn(bench: "Bench") -> bool:
    return bench.act is not None and bench.act.contactor and bench.act.fired > 0.1


def always(bench: "Bench") -> bool:
    return True


#: When a fault first shows: a shorted relay cannot be seen at full power, nor a broken element while nothing is fired.
SHOWS = {
    **dict.fromkeys(("F01", "F02", "F03"), lambda b: b.unasked_s > 0.5),
    **dict.fromkeys(("F04", "F05", "F32", "F36", "F40", "F41"), _drawn),
    "F07": lambda b: not b.act.contactor,
    "F08": lambda b: b.act.contactor,
    "F20": lambda b: not b.plant.loop_stalled,
    **dict.fromkeys(("F06", "F24"), lambda b: b.reading.supply_v is not None or b.act.contactor),
    "F26": lambda b: b.chain.policy.airflow_required and b.act.contactor,
    "F33": lambda b: not b.act.contactor or b.unasked_s > 0.5,
}
#: Faults outside the oven, as functions that change the reading, from reading, policy and seconds since the fault
#: began.
READ = {
    "F34": lambda reading, policy, since_s: dataclasses.replace(reading, chamber_c=math.nan),
    "F35": lambda reading, policy, since_s: (
        dataclasses.replace(reading, limit_c=math.nan) if policy.has_limit_sensor else reading
    ),
    "F39": lambda reading, policy, since_s: dataclasses.replace(
        reading, chamber_c=reading.chamber_c + 2.0 * policy.rise_k_per_s * min(since_s, 20.0)
    ),
}
AS_DESCRIBED, ORDINARY = Variation(), Conditions()


def file_of(name: str) -> Path:
    """The description of an oven of the workshop, or a file."""
    return Path(name) if name.endswith(".yaml") else oven_file(name)


class Bench:
    """A chain on a virtual oven, one tick a call; `lacks`: what of a WIRING is not there; `door_switch`: there is one,
    not the described one; `model`: a trained one's file; `put_in`: what is really in, instead of the described
    load; `tick_s`: instead of the description's, s."""

    def __init__(
        self,
        name: str,
        seed: int,
        lacks: tuple[str, ...],
        variation: Variation = AS_DESCRIBED,
        conditions: Conditions = ORDINARY,
        schedule: str | Schedule | None = None,
        door_switch: bool = False,
        model: str | None = None,
        put_in: Load | None = None,
        tick_s: float | None = None,
    ) -> None:
        oven = load_oven(file_of(name))
        if tick_s is not None:
            oven = dataclasses.replace(oven, control=dataclasses.replace(oven.control, tick_s=tick_s))
        name_of = WORKSHOP[name].everyday if schedule is None else schedule
        plan = name_of if isinstance(name_of, Schedule) else load_schedule(schedule_file(name_of))
        if "second" in lacks:
            oven = dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, limit=None))
        if "part" in lacks:
            oven = dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, part=None))
        if door_switch or "door" in lacks:
            oven = dataclasses.replace(oven, door=dataclasses.replace(oven.door, switch=door_switch))
        load = plan.load or oven.usual_load
        # What the rig of such an oven cannot measure.
        told = {
            "power": ("fired", "current_a", "mean_current_a", "commanded"),
            "supply": ("supply_v",),
            "contactor": ("contactor_closed",),
            "door": ("door_open",),
        }
        self.name, self.dt, self.untold = (
            name,
            oven.control.tick_s,
            {f: None for part in lacks for f in told.get(part, ())},
        )
        self.plant = VirtualOven(oven, load=put_in or load, seed=seed, variation=variation, conditions=conditions)
        run = prepare(oven, plan, model or day_zero(oven, load, plan.top_c), self.plant.chamber_c)
        self.chain = Chain(run)
        self.act: Actuation | None = None
        self.warned: set[str] = set()
        self.step, self.unasked_s, self.read, self.read_s = 0, 0.0, None, 0.0
        self.reading = self._seen(self.plant.advance(self.dt, 0.0, False))

    def _seen(self, reading: Reading) -> Reading:
        reading = dataclasses.replace(reading, **self.untold)
        return self.read(reading, self.chain.policy, self.plant.time_s - self.read_s) if self.read else reading

    def tick(self) -> Actuation:
        plant, stalled = self.plant, 0.0
        while plant.loop_stalled and self.act is not None and stalled < 3600.0:
            # The last command stands until the board's lease ends it.
            alive = stalled < safety.LEASE_S
            self.reading = self._seen(
                plant.advance(self.dt, self.act.fired if alive else 0.0, self.act.contactor and alive)
            )
            stalled += self.dt
        self.step += 1
        self.act = act = self.chain.tick(self.reading, plant.time_s + plant.clock_jump_s, self.dt, self.step)
        verdict = act.verdict
        assert act.duty == 0.0 or verdict.permit is not None, "heat without a permit"
        assert not (verdict.trips and (act.fired or act.contactor)), "heat with a trip"
        self.warned |= set(verdict.warnings)
        before_j = plant.energy_j
        reading = plant.advance(self.dt, act.fired, act.contactor)
        # Full-power seconds that the elements really got beyond what was commanded: the moment a stuck relay can first
        # be seen.
        got_s = (plant.energy_j - before_j) / self.chain.programme.model.power_w
        # Forgotten within a minute: at nearly full power a stuck relay adds about a hundredth now and then, which looks
        # like a drifting supply.
        self.unasked_s *= math.exp(-self.dt / 60.0)
        self.unasked_s += max(0.0, got_s - 1.15 * (act.fired if act.contactor else 0.0) * self.dt)
        self.reading = self._seen(reading)
        return act


def snapshots(name: str, seed: int, wiring: str) -> dict[str, bytes]:
    """A fault-free run frozen in the middle of each phase. Raises AssertionError for a false trip."""
    bench, made, since = Bench(name, seed, WIRINGS[wiring]), {}, {}
    generator = random.Random(f"{name}{seed}")
    wait = {p: generator.uniform(150.0, 500.0) for p in PHASES}
    while len(made) < len(PHASES):
        act = bench.tick()
        decision = act.decision
        assert not act.verdict.trips, f"false trip in {name}: {act.verdict.trips[0]}"
        if decision.phase == "purge":
            continue  # no heat yet, nothing that it would show
        phase = {"heat up": "heat-up", "ramp": "heat-up", "soak": "soak", "cooling": "cooling", "finished": "idle"}[
            decision.phase
        ]
        # A later part of the run is hotter: take the snapshot again while the phase comes again, and keep the hottest.
        since[phase] = since.get(phase, 0.0) + bench.dt
        if phase not in made and since[phase] > wait[phase]:
            made[phase] = pickle.dumps(bench)
        if phase == "idle" and "cooling" not in made:
            made["cooling"] = made["soak"]
    return made


def follow(
    bench: Bench,
    faults: Sequence[PlantFault],
    shows: Callable[[Bench], bool] = always,
    longest_s: float = LONGEST_S,
    after_s: float = AFTER_S,
) -> dict:
    """The result of a fault; times count from when it first shows."""
    start, energy = bench.plant.time_s, bench.plant.energy_j
    known = set(bench.chain.safety.trips)
    for fault in faults:
        bench.plant.inject(dataclasses.replace(fault, start_s=start))
    bench.warned.clear()
    bench.unasked_s = 0.0
    trip_c = bench.chain.policy.schedule_trip_c
    out = {
        "off_s": None,
        "trip_s": None,
        "trip": "",
        "shown": False,
        "danger_s": None,
        "excess_k": -math.inf,
        "energy_j": 0.0,
        "warned": False,
    }
    wanted, shown = bench.act is not None and bench.act.verdict.permit is not None, None
    spent = 0.0
    while bench.plant.time_s - start < LONGEST_S and (shown is None or spent < longest_s):
        verdict = bench.tick().verdict
        if shown is None and shows(bench):
            shown = bench.plant.time_s - bench.dt
        spent = bench.plant.time_s - (start if shown is None else shown)
        out["excess_k"] = max(out["excess_k"], bench.plant.chamber_c - trip_c)
        if verdict.danger and out["danger_s"] is None:
            out["danger_s"] = spent
        if out["off_s"] is None and wanted and verdict.permit is None:
            out["off_s"] = spent
        new = set(bench.chain.safety.trips) - known
        if new and out["trip_s"] is None:
            out["trip_s"], out["trip"] = spent, next(t for t in bench.chain.safety.trips if t in new)
        if out["trip_s"] is not None and spent - out["trip_s"] > (after_s if out["danger_s"] is None else AFTER_S):
            break
    if shown is None and out["trip_s"] is not None:
        # Caught before half a second of unasked heat: until then the fault had no effect.
        out["trip_s"], out["off_s"] = 0.0, 0.0 if out["off_s"] is not None else None
    out["shown"] = shown is not None or out["trip_s"] is not None
    out["followed_s"], out["energy_j"], out["warned"] = spent, bench.plant.energy_j - energy, bool(bench.warned)
    return out
