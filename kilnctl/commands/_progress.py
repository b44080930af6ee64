"""How far a simulation is, for the person at the terminal."""

import sys
import time

from ..output import clock


class Progress:
    """A line on a terminal that renews itself; a line every ten simulated hours or so elsewhere."""

    def __init__(self, what: str, quiet: bool):
        self.what, self.quiet, self.started, self.shown = what, quiet, time.monotonic(), 0.0

    def __call__(self, time_s: float, left_s: float, phase: str) -> None:
        now = time.monotonic()
        if self.quiet or now - self.shown < (0.2 if sys.stderr.isatty() else 5.0):
            return
        self.shown = now
        times = f"{time_s / max(1e-6, now - self.started):.0f} × real time"
        text = f"{self.what}: {clock(time_s)} of simulated time, {phase}, {times}"
        print(
            f"\r\x1b[K{text}" if sys.stderr.isatty() else text,
            end="" if sys.stderr.isatty() else "\n",
            file=sys.stderr,
            flush=True,
        )

    def end(self) -> None:
        if not self.quiet and sys.stderr.isatty() and self.shown:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
