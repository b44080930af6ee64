"""The fault table: what can break, how it shows, which rule answers, how soon, and what only hardware can do.

One row a fault, in `fault_table.toml`. SAFETY.md's table is made from it (`tools/safety_table`) and the tests read it:
a row with rules needs a scene that trips the first of them in time and a scene that does not; a row without rules must
say what hardware or which other part of the program carries it.
"""

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One row.

    id                what it is called: F01, F02, …
    cause, seen       what breaks, and how it shows
    rules             ids of the trips that answer, the quickest first; empty: no rule answers
    threshold         when they trip, in words
    detect_within_s   from when the fault can be seen (a relay that conducts at full power cannot) to the trip, s; None:
                      not by these rules
    reaction          what then happens
    latched           heat stays off until acknowledged; `latch`: in words, where yes or no is not enough
    needs             what must be wired for these rules and this time to be true, and what remains without it; empty:
                      the control sensor alone
    elsewhere         the part of the program that answers instead
    hardware          what only hardware can do
    rationale         why it is answered like this
    inject            kinds of injected faults of the virtual oven that cause it, for the fault campaign
    start             the start test finds it too
    """

    id: str
    cause: str
    seen: str
    rules: tuple[str, ...] = ()
    threshold: str = ""
    detect_within_s: float | None = None
    reaction: str = ""
    latched: bool = True
    latch: str = ""
    needs: str = ""
    elsewhere: str = ""
    hardware: str
    rationale: str
    inject: tuple[str, ...] = ()
    start: bool = False


def _read() -> tuple[Fault, ...]:
    rows = tomllib.loads(Path(__file__).with_name("fault_table.toml").read_text(encoding="utf-8"))["fault"]
    return tuple(_row(**row) for row in rows)


def _row(rules: Sequence[str] = (), inject: Sequence[str] = (), **row: Any) -> Fault:
    return Fault(rules=tuple(rules), inject=tuple(inject), **row)


#: Every row, in the order of the ids.
FAULTS: tuple[Fault, ...] = _read()


def by_id(fault: str) -> Fault:
    """Raises KeyError for an id that is not in the table."""
    return {f.id: f for f in FAULTS}[fault]
