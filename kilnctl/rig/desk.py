"""Keeps a board's outputs on while a person looks and measures at the bench, with the heater disconnected.

A thread of its own renews the outputs, so that no lease lapses during a slow answer; after HOLD_S they go off by
themselves.
"""

import threading
import time
from collections.abc import Callable

from ..errors import KilnctlError
from ..firing import Burst
from ..firmware import logic
from ..reading import Reading
from ..safety.gate import desk_permit
from .board_rig import BoardRig
from .contract import RigLost
from .line import CLEAR, BoardLine, greet

#: Time between two renewals, s, and how long anything stays on at most, s.
RENEW_S, HOLD_S = 0.25, 120.0


class Desk:
    """The desk owns `rig` from now on. `lost`: why it is gone, or empty."""

    def __init__(self, rig: BoardRig):
        self.rig, self.lost = rig, ""
        self._lock, self._news, self._ended = threading.Lock(), threading.Event(), False
        self._duty, self._closed, self._until_s, self._expired = 0.0, False, 0.0, False
        self._quiet, self._step = False, 0
        self._reading = rig.read()
        self._looks: list[Reading] = []
        self._thread = threading.Thread(target=self._keep, name="desk", daemon=True)
        self._thread.start()

    def on(self, duty: float, closed: bool) -> None:
        """Relay on with that duty, contactor as given, for HOLD_S at most."""
        with self._lock:
            self._duty, self._closed, self._quiet = duty, closed, False
            self._until_s, self._expired, self._looks = time.monotonic() + HOLD_S, False, []
        self._news.set()

    def off(self) -> None:
        with self._lock:
            self._duty, self._closed, self._quiet = 0.0, False, False
        self._news.set()

    def hang(self) -> None:
        """Make no more control steps, as a hung program does; the line stays alive. Until `on` or `off`."""
        with self._lock:
            self._quiet = True

    @property
    def expired(self) -> bool:
        """Whether the outputs went off because their time was over."""
        return self._expired

    @property
    def reading(self) -> Reading:
        """The newest reading."""
        return self._reading

    @property
    def looks(self) -> tuple[Reading, ...]:
        """Every reading since `on`."""
        return tuple(self._looks)

    def close(self) -> None:
        """Off, then close the rig. May be called twice."""
        self.off()
        self._ended = True
        self._news.set()
        self._thread.join(2.0)
        self.rig.close()

    def _keep(self) -> None:
        while not self._ended:
            try:
                self._renew()
            except RigLost as error:
                self.lost = str(error)
                return
            self._news.wait(RENEW_S)
            self._news.clear()

    def _renew(self) -> None:
        now = time.monotonic()
        with self._lock:
            if (self._duty or self._closed) and now >= self._until_s:
                self._duty, self._closed, self._expired = 0.0, False, True
            duty, closed, quiet = self._duty, self._closed, self._quiet
        if not quiet:
            self._step += 1
            self.rig.contactor(closed)
            burst = Burst(50, (round(50 * duty),), (), duty)
            self.rig.heat(duty, burst, desk_permit(now, self._step) if duty else None)
        self._reading = self.rig.read()
        self._looks.append(self._reading)


def opened_again(make_line: Callable[[], BoardLine], make_rig: Callable[[BoardLine], BoardRig]) -> BoardRig:
    """The rig after its line was unplugged: the fault that the board latched is cleared first. Raises KilnctlError."""
    line = make_line()
    try:
        if greet(line).state == logic.FAULT:
            line.ask(CLEAR)
    except KilnctlError:
        line.close()
        raise
    return make_rig(line)
