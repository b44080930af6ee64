"""What the service does for its records outside the tick: opens and closes them, has the pages of ended runs made, and
makes room for new ones. One thread, one task at a time; long arithmetic runs in another process."""

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue

from ..control import Programme
from ..control.feasibility import planned_s
from ..errors import KilnctlError
from ..record.folder import Begun, begin, new_folder
from ..record.recorder import LEAST_FREE, Recorder
from ..record.retention import clear_old, pending_in
from ..run.prepare import PreparedRun
from .saved_state import Acknowledgement, TrippedRun

#: Bytes of one sample in the journal, and in the table that is made of it when the run is over.
BYTES_PER_SAMPLE = 2 * 180
#: A run may take longer than its schedule plans by this factor; a leg without a given time is assumed to take this
#: long, s.
LONGER, OVEN_S = 1.25, 12 * 3600.0


def room_needed(order: PreparedRun) -> int:
    """Bytes that the record of this run may take: its journal, and the table and page that are made of it."""
    programme = order.programme
    if isinstance(programme, Programme):
        unknown = sum(leg.kind not in ("ramp", "hold") for leg in programme.legs)
        length_s = LONGER * planned_s(programme) + unknown * OVEN_S
    else:
        length_s = order.policy.longest_s
    return round(BYTES_PER_SAMPLE * min(length_s, order.policy.longest_s) / order.oven.control.tick_s)


def begin_finishing(folder: Path, models: Path | None, outlives: bool = False) -> subprocess.Popen:
    """A process that makes the page of a run, and lets it teach the oven's models if it is to. It gets one processor at
    most, and that last. `outlives`: it goes on when this process or its terminal ends, and its answer is lost then."""
    paths = os.pathsep.join(p for p in sys.path if p)
    return subprocess.Popen(
        [sys.executable, "-m", "kilnctl.report.finishing", str(folder), *([str(models)] if models is not None else [])],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        errors="replace",
        start_new_session=outlives,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": paths},
    )


def answer_of(said: str) -> dict:
    """The JSON object that such a process printed; empty for anything else."""
    try:
        told = json.loads(said)
    except (ValueError, RecursionError):
        return {}
    return told if isinstance(told, dict) else {}


