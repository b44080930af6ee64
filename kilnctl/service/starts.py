"""Starts that are asked for over the socket: prepared in a thread of their own, one at a time, and begun by the tick or
not at all.

Between the request and the first tick of the run lie seconds. A stop or a trip in between makes the start void: nothing
heats that was asked for before it.
"""

import dataclasses
import threading
from pathlib import Path
from queue import Empty, SimpleQueue

from .. import safety
from ..errors import KilnctlError
from ..record.recorder import Recorder
from ..run.prepare import PreparedRun
from ..settings.schedule import load_schedule
from .session import prepare


@dataclasses.dataclass(frozen=True, slots=True)
class _Ready:
    """A start that waits for its tick. `voids`: how many times starts had been made void when it was asked for."""

    order: PreparedRun
    by: str
    folder: Path
    recorder: Recorder
    voids: int


class Starts:
    """`answer` is what became of the last start; "pending" until its run has begun or will not."""

    def __init__(self, service):
        self._service = service
        self._ready: SimpleQueue = SimpleQueue()
        self._busy = self._closed = False
        self._voids, self._why = 0, ""
        self.answer: dict = {"ok": False, "words": "no start was asked for"}

    def ask(self, request: dict) -> dict:
        """By the socket's thread. Never waited for here: a stop may stand behind this request."""
        service, voids = self._service, self._voids
        if service.session is not None:
            return {"ok": False, "words": "a run is going on"}
        if not service.idle:
            return {"ok": False, "words": "this service runs one schedule only; start it with --idle to wait for more"}
        if self._busy:
            return {"ok": False, "words": "another start is being prepared"}
        refused = service.refusal()
        if refused:
            return {"ok": False, "words": refused}
        self._busy, self.answer = True, {"ok": True, "pending": True, "words": "being prepared"}
        threading.Thread(target=self._prepare, args=(request, voids), name="prepare", daemon=True).start()
        return self.answer

    def void(self, why: str) -> None:
        """No start that was asked for until now begins. From any thread, also from a signal handler: no lock."""
        self._why = why
        self._voids += 1

    def begin(self) -> None:
        """By the tick: begin what is ready, unless something has come between."""
        service, ready = self._service, self._next()
        if ready is None:
            return
        why = (
            self._why
            if ready.voids != self._voids
            else "a run is going on"
            if service.session is not None
            else service.refusal()
        )
        if why:
            self._drop(ready, why)
            return
        service.begin(ready.order, ready.folder, ready.recorder, ready.by)
        limit = safety.schedule_trip_words(ready.order.schedule, ready.order.policy.schedule_trip_c)
        self._settle(
            ok=True,
            words=f"{ready.order.schedule.name} starts; {limit}",
            shortfalls=[s.note for s in ready.order.programme.shortfalls],
        )

    def close(self) -> None:
        """The service ends: what waits never begins."""
        self._closed = True
        while (ready := self._next()) is not None:
            self._drop(ready, "the service ended")

    def _prepare(self, request: dict, voids: int) -> None:
        service = self._service
        try:
            schedule, model = load_schedule(request["schedule"]), request.get("model") or service.model_file
            if request.get("sha256", schedule.sha256) != schedule.sha256:
                self._settle(ok=False, changed=True, words="it does not start: its file is not what was shown")
                return
            order = service.ordered(prepare(service.oven, schedule, model, service.chamber_c()))
            unlike = service.unlike()
            if unlike and not request.get("confirm"):
                self._settle(ok=False, words="the limits are unlike the last run's: confirm them", confirm=list(unlike))
            elif self._voids != voids:
                self._settle(ok=False, words=f"it does not start: {self._why}")
            else:
                folder, recorder = service.open_record(order)
                self._ready.put(_Ready(order, request.get("by", "somebody"), folder, recorder, voids))
                if self._closed:
                    self.close()
        except KilnctlError as error:
            self._settle(ok=False, words=str(error))
        except BaseException as error:
            self._settle(ok=False, words=f"kilnctl met a fault of its own: {type(error).__name__}: {error}")
            raise

    def _next(self) -> _Ready | None:
        try:
            return self._ready.get_nowait()
        except Empty:
            return None

    def _drop(self, ready: _Ready, why: str) -> None:
        ready.recorder.event("end", time_s=0.0, outcome="stopped", text=f"it did not start: {why}")
        self._service.house.close(ready.recorder, ready.folder)
        self._service.tell(f"{ready.order.schedule.name} does not start: {why}")
        self._settle(ok=False, words=f"it does not start: {why}")

    def _settle(self, **answer) -> None:
        self.answer, self._busy = answer, False
