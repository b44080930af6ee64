"""What a run reports, tick by tick: steps, trips, warnings, doors, requests."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

from ..safety.state import EachTime

#: The same warning (numbers ignored) is repeated after this at the earliest, s, unless it is of one tick (`EachTime`).
QUIET_S = 600.0
#: What a warning is about, for those who look for it.
BURSTS = "bursts"
NUMBERS = re.compile(r"[-±+]?\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Event:
    """What happened at `time_s`, s since the run's start. `kind` is a word: "step", "trip", "warning", "door",
    "request", "note"; a real run has more ("start", "resume", "danger", "end"). `about`: `BURSTS`, or empty; records do
    not keep it."""

    time_s: float
    kind: str
    text: str
    about: str = ""


def on_run_clock(trips, at_s: dict[str, float], otherwise_s: float = math.nan) -> tuple:
    """The trips with the time since the run's start, s, at which each was reported: the rules use another clock.
    `otherwise_s` for trips that were never reported."""
    return tuple(replace(t, time_s=at_s.get(t.fault, otherwise_s)) for t in trips)


def _swings(swing) -> str:
    return (
        f"the chamber swings by {swing.peak_to_peak_k:.1f} K every {swing.period_s:.0f} s: the oven answers later than "
        "the model says. The control slows down; learn the oven (kilnctl learn), or look at the sensor's lag and place "
        "and at the mass of the elements in its file"
    )


def _bursts(swing_k: float) -> str:
    return (
        f"the firing pattern's bursts swing the chamber by about {swing_k:.1f} K about its mean, which is what the "
        "control holds: their shortest run is too long for these elements (switching: minimum on, or pattern)"
    )


def last_of_bursts(events: Iterable[Event]) -> str | None:
    """What a run just made last told of bursts that swing the chamber; None where it told nothing."""
    return next((e.text for e in reversed(list(events)) if e.about == BURSTS), None)


class Teller:
    """Remembers what was reported already. `legs` are the programme's, for their names."""

    def __init__(self, legs):
        self._legs = legs
        self._step = self._door = None
        self._care, self._bursts_k = 1.0, 0.0
        self._warned: dict[str, float] = {}
        #: When each trip came, s since the run's start.
        self.tripped_s: dict[str, float] = {}

    def tell(self, time_s: float, reading, act, leg: int) -> list[Event]:
        """The events of this tick, the most important first."""
        d, told = act.decision, []
        for trip in act.verdict.new_trips:
            self.tripped_s.setdefault(trip.fault, time_s)
        told += [Event(time_s, "trip", str(trip)) for trip in act.verdict.new_trips]
        slower = [_swings(d.swing)] if d.care > self._care and d.swing is not None else []
        self._care = d.care
        if d.bursts_k > 2.0 * self._bursts_k:  # it grows with the heat: each time it is told
            self._bursts_k = d.bursts_k
            told.append(Event(time_s, "warning", _bursts(d.bursts_k), BURSTS))
        for warning in (*act.verdict.warnings, *slower):
            key = NUMBERS.sub("#", warning)
            if isinstance(warning, EachTime) or time_s - self._warned.get(key, -QUIET_S) >= QUIET_S:
                self._warned[key] = time_s
                told.append(Event(time_s, "warning", warning))
        if (d.step, d.phase) != self._step:
            self._step = (d.step, d.phase)
            name = self._legs[min(leg, len(self._legs) - 1)].name
            told.append(Event(time_s, "step", d.phase if d.phase == "finished" else f"{d.phase}: {name}"))
        door = bool(reading.door_open)
        if door != bool(self._door):
            told.append(Event(time_s, "door", "door opened" if door else "door closed"))
        self._door = door
        return told
