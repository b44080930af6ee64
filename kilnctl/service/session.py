"""What the oven does between two ticks: a run, or rest. The same rules watch both, and neither reads a clock or a file;
only `prepare` reads and checks, before any heat."""

import math
import subprocess
import threading
from dataclasses import replace

from .. import safety
from ..control import Decision, EnergyBalanceControl, EnergyBalanceState, Programme, reference
from ..errors import KilnctlError
from ..firing import Burst
from ..model.energy import CHAMBER, SENSOR, EnergyModel, N
from ..plants.plant import Truth
from ..reading import Reading
from ..record.columns import row_of
from ..record.events import Event, Teller, on_run_clock
from ..run.chain import AFTER_TRIP_S, Actuation, Chain
from ..run.prepare import PreparedRun
from ..run.prepare import prepare as make_ready
from ..safety import SafetyState, Tick, Trip
from ..safety.messages import LOUD
from ..safety.state import DOUBTED, endanger, latch
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import Outcome, Request
from . import saved_trips
from .readying import files_of, module_apart, readied, refusal

#: Longest that checking a description may take on a small computer, s.
CHECK_S = 120.0
OFF = Burst(0, (0,), (), 0.0)
#: What hardware knows beyond its sensors.
NOTHING = Truth()


def prepare(oven: Oven, schedule: Schedule, model_file: str | None = None, start_c: float | None = None) -> PreparedRun:
    """As `kilnctl.run.prepare`, after the check: refuses all that can be refused before there is heat. Both in a
    process of their own, for an oven that has a file. Raises KilnctlError."""
    if not oven.file:
        return make_ready(oven, schedule, model_file, start_c)
    return readied(oven, schedule, model_file, start_c)


def check_apart(oven: Oven) -> None:
    """`kilnctl check` of an oven alone, in a process of its own. Raises KilnctlError."""
    files = files_of(oven, None, None)
    if not files:
        return
    try:
        done = module_apart(["kilnctl", "check", *files], CHECK_S)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise KilnctlError(f"{oven.file}: could not be checked: {error}") from None
    if why := refusal(oven, done.returncode, done.stderr.decode(errors="replace")):
        raise KilnctlError(why)


class Rest:
    """No run: heat off, contactor open, and the rules still watch. Trips of an earlier run stay latched until they are
    acknowledged.

    After a run of this process: `state`, that of its rules, which goes on; its `policy`; and `tripped_s`, when each
    trip came, on the clock of the run that it ended. After another process: its `trips`, for each what was `believed`
    of the chamber before it (°C, and how many seconds ago), and the `limits` of its run."""

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
        #: Limits by which a trip's cause must be gone: those of the run that tripped may be narrower than the oven's.
        self.tripped_by = policy if policy is not None else replace(self.policy, **(limits or {}))
        self.state = state.copied() if state is not None else SafetyState()
        for trip in trips:
            # The rules' clock differs from process to process, so the run's time is kept separately.
            self.state = latch(self.state, replace(trip, time_s=0.0))
            if trip.act == LOUD:
                endanger(self.state)
        self._ago = believed  # until the first tick says what time it is
        self.reading: Reading | None = None
        self._tick: Tick | None = None
        self._lock = threading.Lock()  # an acknowledgement comes from the socket's thread

    @property
    def trips(self) -> tuple[Trip, ...]:
        """Their times are on the clock of the run that they ended; NaN for a trip that came without a run."""
        return on_run_clock(self.state.trips.values(), self.tripped_s)

    def tick(self, reading: Reading, now_s: float, dt_s: float, step: int) -> Actuation:
        fired = reading.fired if reading.fired is not None else 0.0
        with self._lock:
            if self._tick is None:
                self._begin(reading, now_s)
            self.reading, self._tick = reading, Tick(now_s, step, fired, heating=False, commanded=0.0, contactor=False)
            self.state, verdict = safety.judge(self.state, self.policy, reading, self._tick)
        return Actuation(0.0, OFF, False, 0.0, Decision.at_rest(reading), verdict)

    def _begin(self, reading: Reading, now_s: float) -> None:
        """What was believed before, on this clock."""
        if self._ago is not None:
            self.state.believed = {fault: (then_c, now_s - ago_s) for fault, (then_c, ago_s) in self._ago.items()}
            self._ago = None
        if "sensor-frozen" in self.state.trips:
            # Only a later sample shows that they are still converting.
            self.state.sample, self.state.sample_since_s = reading.sample, now_s - self.policy.frozen_s

    def believed(self, now_s: float) -> saved_trips.Believed:
        """As `saved_trips.believed`, also before the first tick."""
        return self._ago if self._ago is not None else saved_trips.believed(self.state, now_s)

    @property
    def unknown(self) -> tuple[str, ...]:
        """The trips that doubt the reading, with no known temperature from before them."""
        return tuple(
            f
            for f in self.state.trips
            if f in DOUBTED and f not in (self.state.believed if self._ago is None else self._ago)
        )

    def acknowledge(self, who: str, reading_is_right: bool = False) -> tuple[str, ...]:
        """Clear the trips if all their causes are gone; returns those that remain. `reading_is_right`: `who` has seen
        on another thermometer that the reading is right; this counts where nothing else is known. Raises KilnctlError
        before the first readings."""
        if self._tick is None or self.reading is None:
            raise KilnctlError("there is no reading yet; ask again in a few seconds")
        with self._lock:
            state = self.state
            if reading_is_right:
                state = state.copied()
                state.believed.update(dict.fromkeys(self.unknown, (self.reading.chamber_c, self._tick.time_s)))
            cleared, standing = safety.acknowledge(state, self.tripped_by, self.reading, self._tick, who)
            if not standing:
                self.state, self.tripped_by = cleared, self.policy
        return standing


