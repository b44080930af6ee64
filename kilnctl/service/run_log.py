"""What is told of a run: events in its record, lines for the person at the terminal."""

import math
from collections.abc import Callable
from queue import Empty, SimpleQueue
from typing import TypeVar

from ..record.events import Event
from ..record.folder import plain
from ..record.recorder import Recorder
from ..run.prepare import PreparedRun
from .session import Session

#: Heat that cannot be cut is told again after this, s.
DANGER_EVERY_S = 60.0
#: Contactor and current get so long to follow before it is told what they show, s.
PROOF_AFTER_S = 3.0
T = TypeVar("T")


def begun(
    recorder: Recorder, order: PreparedRun, unproved: tuple[str, ...], place: dict | None, text: str, wall: str
) -> None:
    """Record that a run begins, or goes on at `place`. `wall`: time of day in words."""
    recorder.event(
        "start" if place is None else "resumed",
        time_s=0.0 if place is None else place["run_s"],
        text=text,
        wall=wall,
        model_words=order.model_words,
        unproved=list(unproved),
    )


def event(recorder: Recorder, session: Session, what: Event, tell: Callable[[str], None]) -> None:
    """Record an event of this tick, and tell it where it matters to the person."""
    if what.kind == "trip":
        for trip in session.trips:
            if str(trip) == what.text:
                recorder.event("trip", **plain(trip))
        tell(f"TRIP: {what.text}")
        return
    recorder.event(what.kind, time_s=what.time_s, text=what.text)
    if what.kind in ("warning", "step", "door"):
        tell(f"{what.kind}: {what.text}")


class DangerLines:
    """Tells that heat cannot be cut: when it is found and every minute after, on a quiet terminal too."""

    def __init__(self, tell: Callable[[str], None]):
        self._tell, self._told_s = tell, -math.inf

    def tick(self, danger: str, now_s: float) -> bool:
        """Tell what is due of `danger` (empty: there is none); whether it is the first time."""
        if not danger:
            self._told_s = -math.inf
        elif now_s - self._told_s >= DANGER_EVERY_S:
            first, self._told_s = self._told_s == -math.inf, now_s
            self._tell(f"DANGER: {danger}")
            return first
        return False


class ProofLine:
    """Tells once, after a trip, what the read-backs show: as soon as they had time to follow."""

    def __init__(self, tell: Callable[[str], None]):
        self._tell, self._since_s, self._told = tell, math.inf, False

    def tick(self, proof: str, now_s: float) -> None:
        """Tell `proof` (empty: nothing is told off by a trip) where it is due."""
        if not proof:
            self._since_s, self._told = math.inf, False
            return
        self._since_s = min(self._since_s, now_s)
        if not self._told and now_s - self._since_s >= PROOF_AFTER_S:
            self._told = True
            self._tell(f"after the trip: {proof}")


def drained(queue: SimpleQueue[T]) -> list[T]:
    """What waits in the queue; waits for nothing more."""
    found = []
    while True:
        try:
            found.append(queue.get_nowait())
        except Empty:
            return found
