"""Lines for the person at the terminal, which the tick only puts into a queue: a terminal that hangs or is closed stops
nothing."""

import threading
from collections.abc import Callable
from queue import SimpleQueue

#: Most lines that wait; further lines are counted and dropped.
MOST = 500


class MessageQueue:
    """`queue(text)` hands the text to `tell` in a thread of its own, in order. It never waits and never raises."""

    def __init__(self, tell: Callable[[str], None], most: int = MOST):
        self._tell, self._most = tell, most
        self._queue: SimpleQueue[str | None] = SimpleQueue()
        self._dropped = self._told = 0
        self._gone = False
        self._thread = threading.Thread(target=self._work, name="messages", daemon=True)
        self._thread.start()

    def __call__(self, text: str) -> None:
        if self._queue.qsize() >= self._most:
            self._dropped += 1
        else:
            self._queue.put(text)

    def close(self, patience_s: float = 2.0) -> None:
        """Wait until all lines are printed, at most this long, s."""
        self._queue.put(None)
        self._thread.join(patience_s)

    def _work(self) -> None:
        while (text := self._queue.get()) is not None:
            missing = self._dropped - self._told
            if missing:
                self._told += missing
                self._say(f"note: {missing} lines are not shown: the terminal did not take them in time")
            self._say(text)

    def _say(self, text: str) -> None:
        if self._gone:
            return
        try:
            self._tell(text)
        except (OSError, ValueError):
            # A pipe without a reader or a closed terminal: later lines would not be read either.
            self._gone = True
