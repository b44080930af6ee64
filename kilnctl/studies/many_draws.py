"""A study: many draws, computed by any executor and saved line by line, so that nothing is computed twice."""

import contextlib
import json
import os
import signal
import time
from collections.abc import Callable, Iterable
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, ProcessPoolExecutor, wait
from dataclasses import asdict
from pathlib import Path

from .. import __version__
from ..errors import KilnctlError
from ..model.trained_file import load_model
from ..run.prepare import prepare
from ..settings.construction import Load
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .draw import Case, Fitted, rehearse_draw
from .inputs import INPUTS, Vary, usual

#: A draw whose worker died is tried so often; then it is reported as failed.
ATTEMPTS = 3
#: Draws handed out ahead of what is finished, per worker.
AHEAD = 2
#: Draws handed out to a caller's executor, which does not say how many workers it has (and a cluster's come and go).
OUT = 256
LARGEST = 1_000_000


class Study:
    """The result: `case`, and `rows` in the order of the draws (see `rehearse_draw`)."""

    def __init__(self, case: Case, rows: list[dict]):
        self.case, self.rows = case, rows

    @property
    def good(self) -> list[dict]:
        return [r for r in self.rows if "failed" not in r]

    @property
    def failed(self) -> list[dict]:
        return [r for r in self.rows if "failed" in r]

    @property
    def tripped(self) -> list[dict]:
        return [r for r in self.good if r["trips"]]

    def values(self, measure: str) -> dict[int, float]:
        """{draw: value} of the draws that have one."""
        return {r["draw"]: r["measures"][measure] for r in self.good if r["measures"][measure] is not None}


def case_of(
    oven: Oven,
    schedule: Schedule,
    vary: Vary | None = None,
    seed: int = 0,
    model: str | Path | None = None,
    load: Load | None = None,
    fitted: bool = False,
    whole: bool = False,
) -> Case:
    """What all draws have in common. `model`: file of a trained model that controls; with `fitted` the ovens are
    drawn from its covariance, otherwise from the description. Raises KilnctlError for a schedule that this oven
    cannot do, before anything is drawn."""
    if oven.virtual is not None:
        raise KilnctlError(
            f"{oven.file}: this is one draw of a study ('virtual:'); study the description that it was drawn from"
        )
    run = prepare(oven, schedule, model, load=load)
    spread = None
    if fitted:
        if model is None:
            raise KilnctlError("to draw ovens from a fit, give the trained model too (--model FILE)")
        trained = load_model(model, oven)
        if not trained.covariance:
            raise KilnctlError(
                f"{model}: it was saved without its covariance; fit the records again with this version and save it"
            )
        spread = Fitted(trained.covariance_of, trained.covariance)
    return Case(oven, schedule, vary or usual(oven, run.load), seed, run.model, run.load, spread, whole)


def header_of(case: Case) -> dict:
    """What must be equal for draws to belong together."""
    return {
        "kilnctl study": 1,
        "version": __version__,
        "oven": case.oven.sha256 or case.oven.name,
        "schedule": case.schedule.sha256 or case.schedule.name,
        "seed": case.seed,
        "vary": {n: getattr(case.vary, n) for n in INPUTS},
        "trim": case.oven.control.trim,
        "whole": case.whole,
        "sag": case.sag,
        "model": asdict(case.model),
        "fitted": None if case.fitted is None else asdict(case.fitted),
    }


def study(
    oven: Oven,
    schedule: Schedule,
    draws: int = 200,
    vary: Vary | None = None,
    seed: int = 0,
    *,
    model: str | Path | None = None,
    load: Load | None = None,
    fitted: bool = False,
    whole: bool = False,
    executor: Executor | None = None,
    jobs: int | None = None,
    keep: str | Path | None = None,
    progress: Callable[[int, int, float], None] | None = None,
) -> Study:
    """Rehearse `schedule` on `draws` ovens drawn from what is not known about this one.

    `executor`: any `concurrent.futures.Executor`; None: processes on this machine, `jobs` of them (None: one a core; 1:
    here, without processes). `keep`: file of finished draws; draws that it already holds are not computed again.
    `progress(done, draws, seconds left)`. The same arguments give the same rows bit for bit, whichever executor runs
    them and however often it was interrupted. Raises KilnctlError for impossible arguments, a `keep` file of another
    study, and a caller's executor that broke."""
    return run_case(
        case_of(oven, schedule, vary, seed, model, load, fitted, whole),
        draws,
        executor=executor,
        jobs=jobs,
        keep=keep,
        progress=progress,
    )


