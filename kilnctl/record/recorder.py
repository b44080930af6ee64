"""The journal's writer: a thread of its own behind a bounded queue, so that a slow or full card never
delays a control tick.

The tick only puts a tuple into a queue (well under a microsecond). What the queue cannot hold is counted,
and the count is itself recorded once there is room again. Events are on the disk (fdatasync) as soon as
the card allows, samples every few seconds.
"""

import csv
import io
import json
import os
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue

from ..errors import KilnctlError
from .columns import NAMES, row_text
from .folder import plain
from .journal import SEGMENT_BYTES, JournalFile

#: Samples are put on the disk this often, s. Every write costs a card at least one 4 kB page: 1 Hz would be 1
#: GB a day.
SYNC_S = 10.0
#: Samples are dropped above this many waiting records; events have as much again for themselves.
QUEUE = 2000
#: No new run starts with less free space than this, bytes; a write that takes longer than STALLED_S, s, is reported.
LEAST_FREE, STALLED_S = 20_000_000, 5.0


class Receipt:
    """What `Recorder.event` returns: whether the event is on the disk."""

    __slots__ = ("_done", "durable")

    def __init__(self) -> None:
        self._done, self.durable = threading.Event(), False

    def wait(self, timeout_s: float) -> bool:
        """Wait until it is known whether the event is on the disk; True when it is. Never call it from the control
        tick."""
        self._done.wait(timeout_s)
        return self.durable

    def settle(self, durable: bool) -> None:
        self.durable = durable
        self._done.set()


@dataclass(frozen=True, slots=True)
class RecorderState:
    """written: records appended; dropped: never taken into the queue; lost: taken, but the disk refused
    them; waiting: in the queue; failure: what the disk said, empty while all is well; slowest_s:
    longest sync so far; stalled_s: how long the present sync has lasted."""

    written: int
    dropped: int
    lost: int
    waiting: int
    failure: str
    slowest_s: float
    stalled_s: float
    free_bytes: int

    @property
    def healthy(self) -> bool:
        return not self.failure and self.stalled_s < STALLED_S

    @property
    def refusal(self) -> str:
        """Why no new run should start now; empty when it may. A run that is going on is never stopped for
        its record."""
        if self.failure:
            return f"the record cannot be kept: {self.failure}"
        if self.stalled_s >= STALLED_S:
            return f"the disk has not answered for {self.stalled_s:.0f} s: the record cannot be kept"
        if self.free_bytes < LEAST_FREE:
            return f"only {self.free_bytes / 1e6:.0f} MB are free for the record; move old runs away"
        return ""


