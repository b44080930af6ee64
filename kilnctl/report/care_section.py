"""The repeated tests of SAFETY.md on a page of evidence: which stood done on the day of a run, by whom, with what
result."""

import datetime
from collections.abc import Sequence

from ..record.care import CareDone, CareDue, due
from ..record.run_data import RunData
from .html import table


def care_section(run: RunData, done: Sequence[CareDone] | None) -> str:
    """The tests as they stood on the day of `run`; empty for a rehearsal, and where no log is known (None)."""
    day = day_of(run)
    if done is None or day is None:
        return ""
    before = tuple(d for d in done if datetime.date.fromisoformat(d.day) <= day)
    rows = [
        (
            d.test.name,
            state_of(d),
            d.last.day if d.last else "never noted",
            d.last.by if d.last else "",
            d.last.result if d.last else "",
        )
        for d in due(before, day)
    ]
    return table(("test", "on that day", "last done", "by", "result"), rows, words=(4,))


def day_of(run: RunData) -> datetime.date | None:
    """The day on which a real run began; None for a rehearsal."""
    if not run.started or run.rig in ("", "virtual"):
        return None
    try:
        return datetime.date.fromisoformat(run.started[:10])
    except ValueError:
        return None


def state_of(d: CareDue) -> str:
    """In one or two words."""
    if d.failed:
        return "NOT PASSED"
    return "due" if d.now else f"passed, due in {d.days} days"
