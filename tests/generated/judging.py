"""One described oven through everything: reader, `check`, `size`, the ledger, agreement of the three solvers, a soak.
Shared by tests and tools/zoo.

What is asked (limits below) is asked of every oven; an oven that cannot be built as described is *refused* with
words, and counted as that.
"""

import argparse
import contextlib
import io
import math
import time
import traceback
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from kilnctl import KilnctlError, load_oven, size
from kilnctl.body.bursts import bursts_note
from kilnctl.commands import check as check_command
from kilnctl.commands import size as size_command
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER
from kilnctl.model.uncertainty import true_holding_w, uncertainty_of
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.record.columns import INDEX
from kilnctl.run.chain import Chain
from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import follow
from kilnctl.settings.schedule import schedule_of

#: What is asked: shares of the figure compared (of the day-zero model: or within what it states of itself), K.
LEDGER, STEADY, DAY_ZERO, HEAT_UP = 0.005, 0.01, 0.05, 0.10
OVER_K, OVER_SHARE, SWING_K = 2.0, 0.005, 1.5
#: The figures are compared at these shares of the way from the room to the top.
SHARES = (0.40, 0.70, 0.95)
#: The soak is at this share of it; it is judged from `SETTLING_S` after its arrival.
SOAK_SHARE, HOLD_S, SETTLING_S = 0.90, 2700.0, 900.0
#: Bursts of mains cycles swing what an ideal sensor without mass would show; means over so long hold several of any
#: pattern's, and show the control alone.
BURSTS_S = 60.0
#: A run is given up as too long to judge after so many looks at the oven; the longest tick that a file may have, s.
MOST_TICKS, MOST_TICK_S = 40_000, 2.0
#: Powers smaller than this share of full power are compared as if they were as large: a fan alone holds some chambers.
LEAST_SHARE = 0.01


@dataclass
class Row:
    """What came of one oven. `refused`: stage and words. `crashes`: {stage: exception and its place}. Agreements are
    the worst relative differences, …_stated what the model states of itself;
    over_k and swing_k are the true chamber's from tick to tick, slow_… those of its means
    over `BURSTS_S`, stray_k is the settled soak's mean error, all in K; heat_up_s and `seconds` (processor time) in
    s. `trips`: (rule, time s, words). `long_runs`: the file's 'minimum on' is longer than its elements bear, and
    `check` says so. `ticked_s`: the soak's tick where it is not the file's, s. `unheld`: without any heat the chamber
    stays above the soak, `check` says so, and the control gave no heat above it.
    None: not judged."""

    number: int
    refused: dict[str, str] = field(default_factory=dict)
    crashes: dict[str, str] = field(default_factory=dict)
    top_c: float | None = None
    soak_c: float | None = None
    ledger: float | None = None
    steady: float | None = None
    day_zero: float | None = None
    heat_up: float | None = None
    heat_up_s: float | None = None
    day_zero_stated: float | None = None
    heat_up_stated: float | None = None
    trips: tuple[tuple[str, float, str], ...] = ()
    over_k: float | None = None
    swing_k: float | None = None
    slow_over_k: float | None = None
    slow_swing_k: float | None = None
    stray_k: float | None = None
    long_runs: bool = False
    ticked_s: float | None = None
    unheld: bool = False
    outcome: str = ""
    seconds: float = 0.0

    @property
    def failures(self) -> dict[str, str]:
        """{requirement that is not met: figures}; empty for an oven that meets all."""
        found = {f"crash: {stage}": words for stage, words in self.crashes.items()}
        for name, limit in (("ledger", LEDGER), ("steady", STEADY), ("day_zero", DAY_ZERO), ("heat_up", HEAT_UP)):
            value, stated = getattr(self, name), getattr(self, name + "_stated", None)
            if value is not None and not abs(value) <= max(limit, stated or 0.0):
                words = "" if stated is None else f", stated ±{100.0 * stated:.1f} %"
                found[name.replace("_", " ")] = f"{100.0 * value:+.1f} %{words}"
        for fault, when, words in self.trips:
            found[f"trip: {fault}"] = f"at {when:.0f} s: {words}"
        for name, value, slow in (
            ("overshoot", self.over_k, self.slow_over_k),
            ("swing", self.swing_k, self.slow_swing_k),
        ):
            limit = SWING_K if name == "swing" else max(OVER_K, OVER_SHARE * (self.soak_c or 0.0))
            if value is not None and slow is not None and value > limit:
                kind = " of minimum on" if self.long_runs else "" if slow > limit else " of bursts only"
                words = f"{value:.1f} K, {slow:.1f} K of means over {BURSTS_S:.0f} s"
                found.setdefault("soak cannot be held" if self.unheld else name + kind, words)
        if "rehearsal" in self.refused:
            found["soak refused"] = self.refused["rehearsal"]
        if self.outcome in ("too long", "not reached"):
            found["soak " + self.outcome] = f"{self.soak_c:.0f} °C"
        return found

    @property
    def beyond_limits(self) -> bool:
        """Whether the day-zero model is further off than asked, stated or not."""
        return any(v is not None and abs(v) > x for v, x in ((self.day_zero, DAY_ZERO), (self.heat_up, HEAT_UP)))


