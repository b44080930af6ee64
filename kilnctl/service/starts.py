"""Starts: prepared in a thread of their own, one at a time; only the tick begins a run.

Between the request and the first tick of the run lie seconds. A stop or a trip in between makes the start void: a start
requested before it never heats. The start with which a process begins (`first`) is decided in the same way.
"""

import dataclasses
import os
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TypedDict

from .. import safety
from ..clock import passed_s
from ..errors import KilnctlError
from ..record.recorder import Recorder
from ..run.prepare import PreparedRun
from ..settings.schedule import Schedule, load_schedule
from .later import Later
from .session import CHECK_S, prepare

#: A start that is not prepared after this is given up, s: probably the file system does not answer.
PATIENCE_S = CHECK_S + 60.0
UNLIKE = "the limits are unlike the last run's: confirm them"
OTHER_OVEN = (
    "it does not start: the service is of another oven of that name, or of this file before it was changed; end that "
    "service and begin it with this file (kilnctl run OVEN --idle)"
)


@dataclasses.dataclass(frozen=True, slots=True)
class ReadyStart:
    """A start that waits for its tick. `voids`: how many times starts had been made void when it was requested;
    `place`, `words`: of a run that goes on; `at_s`: when it was decided, on the clock of time passed; `dropped(why)` is
    called where it does not begin."""

    order: PreparedRun
    by: str
    folder: Path
    recorder: Recorder
    voids: int
    place: dict | None = None
    words: str = ""
    at_s: float = dataclasses.field(default_factory=passed_s)
    dropped: Callable[[str], None] | None = None

    def place_now(self) -> dict | None:
        """Its place, with the time that has passed since it was decided added to the outage."""
        if self.place is None:
            return None
        return {**self.place, "outage_s": self.place.get("outage_s", 0.0) + max(0.0, passed_s() - self.at_s)}


class Continued(TypedDict, total=False):
    """What else `OvenService.begin` takes; see `ReadyStart`."""

    place: dict | None
    words: str
    dropped: Callable[[str], None] | None


