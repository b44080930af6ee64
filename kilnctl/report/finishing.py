"""What is left to do once a run of the service is over: its journal becomes samples.csv, events.csv, curves, page and
summary, as a rehearsal leaves them.

Run as a process of its own (`python -m kilnctl.report.finishing FOLDER`): it takes seconds of arithmetic and much
memory, neither of which the process that heats has to spare. Cut off at any moment it can be done again.
"""

import contextlib
import os
import sys
from pathlib import Path

from ..errors import KilnctlError
from ..output import METRIC, Units
from ..record.folder import finish
from ..record.journal import segments
from ..record.retention import being_written, is_record
from ..record.run_record import read_run
from ..run.summary import summarise


def pending(folder: Path) -> bool:
    """Whether the run in `folder` was kept in a journal that is newer than its run.json, and nobody writes it any
    more."""
    try:
        if not is_record(folder) or not (there := segments(folder)):
            return False
        told = folder / "run.json"
        newer = not told.is_file() or max(p.stat().st_mtime_ns for p in there) > told.stat().st_mtime_ns
        return newer and not being_written(folder)
    except (OSError, KilnctlError):
        return False


def pending_in(place: Path) -> list[Path]:
    """The folders directly below `place` that are `pending`, by name; none where it cannot be read."""
    try:
        return sorted(p for p in place.iterdir() if pending(p))
    except OSError:
        return []


def finish_record(folder: Path) -> None:
    """Write from its journal what a run's folder lacks. Raises KilnctlError."""
    record = read_run(folder)
    finish(folder, record, summarise(record), Units(getattr(record.oven, "units", METRIC)).scale)


def main(arguments: list[str]) -> int:
    """One folder. Status 2 and a sentence where it cannot be done."""
    # Never at the cost of the process that heats: last for the processor, first to go when memory runs out.
    with contextlib.suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_BATCH, os.sched_param(0))
        os.nice(19)
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("1000")
    try:
        finish_record(Path(arguments[0]))
    except KilnctlError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