def place_of(error: BaseException) -> str:
    """Exception, words, and the innermost places of our own code."""
    frames = [f for f in traceback.extract_tb(error.__traceback__) if "kilnctl" in Path(f.filename).parts]
    where = " < ".join(f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in reversed(frames[-3:]))
    return f"{type(error).__name__}: {error} [{where}]"


def judge(
    path: str | Path,
    number: int = 0,
    *,
    soak: bool = True,
    size_text: bool = True,
    below_k: float = math.inf,
    hold_s: float = HOLD_S,
    seed: int = 1,
    most_ticks: int = MOST_TICKS,
    tick_s: float | None = None,
    longer_ticks: bool = False,
) -> Row:
    """The oven of that file through everything. `soak` False leaves the rehearsal out, `size_text` False the text of
    `kilnctl size` (the slowest part of the rest); a finite `below_k` starts the rehearsal from a steady state so far
    below the soak instead of from the cold; `tick_s` is the soak's tick instead of the file's; with `longer_ticks` the
    soak of a slow oven has so long ticks (at most `MOST_TICK_S`) that it ends within most_ticks. Exceptions of kilnctl
    are kept in the row and not raised."""
    row, started = Row(number), time.process_time()

    def stage(name: str, work):
        try:
            with np.errstate(all="raise", under="ignore"), contextlib.redirect_stdout(io.StringIO()):
                return work()
        except KilnctlError as error:
            row.refused[name] = str(error)
        except Exception as error:
            row.crashes[name] = place_of(error)
        return None

    oven = stage("reader", lambda: load_oven(path))
    # Virtual oven and model get their nominal voltage, whatever the cable drops: what they are compared with is too.
    bare = None if oven is None else replace(oven, supply=replace(oven.supply, cable_length_m=None))
    sizing = stage("size", lambda: size(bare)) if bare is not None else None
    if oven is not None and sizing is not None:
        row.long_runs = oven.switching.minimum_on_s is not None and bursts_note(oven) is not None
        stage("check command", lambda: _commanded(check_command, path))
        if size_text:
            stage("size command", lambda: _commanded(size_command, path))
        row.top_c = stage("highest", lambda: min(oven.limits.highest_c, sizing.max_chamber_c))
    if row.top_c is not None:
        stage("ledger", lambda: _ledger(row, oven, sizing))
        stage("steady", lambda: _steady(row, oven, sizing))
        stage("day zero", lambda: _day_zero(row, oven, sizing))
        stage("heat up", lambda: _heat_up(row, oven, sizing))
        if soak and oven is not None:
            if tick_s is None and longer_ticks:
                tick_s = row.ticked_s = _longer_tick_s(row, oven, hold_s, most_ticks)
            ticking = oven if tick_s is None else replace(oven, control=replace(oven.control, tick_s=tick_s))
            stage("rehearsal", lambda: _soak(row, ticking, sizing, below_k, hold_s, seed, most_ticks))
    row.seconds = time.process_time() - started
    return row


def _commanded(command, path: str | Path) -> None:
    """`kilnctl check FILE` and the like, without what the command line makes of an exception."""
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    command.run(parser.parse_args([str(path)]))


def _temperatures(row: Row, oven) -> list[float]:
    return [oven.site.ambient_c + share * (row.top_c - oven.site.ambient_c) for share in SHARES]


def _worst(differences: list[float]) -> float:
    """The one farthest from zero; NaN is worse than all."""
    return max(differences, key=lambda d: abs(d) if math.isfinite(d) else math.inf)


def _ledger(row: Row, oven, sizing) -> None:
    found = []
    for t in _temperatures(row, oven):
        steady = sizing.at(t)
        put_in = steady.power_w + steady.fan_w
        found.append((sum(steady.ledger_w.values()) - put_in) / max(abs(put_in), LEAST_SHARE * oven.elements.power_w))
    row.ledger = _worst(found)


def _steady(row: Row, oven, sizing) -> None:
    """Virtual oven settled under sizing's power against sizing at the temperature that it reached. A fan that alone
    makes more has no such power."""
    found = []
    for t in _temperatures(row, oven):
        power = sizing.power_w(t)
        if power <= LEAST_SHARE * oven.elements.power_w:
            continue
        reached = VirtualOven(oven, conditions=Conditions(supply_drift=0.0)).settle(power)
        there = sizing.power_w(reached) if oven.site.ambient_c + 0.5 <= reached <= 1500.0 else math.nan
        found.append((power - there) / power)
    row.steady = _worst(found) if found else None


