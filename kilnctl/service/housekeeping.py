"""What the service does for its records beside the tick: opens and closes them, has the pages of runs that are over
made, and makes room for new ones. One thread, one thing at a time; what takes arithmetic is done by another process."""

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue

from ..errors import KilnctlError
from ..record.recorder import Recorder
from ..record.retention import clear_old, pending_in


class Housekeeping:
    """`pages`: make the page of each run (where one schedule only is run, the command that asked for it does).
    `keep_bytes`: the oldest records below `out` go while all together are larger than this (None: none ever goes).
    `tell(text)` is for the person at the terminal. What is asked for is done later; what is not done when the service ends, the next one does."""

    def __init__(self, out: Path, keep_bytes: int | None, tell: Callable[[str], None], pages: bool = True):
        self._out, self._keep_bytes, self._tell, self._pages = out, keep_bytes, tell, pages
        self._closing: list[threading.Thread] = []
        self._queue: SimpleQueue = SimpleQueue()
        self._closed = False
        self._child: subprocess.Popen | None = None
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None

    def opened(self, folder: Path) -> Recorder:
        """The recorder of a run in that folder; older records go where there is no room for all. Raises
        KilnctlError."""
        recorder = Recorder(folder)
        self.clear(folder)
        return recorder

    def close(self, recorder: Recorder, folder: Path) -> None:
        """Let the disk have the rest of it: not waited for before the service itself ends. Its page is made after
        that."""
        closing = threading.Thread(target=self._close, args=(recorder, folder), name="closing", daemon=False)
        closing.start()
        self._closing = [c for c in self._closing if c.is_alive()] + [closing]

    def _close(self, recorder: Recorder, folder: Path) -> None:
        recorder.close()
        if self._pages:
            self.finish(folder)
        self.clear(folder)

    def close_cut_off(self, run: dict, words: str) -> None:
        """Say in the record of a run that does not go on how it ended."""
        folder = Path(run["folder"])
        if folder.is_dir():
            try:
                recorder = Recorder(folder)
                recorder.event("end", time_s=(run.get("place") or {}).get("run_s"), outcome="interrupted", text=words)
                recorder.close()
            except KilnctlError as error:
                self._tell(str(error))

    def tidy(self, folder: Path | None) -> None:
        """Once it is known whether a run goes on (in `folder`): what earlier processes left undone, and room."""
        if self._pages:
            self.finish_old(folder)
        self.clear(folder)

    def finish(self, folder: Path) -> None:
        """Make the page of this run, whose recorder has been closed."""
        self._put(lambda: self._finish(folder))

    def finish_old(self, spare: Path | None = None) -> None:
        """Make the pages of all runs that an earlier process left without; not of `spare`, which may yet go on."""
        self._put(lambda: [self._finish(p) for p in pending_in(self._out) if p != spare])

    def clear(self, spare: Path | None = None) -> None:
        """Make room, where there is a limit. `spare` stays, and so does whatever is being written."""
        if self._keep_bytes is not None:
            self._put(lambda: self._clear(spare))

    def end(self) -> None:
        """End now, whatever waits; but whoever reads a record once this has returned reads all that was taken down."""
        for closing in self._closing:
            closing.join()
        with self._lock:
            self._closed = True
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
        with self._lock:
            if self._closed:
                return
            self._child = child = subprocess.Popen(
                [sys.executable, "-m", "kilnctl.report.finishing", str(folder)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.PIPE,
                text=True,
                errors="replace",
                env={
                    **os.environ,
                    "OPENBLAS_NUM_THREADS": "1",
                    "PYTHONPATH": os.pathsep.join(p for p in sys.path if p),
                },
            )
        _, said = child.communicate()
        with self._lock:
            self._child = None
        if child.returncode and not self._closed:
            words = said.strip().splitlines()[-1:] or [f"its process ended with status {child.returncode}"]
            self._tell(
                f"note: {folder}: the page of this run could not be made: {words[0]}. Its journal is kept; `kilnctl report` tries again"
            )

    def _clear(self, spare: Path | None) -> None:
        done = clear_old(self._out, self._keep_bytes, spare=[spare] if spare is not None else ())
        if done.removed:
            self._tell(
                f"note: {len(done.removed)} old record{'s' * (len(done.removed) > 1)} removed to make room ({done.freed_bytes / 1e6:.0f} MB): "
                f"{', '.join(done.removed[:5])}{' …' if len(done.removed) > 5 else ''}"
            )
        for words in done.kept_back:
            if not words.endswith("being written"):
                self._tell(f"note: an old record could not be removed: {words}")