class Session:
    """One run from the start test to its end. `tick` decides; `over` says how it ended, once it has.

    `place` (from an earlier `place()`) goes on in the middle of a schedule after a power cut.
    """

    def __init__(self, order: PreparedRun, *, prove: bool = True, place: dict | None = None):
        self.order = order
        # Only a place saved by our own run can be continued.
        run = order if place is None else replace(order, controller=_Resumed(place))
        self.chain = Chain(run, prove=prove)
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
        self,
        reading: Reading,
        now_s: float,
        dt_s: float,
        step: int,
        requests: tuple[Request, ...] = (),
        truth: Truth = NOTHING,
    ) -> Actuation:
        """As `Chain.tick`; afterwards `row` is the sample of this tick, and `events` its events."""
        if self._began_s is None:
            self._began_s = now_s - dt_s
        # The rules notice a clock that goes back; the record's time never does.
        self.time_s = max(self.time_s + 1e-3, self._before_s + now_s - self._began_s)
        proving = self.chain.proving
        act = self.chain.tick(reading, now_s, dt_s, step, requests)
        self.row = row_of(self.time_s, reading, act, truth.chamber_c, truth.part_c)
        assert self.chain.control is not None  # the chain has ticked
        self.events = self._teller.tell(self.time_s, reading, act, self.chain.control.leg)
        test = self.chain.test
        if proving and test is not None and test.over and test.trip is None and test.unproved:
            shown_not = f"the start test could not show: {'; '.join(test.unproved)}"
            self.events.append(Event(self.time_s, "note", shown_not))
        if self.trips and self.tripped_s is None:
            self.tripped_s = self.time_s
        if self.tripped_s is not None:
            if self.time_s - self.tripped_s >= AFTER_TRIP_S:
                self.over = Outcome.TRIPPED
        elif act.decision.done:
            self.over = Outcome.FINISHED
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
        state, running = self.chain.control, not self.trips
        if state is None:
            return self._resumed if running else None
        if state.position is None or state.estimate is None or not running:
            return None
        p, estimate = state.position, state.estimate
        now = {
            "state_c": [float(v) for v in estimate.now],
            "chamber_c": float(estimate.now[CHAMBER]),
            "run_s": self.time_s,
            "energy_j": self.chain.energy_j,
        }
        if self.chain.proving:
            # Interrupted again during its start test: still where it was in its schedule, with the temperatures of now.
            return None if self._resumed is None else {**self._resumed, **now, "outage_s": 0.0}
        return {
            "leg": p.leg,
            "counted_s": p.counted_s,
            "reference_c": None if math.isnan(p.reference_c) else p.reference_c,
            "rate_k_per_s": p.rate_k_per_s,
            "arrived": p.arrived,
            "held": p.held,
            "added_s": p.added_s,
            "heat_w": float(estimate.heat_w),
            "shares": [float(v) for v in estimate.shares],
            **now,
        }


