"""When the next tick is due: by the clock with a real oven, at any speed with a virtual one."""

import math
import threading

from ..clock import passed_s

#: Bins of lateness, s: about 12 % wide each, from 10 µs to 100 s.
_FIRST_S, _RATIO = 1e-5, 1.122
#: The pace is judged over this window, s; it is kept while at least this share of the ticks is done in time.
WATCH_S, KEPT = 30.0, 0.98
#: A tick of a simulated clock that goes as fast as it can, s.
SHORTEST_S = 1e-9


class TickDelays:
    """How late ticks began: counted in bins, so that years of them take no room."""

    def __init__(self):
        self.count, self.overruns, self.worst_s = 0, 0, 0.0
        self._bins = [0] * 142
        #: A sentence that says that ticks are skipped; empty while the pace is kept.
        self.behind = ""
        self._since_s, self._done, self._missed = 0.0, 0, 0

    def add(self, late_s: float, tick_s: float) -> None:
        self.count += 1
        self.overruns += late_s > tick_s
        self.worst_s = max(self.worst_s, late_s)
        place = (
            0
            if late_s <= _FIRST_S
            else min(len(self._bins) - 1, 1 + int(math.log(late_s / _FIRST_S) / math.log(_RATIO)))
        )
        self._bins[place] += 1

    def watch(self, missed: int, now_s: float, speed: float) -> None:
        """Call once a tick; `missed` ticks were skipped before it. Sets `behind` when that is more than a few."""
        self._done, self._missed = self._done + 1, self._missed + missed
        if now_s - self._since_s < WATCH_S:
            return
        kept = self._done / (self._done + self._missed)
        first, self._since_s, self._done, self._missed = self._since_s == 0.0, now_s, 0, 0
        if not first:
            self.behind = (
                ""
                if kept >= KEPT
                else f"the speed of {speed:g} cannot be kept by this computer: it is about {speed * kept:.0f}"
                if speed > 1.0
                else f"this computer does not keep up: {1.0 - kept:.0%} of the last ticks were left out"
            )

    def quantile_s(self, share: float) -> float:
        """Upper edge of the bin that holds that share of all ticks; 0 before the first."""
        wanted, seen = share * self.count, 0
        for place, number in enumerate(self._bins):
            seen += number
            if number and seen >= wanted:
                return min(self.worst_s, _FIRST_S * _RATIO**place)
        return 0.0


class RealPace:
    """Absolute deadlines on the clock of time passed: a late tick does not move later ones; a missed tick is skipped
    and counted."""

    simulated, speed = False, 1.0

    def __init__(self, tick_s: float, clock=passed_s, speed: float = 1.0):
        """`speed`: of the time that is simulated with these ticks."""
        self.tick_s, self._clock, self.late, self._speed = tick_s, clock, TickDelays(), speed
        self._due = clock()

    def now_s(self) -> float:
        return self._clock()

    def wait(self, wake: threading.Event) -> bool:
        """Wait for the next tick. True when it is due, False when `wake` was set before."""
        if wake.wait(max(0.0, self._due - self._clock())):
            return False
        late = self._clock() - self._due
        self.late.add(max(0.0, late), self.tick_s)
        missed = max(0, math.floor(late / self.tick_s))
        self._due += self.tick_s * (1.0 + missed)
        if self.tick_s > SHORTEST_S:
            self.late.watch(missed, self._due, self._speed)
        return True


class SimulatedPace:
    """Simulated time goes on by one tick each tick, `speed` times as fast as real time (inf: as fast as possible)."""

    simulated = True

    def __init__(self, tick_s: float, speed: float):
        self.tick_s, self.speed, self.time_s = tick_s, speed, 0.0
        self._real = RealPace(tick_s / speed if math.isfinite(speed) else SHORTEST_S, speed=speed)
        self.late = self._real.late

    def now_s(self) -> float:
        return self.time_s

    def wait(self, wake: threading.Event) -> bool:
        if math.isinf(self.speed):
            if wake.is_set():
                return False
        elif not self._real.wait(wake):
            return False
        self.time_s += self.tick_s
        return True
