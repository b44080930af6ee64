"""The service: the control loop of one oven in real time.

Each tick reads the rig, lets the run (or rest) decide, and commands the rig. Disk, socket and the preparation of a
start belong to other threads; the tick waits for none of them."""

import dataclasses
import math
import threading
import time
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue
from typing import Unpack

from ..plants.plant import truth_of
from ..reading import Reading
from ..record.folder import plain
from ..record.recorder import Recorder
from ..rig import RigDriver, RigLost, VirtualRig
from ..run.chain import Actuation
from ..run.prepare import PreparedRun
from ..safety import Trip, changed_limits, hot_surface, policy_for, schedule_trip_c
from ..safety.messages import LOUD
from ..safety.state import latch
from ..settings.oven import Oven
from ..terms import Outcome, Request
from . import commanding, operating_system, run_log, saved_trips, socket_answers, status_view
from .housekeeping import Housekeeping
from .live_curve import LiveCurve
from .pace import RealPace, SimulatedPace
from .run_models import RunModels
from .saved_state import SavedState, TrippedRun, run_to_saved
from .session import NOTHING, Rest, Session
from .socket_server import SocketServer
from .starts import Continued, ReadyStart, Starts
from .state_store import EVERY_S
from .terminal_queue import MessageQueue
from .upkeep import Upkeep
from .view import ServiceView, troubles_of, view_of

#: Readings that must be in before an interrupted run is continued or a trip is acknowledged.
LOOKS = 5
#: Above this speed (simulated over real time) nobody is expected to watch the run.
FLIES = 100.0


