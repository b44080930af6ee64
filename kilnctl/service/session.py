"""What the oven does between two ticks: a run, or rest. Both are watched by the same rules. Both are decided without clock or
file; only `prepare`, before any heat, reads and checks."""

import math
import os
import subprocess
import sys
import threading
from dataclasses import dataclass, replace

from .. import control, safety
from ..body import bursts
from ..control import reference
from ..control.controller import Decision
from ..errors import KilnctlError
from ..firing import Burst
from ..model.energy import CHAMBER, SENSOR, N
from ..reading import Reading
from ..record.columns import row_of
from ..record.events import Event, Teller, on_run_clock
from ..run.chain import AFTER_TRIP_S, Actuation, Chain
from ..safety import SafetyState, Tick, Trip
from ..safety.messages import LOUD
from ..safety.state import DOUBTED, endanger
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from . import saved_trips

#: Longest that checking a description may take on a small computer, s.
CHECK_S = 120.0
OFF = Burst(0, (0,), (), 0.0)


@dataclass(frozen=True)
class Order:
    """A run that is ready to start. `words`: the model in words; `unlike`: limits unlike the last run's, which want a person's word."""

    oven: Oven
    schedule: Schedule
    load: Load | None
    model: object
    words: str
    programme: object
    policy: safety.Policy
    controller: object = control
    name: str = "energy balance and trim"
    unlike: tuple[str, ...] = ()
    model_file: str = ""


def prepare(oven: Oven, schedule: Schedule, model_file: str | None = None, start_c: float | None = None) -> Order:
    """Everything that can be refused before there is any heat. Raises KilnctlError."""
    check_apart(oven, schedule, model_file)
    return ready(oven, schedule, model_file, start_c)


def ready(oven: Oven, schedule: Schedule, model_file: str | None = None, start_c: float | None = None) -> Order:
    """`prepare` without the process apart: what `kilnctl check` says yes or no to is what a run is started with. Raises KilnctlError."""
    from ..model.trained_file import model_for

    load = schedule.load if schedule.load is not None else oven.usual_load
    model, words = model_for(oven, load, schedule.top_c, model_file)
    programme = control.prepare(oven, schedule, model, start_c)
    return Order(
        oven,
        schedule,
        load,
        model,
        words,
        programme,
        safety.policy_for(oven, schedule, model, start_c=start_c),
        model_file=model_file or "",
    )


