"""The service: one oven's tick in real time. Reads the rig, lets session or rest decide, commands the rig, and leaves everything else
(disk, socket, preparation of a start) to threads that it never waits for."""

import dataclasses
import math
import os
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TypeVar

from ..errors import KilnctlError
from ..plants.plant import truth_of
from ..reading import Reading
from ..record.columns import INDEX
from ..record.folder import Begun, begin, new_folder, plain
from ..record.recorder import LEAST_FREE, Recorder
from ..rig import Rig, RigLost, VirtualRig
from ..run.prepare import PreparedRun
from ..safety import Trip, changed_limits, hot_surface, schedule_trip_c
from ..safety.messages import LOUD, WORDS
from ..safety.state import latch
from ..settings.oven import Oven
from ..terms import Outcome, Request
from . import forecast, operating_system, saved_trips, status_view
from .housekeeping import Housekeeping
from .live_curve import KEPT, Curve
from .session import NOTHING, OFF, Rest, Session
from .socket_messages import request_of
from .socket_server import Door
from .starts import Starts
from .state_store import EVERY_S, Keeper

T = TypeVar("T")
#: Readings that are looked at before a run that was cut off is gone on with, or a trip is acknowledged.
LOOKS = 5
#: While heat cannot be cut it is told so often, s.
SHOUT_S = 60.0