class OvenService:
    """`run()` returns how it ended: finished, tripped, stopped (also by SIGINT and SIGTERM) or lost (rig lost).

    home        folder of the state                    socket  path of the socket for requests
    out         folder below which records are kept    idle    wait for runs, and after each for the next
    prove       begin each run with the start test     keep_bytes  see `Housekeeping`
    tell        takes lines for the person at the terminal
    models      which model a run is controlled with; None: the one that earlier runs taught

    Raises KilnctlError where the state cannot be kept, the socket cannot be opened, or the oven has another service.
    """

    def __init__(
        self,
        oven: Oven,
        rig: RigDriver,
        pace: RealPace | SimulatedPace,
        *,
        home: Path,
        socket: Path,
        out: Path,
        idle: bool = False,
        prove: bool = True,
        keep_bytes: int | None = None,
        tell: Callable[[str], None] = print,
        models: RunModels | None = None,
    ):
        self.oven, self.rig, self.pace, self.out, self.idle, self.prove = oven, rig, pace, Path(out), idle, prove
        self.tell, self.models = MessageQueue(tell), models or RunModels(home, rig.facts.kind)
        self.house = Housekeeping(self.out, keep_bytes, self.tell, idle, self.models.store.folder)
        self._wake, self._stop_words = threading.Event(), ""
        self._requests: SimpleQueue[tuple[Request, str]] = SimpleQueue()
        self._acknowledged_by: SimpleQueue[str] = SimpleQueue()
        self.starts = Starts(self)
        self._first: Callable[[OvenService], object] | None = None
        self.saved = SavedState(home, oven, pace.speed)
        self._owner = operating_system.Owner(home / "owner")
        self._watchdog = operating_system.Watchdog()
        before = self.saved.before
        self.rest = Rest(
            oven,
            *saved_trips.from_saved(before.get("trips"), self.saved.wall_then_s),
            saved_trips.limits_from_saved(before.get("tripped_by"), policy_for(oven)),
        )
        self._limits = changed_limits.to_mapping(self.rest.policy)
        self.session: Session | None = None
        self.recorder: Recorder | None = None
        self.folder: Path | None = None
        self.started = self.outcome = ""
        self.curve = LiveCurve()
        self._act: Actuation | None = None
        self._reading: Reading | None = None
        self._ending = self._deciding = False
        self._danger, self._proof = run_log.DangerLines(self.tell), run_log.ProofLine(self.tell)
        self._troubles = run_log.Troubles(self.tell)
        self._ticks, self._last_s = 0, None
        self._tau_s = hot_surface.USUAL_TAU_S
        self.snapshot: dict = {"ok": True, "state": "starting", "oven": oven.name}
        self._socket = SocketServer(socket, lambda request: socket_answers.answer(self, request))
        looks = (self.saved.renewed, self._owner.renewed, self._socket.renewed, lambda: self.house.refusal() and "")
        self.upkeep = Upkeep(looks)

    def acknowledge(self, by: str, reading_is_right: bool = False) -> tuple[str, ...]:
        """Clear the trips whose causes are gone. `by`, the person's name, goes into the state and into the record of
        the run that tripped. Returns the trips that remain; while one remains, none is cleared. From any thread. Raises
        KilnctlError before the first readings. `reading_is_right`: as for `Rest.acknowledge`."""
        faults = tuple(trip.fault for trip in self.rest.trips)
        standing = self.rest.acknowledge(by, reading_is_right)
        if not standing and faults:
            tripped, said = self.saved.acknowledge(by, faults)
            if tripped is not None:
                self.house.record_acknowledgement(tripped, said)
        return standing

    def tell_acknowledged(self, by: str) -> None:
        """Print the acknowledgement and save it with the next tick. From any thread."""
        self._acknowledged_by.put(by)

    def ask_of_run(self, request: Request, by: str) -> None:
        """Leave a request for the next tick. From any thread."""
        self._requests.put((request, by))

    def stop(self, why: str) -> None:
        """Cut the heat now and end the run (and, unless idle, the service). From any thread, and signal handlers."""
        self.starts.void(f"a stop came before it began ({why})")
        self._stop_words = self._stop_words or why
        self._wake.set()

    def refusal(self, room: bool = True) -> str:
        """Why no run may start now; empty when one may. `room`: also check the disk's free space as last known. Waits
        for nothing."""
        if self.rest.trips:
            seen = "; ".join(f"{t.fault}: {t.seen}" for t in self.rest.trips)
            return f"{seen}. Acknowledge it once its cause is gone (`kilnctl acknowledge`)"
        if self.saved.failure:
            return f"the state cannot be kept: {self.saved.failure}"
        if self.recorder is not None and not self.recorder.closed and self.recorder.state().refusal:
            return self.recorder.state().refusal
        return self.house.refused if room else ""

    def ordered(self, order: PreparedRun) -> PreparedRun:
        """The order, with its limit above the plan set from the present chamber temperature: a run may start hotter
        than its highest setpoint."""
        trip_c = schedule_trip_c(order.oven, order.schedule, self.chamber_c())
        return dataclasses.replace(order, policy=dataclasses.replace(order.policy, schedule_trip_c=trip_c))

    def unlike(self) -> tuple[str, ...]:
        """Limits that differ from the last run's; a person must confirm them."""
        return changed_limits.unlike(self.rest.policy, self.saved.limits)

    def open_record(self, order: PreparedRun, folder: Path | None = None, teaches=True) -> tuple[Path, Recorder]:
        """The folder and recorder of a run (`folder`: of one that goes on). Not for the tick. Raises KilnctlError."""
        new = folder or self.house.new(order, self.rig.facts.name, self.models.teaches(order, teaches))
        return self.house.opened(new)

    def begin(
        self, order: PreparedRun, folder: Path, recorder: Recorder, by: str = "", **more: Unpack[Continued]
    ) -> None:
        """Start that run with the next tick; from any thread."""
        self.starts.hand_over(ReadyStart(order, by, folder, recorder, self.starts.voids, **more))

    def take_up(self, ready: ReadyStart) -> None:
        """Start that run now; by the tick."""
        order, recorder, place, by = ready.order, ready.recorder, ready.place_now(), ready.by
        self.started = time.strftime("%Y-%m-%d %H:%M:%S %z")
        self.folder, self.recorder, self.outcome = ready.folder, recorder, ""
        self._tau_s = hot_surface.cooling_tau_s(order.model, order.schedule.top_c)
        text = ready.words or f"{order.schedule.name}, model {order.model_words}" + (f", asked by {by}" if by else "")
        run_log.begun(recorder, order, self.rig.facts.unproved, place, text, self.started)
        self.curve = LiveCurve()
        self.session = Session(order, prove=self.prove, place=place)
        self._save(urgent=True)

    def run(self, order: PreparedRun | None = None, before: Callable[["OvenService"], object] | None = None) -> str:
        """Run until the end. `before(service)` is called once the first readings are in, in a thread of its own, and
        may begin a run itself."""
        with operating_system.signals_to(self.end):
            self._watchdog.tell("READY=1\nSTATUS=waiting")
            # Until `before` has been called, a start from the socket waits: an interrupted run may go on.
            self._first = before
            if before is None:
                self.house.tidy(self.folder)
            try:
                if order is not None:
                    self.begin(order, *self.open_record(order))
                while True:
                    ended = self._turn()
                    if ended:
                        return ended
            finally:
                self._close()

    def _turn(self) -> str:
        """Wait for the next tick or a stop, and do it; returns how the service ended, empty while it goes on."""
        due = self.pace.wait(self._wake)
        try:
            if not due:
                self._stopped()
                return (self.outcome or Outcome.STOPPED) if self._ending or not self.idle else ""
            self._tick()
        except RigLost as error:
            self._lost(error)
            return Outcome.LOST
        self._decide_first()
        # Only this process reports that heat cannot be cut: while that lasts, only a person's stop ends it.
        over = self.session is None and not self.idle and not self.rest.state.danger
        return self.outcome if over else ""

    def _decide_first(self) -> None:
        """Once the first readings are in, let `before` decide how this process begins; after that other starts may
        come."""
        first = self._first
        if first is not None and not self._deciding and self._ticks >= LOOKS:
            self._deciding = True
            # Fast simulated time stands still during the decision, so that the same seed gives the same run.
            self.starts.first(lambda: first(self), self._wake if self.pace.speed > FLIES else None)
        elif first is not None and self._deciding and self.starts.decided:
            self._first = None
            self.house.tidy(self.folder)

    def _close(self) -> None:
        """Heat off before anything else is closed; a rig that fails here does not prevent saving."""
        try:
            self.rig.close()
        except Exception as error:
            self.tell(f"TRIP: {LOUD} {self.rig.facts.name} could not be let go of: {error}.")
        self._watchdog.tell("STOPPING=1")
        if self.session is not None:
            self._finish(self.session, Outcome.TRIPPED if self.session.trips else Outcome.INTERRUPTED)
        self.starts.close()
        self.upkeep.close()
        self.house.end()
        self._save(urgent=True)
        self._socket.close()
        self.saved.close()
        self._watchdog.close()
        self._owner.release()
        self.tell.close()

    def end(self, why: str) -> None:
        """Stop the run and the service. From any thread."""
        self._ending = True
        self.stop(why)

    def _tick(self) -> None:
        now = self.pace.now_s()
        dt = min(5.0, max(1e-3, now - self._last_s)) if self._last_s is not None else self.pace.tick_s
        self._last_s = now
        self._ticks += 1
        self._reading = reading = self.rig.read()
        requests = self._taken()
        session = self.session
        act = self._rest(reading, now, dt) if session is None else self._work(session, reading, now, dt, requests)
        commanding.command(self.rig, act, self.pace.now_s)
        danger_is_new = self._danger.tick(act.verdict.danger, now)
        for words in self._troubles.tick(troubles_of(self)):
            if session is not None:
                self._recorder().event("warning", time_s=session.time_s, text=words)
        if session is not None:
            if danger_is_new:
                self._recorder().event("danger", time_s=session.time_s, text=act.verdict.danger)
            self._record(session)
        self._act = act
        believed = self._believed().values() if self.doubted() else None
        self.saved.see_heat(reading, act.verdict.usable, self._tau_s, believed)
        if self._ticks % max(1, round(EVERY_S / self.pace.tick_s)) == 0:
            self._save()
        self.snapshot = status_view.of(self.view(), act, reading, self.snapshot)
        self.curve.share_out(self.snapshot["ledger_w"], dt)
        self._proof.tick(self.snapshot["heat_proof"], now)
        self._watchdog.tell(f"WATCHDOG=1\nSTATUS={self.snapshot['state']}: {self.snapshot['reason']}")

    def _rest(self, reading: Reading, now: float, dt: float) -> Actuation:
        act = self.rest.tick(reading, now, dt, self._ticks)
        if act.verdict.new_trips:
            self.starts.void(f"a trip came before it began ({act.verdict.new_trips[0].fault})")
        return act

    def _work(
        self, session: Session, reading: Reading, now: float, dt: float, requests: tuple[Request, ...]
    ) -> Actuation:
        session.chain.recording = self._recorder().state().healthy
        session.chain.wall_s = None if self.pace.simulated else time.time()
        truth = truth_of(self.rig.plant) if isinstance(self.rig, VirtualRig) else NOTHING
        return session.tick(reading, now, dt, self._ticks, requests, truth)

    def _record(self, session: Session) -> None:
        """The sample and the events of this tick, and the end of the run when it is over."""
        self._recorder().sample(session.row)
        self.curve.add(session.row, session.events)
        for event in session.events:
            run_log.event(self._recorder(), session, event, self.tell)
            if event.kind in ("trip", "step"):
                self._save(urgent=True)
        if session.over:
            self._finish(session, session.over)

    def _taken(self) -> tuple[Request, ...]:
        """Handle what a person asked since the last tick: print acknowledgements, and begin a start."""
        for by in run_log.drained(self._acknowledged_by):
            self.tell(f"acknowledged by {by}")
            self._save(urgent=True)
        out = []
        for request, by in run_log.drained(self._requests):
            if self.session is not None:
                out.append(request)
                words = f"{request}, asked by {by}"
                run_log.asked(self._recorder(), self.curve, self.session.time_s, words)
                self.tell(words)
        self.starts.begin(waits=self._first is not None)
        return tuple(out)

    def _finish(self, session: Session, outcome: str) -> None:
        """End the run: its record is closed, and its trips stay latched at rest."""
        recorder = self._recorder()
        self.session, self.outcome = None, outcome
        if session.trips:
            self.saved.tripped_run = TrippedRun(str(self._run_folder()), session.time_s)
        recorder.event("end", time_s=session.time_s, outcome=outcome, energy_j=session.chain.energy_j, text=outcome)
        # Before the trips can be acknowledged, because the acknowledgement is written after the record is closed.
        self.house.close(recorder, self._run_folder())
        self.rest = Rest(
            self.oven,
            state=session.chain.safety,
            policy=session.order.policy if session.trips else None,
            tripped_s=dict(session.tripped),
        )
        self._save(urgent=True)

    def _stopped(self) -> None:
        """A stop: heat off first, messages after. Raises RigLost; the record holds the stop in that case too."""
        self._wake.clear()
        try:
            commanding.cut(self.rig)
        finally:
            why, self._stop_words = self._stop_words, ""
            if self.session is not None:
                self._recorder().event("request", time_s=self.session.time_s, text=f"stop, {why}")
        if self.session is not None:
            self._finish(self.session, Outcome.TRIPPED if self.session.trips else Outcome.STOPPED)
            self.tell(f"stopped: {why}")

    def _lost(self, error: RigLost) -> None:
        trip = run_log.lost(str(error), self.rig.facts.unattended, self._last_s or 0.0)
        if self.session is not None:
            self.session.chain.safety = latch(self.session.chain.safety, trip)
            self.session.tripped.setdefault(trip.fault, self.session.time_s)
            self._recorder().event("trip", **plain(dataclasses.replace(trip, time_s=self.session.tripped[trip.fault])))
            self._finish(self.session, Outcome.TRIPPED)
        self.tell(f"TRIP: {trip}")

    def view(self) -> ServiceView:
        """The service as it is now."""
        return view_of(self)

    @property
    def trusted_c(self) -> float | None:
        """The newest control reading, °C; None where there is none or safety does not trust it."""
        return self._reading.chamber_c if self._reading is not None and self._act and self._act.verdict.usable else None

    def chamber_c(self) -> float | None:
        """The newest control reading, °C, trusted or not; None where there is none."""
        value = self._reading.chamber_c if self._reading is not None else math.nan
        return value if math.isfinite(value) else None

    def trips(self) -> tuple[Trip, ...]:
        return self.session.trips if self.session is not None else self.rest.trips

    def _run_folder(self) -> Path:
        assert self.folder is not None, "every run has a folder before it begins"
        return self.folder

    def _recorder(self) -> Recorder:
        assert self.recorder is not None, "every run has a recorder before it begins"
        return self.recorder

    def doubted(self) -> bool:
        return hot_surface.doubted(t.fault for t in self.trips())

    def _believed(self) -> saved_trips.Believed:
        now = self._last_s or 0.0
        return self.rest.believed(now) if self.session is None else saved_trips.believed(self.session.chain.safety, now)

    def _save(self, urgent: bool = False) -> None:
        session = self.session
        self.saved.save(
            run_to_saved(session, self._run_folder(), self.started) if session is not None else None,
            self._limits if session is not None or self.outcome else self.saved.limits,
            self.trips(),
            self._believed(),
            session.order.policy if session is not None else self.rest.tripped_by,
            urgent,
            waiting=self.starts.later.kept,
        )
