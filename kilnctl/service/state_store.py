"""The small state that must be known after a power cut, written by a thread of its own: never by the tick."""

import json
import os
import threading
import time
from collections.abc import Callable
from pathlib import Path

from ..record.durable import load_state, make_folder, save_state, write_whole

#: How old the state on the disk may get, s; what matters is written at once.
EVERY_S = 10.0
#: Room for latched trips, bytes: reserved once and then only overwritten, so that it works on a full disk.
LATCH = 4096
#: The trip that is set when the state exists but cannot be read, in the form of every trip.
UNKNOWN = "unknown"
DAMAGED = "the saved state of this oven is damaged: nobody knows whether a trip stood, or how hot the oven was"
OFF = "The heat stays off."
LOOK = "the oven itself, the last run's record, and the disk that the state lies on"


class StateStore:
    """`keep(state)` takes a mapping of JSON values; the newest state goes to the disk, at once when `urgent`."""

    def __init__(self, folder: Path, every_s: float = EVERY_S, stamp: Callable[[], dict] = dict):
        """Raises OSError where the folder cannot be made. `every_s`: less where simulated time goes faster. `stamp()`
        gives what is added to each state when it is written; it may wait."""
        self._every_s, self._stamp, self._folder = every_s, stamp, folder
        self.path, self._latch = folder / "state", folder / "latch"
        #: Whether what `load` found is damaged.
        self.damaged = False
        self._make()
        self._latched = bool(self._beside())
        self.failure = ""
        self._newest: dict | None = None
        self._wake = threading.Condition()
        self._urgent = self._ending = self._dirty = False
        self._thread = threading.Thread(target=self._work, name="state store", daemon=True)
        self._thread.start()

    def _make(self) -> None:
        """The folder, and in it the room for trips. Raises OSError."""
        make_folder(self._folder)
        there = self._latch.exists()
        # A reserved file of another size is replaced only if it is empty of trips.
        if not there or (self._latch.stat().st_size != LATCH and not self._latch.read_bytes().strip()):
            write_whole(self._latch, b" " * LATCH)

    def renewed(self) -> str:
        """Make the folder again if it has gone. Returns what is wrong with it; empty when it can be written. Waits for
        the disk."""
        try:
            if not self._folder.is_dir():
                self._make()
                with self._wake:
                    self._dirty = self._urgent = self._newest is not None
                    self._wake.notify()
            # A file system that has become read-only says so here, with no state to write.
            return "" if os.access(self._folder, os.W_OK) else f"{self._folder}: it may not be written"
        except OSError as error:
            return f"{self._folder}: {error.strerror}"

    def load(self) -> dict:
        """The saved state, with the trips from their reserved file. If the newest state exists but cannot be read, an
        unknown trip is added, because it may have held one. Raises nothing."""
        newest = load_state(self.path, before=False)
        state = newest or load_state(self.path) or {}
        # A power cut leaves the old or the new state; only a failing disk or a person leaves an unreadable one.
        self.damaged = newest is None and (self.path.exists() or (not state and self._before.exists()))
        told = state.get("trips")
        trips = told if isinstance(told, list) else [] if not told else [{}]
        trips = [*trips, *(t for t in self._beside() if t not in trips)]
        if self.damaged:
            trips.append({"fault": UNKNOWN, "seen": DAMAGED, "done": OFF, "check": LOOK})
        return {**state, "trips": trips} if trips else state

    @property
    def _before(self) -> Path:
        return self.path.with_name(self.path.name + ".before")

    def _beside(self) -> list:
        """The trips from the reserved file; one unknown trip if that file is damaged."""
        try:
            told = json.loads(self._latch.read_bytes().strip() or b"[]")
        except (OSError, ValueError, RecursionError):
            return [{}]
        return told if isinstance(told, list) else [{}]

    def _keep_beside(self, trips: list) -> None:
        """Write as many trips as fit, the oldest first. Raises OSError."""
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
        """Write the newest state, and stop."""
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
                    save_state(self.path, {**state, **self._stamp()})
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
