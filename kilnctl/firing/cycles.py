"""Whole mains cycles for a zero-crossing relay; every remainder is carried, so that delivered energy is exact over
time.

Only whole cycles: half cycles of one polarity are direct current in the supply, which saturates transformers and blinds
residual-current devices. The rule is error diffusion with a dead band: each cycle the asked duty is added to what is
owed and a fired cycle is taken off; the relay turns on when half of the shortest run is owed and off when half of it
has been paid ahead. Runs are then never shorter than the shortest run, and what is owed never exceeds half of it. With
a shortest run of one cycle the energy is right to half a cycle at every moment; with longer runs it is right to one
cycle over every whole on-and-off period.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from ..settings.oven import Oven

#: Shortest run on or off, in seconds, by the name of the pattern, where the elements bear it (`kilnctl.body.bursts`).
#: "fine" fires single cycles: the smoothest heat, for a stiff supply; "quiet lights" changes so rarely that lamps on
#: the same line do not flicker visibly.
SHORTEST_RUN_S = {"fine": 0.0, "balanced": 1.0, "quiet lights": 30.0}


@dataclass(frozen=True)
class Pattern:
    """How to fire. `shortest_run` in whole cycles (at least 1), `groups` relays fired one after another."""

    frequency_hz: float
    shortest_run: int = 1
    groups: int = 1

    def __post_init__(self):
        if not 40.0 <= self.frequency_hz <= 70.0 or self.shortest_run < 1 or not 1 <= self.groups <= 12:
            raise ValueError("frequency_hz from 40 to 70, shortest_run and groups at least 1")


def pattern_for(oven: "Oven", bears_s: float = math.inf) -> Pattern:
    """The pattern that an oven's description asks for. A pattern given by name has runs of at most `bears_s`, s."""
    shortest_s = oven.switching.minimum_on_s
    if shortest_s is None:
        shortest_s = min(SHORTEST_RUN_S[oven.switching.pattern], bears_s)
    frequency = oven.supply.frequency_hz
    return Pattern(frequency, max(1, round(shortest_s * frequency)), oven.switching.relays)


class FiringState(NamedTuple):
    """`part_cycle` of the last tick's time not yet used, 0..1; for each group the cycles owed and whether it is on."""

    part_cycle: float
    owed: tuple[float, ...]
    on: tuple[bool, ...]


class Burst(NamedTuple):
    """What one tick fires. `cycles` of mains in it, of which each group is on for `on_cycles`; `runs` of the first
    group as (on, cycles), where they are wanted; `fired` is the share of full power over the tick, 0..1."""

    cycles: int
    on_cycles: tuple[int, ...]
    runs: tuple[tuple[bool, int], ...]
    fired: float


def ready(pattern: Pattern) -> FiringState:
    """Everything off; groups start apart, so that they take turns."""
    n = pattern.groups
    return FiringState(0.0, tuple(-pattern.shortest_run * g / n for g in range(n)), (False,) * n)


def cut(pattern: Pattern, state: FiringState) -> FiringState:
    """Off now, with nothing owed: refused heat is not made up for later."""
    return FiringState(state.part_cycle, ready(pattern).owed, (False,) * pattern.groups)


def _runs(
    owed: float, on: bool, duty: float, cycles: int, band: float
) -> tuple[float, bool, list[tuple[bool, int]], int]:
    """Runs of the next cycles, and how many cycles of them are on. A cycle that is off is fired when owed + duty ≥
    ½ + band, one that is on stays on while owed + duty ≥ ½ − band: |owed| stays within band + ½, and with band =
    (shortest − 1)/2 no run is shorter than that."""
    # Comparisons instead of min and max: single cycles take fifty of these a tick.
    runs, left, lit, ceil = [], cycles, 0, math.ceil
    turn_on, off_share, paid = 0.5 + band, 1.0 - duty, duty - 1.0
    while left:
        if on:
            short = owed + duty - 0.5 + band
            run = 0 if short < -1e-9 else left if duty >= 1.0 else int(short / off_share + 1e-9) + 1
            # With rounding, `short` may be a little below 0 at a duty next to 1; the run would then be negative and the
            # loop would never end.
            if run < 1 and short >= -1e-9:
                run = 1
        else:
            run = ceil((turn_on - (owed + duty)) / duty - 1e-9)
        if run > left:
            run = left
        if run > 0:
            if on:
                owed += run * paid
                lit += run
            else:
                owed += run * duty
            runs.append((on, run))
            left -= run
        if left:
            on = not on
    return owed, on, runs, lit


def _counted(owed: float, duty: float, cycles: int) -> tuple[float, bool, int]:
    """As `_runs` of single cycles of one group, without the runs: half a cycle is owed at most, so the cycles that are
    on are what is owed, rounded; the last was one of them if it has left less than a cycle that is off can."""
    owed += cycles * duty
    lit = min(cycles, max(0, math.floor(owed + 0.5 + 1e-9)))
    owed -= lit
    return owed, owed < duty - 0.5 - 1e-9 or duty == 1.0, lit


def fire(
    pattern: Pattern, state: FiringState, duty: float, dt_s: float, runs_wanted: bool = True
) -> tuple[FiringState, Burst]:
    """The cycles of the coming dt_s at that duty (0..1), with their runs if these are wanted. Raises ValueError for
    anything but finite numbers in range.

    Duty 0 is off at once, also when cycles are owed; duty 1 is on at once.
    """
    if not (0.0 <= duty <= 1.0 and 0.0 < dt_s <= 3600.0):
        raise ValueError(f"duty = {duty!r} must lie in 0..1 and dt_s = {dt_s!r} above 0")
    time = state.part_cycle + dt_s * pattern.frequency_hz
    cycles = int(time + 1e-9)
    part = max(0.0, time - cycles)
    if duty == 0.0:
        off = cut(pattern, state)
        runs = ((False, cycles),) if cycles else ()
        return FiringState(part, off.owed, off.on), Burst(cycles, (0,) * pattern.groups, runs, 0.0)
    band = 0.5 * (pattern.shortest_run - 1)
    owed, on, counts, first = [], [], [], ()
    for g in range(pattern.groups):
        debt, is_on, runs = state.owed[g], state.on[g] or duty == 1.0, []
        if band == 0.0 and pattern.groups == 1 and cycles and not runs_wanted:
            debt, is_on, lit = _counted(debt, duty, cycles)
        else:
            debt, is_on, runs, lit = _runs(debt, is_on, duty, cycles, band)
        owed.append(debt)
        on.append(is_on)
        counts.append(lit)
        if g == 0:
            first = tuple(runs)
    fired = sum(counts) / (cycles * pattern.groups) if cycles else sum(state.on) / pattern.groups
    return FiringState(part, tuple(owed), tuple(on)), Burst(cycles, tuple(counts), first, fired)