def is_place(told) -> bool:
    """Whether this is what `Session.place` gives: every number there and finite."""
    if not isinstance(told, dict):
        return False
    reference_c, leg = told.get("reference_c"), told.get("leg")
    needed = ("counted_s", "rate_k_per_s", "added_s", "chamber_c", "run_s", "energy_j")
    numbers = [told.get(n) for n in needed] + [told.get(n, 0.0) for n in ("heat_w", "unexplained_w", "outage_s")]
    numbers += [0.0 if reference_c is None else reference_c]
    for name, length in (("state_c", N), ("shares", 3)):
        values = told.get(name, [1.0] * 3 if name == "shares" else None)
        if not isinstance(values, list) or len(values) != length:
            return False
        numbers += values
    return (
        type(leg) is int
        and 0 <= leg < 10_000
        and all(type(told.get(n)) is bool for n in ("arrived", "held"))
        and all(saved_trips.number(n) is not None for n in numbers)
        and min(told["counted_s"], told["added_s"], told["run_s"]) >= 0.0
        and told.get("outage_s", 0.0) >= 0.0
        and all(-300.0 < c < 5000.0 for c in (*told["state_c"], told["chamber_c"]))
    )


class _Resumed(EnergyBalanceControl):
    """Our controller, starting where another process was cut off."""

    def __init__(self, place: dict):
        self.place = place

    def start(self, programme: Programme, reading: Reading, time_s: float = 0.0) -> EnergyBalanceState:
        state = super().start(programme, reading, time_s)
        place, value = self.place, reading.chamber_c
        state = replace(state, position=_position_at(place, programme, value))
        cooled = cooled_state(programme.model, place, float(place.get("outage_s", 0.0)))
        if cooled is None or not math.isfinite(value):
            return state
        # The chamber is at the reading; the unmeasured temperatures are as the model computes them after the outage.
        x = tuple(value if i in (CHAMBER, SENSOR) else t for i, t in enumerate(cooled))
        # A place from an older version has one sum for all unexplained heat, without its shares.
        heat_w = float(place.get("heat_w", place.get("unexplained_w", 0.0)))
        shares = tuple(float(v) for v in place.get("shares", (1.0, 1.0, 1.0)))
        return replace(state, estimate=replace(state.estimate, x=x, now=x, heat_w=heat_w, shares=shares))


def _position_at(place: dict, programme: Programme, value: float) -> reference.Position:
    """Where the run goes on in its schedule, with the chamber at `value`, °C (NaN: not known)."""
    leg = programme.legs[min(int(place["leg"]), len(programme.legs) - 1)]
    reference_c = math.nan if place["reference_c"] is None else float(place["reference_c"])
    if leg.kind == "ramp" and math.isfinite(value) and not leg.target_c < reference_c:
        # The ramp goes on from the present temperature, not from the planned one: the outage is no reason to hurry.
        reference_c = min(reference_c, value)
    return reference.Position(
        leg=int(place["leg"]),
        counted_s=float(place["counted_s"]),
        reference_c=reference_c,
        arrived=bool(place["arrived"]),
        rate_k_per_s=float(place["rate_k_per_s"]),
        waiting=leg.kind == "hold" and not place["arrived"],
        held=bool(place["held"]),
        added_s=float(place["added_s"]),
    )


def cooled_state(model: EnergyModel, place: dict, outage_s: float) -> tuple[float, ...] | None:
    """The model's temperatures after `outage_s` without heat; None if the place does not fit the model."""
    x = tuple(place.get("state_c") or ())
    if len(x) != N or not all(isinstance(v, (int, float)) and math.isfinite(v) for v in x):
        return None
    left = outage_s
    while left > 0.0:
        dt = min(5.0, left)
        x = model.step(x, 0.0, dt, model.ambient_c)
        left -= dt
    return x
