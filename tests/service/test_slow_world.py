"""Nothing outside the process answers: terminal, disk, file system, other processes. The tick goes on, `stop`
acts, and nothing outside is ever called by the tick's own thread."""

import builtins
import contextlib
import io
import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from kilnctl.record.durable import save_state
from kilnctl.rig import VirtualRig
from kilnctl.service.loop import OvenService
from kilnctl.service.session import prepare
from kilnctl.service.start_policy import StartPolicy, StartWishes
from tests.service.at_work import at_work

CURE = Path(__file__).parent / "powder-cure.yaml"
#: Ticks that have to go by while the world stands still: 30 s and more, at one a second.
TICKS = 40
_OF_OS = (
    *("open", "write", "fsync", "fdatasync", "statvfs", "replace", "rename", "mkdir", "unlink", "link", "stat"),
    *("listdir", "scandir", "access"),
)
OUTSIDE = {os: _OF_OS, subprocess: ("run",), io: ("open",), builtins: ("open",)}


class SlowWorld:
    """Once `stands`, each outside call of the threads named below waits until the test is over; calls of the ticking
    thread are noted and let through."""

    def __init__(self):
        self.stands = False
        self.released = threading.Event()
        self.called_by_tick: list[str] = []
        self.waiting: set[str] = set()
        self.tick_thread: threading.Thread | None = None

    def outside(self, name: str) -> None:
        if not self.stands or self.released.is_set():
            return
        here = threading.current_thread()
        if here is self.tick_thread:
            self.called_by_tick.append(name)
        elif here.name in ("messages", "recorder", "state store", "upkeep", "prepare", "first start", "housekeeping"):
            self.waiting.add(here.name)
            self.released.wait(30.0)

    def slow(self, name, real):
        def call(*arguments, **more):
            self.outside(name)
            return real(*arguments, **more)

        return call


@pytest.fixture
def world(monkeypatch):
    made = SlowWorld()
    with contextlib.ExitStack() as stack:
        stack.callback(made.released.set)
        for module, names in OUTSIDE.items():
            for name in names:
                if isinstance(real := getattr(module, name), type):
                    continue
                monkeypatch.setattr(module, name, made.slow(f"{module.__name__}.{name}", real))

        def audit(event, _):
            if event in ("open", "import", "subprocess.Popen", "os.listdir", "os.mkdir", "os.rename"):
                made.outside(event)

        sys.addaudithook(audit)
        yield made


def stand_still(world: SlowWorld, person) -> int:
    """From now on the world waits; the ticks that have gone by."""
    world.tick_thread = next(t for t in threading.enumerate() if t.name.endswith("(work)"))
    world.stands = True
    return person.ask("status")["ticks"]["count"]


def goes_on(person, before: int) -> dict:
    return person.until(lambda a: a["ticks"]["count"] >= before + TICKS)


def test_a_run_ticks_on_and_stops_while_the_whole_world_stands_still(oven, schedule, tmp_path, world):
    """A full terminal, Ctrl-S, a dead disk, a file system that hangs."""
    cabinet = oven("curing-cabinet")
    order = prepare(cabinet, schedule("powder-cure"))
    lines = []

    def terminal(text):
        world.outside("terminal")
        lines.append(text)

    with at_work(cabinet, tmp_path, speed=50.0, tell=terminal) as person:
        person.service.begin(order, *person.service.open_record(order))
        person.until(lambda a: a["running"])
        before = stand_still(world, person)
        assert person.ask("hold", by="a person")["ok"], "which is told at the terminal"
        goes_on(person, before)
        assert person.ask("start", schedule=str(CURE))["words"] == "a run is going on"
        assert person.ask("stop", by="a person")["ok"]
        said = person.until(lambda a: not a["running"])
        goes_on(person, said["ticks"]["count"])
        assert said["outcome"] == "stopped" and not said["contactor"] and said["duty"] == 0.0
        assert {"messages", "recorder"} <= world.waiting
        assert world.called_by_tick == [], "the tick's own thread waits for nothing outside"
        world.released.set()


