"""Enumerations that every room may import: what a run is doing, how it ended, what a person may ask of it, and how a
description stands against a rule.

Members are strings with the words that records, events and the socket hold, so that they compare, print and save as
these."""

from dataclasses import dataclass
from enum import StrEnum


class Phase(StrEnum):
    """What a run is doing now."""

    HEAT_UP = "heat up"
    RAMP = "ramp"
    SOAK = "soak"
    COOLING = "cooling"
    HELD = "held"
    FINISHED = "finished"
    PURGE = "purge"
    START_TEST = "start test"
    IDLE = "idle"
    # Stages of the learning run.
    REST = "rest"
    FULL = "full"
    COAST = "coast"
    LEVEL = "level"
    FALL = "fall"


class Outcome(StrEnum):
    """How a run ended. A person stops a real run and interrupts a rehearsal; LOST: the hardware was gone; UNFINISHED: a
    record without an end."""

    FINISHED = "finished"
    TRIPPED = "tripped"
    INTERRUPTED = "interrupted"
    STOPPED = "stopped"
    LOST = "lost"
    UNFINISHED = "unfinished"


class Taught(StrEnum):
    """What became of a run's lesson for the oven's model. CHANGED: learnt, and the oven is not what it was; ASIDE: a
    model was made, and is not used; REFUSED: the run says nothing about the oven; UNDONE and ADDED: by a person."""

    LEARNT = "learnt"
    CHANGED = "changed"
    ASIDE = "kept aside"
    REFUSED = "refused"
    UNDONE = "undone"
    ADDED = "added"


class Mark(StrEnum):
    """How something that is described stands against its rule. ASKED: it is not described, so nothing was judged."""

    FINE = "fine"
    TIGHT = "tight"
    WRONG = "wrong"
    ASKED = "not described"


@dataclass(frozen=True, slots=True)
class Finding:
    """What was found about one thing: `words` for people, `rule` with its source (empty: common sense)."""

    about: str
    mark: Mark
    words: str
    rule: str = ""

    def __str__(self) -> str:
        return f"{self.about}: {self.words}" + (f" ({self.rule})" if self.rule else "")


class RequestKind(StrEnum):
    """What a person may ask of a run, in the socket's words."""

    HOLD = "hold"
    PROCEED = "proceed"
    SKIP = "skip"
    SOAK = "soak"


@dataclass(frozen=True, slots=True)
class Request:
    """What was asked of a run. `seconds`: by how much SOAK makes the present or the next soak longer, s."""

    kind: RequestKind
    seconds: float = 0.0

    def __str__(self) -> str:
        """In words, for records and for the person at the terminal."""
        if self.kind is RequestKind.SOAK:
            return f"soak {self.seconds:.0f} s more"
        return "on to the next step" if self.kind is RequestKind.SKIP else str(self.kind)


HOLD, PROCEED, SKIP = Request(RequestKind.HOLD), Request(RequestKind.PROCEED), Request(RequestKind.SKIP)
