"""What the service needs of its disk, looked at again and again in a thread of its own, for as long as it runs: folder
of the state, lock, socket, room for records. What has gone is made again; what cannot be is said while it lasts."""

import threading
import time
from collections.abc import Callable, Iterable

#: Time between two looks, s; a look that takes longer than STALLED_S is told.
EVERY_S, STALLED_S = 2.0, 20.0


class Upkeep:
    """`looks` are asked one after the other; each gives words about what is wrong, empty when all is well."""

    def __init__(self, looks: Iterable[Callable[[], str]], every_s: float = EVERY_S):
        self._looks, self._every_s = tuple(looks), every_s
        self._words: tuple[str, ...] = ()
        self._looked_s = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._work, name="upkeep", daemon=True)
        self._thread.start()

    @property
    def words(self) -> tuple[str, ...]:
        """What is wrong now. By the tick: waits for nothing."""
        late_s = time.monotonic() - self._looked_s
        if late_s < STALLED_S + self._every_s:
            return self._words
        return (*self._words, f"the disk has not answered for {late_s:.0f} s")

    def close(self) -> None:
        """End; waits no longer than a moment for a disk that does not answer."""
        self._ended.set()
        self._thread.join(2.0)

    def _work(self) -> None:
        while not self._ended.wait(self._every_s):
            self._words = tuple(words for look in self._looks if (words := self._look(look)))
            self._looked_s = time.monotonic()

    @staticmethod
    def _look(look: Callable[[], str]) -> str:
        try:
            return look()
        except OSError as error:
            return str(error)
