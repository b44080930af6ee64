"""What the service needs of its disk, checked again and again by a thread of its own: state folder, lock, socket, room
for records. What is missing is made again; what cannot be made is reported while it lasts."""

import threading
import time
from collections.abc import Callable, Iterable

#: Time between two checks, s; a check that takes longer than STALLED_S is reported.
EVERY_S, STALLED_S = 2.0, 20.0


class Upkeep:
    """`looks` are called one after the other; each returns what is wrong, empty when all is well."""

    def __init__(self, looks: Iterable[Callable[[], str]], every_s: float = EVERY_S):
        self._looks, self._every_s = tuple(looks), every_s
        self._words: tuple[str, ...] = ()
        self._looked_s = time.monotonic()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._work, name="upkeep", daemon=True)
        self._thread.start()

    @property
    def words(self) -> tuple[str, ...]:
        """What is wrong now. For the tick: waits for nothing."""
        late_s = time.monotonic() - self._looked_s
        if late_s < STALLED_S + self._every_s:
            return self._words
        return (*self._words, f"the disk has not answered for {late_s:.0f} s")

    def close(self) -> None:
        """End; waits only a moment for a disk that does not answer."""
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
