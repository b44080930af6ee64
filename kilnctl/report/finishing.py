"""What is left to do once a run is over: its folder gets samples.csv, events.csv, curves, page and summary.

The service leaves a journal; this module makes of it what a rehearsal leaves.

For the service it runs as a process of its own (`python -m kilnctl.report.finishing FOLDER [MODELS]`): it takes seconds
of arithmetic and much memory, which the process that heats cannot spare. If it is cut off it can be run again. With the
folder of the oven's models the run teaches them first, so that its page can tell what became of that; the process then
prints this as a JSON object.
"""

import contextlib
import datetime
import json
import os
import sys
import time
from dataclasses import asdict, replace
from pathlib import Path

from ..errors import KilnctlError
from ..output import METRIC_UNITS, Units
from ..record.folder import conclude, write_data
from ..record.kept_aside import note_kept_aside
from ..record.model_store import ModelStore
from ..record.run_data import RunData
from ..record.run_record import RunRecord, lesson_words, read_run
from ..run.summary import Summary, summarise
from ..terms import Taught
from .run_curves import curves
from .run_report import run_page


def finish(folder: Path, run: RunData, summary: Summary, units: Units = METRIC_UNITS) -> None:
    """Write everything that is not there yet of a run that is over: data, curves and page, and the final run.json last.
    Raises KilnctlError naming the file."""
    write_data(folder, run)
    if len(run.time_s):
        path = folder / "curves.svg"
        try:
            path.write_text(curves(run, summary, units), encoding="utf-8")
            path = folder / "run.html"
            path.write_text(run_page(run, summary, units), encoding="utf-8")
        except OSError as error:
            raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
    conclude(folder, run, summary)


def finish_record(folder: Path) -> None:
    """Write from its journal what a run's folder lacks. Raises KilnctlError."""
    _finish_record(read_run(folder))


def _finish_record(record: RunRecord) -> None:
    finish(record.folder, record, summarise(record), Units(record.oven.units))


def main(arguments: list[str]) -> int:
    """A folder, and perhaps one of models. Status 2 and a sentence where the page cannot be made."""
    # The process that heats comes first: this one gets the processor last, and is the first to be killed when memory
    # runs out.
    with contextlib.suppress(OSError):
        os.sched_setscheduler(0, os.SCHED_BATCH, os.sched_param(0))
        os.nice(19)
    with contextlib.suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("1000")
    try:
        record = read_run(arguments[0])
        if len(arguments) > 1:
            told = json.dumps(_lesson(record, arguments[1]), ensure_ascii=False)
            with contextlib.suppress(OSError):  # who asked may have gone: the page is made all the same
                print(told, flush=True)
            record = replace(record, lesson=lesson_words(record.folder))
        _finish_record(record)
    except KilnctlError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


def _lesson(record: RunRecord, models: str) -> dict:
    """What the run teaches, as JSON values; empty where it is to teach nothing. A lesson that fails costs no page."""
    # Old records of another oven, of another rig, or of a run that was to teach nothing, may lie there too.
    if record.teaches != models:
        return {}
    from .lessons import learn_from  # noqa: PLC0415 - loads all of identification, which most pages do not need

    try:
        told = learn_from(record, ModelStore(Path(models)), datetime.date.today().isoformat())
        if told is not None and told.taught == Taught.ASIDE:
            note_kept_aside(Path(models).parent, str(record.folder), told.why, time.time())
        return asdict(told) if told is not None else {}
    except (KilnctlError, ArithmeticError, ValueError) as error:
        return {"taught": Taught.REFUSED, "words": f"nothing was learnt from this run: {error}"}


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
