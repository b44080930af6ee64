"""Checks a run and makes it ready in a process of its own: the process that heats has no memory for this arithmetic,
nor for the modules that only this needs, and no time. What the check has computed serves the preparation too."""

import contextlib
import os
import pickle
import runpy
import subprocess
import sys

from ..errors import KilnctlError
from ..output import typed
from ..run.prepare import PreparedRun, prepare
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import ExitStatus

#: Longest that it may take on a small computer, s.
READY_S = 170.0


def module_apart(arguments: list[str], timeout_s: float, given: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """What a module of ours does in a process of its own, which finds the same modules as this one. Raises OSError, and
    TimeoutExpired after timeout_s."""
    return subprocess.run(
        [sys.executable, "-m", *arguments],
        input=given,
        capture_output=True,
        timeout=timeout_s,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
        check=False,
    )


def readied(oven: Oven, schedule: Schedule, model_file: str | None, start_c: float | None) -> PreparedRun:
    """As `kilnctl.run.prepare`, after `kilnctl check` of an oven that has a file. Raises KilnctlError."""
    try:
        done = module_apart([__name__], READY_S, pickle.dumps((oven, schedule, model_file, start_c)))
    except (OSError, subprocess.TimeoutExpired) as error:
        raise KilnctlError(f"{oven.name}: the run could not be prepared: {error}") from None
    if done.returncode:
        said = done.stderr.decode(errors="replace").strip()
        raise KilnctlError(said or f"{oven.name}: the run could not be prepared (status {done.returncode})")
    # It is what this very program has just written.
    return pickle.loads(done.stdout)


def files_of(oven: Oven, schedule: Schedule | None, model_file: str | None) -> list[str]:
    """The arguments of `kilnctl check` for these; empty for an oven without a file, which was never written."""
    if not oven.file:
        return []
    files = [x.file for x in (oven, schedule) if x is not None and x.file]
    return [*files, *(["--model", model_file] if model_file and len(files) == 2 else [])]


def refusal(oven: Oven, status: int, said: str) -> str:
    """Why an oven must not heat after a check that ended with `status` and `said` something; empty where it may. With
    wrong wiring a virtual oven may run: nothing is heated."""
    if status == ExitStatus.DONE or (status == ExitStatus.ANSWER_NO and oven.rig.kind == "virtual"):
        return ""
    if status == ExitStatus.ANSWER_NO:
        return (
            f"{oven.file}: `kilnctl check {typed(oven.file)}` calls its wiring WRONG: put it right, or its description"
        )
    return said.strip() or f"{oven.file}: the check failed without a word (status {status})"


def _checked(files: list[str]) -> int:
    """The status of `kilnctl check`; what it says is lost, but for its refusals."""
    sys.argv = ["kilnctl", "check", *files]
    with open(os.devnull, "w", encoding="utf-8") as nowhere, contextlib.redirect_stdout(nowhere):
        try:
            runpy.run_module("kilnctl", run_name="__main__")
        except SystemExit as end:
            return int(end.code or 0)
    return 0


def main() -> int:
    """The other process: `prepare`'s arguments come in, and what it returns goes out, both pickled."""
    oven, schedule, model_file, start_c = pickle.load(sys.stdin.buffer)
    files = files_of(oven, schedule, model_file)
    status = _checked(files) if files else 0
    if why := refusal(oven, status, " "):
        if status == ExitStatus.ANSWER_NO:
            print(why, file=sys.stderr)
        return status
    try:
        ready = prepare(oven, schedule, model_file, start_c)
    except KilnctlError as error:
        print(error, file=sys.stderr)
        return ExitStatus.NOT_POSSIBLE
    sys.stdout.buffer.write(pickle.dumps(ready))
    return 0


if __name__ == "__main__":
    sys.exit(main())
