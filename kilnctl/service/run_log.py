"""What is reported of a run: events in its record, lines for the person at the terminal."""

import math
from collections.abc import Callable
from queue import Empty, SimpleQueue
from typing import TypeVar

from ..clock import passed_s
from ..record.events import NUMBERS, QUIET_S, Event
from ..record.folder import plain
from ..record.recorder import Recorder
from ..run.prepare import PreparedRun
from ..safety import Trip
from ..safety.messages import LOUD, WORDS
from .live_curve import LiveCurve
from .session import Session

#: Heat that cannot be cut is reported again after this, s.
DANGER_EVERY_S = 60.0
#: Time for contactor and current to follow before what they show is reported, s.
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
    """Record an event of this tick, and print it if it matters to the person."""
    if what.kind == "trip":
        for trip in session.trips:
            if str(trip) == what.text:
                recorder.event("trip", **plain(trip))
        tell(f"TRIP: {what.text}")
        return
    recorder.event(what.kind, time_s=what.time_s, text=what.text)
    if what.kind in ("warning", "step", "door", "note"):
        tell(f"{what.kind}: {what.text}")


def asked(recorder: Recorder, curve: LiveCurve, time_s: float, words: str) -> None:
    """Record what a person asked of the run, and mark it on the live curve."""
    recorder.event("request", time_s=time_s, text=words)
    curve.note(time_s, "request", words)


def lost(why: str, unattended: bool, now_s: float) -> Trip:
    """The trip of a rig that was lost. Hardware without a lease of its own may have stopped with its outputs on."""
    act, _, check = WORDS["board-lost"]
    return Trip("board-lost", now_s, act if unattended else LOUD, why, check)


class DangerLines:
    """Reports that heat cannot be cut: at once and every minute after, even with --quiet."""

    def __init__(self, tell: Callable[[str], None]):
        self._tell, self._told_s = tell, -math.inf

    def tick(self, danger: str, now_s: float) -> bool:
        """Report `danger` when due (empty: there is none); returns whether it is the first time."""
        if not danger:
            self._told_s = -math.inf
        elif now_s - self._told_s >= DANGER_EVERY_S:
            first, self._told_s = self._told_s == -math.inf, now_s
            self._tell(f"DANGER: {danger}")
            return first
        return False


class ProofLine:
    """Reports once, after a trip, what the read-backs show: as soon as they had time to follow."""

    def __init__(self, tell: Callable[[str], None]):
        self._tell, self._since_s, self._told = tell, math.inf, False

    def tick(self, proof: str, now_s: float) -> None:
        """Report `proof` when it is due (empty: no trip has switched anything off)."""
        if not proof:
            self._since_s, self._told = math.inf, False
            return
        self._since_s = min(self._since_s, now_s)
        if not self._told and now_s - self._since_s >= PROOF_AFTER_S:
            self._told = True
            self._tell(f"after the trip: {proof}")


class Troubles:
    """Reports what is wrong with the service itself: at once, and every ten minutes while it lasts. The minutes are a
    person's: simulated ones pass many times in a second."""

    def __init__(self, tell: Callable[[str], None], clock: Callable[[], float] = passed_s):
        self._tell, self._clock = tell, clock
        self._told: dict[str, float] = {}

    def tick(self, troubles: tuple[str, ...]) -> list[str]:
        """Report those that are due, and return them."""
        if not troubles:
            self._told.clear()
            return []
        due, now_s = [], self._clock()
        for words in troubles:
            key = NUMBERS.sub("#", words)
            if now_s - self._told.get(key, -math.inf) >= QUIET_S:
                self._told[key] = now_s
                self._tell(f"TROUBLE: {words}")
                due.append(words)
        return due


def drained(queue: SimpleQueue[T]) -> list[T]:
    """Everything in the queue now, without waiting for more."""
    found = []
    while True:
        try:
            found.append(queue.get_nowait())
        except Empty:
            return found
