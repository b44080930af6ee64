"""Makes a run ready in a process of its own: the process that heats has no memory for the arithmetic of a preparation,
nor for the modules that only this needs, and no time."""

import os
import pickle
import subprocess
import sys

from ..errors import KilnctlError
from ..run.prepare import PreparedRun, prepare
from ..settings.oven import Oven
from ..settings.schedule import Schedule

#: Longest that it may take on a small computer, s: with the check it fits into what a start is given (`starts`).
READY_S = 60.0


def readied(oven: Oven, schedule: Schedule, model_file: str | None, start_c: float | None) -> PreparedRun:
    """As `kilnctl.run.prepare`. Raises KilnctlError."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", __name__],
            input=pickle.dumps((oven, schedule, model_file, start_c)),
            capture_output=True,
            timeout=READY_S,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)},
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise KilnctlError(f"{oven.name}: the run could not be prepared: {error}") from None
    if done.returncode:
        said = done.stderr.decode(errors="replace").strip()
        raise KilnctlError(said or f"{oven.name}: the run could not be prepared (status {done.returncode})")
    # It is what this very program has just written.
    return pickle.loads(done.stdout)


def main() -> int:
    """The other process: `prepare`'s arguments come in, and what it returns goes out, both pickled."""
    try:
        ready = prepare(*pickle.load(sys.stdin.buffer))
    except KilnctlError as error:
        print(error, file=sys.stderr)
        return 1
    sys.stdout.buffer.write(pickle.dumps(ready))
    return 0


if __name__ == "__main__":
    sys.exit(main())