class Service:
    """`run()` returns how it ended: "finished", "tripped", "stopped" (also after SIGINT and SIGTERM) or "lost" (the rig).

    `home` keeps state; `socket` is where requests come in; `out` is the folder of records. `idle`: wait for runs, and after each.
    `tell(text)` is for the person at the terminal.
    """

    def __init__(
        self,
        oven: Oven,
        rig: Rig,
        pace,
        *,
        home: Path,
        socket: Path,
        out: Path,
        idle: bool = False,
        prove: bool = True,
        keep_bytes: int | None = None,
        tell=print,
        model_file: str | None = None,
    ):
        self.oven, self.rig, self.pace, self.out, self.idle, self.prove = oven, rig, pace, Path(out), idle, prove
        self.tell, self.model_file = tell, model_file
        self.house = Housekeeping(self.out, keep_bytes, tell, idle)
        self._wake, self._stop_words = threading.Event(), ""
        self._requests: SimpleQueue[tuple[Request, str]] = SimpleQueue()
        self._acknowledged_by: SimpleQueue[str] = SimpleQueue()
        self.starts, self._first = Starts(self), None
        try:
            self.keeper = Keeper(home, EVERY_S / min(1000.0, pace.speed))
        except OSError as error:
            raise KilnctlError(f"{home}: the service's state cannot be kept there: {error.strerror}") from None
        self.owner = operating_system.Owner(home / "owner")
        self.watchdog = operating_system.Watchdog()
        saved = self.keeper.load()
        self.saved = self.saved_before = saved
        self.hot = hot_surface.from_mapping(saved.get("hot") or {})
        self.rest = Rest(
            oven,
            *saved_trips.from_saved(saved.get("trips"), time.time()),
            saved_trips.limits_from_saved(saved.get("tripped_by")),
        )
        self._limits = changed_limits.to_mapping(self.rest.policy)
        self.session: Session | None = None
        self.recorder: Recorder | None = None
        self.folder: Path | None = None
        self.started = ""
        self.outcome = ""
        self.looks = 0
        self.curve = Curve(tuple(INDEX[name] for name in KEPT))
        self._act = self._reading = None
        self._ending = False
        self._step, self._last_s, self._shouted_s = 0, None, -math.inf
        self._tau_s = hot_surface.USUAL_TAU_S
        self.snapshot: dict = {"ok": True, "state": "starting", "oven": oven.name}
        self.door = Door(socket, self.answer)

    # ---- questions and requests: called by the door's thread -------------------------------------------------------------------

    def answer(self, request: dict) -> dict:
        """The answer to a request of `kilnctl.service.socket_messages`; what changes something is put where the tick finds it."""
        ask, by = request["ask"], request.get("by", "somebody")
        if ask == "status":
            return self.snapshot
        if ask == "curve":
            curve = self.curve
            first, columns = curve.since(request.get("since", 0), request.get("most", 2000))
            return {
                "ok": True,
                "from": first,
                "count": len(curve),
                "thinned": curve.thinned,
                "run": str(self.folder or ""),
                "columns": columns,
            }
        if ask == "ahead":
            return forecast.ahead(self.session)
        if ask == "stop":
            self.stop(f"asked by {by}")
            return {"ok": True, "words": "heat is being cut"}
        if ask == "start":
            return self.starts.ask(request)
        if ask == "prepared":
            return self.starts.answer
        if ask == "acknowledge":
            return self._acknowledged(by, request.get("reading_is_right", False))
        session = self.session
        if session is None:
            return {"ok": False, "words": "nothing is running"}
        self._requests.put((request_of(request), by))
        return {
            "ok": True,
            "words": "done once the start test is passed" if session.chain.proving else "done with the next tick",
        }

    def _acknowledged(self, by: str, reading_is_right: bool) -> dict:
        if self.session is not None:
            return {"ok": False, "words": "not yet: a run is still being watched", "standing": []}
        standing = self.rest.acknowledge(by, reading_is_right)
        if standing == ("board-fault",):
            # The board's latch goes first; once a reading without it is in, ours can.
            try:
                self.rig.clear()
            except RigLost as lost:
                return {"ok": False, "words": str(lost)}
            return {
                "ok": False,
                "again": True,
                "words": "the I/O board was asked to clear its own fault; ask again in a few seconds",
            }
        if standing:
            return {"ok": False, "words": "not yet: " + self.standing_words(standing), "standing": list(standing)}
        self._acknowledged_by.put(by)
        return {"ok": True, "words": "acknowledged; a new run may be started"}

    def standing_words(self, standing: tuple[str, ...]) -> str:
        """What still stands, and what a person can say where nobody knows better."""
        words = ", ".join(standing) + " still stands"
        if self.rest.unknown:
            words += (
                f". Nobody knows where the chamber was before: if another thermometer shows that it is at {self.rest.reading.chamber_c:.0f} °C, as the reading says, "
                "acknowledge with --reading-is-right"
            )
        return words

    def stop(self, why: str) -> None:
        """Cut the heat now and end the run (and, unless idle, the service). From any thread, also from a signal handler."""
        self.starts.void(f"a stop came before it began ({why})")
        self._stop_words = self._stop_words or why
        self._wake.set()

    # ---- before a run ----------------------------------------------------------------------------------------------------------

    def refusal(self) -> str:
        """Why no run may start now; empty when one may."""
        if self.rest.trips:
            return (
                "; ".join(f"{t.fault}: {t.seen}" for t in self.rest.trips)
                + ". Acknowledge it once its cause is gone (`kilnctl acknowledge`)"
            )
        if self.keeper.failure:
            return f"the state cannot be kept: {self.keeper.failure}"
        if self.recorder is not None and self.recorder.state().refusal:
            return self.recorder.state().refusal
        try:
            self.out.mkdir(parents=True, exist_ok=True)
            disk = os.statvfs(self.out)
            if disk.f_bavail * disk.f_frsize < LEAST_FREE:
                return f"only {disk.f_bavail * disk.f_frsize / 1e6:.0f} MB are free for the record in {self.out}; move old runs away"
        except OSError as error:
            return f"{self.out}: no record can be kept there: {error.strerror}"
        return ""

    def ordered(self, order: PreparedRun) -> PreparedRun:
        """The order with its limit above the plan: one may start from above all that it asks for."""
        trip_c = schedule_trip_c(order.oven, order.schedule, self.chamber_c())
        return dataclasses.replace(order, policy=dataclasses.replace(order.policy, schedule_trip_c=trip_c))

    def unlike(self) -> tuple[str, ...]:
        """Limits unlike the last run's, which want a person's word."""
        return changed_limits.unlike(self.rest.policy, self.saved.get("limits"))

    def open_record(self, order: PreparedRun, folder: Path | None = None) -> tuple[Path, Recorder]:
        """The folder and the recorder of a run (`folder`: of one that goes on). Waits for the disk: not for the tick. Raises KilnctlError."""
        if folder is None:
            folder = new_folder(self.out, order.oven.name, order.schedule.name)
            started = time.strftime("%Y-%m-%d %H:%M:%S %z")
            begin(
                folder,
                Begun(
                    order.oven,
                    order.schedule,
                    order.load,
                    order.model,
                    None,
                    order.controller_name,
                    started,
                    self.rig.facts.name,
                ),
            )
        return folder, self.house.opened(folder)

    def begin(
        self,
        order: PreparedRun,
        folder: Path,
        recorder: Recorder,
        by: str = "",
        place: dict | None = None,
        words: str = "",
    ) -> None:
        """Start that run with the next tick."""
        self.started = time.strftime("%Y-%m-%d %H:%M:%S %z")
        self.folder, self.recorder, self.outcome = folder, recorder, ""
        self._tau_s = hot_surface.cooling_tau_s(order.model, order.schedule.top_c)
        text = words or f"{order.schedule.name}, model {order.model_words}" + (f", asked by {by}" if by else "")
        recorder.event(
            "start" if place is None else "resumed",
            time_s=0.0 if place is None else place["run_s"],
            text=text,
            wall=self.started,
            model_words=order.model_words,
            unproved=list(self.rig.facts.unproved),
        )
        self.curve = Curve(tuple(INDEX[name] for name in KEPT))
        self.session = Session(order, prove=self.prove, place=place)
        self._save(urgent=True)

    # ---- the loop --------------------------------------------------------------------------------------------------------------

    def run(self, order: PreparedRun | None = None, before=None) -> str:
        """Run until the end. `before(service)` is called once the first readings are in, and may begin a run itself."""
        previous = {}
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGINT, signal.SIGTERM):
                previous[number] = signal.signal(number, lambda n, _: self.end(f"signal {signal.Signals(n).name}"))
        self.watchdog.tell("READY=1\nSTATUS=waiting")
        # Until that has been called, a start from the socket waits: it may be that a run goes on.
        self._first = before
        if before is None:
            self.house.tidy(self.folder)
        try:
            if order is not None:
                self.begin(order, *self.open_record(order))
            while True:
                due = self.pace.wait(self._wake)
                try:
                    if due:
                        self._tick()
                    else:
                        self._stopped()
                        if self._ending or not self.idle:
                            return self.outcome or Outcome.STOPPED
                        continue
                except RigLost as error:
                    self._lost(error)
                    return Outcome.LOST
                if self._first is not None and self.looks >= LOOKS:
                    self._first(self)
                    self._first = None
                    self.house.tidy(self.folder)
                # Nobody else says that heat cannot be cut: with that, the end waits for a person's stop.
                if self.session is None and not self.idle and self.outcome and not self.rest.state.danger:
                    return self.outcome
        finally:
            # Whatever happened: the heat is off before anything else is tidied up, and a rig that breaks in doing so keeps nothing from being kept.
            try:
                self.rig.close()
            except Exception as error:
                self.tell(f"TRIP: {self.rig.facts.name} could not be let go of: {error}. {LOUD}")
            self.watchdog.tell("STOPPING=1")
            if self.session is not None:
                self._finish(Outcome.INTERRUPTED)
            self.starts.close()
            self.house.end()
            self._save(urgent=True)
            self.door.close()
            self.keeper.close()
            self.watchdog.close()
            self.owner.release()
            for number, handler in previous.items():
                signal.signal(number, handler)

    def end(self, why: str) -> None:
        """Stop the run and the service."""
        self._ending = True
        self.stop(why)

    def _tick(self) -> None:
        now = self.pace.now_s()
        dt = min(5.0, max(1e-3, now - self._last_s)) if self._last_s is not None else self.pace.tick_s
        self._last_s = now
        self._step += 1
        self._reading = reading = self.rig.read()
        self.looks += 1
        requests = self._taken()
        session = self.session
        if session is None:
            act = self.rest.tick(reading, now, dt, self._step)
            if act.verdict.new_trips:
                self.starts.void(f"a trip came before it began ({act.verdict.new_trips[0].fault})")
        else:
            recorder = self.recorder.state()
            session.chain.recording = recorder.healthy
            session.chain.wall_s = None if self.pace.simulated else time.time()
            truth = truth_of(self.rig.plant) if isinstance(self.rig, VirtualRig) else NOTHING
            act = session.tick(reading, now, dt, self._step, requests, truth)
        self._command(act)
        self._shout(act.verdict.danger)
        if session is not None:
            self.recorder.sample(session.row)
            self.curve.add(session.row)
            for event in session.events:
                self._event(event)
            if session.over:
                self._finish(session.over)
        self._act = act
        self._remember(reading)
        self.snapshot = status_view.of(self, act, reading)
        self.watchdog.tell(f"WATCHDOG=1\nSTATUS={self.snapshot['state']}: {self.snapshot['reason']}")

    def _command(self, act) -> None:
        """The contactor first, and whatever the relay's side does; then the relay, if the permit has not lapsed while this tick was worked out."""
        permit = act.verdict.permit
        try:
            self.rig.contactor(act.contactor)
        finally:
            if permit is not None and permit.from_s <= self.pace.now_s() <= permit.until_s:
                self.rig.heat(act.duty, act.burst, permit)
            else:
                self.rig.heat(0.0, OFF, None)

    def _shout(self, danger: str) -> None:
        """Heat that cannot be cut is told when it is found and every minute, also where little else is, and whatever happens to the record."""
        if not danger:
            self._shouted_s = -math.inf
        elif self._last_s - self._shouted_s >= SHOUT_S:
            if self.session is not None and self._shouted_s == -math.inf:
                self.recorder.event("danger", time_s=self.session.time_s, text=danger)
            self._shouted_s = self._last_s
            self.tell(f"DANGER: {danger}")

    def _taken(self) -> tuple[Request, ...]:
        """Requests for the chain; starts and acknowledgements are dealt with here."""
        out = []
        for by in _drained(self._acknowledged_by):
            self.tell(f"acknowledged by {by}")
            self._save(urgent=True)
        for request, by in _drained(self._requests):
            if self.session is not None:
                out.append(request)
                self.recorder.event("request", time_s=self.session.time_s, text=f"{request}, asked by {by}")
                self.tell(f"{request}, asked by {by}")
        if self._first is None:
            self.starts.begin()
        return tuple(out)

    def _event(self, event) -> None:
        if event.kind == "trip":
            for trip in self.session.trips:
                if str(trip) == event.text:
                    self.recorder.event("trip", **plain(trip))
            self.tell(f"TRIP: {event.text}")
            self._save(urgent=True)
            return
        self.recorder.event(event.kind, time_s=event.time_s, text=event.text)
        if event.kind == "step":
            self._save(urgent=True)
        if event.kind in ("warning", "step", "door"):
            self.tell(f"{event.kind}: {event.text}")

    def _finish(self, outcome: str) -> None:
        session, recorder = self.session, self.recorder
        self.session, self.outcome = None, outcome
        self.rest = Rest(
            self.oven,
            state=session.chain.safety,
            policy=session.order.policy if session.trips else None,
            tripped_s=dict(session.tripped),
        )
        recorder.event("end", time_s=session.time_s, outcome=outcome, energy_j=session.chain.energy_j, text=outcome)
        self.house.close(recorder, self.folder)
        self._save(urgent=True)

    def _stopped(self) -> None:
        """A stop: heat off first, words after. Raises RigLost; that a stop was asked for is in the record all the same."""
        self._wake.clear()
        try:
            try:
                self.rig.contactor(False)
            finally:
                self.rig.heat(0.0, OFF, None)
        finally:
            why, self._stop_words = self._stop_words, ""
            if self.session is not None:
                self.recorder.event("request", time_s=self.session.time_s, text=f"stop, {why}")
        if self.session is not None:
            self._finish(Outcome.STOPPED)
            self.tell(f"stopped: {why}")

    def _lost(self, error: RigLost) -> None:
        # What cannot let go by itself may have stopped with its lines on.
        done = "The heat is off: the hardware lets go by itself." if self.rig.facts.unattended else LOUD
        trip = Trip("board-lost", self._last_s or 0.0, str(error), done, WORDS["board-lost"][1])
        if self.session is not None:
            self.session.chain.safety = latch(self.session.chain.safety, trip)
            self.session.tripped.setdefault(trip.fault, self.session.time_s)
            self.recorder.event("trip", **plain(dataclasses.replace(trip, time_s=self.session.tripped[trip.fault])))
            self._finish(Outcome.TRIPPED)
        self.tell(f"TRIP: {trip}")

    # ---- state and status ------------------------------------------------------------------------------------------------------

    def chamber_c(self) -> float | None:
        value = self._reading.chamber_c if self._reading is not None else math.nan
        return value if math.isfinite(value) else None

    def _remember(self, reading: Reading) -> None:
        """What is known of the oven's heat. While a trip says that the reading may be too low, what was believed before it counts, and the second sensor."""
        wall, doubted = time.time(), self.doubted()
        values = [(reading.chamber_c, 0.0)] if self._act.verdict.usable else []
        if doubted:
            values += [
                *self._believed().values(),
                *([(reading.limit_c, 0.0)] if reading.limit_c is not None and math.isfinite(reading.limit_c) else []),
            ]
        for value_c, ago_s in values:
            self.hot = hot_surface.renewed(
                self.hot, hot_surface.seen(value_c, wall - ago_s, self.oven.site.ambient_c, self._tau_s), wall, doubted
            )
        if self._step % max(1, round(10.0 / self.pace.tick_s)) == 0:
            self._save()

    def trips(self) -> tuple[Trip, ...]:
        return self.session.trips if self.session is not None else self.rest.trips

    def doubted(self) -> bool:
        return hot_surface.doubted(t.fault for t in self.trips())

    def _believed(self) -> saved_trips.Believed:
        now = self._last_s or 0.0
        return self.rest.believed(now) if self.session is None else saved_trips.believed(self.session.chain.safety, now)

    def _save(self, urgent: bool = False) -> None:
        boot_id, boottime = operating_system.boot()
        session, run = self.session, None
        if session is not None:
            order = session.order
            run = {
                "folder": str(self.folder),
                "schedule": order.schedule.file,
                "schedule_sha256": order.schedule.sha256,
                "oven_sha256": order.oven.sha256,
                "model": order.model_file,
                "started": self.started,
                "place": session.place(),
            }
        wall = time.time()
        limits = self.saved.get("limits") if session is None and not self.outcome else self._limits
        self.saved = {
            "oven": self.oven.name,
            "boot": boot_id,
            "boottime_s": boottime,
            "wall_s": wall,
            "limits": limits,
            "run": run,
            "hot": hot_surface.to_mapping(self.hot) if self.hot else None,
            "trips": saved_trips.to_saved(self.trips(), self._believed(), wall),
            "tripped_by": saved_trips.limits_to_saved(
                session.order.policy if session is not None else self.rest.tripped_by
            ),
        }
        self.keeper.keep(self.saved, urgent)


def _drained(queue: SimpleQueue[T]) -> Iterator[T]:
    """What waits in the queue; never waits for more."""
    while True:
        try:
            yield queue.get_nowait()
        except Empty:
            return