class Recorder:
    """Keeps the journal of one run in `folder`. `sample` and `event` may be called from any thread;
    neither ever waits for a disk."""

    def __init__(
        self,
        folder: str | Path,
        *,
        sync_s: float = SYNC_S,
        queue_limit: int = QUEUE,
        segment_bytes: int = SEGMENT_BYTES,
        file: JournalFile | None = None,
        clock=time.monotonic,
    ):
        """Raises KilnctlError where no journal can be kept. `file` and `clock` are for tests."""
        self._file = file or JournalFile(folder, segment_bytes=segment_bytes)
        self._queue: SimpleQueue = SimpleQueue()
        self._sync_s, self._limit, self._clock = sync_s, queue_limit, clock
        self._written = self._lost = self._told = self._dropped_samples = self._dropped_events = 0
        self._write_failure = self._sync_failure = ""
        self._slowest_s, self._since = 0.0, None
        self._free = self._room()
        self._text = io.StringIO()
        self._csv = csv.writer(self._text, lineterminator="")
        self._event_lock = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)
        self._queue.put(("columns", ",".join(NAMES), None))
        self._thread.start()

    # ---- called by the tick -------------------------------------------------------------------------------

    def sample(self, row: tuple) -> None:
        """Keep one sample, its values in the order of `COLUMNS`."""
        if self._queue.qsize() >= self._limit:
            self._dropped_samples += 1
        else:
            self._queue.put(("sample", row, None))

    def event(self, kind: str, **facts) -> Receipt:
        """Keep an event (kind: one lower-case word; facts: JSON values, usually time_s and text)."""
        receipt = Receipt()
        if self._queue.qsize() >= 2 * self._limit:
            with self._event_lock:
                self._dropped_events += 1
            receipt.settle(False)
        else:
            self._queue.put((kind, facts, receipt))
        return receipt

    def state(self) -> RecorderState:
        since = self._since
        return RecorderState(
            self._written,
            self._dropped_samples + self._dropped_events,
            self._lost + self._file.forgotten,
            self._queue.qsize(),
            self._write_failure or self._sync_failure,
            self._slowest_s,
            self._clock() - since if since is not None else 0.0,
            self._free,
        )

    @property
    def closed(self) -> bool:
        """Whether it has ended: everything is written that could be."""
        return not self._thread.is_alive()

    def close(self, timeout_s: float = 5.0) -> RecorderState:
        """Write what waits and stop; gives up after timeout_s on a disk that does not answer (`waiting`
        then says how much)."""
        self._queue.put(None)
        self._thread.join(timeout_s)
        return self.state()

    # ---- the thread ---------------------------------------------------------------------------------------

    def _work(self) -> None:
        due = self._clock() + self._sync_s
        while True:
            items = self._take(max(0.0, due - self._clock()))
            receipts = [r for r in (self._append(*item) for item in items if item is not None) if r is not None]
            ending = None in items
            if receipts or ending or self._clock() >= due:
                durable = self._sync()
                for receipt in receipts:
                    receipt.settle(durable)
                due = self._clock() + self._sync_s
            if ending:
                self._end()
                return

    def _take(self, patience_s: float) -> list:
        """What is in the queue, waiting for a first item up to patience_s; a burst of events then shares
        one sync."""
        items: list = []
        try:
            items.append(self._queue.get(timeout=patience_s))
            while len(items) < 500 and items[-1] is not None:
                items.append(self._queue.get_nowait())
        except Empty:
            pass
        return items

    def _append(self, kind: str, body, receipt: Receipt | None) -> Receipt | None:
        """Write one item; returns its receipt where a sync has yet to settle it."""
        try:
            missing = self._lost + self._dropped_samples + self._dropped_events
            if missing > self._told:
                # Once there is room again, the journal records how much is missing.
                self._put(f'lost {{"records": {missing - self._told}}}')
                self._told = missing
            self._put(f"{kind} {self._body(kind, body)}")
            self._write_failure = ""
            return receipt
        except (OSError, KilnctlError) as error:
            self._write_failure = self._words(error)
        except (TypeError, ValueError) as error:
            # A record that cannot be written as text is a bug; it must not end the recording.
            self._write_failure = f"a record of kind '{kind}' could not be written down ({error})"
        self._lost += 1
        if receipt is not None:
            receipt.settle(False)
        return None

    def _put(self, text: str) -> None:
        self._since = self._clock()
        try:
            self._file.append(text)
            self._written += 1
        finally:
            self._since = None

    def _body(self, kind: str, body) -> str:
        if kind == "sample":
            self._text.seek(0)
            self._text.truncate()
            self._csv.writerow(row_text(body))
            return self._text.getvalue()
        return body if isinstance(body, str) else json.dumps(plain(body), ensure_ascii=False, allow_nan=False)

    def _sync(self) -> bool:
        self._since = began = self._clock()
        try:
            try:
                self._file.sync()
            except OSError as error:
                self._sync_failure = self._words(error)
                self._file.reopen()
                self._file.sync()
            self._sync_failure = ""
            return True
        except (OSError, KilnctlError) as error:
            self._sync_failure = self._words(error)
            return False
        finally:
            self._slowest_s = max(self._slowest_s, self._clock() - began)
            self._since = None
            self._free = self._room()

    def _end(self) -> None:
        try:
            self._file.close()
        except (OSError, KilnctlError) as error:
            self._sync_failure = self._words(error)

    def _words(self, error: OSError | KilnctlError) -> str:
        return str(error) if isinstance(error, KilnctlError) else f"{self._file.path}: {error.strerror}"

    def _room(self) -> int:
        try:
            disk = os.statvfs(self._file.folder)
            return disk.f_bavail * disk.f_frsize
        except OSError:
            return 0