class Housekeeping:
    """Looks after the records below `out`.

    keep_bytes  the oldest records are removed while all together are larger than this; None: nothing is removed
    tell        takes lines for the person at the terminal
    models      folder of the oven's models, which runs teach; None: none do
    pages       make the page of each run; where one schedule only is run, the command that asked for it does

    Requests are done later; pages that are not made when the service ends are made by the next one."""

    def __init__(
        self,
        out: Path,
        keep_bytes: int | None,
        tell: Callable[[str], None],
        pages: bool = True,
        models: Path | None = None,
    ):
        self._out, self._keep_bytes, self._tell, self._models, self._pages = out, keep_bytes, tell, models, pages
        #: What the last run taught (see `report.lessons.Told`), with its "run"; empty before the first.
        self.lesson: dict = {}
        # A record that was closed is written again by one thread at a time.
        self._reopening = threading.Lock()
        self._closing: list[threading.Thread] = []
        self._queue: SimpleQueue = SimpleQueue()
        self._closed = False
        self._child: subprocess.Popen | None = None
        self._lock = threading.Lock()
        # A thread of its own: the tick closes records, and starting a process takes long.
        self._child_lock = threading.Lock()
        self._thread: threading.Thread | None = None
        #: Why no new record could be kept when `refusal` was asked last; empty when it could.
        self.refused = self.refusal()

    def refusal(self) -> str:
        """Why no new record can be kept; empty when it can. Waits for the disk."""
        self.refused = self._room_refusal()
        return self.refused

    def _room_refusal(self) -> str:
        try:
            self._out.mkdir(parents=True, exist_ok=True)
            disk = os.statvfs(self._out)
        except OSError as error:
            return f"{self._out}: no record can be kept there: {error.strerror}"
        free = disk.f_bavail * disk.f_frsize
        if free < LEAST_FREE:
            return f"only {free / 1e6:.0f} MB are free for the record in {self._out}; move old runs away"
        if disk.f_flag & os.ST_RDONLY or not os.access(self._out, os.W_OK):
            return f"{self._out}: no record can be kept there: it may not be written"
        return ""

    def _check_room(self, order: PreparedRun) -> None:
        """Raises KilnctlError where the disk has no room for what this schedule will write."""
        disk = os.statvfs(self._out)
        free, needed = disk.f_bavail * disk.f_frsize, LEAST_FREE + room_needed(order)
        if free < needed:
            raise KilnctlError(
                f"only {free / 1e6:.0f} MB are free in {self._out}, and the record of {order.schedule.name} may take "
                f"{needed / 1e6:.0f} MB; move old runs away, or let --keep make room"
            )

    def new(self, order: PreparedRun, rig_name: str, teaches: bool = False) -> Path:
        """The folder of a new run, with its settings in it. `teaches`: the oven's models learn from it. Raises
        KilnctlError."""
        try:
            self._out.mkdir(parents=True, exist_ok=True)
            self._check_room(order)
        except OSError as error:
            raise KilnctlError(f"{self._out}: no record can be kept there: {error.strerror}") from None
        folder = new_folder(self._out, order.oven.name, order.schedule.name)
        started = time.strftime("%Y-%m-%d %H:%M:%S %z")
        begun = Begun(
            order.oven,
            order.schedule,
            order.load,
            order.model,
            None,
            order.controller_name,
            started,
            rig_name,
            model_words=order.model_words,
            teaches=str(self._models) if teaches and self._models is not None else "",
        )
        begin(folder, begun)
        return folder

    def opened(self, folder: Path) -> tuple[Path, Recorder]:
        """The folder and its recorder; older records go where there is no room for all. Raises KilnctlError."""
        recorder = Recorder(folder)
        self.clear(folder)
        return folder, recorder

    def close(self, recorder: Recorder, folder: Path) -> None:
        """Write the rest of the record in a thread of its own, then make its page. Only the end of the service waits
        for it."""
        self._apart(self._close, recorder, folder)

    def _close(self, recorder: Recorder, folder: Path) -> None:
        recorder.close()
        if self._pages:
            self.finish(folder)
        self.clear(folder)

    def close_interrupted(self, run: dict, words: str) -> None:
        """Say in the record of an interrupted run that does not go on how it ended. `run`: from the saved state."""
        time_s = (run.get("place") or {}).get("run_s")
        self._add(Path(run["folder"]), "end", time_s=time_s, outcome="interrupted", text=words)

    def record_acknowledgement(self, run: TrippedRun, said: Acknowledgement) -> None:
        """Say in the record of the run that tripped who acknowledged, in a thread of its own; then make its page
        again. The event's time is that of the end of the run; the time of day is in its words."""
        self._apart(self._acknowledged, run, said, list(self._closing))

    def _acknowledged(self, run: TrippedRun, said: Acknowledgement, before: list[threading.Thread]) -> None:
        # The record's own closing comes first: a journal has one writer.
        for closing in before:
            closing.join()
        folder, wall = Path(run.folder), time.strftime("%Y-%m-%d %H:%M:%S %z", time.localtime(said.wall_s))
        text = f"{', '.join(said.faults)} acknowledged at {wall} by {said.by}"
        if self._add(folder, "acknowledged", time_s=run.lasted_s, text=text, by=said.by, wall=wall):
            self.finish(folder)

    def _add(self, folder: Path, kind: str, **facts) -> bool:
        """Add an event to a record that was closed. Whether it is on the disk; if not, the reason is reported. Waits
        for the disk."""
        if not folder.is_dir():
            return False
        try:
            with self._reopening:
                recorder = Recorder(folder)
                receipt = recorder.event(kind, **facts)
                recorder.close()
        except KilnctlError as error:
            self._tell(str(error))
            return False
        return receipt.durable

    def _apart(self, work: Callable[..., None], *arguments) -> None:
        closing = threading.Thread(target=work, args=arguments, name="closing", daemon=False)
        with self._lock:
            closing.start()
            self._closing = [c for c in self._closing if c.is_alive()] + [closing]

    def tidy(self, folder: Path | None) -> None:
        """Finish what earlier processes left, and make room. Called once it is known whether a run goes on in
        `folder`."""
        if self._pages:
            self.finish_old(folder)
        self.clear(folder)

    def finish(self, folder: Path) -> None:
        """Make the page of this run, whose recorder has been closed."""
        self._put(lambda: self._finish(folder))

    def finish_old(self, spare: Path | None = None) -> None:
        """Make the missing pages of runs of earlier processes; not of `spare`, which may still go on."""
        self._put(lambda: [self._finish(p) for p in pending_in(self._out) if p != spare])

    def clear(self, spare: Path | None = None) -> None:
        """Make room, where there is a limit. `spare` stays, and so does a record that is being written."""
        if self._keep_bytes is not None:
            self._put(lambda: self._clear(spare))

    def end(self) -> None:
        """End, and drop the tasks that still wait. All records are whole on the disk when this returns."""
        for closing in self._closing:
            closing.join()
        with self._lock:
            self._closed = True
        with self._child_lock:
            if self._child is not None:
                self._child.kill()
        self._queue.put(None)
        if self._thread is not None:
            self._thread.join(10.0)

    def _put(self, work: Callable[[], object]) -> None:
        with self._lock:
            if self._closed:
                return
            self._queue.put(work)
            if self._thread is None:
                self._thread = threading.Thread(target=self._work, name="housekeeping", daemon=True)
                self._thread.start()

    def _work(self) -> None:
        while (work := self._queue.get()) is not None and not self._closed:
            try:
                work()
            except (KilnctlError, OSError) as error:
                self._tell(f"note: {error}")

    def _finish(self, folder: Path) -> None:
        with self._child_lock:
            if self._closed:
                return
            self._child = child = begin_finishing(folder, self._models)
        said, failed = child.communicate()
        with self._child_lock:
            self._child = None
        if self._closed:
            return
        if lesson := answer_of(said):
            self.lesson = {**lesson, "run": str(folder)}
            self._tell(f"note: {lesson.get('words')}")
        if child.returncode:
            words = failed.strip().splitlines()[-1:] or [f"its process ended with status {child.returncode}"]
            self._tell(
                f"note: {folder}: the page of this run could not be made: {words[0]}. Its journal is kept; "
                "`kilnctl report` tries again"
            )

    def _clear(self, spare: Path | None) -> None:
        if self._keep_bytes is None:
            return
        done = clear_old(self._out, self._keep_bytes, spare=[spare] if spare is not None else ())
        number = len(done.removed)
        if number:
            self._tell(
                f"note: {number} old record{'s' * (number > 1)} removed to make room "
                f"({done.freed_bytes / 1e6:.0f} MB): {', '.join(done.removed[:5])}{' …' if number > 5 else ''}"
            )
        for words in done.kept_back:
            if not words.endswith("being written"):
                self._tell(f"note: an old record could not be removed: {words}")