def run_case(
    case: Case,
    draws: int,
    *,
    executor: Executor | None = None,
    jobs: int | None = None,
    keep: str | Path | None = None,
    progress: Callable[[int, int, float], None] | None = None,
) -> Study:
    """As `study`, of a case made before."""
    if not 1 <= draws <= LARGEST:
        raise KilnctlError(f"--draws: from 1 to {LARGEST}, not {draws}")
    rows = {}
    if keep is not None:
        rows = {k: r for k, r in _read_back(Path(keep), header_of(case)).items() if k < draws}
    todo = [k for k in range(draws) if k not in rows]
    started, before = time.monotonic(), len(rows)

    def done(row: dict, line) -> None:
        rows[row["draw"]] = row
        if line is not None:
            line.write(json.dumps(row) + "\n")
            line.flush()
        if progress is not None:
            spent, finished = time.monotonic() - started, len(rows) - before
            progress(len(rows), draws, spent / finished * (draws - len(rows)))

    with contextlib.ExitStack() as stack:
        line = None if keep is None else stack.enter_context(open(keep, "a", encoding="utf-8"))
        if executor is not None:
            lost, rest = _submit(executor, case, todo, lambda row: done(row, line), OUT)
            left = [*lost, *rest]
            if left:
                raise KilnctlError(
                    f"the executor broke with {len(left)} draws to go"
                    + (f"; the same command goes on where {keep} ends" if keep else "")
                )
        elif jobs == 1:
            for k in todo:
                done(rehearse_draw(case, k), line)
        else:
            _processes(case, todo, lambda row: done(row, line), jobs or os.cpu_count() or 2)
    return Study(case, [rows[k] for k in sorted(rows)])


def _processes(case: Case, todo: list[int], done, jobs: int) -> None:
    """Our own processes. When one is killed, a new pool computes what is missing. A draw that was being computed each
    time is then computed alone; if its worker dies again, the draw is given up and reported."""
    attempts: dict[int, int] = {}
    while todo:
        with _pool(min(jobs, len(todo))) as pool:
            lost, rest = _submit(pool, case, todo, done, AHEAD * jobs)
        for k in lost:
            attempts[k] = attempts.get(k, 0) + 1
        todo = []
        for k in lost:
            if attempts[k] < ATTEMPTS:
                todo.append(k)
                continue
            with _pool(1) as alone:
                if _submit(alone, case, [k], done, AHEAD)[0]:
                    done({"draw": k, "z": [], "failed": "the process that computed it died, every time"})
        todo = sorted([*todo, *rest])


def _pool(workers: int) -> ProcessPoolExecutor:
    # Ctrl-C is handled here: a worker that got it too would print a traceback.
    return ProcessPoolExecutor(workers, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN))


def _submit(executor: Executor, case: Case, todo: Iterable[int], done, most: int) -> tuple[list[int], list[int]]:
    """Hand draws out, at most so many, and take them in as they come. Returns those that were out when the executor
    broke, and those that were not handed out any more."""
    waiting = iter(todo)
    out: dict[Future, int] = {}
    lost: list[int] = []

    def give() -> None:
        k = next(waiting, None)
        if k is None:
            return
        try:
            out[executor.submit(rehearse_draw, case, k)] = k
        except BrokenExecutor:
            lost.append(k)

    try:
        for _ in range(most):
            if not lost:
                give()
        while out:
            for future in wait(out, return_when=FIRST_COMPLETED).done:
                k = out.pop(future)
                try:
                    row = future.result()
                except BrokenExecutor:
                    lost.append(k)
                    continue
                done(row)
                if not lost:
                    give()
    except KeyboardInterrupt:
        for future in out:
            future.cancel()
        raise
    return lost, list(waiting)


def _read_back(path: Path, header: dict) -> dict[int, dict]:
    """The finished draws of a file; writes the header of a new one. A torn last line is cut off."""
    text = json.dumps(header)
    if not path.exists() or path.stat().st_size == 0:
        try:
            path.write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
        return {}
    data = path.read_bytes()
    whole = data[: data.rfind(b"\n") + 1]
    lines = whole.decode("utf-8", "replace").splitlines()
    if not lines:
        raise KilnctlError(f"{path}: not a file of draws; give another folder (--out)")
    try:
        found = json.loads(lines[0])
    except ValueError:
        raise KilnctlError(f"{path}:1: not a file of draws; give another folder (--out)") from None
    if found != json.loads(text):
        differs = [k for k in header if not isinstance(found, dict) or found.get(k) != json.loads(text)[k]]
        raise KilnctlError(
            f"{path}: these are draws of another study ({', '.join(differs)} differ); give another folder (--out)"
        )
    rows = {}
    for number, line in enumerate(lines[1:], 2):
        try:
            row = json.loads(line)
            rows[row["draw"]] = row
        except (ValueError, KeyError, TypeError):
            raise KilnctlError(f"{path}:{number}: damaged; remove that line and run the same command again") from None
    if len(whole) < len(data):
        os.truncate(path, len(whole))
    # Draws that failed because of the machine are tried again.
    return {k: r for k, r in rows.items() if "failed" not in r}