def check_apart(oven: Oven, schedule: Schedule | None = None, model_file: str | None = None) -> None:
    """`kilnctl check` in a process of its own: its arithmetic and memory are nothing for the process that heats. Raises KilnctlError."""
    files = [x.file for x in (oven, schedule) if x is not None and x.file]
    if not oven.file:
        return
    files += ["--model", model_file] if model_file and len(files) == 2 else []
    try:
        done = subprocess.run(
            [sys.executable, "-m", "kilnctl", "check", *files],
            capture_output=True,
            text=True,
            timeout=CHECK_S,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise KilnctlError(f"{oven.file}: could not be checked: {error}") from None
    if done.returncode:
        raise KilnctlError(
            done.stderr.strip() or f"{oven.file}: the check failed without a word (status {done.returncode})"
        )


class Rest:
    """No run: heat off, contactor open, and the rules look on. Trips of an earlier run stand until they are acknowledged.

    `state`: that of the rules in the run that has just ended, and its `policy`; its latches go on, and what was being watched is. Or `trips` of a process
    that has ended, of each what was `believed` of the chamber before it (°C, and how many seconds ago), and the `limits` of its run.
    `tripped_s`: when each came, on the clock of the run that it ended."""

    def __init__(
        self,
        oven: Oven,
        trips: tuple[Trip, ...] = (),
        believed: saved_trips.Believed | None = None,
        limits: dict | None = None,
        *,
        state: SafetyState | None = None,
        policy: safety.Policy | None = None,
        tripped_s: dict[str, float] | None = None,
    ):
        self.tripped_s = tripped_s if tripped_s is not None else {t.fault: t.time_s for t in trips}
        self.policy = safety.policy_for(oven)
        #: What a trip's cause must be gone by: the limits of the run that tripped, which may be narrower than the oven's.
        self.tripped_by = policy if policy is not None else replace(self.policy, **(limits or {}))
        self.state = state.copied() if state is not None else SafetyState()
        for trip in trips:
            # The rules' clock is another one in each process; the run's time is kept beside them.
            self.state.trips[trip.fault] = replace(trip, time_s=0.0)
            if trip.done == LOUD:
                endanger(self.state)
        self._ago = believed  # until the first tick says what time it is
        self.reading: Reading | None = None
        self._tick: Tick | None = None
        self._lock = threading.Lock()  # an acknowledgement comes from the socket's thread

    @property
    def trips(self) -> tuple[Trip, ...]:
        """Their times are of the run that they ended; NaN for what came while no run was going on."""
        return on_run_clock(self.state.trips.values(), self.tripped_s)

    def tick(self, reading: Reading, now_s: float, dt_s: float, step: int) -> Actuation:
        fired = reading.fired if reading.fired is not None else 0.0
        with self._lock:
            if self._tick is None:
                self._begin(reading, now_s)
            self.reading, self._tick = reading, Tick(now_s, step, fired, heating=False, commanded=0.0, contactor=False)
            self.state, verdict = safety.judge(self.state, self.policy, reading, self._tick)
        nan = math.nan
        decision = Decision(
            0.0,
            0.0,
            0.0,
            0.0,
            nan,
            reading.chamber_c,
            nan,
            reading.chamber_c,
            None,
            None,
            None,
            0.0,
            0.0,
            0,
            "idle",
            0.0,
            False,
            False,
            "no run: heat off",
        )
        return Actuation(0.0, OFF, False, 0.0, decision, verdict)

    def _begin(self, reading: Reading, now_s: float) -> None:
        """What was known before, on this clock."""
        if self._ago is not None:
            self.state.believed = {fault: (then_c, now_s - ago_s) for fault, (then_c, ago_s) in self._ago.items()}
            self._ago = None
        if "sensor-frozen" in self.state.trips:
            # Only a sample that comes after this one shows that they go on.
            self.state.sample, self.state.sample_since_s = reading.sample, now_s - self.policy.frozen_s

    def believed(self, now_s: float) -> saved_trips.Believed:
        """As `latched.believed`, also before the first tick."""
        return self._ago if self._ago is not None else saved_trips.believed(self.state, now_s)

    @property
    def unknown(self) -> tuple[str, ...]:
        """The trips that doubt the reading and of which nobody knows what was believed before."""
        return tuple(
            f
            for f in self.state.trips
            if f in DOUBTED and f not in (self.state.believed if self._ago is None else self._ago)
        )

    def acknowledge(self, who: str, reading_is_right: bool = False) -> tuple[str, ...]:
        """Clear the trips whose causes are gone; returns those that stand. `reading_is_right`: `who` has seen by other means that the chamber is where the
        reading says, which is believed where nothing else is known. Raises KilnctlError before the first readings."""
        if self._tick is None or self.reading is None:
            raise KilnctlError("there is no reading yet; ask again in a few seconds")
        with self._lock:
            state = self.state
            if reading_is_right:
                state = state.copied()
                state.believed.update({fault: (self.reading.chamber_c, self._tick.time_s) for fault in self.unknown})
            cleared, standing = safety.acknowledge(state, self.tripped_by, self.reading, self._tick, who)
            if not standing:
                self.state, self.tripped_by = cleared, self.policy
        return standing


class Session:
    """One run from the start test to its end. `tick` decides; `over` says how it ended, once it has.

    `place` (from an earlier `place()`) goes on in the middle of a schedule after a power cut.
    """

    def __init__(self, order: Order, *, prove: bool = True, place: dict | None = None):
        from ..run.rehearsal import holding_table

        self.order = order
        controller = order.controller if place is None else _Resumed(order.controller, place)
        self.chain = Chain(
            controller,
            order.programme,
            order.policy,
            bursts.pattern_for(order.oven),
            holding_table(order.model, order.oven),
            prove=prove,
        )
        if place is not None:
            self.chain.energy_j, self.chain.before_s = float(place["energy_j"]), float(place["run_s"])
        self._teller = Teller(order.programme.legs)
        self._began_s: float | None = None
        self._resumed = place
        self._before_s = float(place["run_s"]) if place is not None else 0.0
        self.time_s = self._before_s
        self.tripped_s: float | None = None
        self.over = ""
        self.events: list[Event] = []
        self.row: tuple = ()

    def tick(
        self, reading: Reading, now_s: float, dt_s: float, step: int, requests: tuple[str, ...] = (), truth=(None, None)
    ) -> Actuation:
        """As `Chain.tick`; afterwards `row` is the sample of this tick and `events` what is worth telling of it."""
        if self._began_s is None:
            self._began_s = now_s - dt_s
        # A clock that goes back shows in the rules, not in the record.
        self.time_s = max(self.time_s + 1e-3, self._before_s + now_s - self._began_s)
        act = self.chain.tick(reading, now_s, dt_s, step, requests)
        self.row = row_of(self.time_s, reading, act, *truth)
        self.events = self._teller.tell(self.time_s, reading, act, self.chain.control.position.leg)
        if self.trips and self.tripped_s is None:
            self.tripped_s = self.time_s
        if self.tripped_s is not None:
            if self.time_s - self.tripped_s >= AFTER_TRIP_S:
                self.over = "tripped"
        elif act.decision.done:
            self.over = "finished"
        return act

    @property
    def trips(self) -> tuple[Trip, ...]:
        """Their times are the run's, like those of samples and events."""
        return on_run_clock(self.chain.safety.trips.values(), self.tripped, self.time_s)

    @property
    def tripped(self) -> dict[str, float]:
        """When each trip came, s since the run's start."""
        return self._teller.tripped_s

    def place(self) -> dict | None:
        """Where the run is, as JSON values; None while there is nothing to go on with."""
        c = self.chain.control
        if self._resumed is not None and not self.trips and c is None:
            return self._resumed
        if self._resumed is not None and not self.trips and self.chain.proving:
            # Cut off again before it got going again: it still is where it was in its schedule, with the temperatures of now.
            return {
                **self._resumed,
                "run_s": self.time_s,
                "energy_j": self.chain.energy_j,
                "state_c": [float(v) for v in c.estimate.now],
                "chamber_c": float(c.estimate.now[CHAMBER]),
                "outage_s": 0.0,
            }
        if c is None or self.chain.proving or self.trips or not hasattr(c.position, "counted_s"):
            return None
        p = c.position
        return {
            "leg": p.leg,
            "counted_s": p.counted_s,
            "reference_c": None if math.isnan(p.reference_c) else p.reference_c,
            "rate_k_per_s": p.rate_k_per_s,
            "arrived": p.arrived,
            "held": p.held,
            "added_s": p.added_s,
            "state_c": [float(v) for v in c.estimate.now],
            "heat_w": float(c.estimate.heat_w),
            "shares": [float(v) for v in c.estimate.shares],
            "chamber_c": float(c.estimate.now[CHAMBER]),
            "run_s": self.time_s,
            "energy_j": self.chain.energy_j,
        }


class _Resumed:
    """A controller that starts where another process was cut off."""

    def __init__(self, controller, place: dict):
        self.controller, self.place = controller, place

    def start(self, programme, reading: Reading, time_s: float):
        state = self.controller.start(programme, reading, time_s)
        p, model, value = self.place, programme.model, reading.chamber_c
        leg = programme.legs[min(int(p["leg"]), len(programme.legs) - 1)]
        reference_c = math.nan if p["reference_c"] is None else float(p["reference_c"])
        if leg.kind == "ramp" and math.isfinite(value):
            # It goes on from where the oven is now, not from where it should be: the outage is no reason to hurry.
            down = leg.target_c < reference_c
            reference_c = (
                max(reference_c, value)
                if down and value < reference_c
                else min(reference_c, value)
                if not down
                else reference_c
            )
        position = reference.Position(
            leg=int(p["leg"]),
            counted_s=float(p["counted_s"]),
            reference_c=reference_c,
            arrived=bool(p["arrived"]),
            rate_k_per_s=float(p["rate_k_per_s"]),
            held=bool(p["held"]),
            added_s=float(p["added_s"]),
        )
        state.position = position
        cooled = cooled_state(model, p, float(p.get("outage_s", 0.0)))
        if cooled is not None and math.isfinite(value):
            # The chamber is where the sensor says; the hidden temperatures are where the outage has left them.
            x = tuple(value if i in (CHAMBER, SENSOR) else t for i, t in enumerate(cooled))
            # A place of before the shares were kept has one sum for all that the model did not explain.
            heat_w, shares = (
                float(p.get("heat_w", p.get("unexplained_w", 0.0))),
                tuple(float(v) for v in p.get("shares", (1.0, 1.0, 1.0))),
            )
            state.estimate = replace(state.estimate, x=x, now=x, heat_w=heat_w, shares=shares)
        return state

    def step(self, *arguments):
        return self.controller.step(*arguments)


def cooled_state(model, place: dict, outage_s: float) -> tuple[float, ...] | None:
    """The model's temperatures after so long without heat; None where the place does not fit the model."""
    x = tuple(place.get("state_c") or ())
    if len(x) != N or not all(isinstance(v, (int, float)) and math.isfinite(v) for v in x):
        return None
    left = outage_s
    while left > 0.0:
        dt = min(5.0, left)
        x = model.step(x, 0.0, dt, model.ambient_c)
        left -= dt
    return x
