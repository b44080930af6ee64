"""The small state that must be known after a power cut, written by a thread of its own: never by the tick."""

import json
import os
import threading
import time
from pathlib import Path

from ..record.durable import load_state, make_folder, save_state, write_whole

#: How old the state on the disk may get, s; what matters is written at once.
EVERY_S = 10.0
#: Room for latched trips that a full disk cannot refuse, bytes: reserved once and then only overwritten.
LATCH = 4096


class StateStore:
    """`keep(state)` takes a mapping of JSON values; what is newest goes to the disk, at once when `urgent`."""

    def __init__(self, folder: Path, every_s: float = EVERY_S):
        """Raises OSError where the folder cannot be made. `every_s`: less where simulated time goes faster."""
        self._every_s = every_s
        make_folder(folder)
        self.path, self._latch = folder / "state", folder / "latch"
        if not self._latch.exists() or self._latch.stat().st_size != LATCH:
            write_whole(self._latch, b" " * LATCH)
        self._latched = bool(self._beside())
        self.failure = ""
        self._newest: dict | None = None
        self._wake = threading.Condition()
        self._urgent = self._ending = self._dirty = False
        self._thread = threading.Thread(target=self._work, name="state store", daemon=True)
        self._thread.start()

    def load(self) -> dict:
        """What was kept, with the trips that could only be kept in their own place. Raises nothing."""
        state = load_state(self.path) or {}
        told = state.get("trips")
        trips = told if isinstance(told, list) else []
        return {**state, "trips": [*trips, *(t for t in self._beside() if t not in trips)]} if self._latched else state

    def _beside(self) -> list:
        """The trips in their own place; one that nobody can read where it is damaged."""
        try:
            told = json.loads(self._latch.read_bytes().strip() or b"[]")
        except (OSError, ValueError):
            return [{}]
        return told if isinstance(told, list) else [{}]

    def _keep_beside(self, trips: list) -> None:
        """As many as fit, the first first. Raises OSError."""
        kept = list(trips)
        while len(text := json.dumps(kept).encode() if kept else b"") > LATCH:
            kept.pop()
        handle = os.open(self._latch, os.O_WRONLY)
        try:
            os.pwrite(handle, text.ljust(LATCH), 0)
            os.fdatasync(handle)
        finally:
            os.close(handle)
        self._latched = bool(kept)

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
                    if self._latched:
                        self._keep_beside([])
                    self.failure = ""
                except OSError as error:
                    self.failure = f"{self.path}: {error.strerror}"
                    try:
                        self._keep_beside(state.get("trips") or [])
                    except OSError as worse:
                        self.failure += f"; {self._latch}: {worse.strerror}"
                due = time.monotonic() + self._every_s
            if ending:
                return
