"""A service for one command: its hardware, its lines on the terminal, and what is printed after its run."""

import contextlib
import gc
import math
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from ..errors import KilnctlError
from ..output import Units, clock, typed
from ..plants.injection import load_faults
from ..record.run_record import RunRecord, read_run
from ..report.finishing import finish
from ..report.summary_text import summary_text
from ..report.verdict import RunVerdict, verdict
from ..rig import RigDriver, VirtualRig, open_rig
from ..run.summary import Summary, summarise
from ..service import operating_system
from ..service.housekeeping import answer_of, begin_finishing
from ..service.loop import OvenService
from ..service.pace import RealPace, SimulatedPace
from ..service.run_models import RunModels
from ..service.start_policy import StartPolicy
from ..settings.construction import Load
from ..settings.oven import Oven

#: How long a command waits after its run for what the run teaches, s: some seconds of arithmetic, at the lowest
#: priority.
LESSON_S = 120.0
LEARNING = "now the run teaches the oven's model, and its page is made"


@dataclass(frozen=True)
class Serving:
    """What is served, and how; the names are those of the options of `kilnctl run`. `load`: of a virtual oven;
    `keep_mb`: see --keep; `model`: the trained model's file of runs that name none; `learning`: see --no-learning."""

    oven: Oven
    load: Load | None
    home: str | None
    out: str
    shown: Units
    quiet: bool
    idle: bool = False
    speed: float = 1.0
    seed: int = 0
    faults: str | None = None
    attended: bool = False
    keep_mb: float | None = None
    model: str | None = None
    learning: bool = True


def serve(what: Serving, policy: StartPolicy) -> tuple[str, Path | None, bool]:
    """Run the service until it ends. Returns how it ended, the last run's folder, and whether that run was told as one
    that did what was asked. Raises KilnctlError when the start is refused."""
    keep_bytes = _keep_bytes(what.keep_mb)
    home, socket = operating_system.places(what.oven.name, what.home)
    rig, pace = _hardware(what)
    with contextlib.ExitStack() as stack:
        stack.callback(rig.close)
        service = OvenService(
            what.oven,
            rig,
            pace,
            home=home,
            socket=socket,
            out=Path(what.out),
            idle=what.idle,
            models=RunModels(home, rig.facts.kind, given=what.model, learning=what.learning),
            keep_bytes=keep_bytes,
            tell=_TerminalLines(what.quiet, what.shown),
        )
        for words in _refused_wishes(what.oven):
            service.tell(f"note: {words}")
        for words in rig.facts.unproved:
            service.tell(f"note: this rig cannot tell: {words}")
        if not what.quiet:
            with contextlib.suppress(OSError):
                on = "a virtual rig: nothing is heated" if rig.facts.kind == "virtual" else rig.facts.name
                print(f"{what.oven.name} on {on}; the socket is {socket}", flush=True)
        # The collector would walk through all that is loaded in one tick now and then: 13 ms, where a tick takes 0.2.
        gc.collect()
        gc.freeze()
        outcome = service.run(before=policy)
        if policy.refused:
            raise KilnctlError(policy.refused)
        good = False
        if service.folder is not None and not what.idle:
            good = _tell_end(service.folder, what.shown, service.models.store.folder)
        return outcome, service.folder, good


def _tell_end(folder: Path, shown: Units, models: Path) -> bool:
    """As `_print_end`; a closed terminal changes neither the run's outcome nor the exit status."""
    record = read_run(folder)
    told = None
    if len(record.time_s):
        summary = summarise(record)
        told = summary, verdict(record, summary, shown)
    try:
        _print_end(record, told, shown, models)
        sys.stdout.flush()
    except OSError:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError):
                os.dup2(nowhere, stream.fileno())
    return told is not None and told[1].good


def _keep_bytes(megabytes: float | None) -> int | None:
    """Raises KilnctlError for an invalid size."""
    if megabytes is None:
        return None
    if not (math.isfinite(megabytes) and megabytes >= 0.0):
        raise KilnctlError(
            f"--keep {megabytes:g}: a number of megabytes from 0, for example --keep 4000; "
            "leave it out to keep all records"
        )
    return int(megabytes * 1e6)


