"""The small state that must be known after a power cut, written by a thread of its own: never by the tick."""

import threading
import time
from pathlib import Path

from ..record.durable import load_state, make_folder, save_state

#: How old the state on the disk may get while a run goes on, s.
EVERY_S = 10.0


class Keeper:
    """`keep(state)` takes a mapping of JSON values; what is newest goes to the disk, at once when `urgent`."""

    def __init__(self, folder: Path, every_s: float = EVERY_S):
        """Raises OSError where the folder cannot be made. `every_s`: less in front of an oven whose time goes faster."""
        self._every_s = every_s
        make_folder(folder)
        self.path = folder / "state"
        self.failure = ""
        self._newest: dict | None = None
        self._wake, self._lock = threading.Condition(), threading.Lock()
        self._urgent = self._ending = self._dirty = False
        self._thread = threading.Thread(target=self._work, name="keeper", daemon=True)
        self._thread.start()

    def load(self) -> dict:
        return load_state(self.path) or {}

    def keep(self, state: dict, urgent: bool = False) -> None:
        with self._wake:
            self._newest, self._dirty = state, True
            self._urgent |= urgent
            if urgent:
                self._wake.notify()

    def close(self) -> None:
        """Write what is newest, and stop."""
        with self._wake:
            self._ending = True
            self._wake.notify()
        self._thread.join(5.0)

    def _work(self) -> None:
        due = 0.0
        while True:
            with self._wake:
                while not (self._ending or self._urgent or (self._dirty and time.monotonic() >= due)):
                    self._wake.wait(min(1.0, self._every_s))
                state, dirty, ending = self._newest, self._dirty, self._ending
                self._urgent = self._dirty = False
            if dirty and state is not None:
                try:
                    save_state(self.path, state)
                    self.failure = ""
                except OSError as error:
                    self.failure = f"{self.path}: {error.strerror}"
                due = time.monotonic() + self._every_s
            if ending:
                return
