"""Long computations run in a process of their own: the same computer may run an oven, and a stop must not wait for
arithmetic. A computation that no page waits for is given up. With nothing to do the process ends, to free its
memory."""

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

#: Most answers kept; most questions that wait; how long the process waits for the next question, s.
MOST_ASKED, MOST_WAITING, IDLE_S = 40, 8, 60.0
ENDED = "it could not be worked out: its process was ended; try again"


def _behind() -> None:
    """Called first in the worker process: gives it the lowest priority, makes it ignore Ctrl-C, and ends it with the
    panel."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(5)
    panel = multiprocessing.parent_process()
    if panel is not None:
        threading.Thread(target=_end_with, args=(panel,), daemon=True).start()


def _end_with(panel: BaseProcess) -> None:
    panel.join()
    os._exit(1)


@dataclass(eq=False)
class Job:
    """One computation: `answer` is what the function returns or raises; `wanted` is how many wait for it."""

    key: Hashable
    function: Callable
    arguments: tuple
    answer: Future = field(default_factory=Future)
    wanted: int = 0


class Worker:
    """Does computations one after the other. The newest question comes first: a page with an older one may already show
    another schedule. `idle_s`: its process ends after this long with nothing to do."""

    def __init__(self, idle_s: float = IDLE_S) -> None:
        self._asked: dict[Hashable, Job] = {}
        self._waiting: list[Job] = []
        self._going: Job | None = None
        self._closed = False
        self._lock = threading.RLock()
        self._worker: ProcessPoolExecutor | None = None
        self._idle_s, self._idle = idle_s, None

    @property
    def going(self) -> Hashable | None:
        """Key of the present computation; None while there is none."""
        with self._lock:
            return self._going.key if self._going is not None else None

    @property
    def next(self) -> Hashable | None:
        """Key of the next computation; None when none waits."""
        with self._lock:
            return self._waiting[-1].key if self._waiting else None

    @property
    def processes(self) -> tuple[BaseProcess, ...]:
        """The worker process, once it runs."""
        with self._lock:
            return tuple((self._worker._processes or {}).values()) if self._worker is not None else ()

    def known(self, is_it: Callable[[Hashable], bool]) -> Any:
        """The newest answer with a key that `is_it` accepts; None if there is none yet."""
        with self._lock:
            for key, job in reversed(self._asked.items()):
                if is_it(key) and job.answer.done() and not job.answer.cancelled() and job.answer.exception() is None:
                    return job.answer.result()
        return None

    def work_out(self, key: Hashable, function: Callable[..., Any], *arguments: Any) -> Any:
        """What the function returns; the same key is computed once. Raises what the function raises, and KilnctlError
        when its process was ended."""
        job = self.ask(key, function, *arguments)
        try:
            return job.answer.result()
        except (BrokenExecutor, CancelledError):
            self.forget(key, job)
            raise KilnctlError(ENDED) from None
        finally:
            self.leave(job)

    def ask(self, key: Hashable, function: Callable[..., Any], *arguments: Any) -> Job:
        """As `work_out`, without waiting: see `Job.answer`. The caller must `leave` in the end."""
        with self._lock:
            job = self._asked.get(key)
            if job is None or job.answer.cancelled():
                while len(self._asked) >= MOST_ASKED:
                    self._asked.pop(next(iter(self._asked)))
                job = self._asked[key] = Job(key, function, arguments)
            elif job in self._waiting:
                self._waiting.remove(job)
            job.wanted += 1
            if not job.answer.done() and job is not self._going:
                self._waiting.append(job)
                if len(self._waiting) > MOST_WAITING:
                    self._give_up(self._waiting[0])
            self._go_on()
        return job

    def leave(self, job: Job) -> None:
        """One caller no longer waits for it; a computation without callers is given up."""
        with self._lock:
            job.wanted -= 1
            if job.wanted > 0 or job.answer.done():
                return
            if job is self._going:
                # Its process has ended; the next question starts a new one.
                for process in self.processes:
                    process.terminate()
            else:
                self._give_up(job)

    def forget(self, key: Hashable, job: Job | None = None) -> None:
        """Forget this answer: the next question computes it again."""
        with self._lock:
            if job is None or self._asked.get(key) is job:
                self._asked.pop(key, None)

    def _give_up(self, job: Job) -> None:
        if job in self._waiting:
            self._waiting.remove(job)
        job.answer.cancel()
        self.forget(job.key, job)

    def _go_on(self) -> None:
        """Under the lock: begin the newest waiting computation, if none runs."""
        if self._closed:
            for job in list(self._waiting):
                self._give_up(job)
        if self._idle is not None:
            self._idle.cancel()
            self._idle = None
        if self._going is not None:
            return
        if not self._waiting:
            self._end_later()
            return
        job = self._going = self._waiting.pop()
        if self._worker is None:
            self._worker = ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"), initializer=_behind)
        try:
            made = self._worker.submit(job.function, *job.arguments)
        except BrokenExecutor as error:  # its process ended while it was idle
            made = Future()
            made.set_exception(error)
        made.add_done_callback(partial(self._done, job))

    def _done(self, job: Job, made: Future) -> None:
        error = CancelledError() if made.cancelled() else made.exception()
        with self._lock:
            self._going = None
            if isinstance(error, BrokenExecutor):
                self._worker = None
                self.forget(job.key, job)
            if error is None:
                job.answer.set_result(made.result())
            else:
                job.answer.set_exception(error)
            self._go_on()

    def _end_later(self) -> None:
        if self._worker is not None and not self._closed:
            self._idle = threading.Timer(self._idle_s, self._rest)
            self._idle.daemon = True
            self._idle.start()

    def _rest(self) -> None:
        with self._lock:
            if self._going is None and not self._waiting and self._worker is not None:
                self._worker.shutdown(wait=False)
                self._worker = None

    def close(self) -> None:
        """Give up the present computation and those that wait."""
        with self._lock:
            self._closed = True
            self._go_on()
            processes = self.processes
            worker, self._worker = self._worker, None
        if worker is not None:
            worker.shutdown(wait=False, cancel_futures=True)
            for process in processes:
                process.terminate()
