"""Time and threads of a rig in a test: one thread runs at a time, and time passes only while all of them wait.

`SimulatedTime` stands for the modules `time` and `threading` in what is tested. A test that sleeps 15 s takes
milliseconds, and each run of it is the same.
"""

import threading
import time
from collections.abc import Callable

#: So many turns without any time between them are a loop that waits for nothing.
STANDS_STILL = 2000


class _Task:
    def __init__(self, due_s: float):
        self.turn = threading.Semaphore(0)
        self.due_s, self.ended = due_s, False
        self.event: Event | None = None
        self.joins: _Task | None = None

    def ready_s(self, now_s: float) -> float:
        """When it goes on."""
        at_once = (self.event is not None and self.event.is_set()) or (self.joins is not None and self.joins.ended)
        return now_s if at_once else self.due_s


class SimulatedTime:
    def __init__(self, now_s: float = 5000.0):
        self._now_s, self._turns = now_s, 0
        self._test = self._running = _Task(now_s)
        self._waiting: list[_Task] = []
        self.Lock = threading.Lock
        self.strftime = time.strftime

    def monotonic(self) -> float:
        return self._now_s

    def sleep(self, seconds: float) -> None:
        assert seconds >= 0.0
        self._wait(seconds)

    def Event(self) -> "Event":
        return Event(self)

    def Thread(self, *, target: Callable[[], None], name: str = "", daemon: bool = False) -> "Thread":
        assert daemon, "a rig's thread must not keep a program alive"
        return Thread(self, target)

    # ---- who runs ----

    def _wait(self, seconds: float, event: "Event | None" = None, joins: _Task | None = None) -> None:
        """The running task waits; the next one runs."""
        mine = self._running
        mine.due_s, mine.event, mine.joins = self._now_s + seconds, event, joins
        self._waiting.append(mine)
        self._next()
        mine.turn.acquire()
        assert self._turns < STANDS_STILL, "it waits for nothing"

    def _next(self) -> None:
        """Of those that wait, the first that is due runs; of two that are due, the one that has waited longer."""
        now_s = self._now_s
        chosen = min(self._waiting, key=lambda task: max(now_s, task.ready_s(now_s)))
        self._now_s = max(now_s, chosen.ready_s(now_s))
        self._turns = self._turns + 1 if self._now_s == now_s else 0
        if self._turns >= STANDS_STILL:
            chosen = self._test
        self._waiting.remove(chosen)
        self._running = chosen
        chosen.turn.release()

    def _begin(self, target: Callable[[], None]) -> _Task:
        task = _Task(self._now_s)

        def run() -> None:
            task.turn.acquire()
            try:
                target()
            finally:
                task.ended = True
                self._next()

        self._waiting.append(task)
        threading.Thread(target=run, daemon=True).start()
        return task


class Thread:
    def __init__(self, time: SimulatedTime, target: Callable[[], None]):
        self._time, self._target, self._task = time, target, None

    def start(self) -> None:
        self._task = self._time._begin(self._target)

    def is_alive(self) -> bool:
        return self._task is not None and not self._task.ended

    def join(self, timeout: float) -> None:
        assert self._task is not None
        if not self._task.ended:
            self._time._wait(timeout, joins=self._task)


class Event:
    def __init__(self, time: SimulatedTime):
        self._time, self._set = time, False

    def set(self) -> None:
        self._set = True

    def clear(self) -> None:
        self._set = False

    def is_set(self) -> bool:
        return self._set

    def wait(self, timeout: float) -> bool:
        if not self._set:
            self._time._wait(timeout, event=self)
        return self._set
