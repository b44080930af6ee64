"""What takes seconds is worked out in a process of its own: the same computer may run an oven, and a stop must not wait
for arithmetic."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Hashable
from concurrent.futures import BrokenExecutor, CancelledError, Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.process import BaseProcess
from typing import Any

from ..errors import KilnctlError

#: Answers kept.
MOST_ASKED = 40
ENDED = "it could not be worked out: its process was ended; try again"


def _behind() -> None:
    """First thing in the process that works things out: it is behind all others, no Ctrl-C for the panel ends it, and
    it does not outlive the panel."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(5)
    panel = multiprocessing.parent_process()
    if panel is not None:
        threading.Thread(target=_end_with, args=(panel,), daemon=True).start()


def _end_with(panel: BaseProcess) -> None:
    panel.join()
    os._exit(1)


@dataclass(eq=False)
class _Job:
    """Something to be worked out: `answer` is what the function returns or raises."""

    function: Callable
    arguments: tuple
    answer: Future = field(default_factory=Future)


class Worker:
    """Works things out one after the other. The newest question comes first: a page that asked before may have gone on
    to another schedule."""

    def __init__(self) -> None:
        self._asked: dict[Hashable, _Job] = {}
        self._waiting: list[_Job] = []
        self._going: _Job | None = None
        self._closed = False
        self._lock = threading.RLock()
        self._worker: ProcessPoolExecutor | None = None

    @property
    def going(self) -> Hashable | None:
        """Key of what is being worked out; None while there is nothing."""
        with self._lock:
            return next((key for key, job in self._asked.items() if job is self._going), None)

    @property
    def next(self) -> Hashable | None:
        """Key of what comes after it; None when nothing waits."""
        with self._lock:
            return next((key for key, job in self._asked.items() if self._waiting and job is self._waiting[-1]), None)

    @property
    def processes(self) -> tuple[BaseProcess, ...]:
        """The process that works things out, once it is there."""
        with self._lock:
            return tuple((self._worker._processes or {}).values()) if self._worker is not None else ()

    def work_out(self, key: Hashable, function: Callable[..., Any], *arguments: Any) -> Any:
        """What the function returns; the same key is worked out once. Raises what the function raises, and KilnctlError
        when its process was ended."""
        with self._lock:
            job = self._asked.get(key)
            if job is None:
                while len(self._asked) >= MOST_ASKED:
                    self._asked.pop(next(iter(self._asked)))
                job = self._asked[key] = _Job(function, arguments)
            elif job in self._waiting:
                self._waiting.remove(job)
            if not job.answer.done() and job is not self._going:
                self._waiting.append(job)
            self._go_on()
        try:
            return job.answer.result()
        except (BrokenExecutor, CancelledError):
            with self._lock:
                if self._asked.get(key) is job:
                    del self._asked[key]
            raise KilnctlError(ENDED) from None

    def _go_on(self) -> None:
        """Under the lock: the newest that waits, when nothing is being worked out."""
        if self._closed:
            for job in self._waiting:
                job.answer.cancel()
            self._waiting.clear()
        if self._going is not None or not self._waiting:
            return
        job = self._going = self._waiting.pop()
        if self._worker is None:
            self._worker = ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"), initializer=_behind)
        try:
            made = self._worker.submit(job.function, *job.arguments)
        except BrokenExecutor as error:  # its process was ended while it had nothing to do
            made = Future()
            made.set_exception(error)
        made.add_done_callback(partial(self._done, job))

    def _done(self, job: _Job, made: Future) -> None:
        error = CancelledError() if made.cancelled() else made.exception()
        with self._lock:
            self._going = None
            if isinstance(error, BrokenExecutor):
                self._worker = None
            if error is None:
                job.answer.set_result(made.result())
            else:
                job.answer.set_exception(error)
            self._go_on()

    def close(self) -> None:
        """Give up what is being worked out and what waits for it."""
        with self._lock:
            self._closed = True
            self._go_on()
            processes = self.processes
            worker, self._worker = self._worker, None
        if worker is not None:
            worker.shutdown(wait=False, cancel_futures=True)
            for process in processes:
                process.terminate()