class Starts:
    """`answer` is the result of the last start; "pending" until its run has begun or was refused."""

    def __init__(self, service):
        self._service = service
        self.later = Later(service)
        self._ready: SimpleQueue[ReadyStart] = SimpleQueue()
        self._firsts: SimpleQueue[ReadyStart] = SimpleQueue()
        self._closed = False
        self._busy: tuple[float] | None = None
        self._deciding: threading.Thread | None = None
        self._voids, self._why = 0, ""
        self._told = True  # whether somebody waits for the answer, and reads it
        self.answer: dict = {"ok": False, "words": "no start was asked for"}

    @property
    def voids(self) -> int:
        """How many times starts have been made void."""
        return self._voids

    def ask(self, request: dict) -> dict:
        """Called by the socket's thread. Never waits: a stop may be the next request."""
        service, voids = self._service, self._voids
        if service.session is not None:
            return {"ok": False, "words": "a run is going on"}
        if not service.idle:
            return {"ok": False, "words": "this service runs one schedule only; start it with --idle to wait for more"}
        if self._busy is not None and passed_s() - self._busy[0] < PATIENCE_S:
            return {"ok": False, "words": "another start is being prepared"}
        refused = service.refusal(room=False) or self.later.words
        if refused:
            return {"ok": False, "words": refused}
        if "ready_s" in request:
            unlike = service.unlike()
            if unlike and not request.get("confirm"):
                return {"ok": False, "words": UNLIKE, "confirm": list(unlike)}
            return self.later.ask(request, voids)
        # Each start has a mark of its own, so that one that was given up cannot begin later.
        self._busy = mark = (passed_s(),)
        self.answer = {"ok": True, "pending": True, "words": "being prepared"}
        threading.Thread(target=self._prepare, args=(request, voids, mark), name="prepare", daemon=True).start()
        return self.answer

    def first(self, decide: Callable[[], object], until: threading.Event | None) -> None:
        """Run `decide`, which says how this process begins, in a thread of its own. It may call `hand_over`. No other
        start begins before it has ended. With `until`, wait here until that is set or a start is handed over."""
        self._deciding = threading.Thread(target=decide, name="first start", daemon=True)
        self._deciding.start()
        while until is not None and self._deciding.is_alive() and self._firsts.empty() and not until.is_set():
            self._deciding.join(0.005)

    @property
    def decided(self) -> bool:
        """Whether it is decided how this process begins, and its run, if there is one, has begun."""
        return self._deciding is None or (not self._deciding.is_alive() and self._firsts.empty())

    def hand_over(self, ready: ReadyStart) -> None:
        """Begin that run with the next tick. From any thread."""
        self._firsts.put(ready)
        if self._closed:
            self.close()

    def void(self, why: str) -> None:
        """Make all starts requested until now void. From any thread or signal handler: it takes no lock."""
        self._why = why
        self._voids += 1

    def begin(self, waits: bool = False) -> None:
        """Called by the tick: begin the start that is ready, unless it has become void. `waits`: only the first start
        may begin."""
        self._take_waiting()
        ready = self._next(self._firsts)
        if ready is not None:
            why = self._against(ready)
            if why:
                self._drop(ready, why)
            else:
                self._service.take_up(ready)
        ready = None if waits else self._next(self._ready)
        if ready is None:
            return
        why = self._against(ready) or self._service.refusal()
        if why:
            self._drop(ready, why)
            self._settle(ok=False, words=f"it does not start: {why}")
            return
        self._service.take_up(ready)
        limit = safety.schedule_trip_words(ready.order.schedule, ready.order.policy.schedule_trip_c)
        self._settle(
            ok=True,
            words=f"{ready.order.schedule.name} starts; {limit}",
            shortfalls=[s.note for s in ready.order.programme.shortfalls],
        )

    def _take_waiting(self) -> None:
        """Ask for the start whose hour has come; nobody waits for the answer, so a refusal is told."""
        request = self.later.due(self._voids, self._why)
        if request is not None:
            self._told = False
            answer = self.ask(request)
            if not answer["ok"]:
                self._settle(**answer)

    def close(self) -> None:
        """The service ends: starts that still wait never begin."""
        self._closed = True
        for queue in (self._firsts, self._ready):
            while (ready := self._next(queue)) is not None:
                self._drop(ready, "the service ended")
                self._settle(ok=False, words="it does not start: the service ended")

    def _against(self, ready: ReadyStart) -> str:
        """Why this start has become void; empty when it has not."""
        if ready.voids != self._voids:
            return self._why
        return "a run is going on" if self._service.session is not None else ""

    def _not_as_asked(self, request: dict, schedule: Schedule) -> dict:
        """What the answer says where oven or schedule are not what was asked for; else empty."""
        if request.get("oven_sha256", self._service.oven.sha256) != self._service.oven.sha256:
            return {"words": OTHER_OVEN}
        if request.get("unattended") and not schedule.unattended:
            return {"words": f"{schedule.name} does not say 'unattended: yes'"}
        if request.get("sha256", schedule.sha256) != schedule.sha256:
            return {"changed": True, "words": "it does not start: its file is not what was shown"}
        return {}

    def _prepare(self, request: dict, voids: int, mark: tuple[float]) -> None:
        service = self._service
        try:
            schedule = _schedule(request["schedule"])
            model, note = service.models.chosen(service.oven, request.get("model"))
            if refused := self._not_as_asked(request, schedule):
                self._settle(ok=False, **refused)
                return
            order = service.ordered(prepare(service.oven, schedule, model, service.chamber_c()))
            if note:
                service.tell(f"note: {note}")
            unlike, refused = service.unlike(), service.house.refusal()
            if self._busy is not mark:
                return
            if refused:
                self._settle(ok=False, words=refused)
            elif unlike and not request.get("confirm"):
                self._settle(ok=False, words=UNLIKE, confirm=list(unlike))
            elif self._voids != voids:
                self._settle(ok=False, words=f"it does not start: {self._why}")
            else:
                folder, recorder = service.open_record(order, teaches=request.get("learning", True))
                ready = ReadyStart(order, request.get("by", "somebody"), folder, recorder, voids)
                if self._busy is not mark:
                    self._drop(ready, "it was given up: it had taken too long to prepare")
                    return
                self._ready.put(ready)
                if self._closed:
                    self.close()
        except KilnctlError as error:
            self._failed(mark, str(error))
        except BaseException as error:
            self._failed(mark, f"kilnctl met a fault of its own: {type(error).__name__}: {error}")
            raise

    def _failed(self, mark: tuple[float], words: str) -> None:
        if self._busy is mark:
            self._settle(ok=False, words=words)

    @staticmethod
    def _next(queue: SimpleQueue[ReadyStart]) -> ReadyStart | None:
        try:
            return queue.get_nowait()
        except Empty:
            return None

    def _drop(self, ready: ReadyStart, why: str) -> None:
        time_s = ready.place.get("run_s", 0.0) if ready.place else 0.0
        ready.recorder.event("end", time_s=time_s, outcome="stopped", text=f"it did not start: {why}")
        self._service.house.close(ready.recorder, ready.folder)
        self._service.tell(f"{ready.order.schedule.name} does not start: {why}")
        if ready.dropped is not None:
            ready.dropped(why)

    def _settle(self, **answer) -> None:
        if not self._told and not answer["ok"]:
            self._service.tell(f"the start that waited does not begin: {answer['words']}")
        self.answer, self._busy, self._told = answer, None, True


def _schedule(path: str) -> Schedule:
    """Raises KilnctlError also if it is not a plain file: opening a pipe would wait for its writer."""
    try:
        plain = stat.S_ISREG(os.stat(path).st_mode)
    except OSError:
        plain = True  # the reader says what is wrong
    if not plain and not os.path.isdir(path):
        raise KilnctlError(f"{path}: this is no plain file (a pipe or a device); copy the schedule into a file")
    return load_schedule(path)
