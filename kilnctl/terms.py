"""Enumerations that every room may import: what a run is doing, how it ended, what a person may ask of it, and how a
description stands against a rule.

Members are strings with the words that records, events and the socket hold, so that they compare, print and save as
these."""

from dataclasses import dataclass
from enum import IntEnum, StrEnum


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


class ExitStatus(IntEnum):
    """What a command's exit status says; `words` is the one table of it, for `--help` and README.md."""

    DONE = 0
    ANSWER_NO = 1
    NOT_POSSIBLE = 2
    HEAT_CUT = 3
    ENDED = 130

    @property
    def words(self) -> str:
        return _STATUS_WORDS[self]

    @classmethod
    def of_run(cls, outcome: str, as_asked: bool = True) -> "ExitStatus":
        """How a run ended, as a status; `as_asked`: of a run to its end, whether it did what was asked."""
        if outcome == Outcome.FINISHED:
            return cls.DONE if as_asked else cls.ANSWER_NO
        return cls.ENDED if outcome in (Outcome.STOPPED, Outcome.INTERRUPTED) else cls.HEAT_CUT


_STATUS_WORDS = {
    ExitStatus.DONE: "done, and as asked",
    ExitStatus.ANSWER_NO: "done, but not as asked or not in order: a part not cured, a soak outside its band, "
    "wrong wiring, a test due",
    ExitStatus.NOT_POSSIBLE: "not possible as asked, nothing was begun: a wrong file or option, a step the oven cannot "
    "follow, no service",
    ExitStatus.HEAT_CUT: "a trip or a danger, or the hardware was gone: look at the oven",
    ExitStatus.ENDED: "a person ended it: stop, Ctrl-C, or a signal",
}


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