def test_a_start_that_hangs_holds_up_neither_tick_nor_stop(oven, tmp_path, world):
    """As with a schedule on a share that is away."""
    with at_work(oven("curing-cabinet"), tmp_path, speed=50.0) as person:
        person.until(lambda a: a["state"] == "idle")
        before = stand_still(world, person)
        assert person.ask("start", schedule=str(CURE), confirm=True)["pending"]
        goes_on(person, before)
        assert "prepare" in world.waiting and person.ask("prepared")["pending"]
        assert person.ask("stop")["ok"]
        world.released.set()
        said = person.settled()
        assert not said["ok"] and "a stop came" in said["words"]
        assert world.called_by_tick == []


def test_a_restart_after_a_power_cut_ticks_while_it_decides(oven, tmp_path, world):
    """The check of a small computer takes longer than its watchdog waits: five to seven seconds of no tick tripped the
    service itself, or had it killed again and again."""
    cabinet = oven("curing-cabinet")
    save_state(tmp_path / "home" / "state", {}) if (tmp_path / "home").is_dir() else (tmp_path / "home").mkdir()
    run = {"folder": str(tmp_path / "runs" / "cut"), "schedule": str(CURE), "oven_sha256": cabinet.sha256}
    save_state(tmp_path / "home" / "state", {"run": run, "wall_s": time.time(), "limits": {}})
    deciding = threading.Event()

    def decide(service: OvenService) -> None:
        deciding.set()
        StartPolicy(StartWishes(), None)(service)

    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2)
    with at_work(cabinet, tmp_path, rig=rig, speed=50.0, before=decide) as person:
        world.tick_thread = next(t for t in threading.enumerate() if t.name.endswith("(work)"))
        world.stands = True
        assert deciding.wait(60.0)
        goes_on(person, person.ask("status")["ticks"]["count"])
        assert "first start" in world.waiting and world.called_by_tick == []
        assert not person.ask("status")["trips"], "its own loop did not stand still"
        world.released.set()


def test_a_pipe_given_as_schedule_is_refused_and_the_next_start_comes_through(oven, tmp_path):
    os.mkfifo(tmp_path / "pipe.yaml")
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        assert "no plain file" in person.start(tmp_path / "pipe.yaml")["words"]
        assert person.start(CURE)["ok"]


def test_a_start_that_never_ends_is_given_up(oven, tmp_path, monkeypatch):
    gate = threading.Event()
    real = prepare

    def hangs(*arguments):
        gate.wait(60.0)
        return real(*arguments)

    monkeypatch.setattr("kilnctl.service.starts.prepare", hangs)
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        assert person.ask("start", schedule=str(CURE), confirm=True, by="first")["pending"]
        assert "another start" in person.ask("start", schedule=str(CURE))["words"]
        monkeypatch.setattr("kilnctl.service.starts.PATIENCE_S", 0.0)
        monkeypatch.setattr("kilnctl.service.starts.prepare", real)
        assert person.start(CURE, by="second")["ok"]
        gate.set()
        first = next((t for t in threading.enumerate() if t.name == "prepare"), None)
        if first is not None:
            first.join(60.0)
        assert person.settled()["ok"] and len(list((tmp_path / "runs").iterdir())) == 1


def test_a_dead_pipe_at_the_terminal_is_no_fault_of_the_run(oven, schedule, tmp_path):
    def gone(text):
        raise BrokenPipeError

    cabinet = oven("curing-cabinet")
    with at_work(cabinet, tmp_path, speed=200.0, tell=gone) as person:
        assert person.start(CURE)["ok"]
        person.until(lambda a: a["run_s"] > 20.0)
        person.ask("stop")
        assert person.until(lambda a: not a["running"])["outcome"] == "stopped"