def _day_zero(row: Row, oven, sizing) -> None:
    """The worst by what is allowed there. What the model states of its losses is a share of all that leaves, and with a
    strong fan the power is a small part of that."""
    model, stated, found = day_zero(oven, None, row.top_c), uncertainty_of(oven, None, row.top_c), []
    row.heat_up_stated = stated.structure_time
    for t in _temperatures(row, oven):
        power = sizing.power_w(t)
        if power > LEAST_SHARE * oven.elements.power_w:
            leaves = power + float(sizing.at(t).fan_w)
            found.append(((true_holding_w(model, t) - power) / power, stated.structure_loss * leaves / power))
    if found:
        row.day_zero, row.day_zero_stated = max(
            found, key=lambda f: abs(f[0]) / max(DAY_ZERO, f[1]) if math.isfinite(f[0]) else math.inf
        )


def _heat_up(row: Row, oven, sizing) -> None:
    """Full power, empty, from the room to the soak's temperature: the day-zero model against the virtual oven."""
    room = oven.site.ambient_c
    goal = room + SOAK_SHARE * (row.top_c - room)
    row.heat_up_s = takes_s = sizing.heat_up_s(room, goal)
    if not math.isfinite(takes_s):
        return
    model = day_zero(oven, None, row.top_c)
    dt = max(1.0, min(10.0, takes_s / 200.0))
    x, before, t = model.rest(room), room, 0.0
    while x[CHAMBER] < goal and t < 3.0 * takes_s:
        before, x, t = x[CHAMBER], model.step(x, model.power_w, dt, room), t + dt
    t -= dt * (x[CHAMBER] - goal) / max(1e-9, x[CHAMBER] - before) if x[CHAMBER] > goal else 0.0
    row.heat_up = t / takes_s - 1.0


def _longer_tick_s(row: Row, oven, hold_s: float, most_ticks: int) -> float | None:
    """The tick with which the heat-up with a load and the hold take at most so many; None if the file's own does."""
    wanted = (2.0 * (row.heat_up_s or 0.0) + 1.5 * hold_s) / most_ticks
    return min(wanted, MOST_TICK_S) if wanted > oven.control.tick_s else None


def _soak(row: Row, oven, sizing, below_k: float, hold_s: float, seed: int, most_ticks: int) -> None:
    """The usual load in, as fast as it can to the soak, which is held: the whole chain on the virtual oven, judged by
    its true chamber."""
    room = oven.site.ambient_c
    row.soak_c = goal = round(room + SOAK_SHARE * (row.top_c - room), 1)
    schedule = schedule_of(f"schedule: soak\nsteps:\n  - {{to: {goal} °C, hold: {hold_s} s}}\n", "soak")
    load = oven.usual_load
    plant = VirtualOven(oven, load, seed)
    if goal - below_k > room + 5.0:
        plant.settle(max(0.0, sizing.power_w(goal - below_k)))
    model = day_zero(oven, load, goal)
    chain = Chain(prepare(oven, schedule, model, plant.chamber_c))
    rows: list[tuple] = []
    near = []

    def enough(time_s: float, _) -> bool:
        if abs(plant.chamber_c - goal) <= 3.0 and not near:
            near.append(time_s)
        return len(rows) >= most_ticks or (bool(near) and time_s - near[0] > 1.5 * hold_s)

    outcome = follow(plant, chain, rows, None, enough=enough)
    time_s = np.array([r[INDEX["time_s"]] for r in rows])
    chamber = np.array([r[INDEX["true_chamber_c"]] for r in rows])
    row.trips = tuple((t.fault, t.time_s, t.seen) for t in chain.safety.trips.values())
    # Means of the last `BURSTS_S`, at every tick.
    ticks = max(1, round(BURSTS_S / oven.control.tick_s))
    sums = np.cumsum(np.concatenate((np.full(ticks, chamber[0]), chamber)))
    slow = (sums[ticks:] - sums[:-ticks]) / ticks
    row.over_k, row.slow_over_k = float(np.max(chamber) - goal), float(np.max(slow) - goal)
    duty, above = np.array([r[INDEX["duty"]] for r in rows]), chamber > goal + 1.0
    row.unheld = (
        sizing.power_w(goal) <= 0.0
        and any(s.ahead_k > 0.0 for s in chain.programme.shortfalls)
        and bool(np.all(duty[above] == 0.0))
    )
    row.outcome = (
        outcome
        if outcome == "tripped"
        else "soaked"
        if near
        else "too long"
        if len(rows) >= most_ticks
        else "not reached"
    )
    if near:
        settled = (time_s >= near[0] + min(SETTLING_S, 0.5 * hold_s)) & (time_s <= near[0] + hold_s)
        if np.count_nonzero(settled) > 10 and outcome != "tripped":
            row.swing_k, row.slow_swing_k = float(np.ptp(chamber[settled])), float(np.ptp(slow[settled]))
            row.stray_k = float(np.mean(chamber[settled]) - goal)
