"""Progress on the terminal: a line that is rewritten in place; where standard error is no terminal, a new line now and
then."""

import sys
import time

from ..output import about, clock

#: The line on a terminal is renewed at most this often, s.
RENEWED_S = 0.2


class TerminalLine:
    """`every_s`: time between two lines without a terminal, s."""

    def __init__(self, quiet: bool, every_s: float):
        self._quiet, self._every_s, self._shown_s = quiet, every_s, 0.0

    def due(self) -> bool:
        """Whether a new text would be shown now."""
        every_s = RENEWED_S if sys.stderr.isatty() else self._every_s
        return not self._quiet and time.monotonic() - self._shown_s >= every_s

    def show(self, text: str) -> None:
        self._shown_s = time.monotonic()
        if sys.stderr.isatty():
            print(f"\r\x1b[K{text}", end="", file=sys.stderr, flush=True)
        else:
            print(text, file=sys.stderr, flush=True)

    def end(self) -> None:
        """Clear the line on the terminal."""
        if not self._quiet and sys.stderr.isatty() and self._shown_s:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)


class SimulationProgress(TerminalLine):
    """Progress of a simulated run. `what`: what is being done, such as "rehearsing"."""

    def __init__(self, what: str, quiet: bool):
        super().__init__(quiet, every_s=5.0)
        self._what, self._began_s = what, time.monotonic()

    def __call__(self, time_s: float, left_s: float, phase: str) -> None:
        if self.due():
            speed = time_s / max(1e-6, time.monotonic() - self._began_s)
            self.show(f"{self._what}: {clock(time_s)} of simulated time, {phase}, {speed:.0f} × real time")


class DrawsProgress(TerminalLine):
    """How many draws of a study are done, and the time left."""

    def __init__(self, quiet: bool):
        super().__init__(quiet, every_s=10.0)

    def __call__(self, done: int, draws: int, left_s: float) -> None:
        if self.due():
            self.show(f"{done} of {draws} draws, about {about(left_s)} left")