def _hardware(what: Serving) -> tuple[RigDriver, RealPace | SimulatedPace]:
    """The rig and the clock of its ticks. Raises KilnctlError if it cannot be reached or must not heat in this way."""
    tick_s = what.oven.control.tick_s
    if what.oven.rig.kind != "virtual":
        if what.speed != 1.0 or what.faults:
            raise KilnctlError("--speed and --faults are for a virtual rig (--rig virtual)")
        rig = open_rig(what.oven)
        if not rig.facts.unattended and not what.attended:
            rig.close()
            raise KilnctlError(
                f"{rig.facts.name} goes on with its last command when this computer freezes: it must not heat without "
                "a person beside it. Stay and say --attended, or build the pulse-fed timer that SAFETY.md describes"
            )
        return rig, RealPace(tick_s)
    if not what.speed >= 1.0:
        raise KilnctlError("--speed: a number from 1")
    faults = ()
    if what.faults:
        faults = load_faults(what.faults)
    rig = VirtualRig(what.oven, load=what.load, seed=what.seed, faults=faults)
    return rig, RealPace(tick_s) if what.speed == 1.0 else SimulatedPace(tick_s, what.speed)


def _refused_wishes(oven: Oven) -> list[str]:
    """Apply what the oven's file asks of the operating system. Returns a sentence for each thing that it refused."""
    said = []
    if oven.service.lock_memory:
        said.append(operating_system.lock_memory())
    if oven.service.priority:
        said.append(operating_system.real_time(oven.service.priority))
    return [s for s in said if s]


class _TerminalLines:
    """Lines for the person at the terminal."""

    def __init__(self, quiet: bool, units: Units):
        self._quiet, self._units = quiet, units

    def __call__(self, text: str) -> None:
        if not self._quiet or text.startswith(("TRIP", "DANGER", "TROUBLE", "after a", "stopped")):
            _write(sys.stderr, f"{time.strftime('%H:%M:%S')}  {self._units.words(text)}\n")


def _write(stream: TextIO, text: str) -> None:
    """Write to the file descriptor if there is one, without the stream's lock: a hanging terminal would hold that lock
    and block the program's end. Raises OSError if the reader has gone."""
    try:
        handle = stream.fileno()
    except (OSError, ValueError):
        print(text, end="", file=stream, flush=True)
        return
    data = text.encode(stream.encoding or "utf-8", "replace")
    while data:
        data = data[os.write(handle, data) :]


def _learnt(folder: Path, models: Path) -> str | None:
    """What the run taught, in words; empty where it taught nothing, None where that is not known in time: the process
    goes on by itself, and makes the page too."""
    child = begin_finishing(folder, models, outlives=True)
    try:
        said, _ = child.communicate(timeout=LESSON_S)
    except (subprocess.TimeoutExpired, KeyboardInterrupt):
        for pipe in (child.stdout, child.stderr):
            if pipe is not None:
                pipe.close()  # what it prints at its end is for nobody
        return None
    return str(answer_of(said).get("words", ""))


def _print_end(record: RunRecord, told: tuple[Summary, RunVerdict] | None, u: Units, models: Path) -> None:
    """Print how the run ended; then let it teach the oven's models, and make its page. The heat is already off, and the
    journal is on the disk: what is made here can be made again."""
    folder = record.folder
    if told is not None:
        print(f"\n{u.words(told[1].words)}\n")
        print(summary_text(told[0], u))
    _print_outcome(record, u)
    if told is not None:
        _make_page(record, told[0], u, models)
    print(f"next: kilnctl report {typed(folder)}")


def _make_page(record: RunRecord, summary: Summary, u: Units, models: Path) -> None:
    folder = record.folder
    if record.teaches:
        print(f"{LEARNING}; waiting {LESSON_S:.0f} s at most", flush=True)
        words = _learnt(folder, models)
        if words is None:
            print(
                f"{folder}/run.html and what the run teaches are still being made, by a process behind everything "
                f"else; `kilnctl models` will show it. If the page is never there: kilnctl report {typed(folder)}"
            )
            return
        if words:
            print(u.words(words), flush=True)
        record = read_run(folder)
    finish(folder, record, summary, u)


def _print_outcome(record: RunRecord, u: Units) -> None:
    folder = record.folder
    for event in (e for e in record.events if e.kind == "danger"):
        print(f"\nDANGER at {clock(event.time_s)}: {u.words(event.text)}.")
    for trip in record.trips:
        print(u.words(f"\nTRIP at {clock(trip.time_s)}: " + "\n  ".join(trip.lines)))
    print(f"\n{record.outcome}; the record lies in {folder}/ (open {folder}/run.html)", flush=True)
