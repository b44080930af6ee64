"""Options of the commands that speak to a running service, on one at work in this process; and of `kilnctl run`
itself."""

import dataclasses
import os
import sys
import time
from pathlib import Path

import pytest

from kilnctl import load_schedule
from kilnctl.errors import KilnctlError
from kilnctl.plants.injection import PlantFault
from kilnctl.record.durable import save_state
from kilnctl.rig import VirtualRig
from kilnctl.service.session import prepare
from tests.service.at_work import at_work, quickly_learnt

CABINET = "configs/ovens/curing-cabinet.yaml"
BRIEF = (
    "schedule: brief\nsteps:\n  - {name: warm, to: 60 °C, hold: 10 min}\n  - {name: warmer, to: 70 °C, hold: 10 min}\n"
)


@pytest.fixture
def brief(tmp_path):
    path = tmp_path / "brief.yaml"
    path.write_text(BRIEF, encoding="utf-8")
    return path


def at_home(folder):
    """What --home has to name so that the commands find the service in `folder`."""
    home = folder / "h c" / "curing-cabinet"
    home.mkdir(parents=True)
    (home / "socket").symlink_to(folder / "socket")
    return home.parent


@pytest.mark.slow
def test_hold_proceed_and_skip_find_the_service_by_its_home(here, oven, brief, tmp_path):
    home = at_home(tmp_path)
    assert here("proceed", CABINET, "--home", tmp_path / "elsewhere").returncode == 2
    assert here("skip", CABINET, "--home", tmp_path / "elsewhere").returncode == 2
    with at_work(oven("curing-cabinet"), tmp_path, speed=20.0) as person:
        assert person.start(brief)["ok"]
        person.until(lambda a: a["running"])
        assert here("hold", CABINET, "--home", home).returncode == 0
        person.until(lambda a: a["held"])
        done = here("proceed", CABINET, "--home", home)
        assert done.returncode == 0, done.stderr
        person.until(lambda a: not a["held"])
        assert person.ask("status")["step"] == 1
        for _ in range(2):
            assert here("skip", CABINET, "--home", home).returncode == 0
        person.until(lambda a: a["step"] == 2 or not a["running"])


@pytest.mark.slow
def test_acknowledge_wants_a_name_and_the_oven_whose_home_it_is(here, oven, brief, tmp_path):
    home, cabinet = at_home(tmp_path), oven("curing-cabinet")
    nameless = here("acknowledge", CABINET, "--home", home)
    assert nameless.returncode == 2 and "--who" in nameless.stderr
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2, faults=(PlantFault("thermocouple frozen", 200.0, 10.0),))
    # Begun at once: a start that is asked for takes a second to prepare, and the sensor would freeze before it.
    order, told = prepare(cabinet, load_schedule(brief)), []

    def begin(service):
        service.begin(order, *service.open_record(order))

    with at_work(cabinet, tmp_path, rig=rig, speed=500.0, before=begin, tell=told.append) as person:
        assert [t["fault"] for t in person.until(lambda a: a.get("trips"))["trips"]] == ["sensor-frozen"]
        person.until(lambda a: not a["running"])
        upto = person.ask("status")["ticks"]["count"] + 20
        person.until(lambda a: a["ticks"]["count"] > upto)
        done = here("acknowledge", CABINET, "--home", home, "--who", "A. Founder", "--reading-is-right")
        assert done.returncode == 0, done.stderr
        person.until(lambda a: not a["trips"])
        person.until(lambda a: any("A. Founder" in words for words in told), patience_s=20.0)


def test_start_is_refused_by_a_service_of_another_description_of_the_oven(here, oven, brief, tmp_path):
    home, changed = at_home(tmp_path), tmp_path / "changed.yaml"
    changed.write_text(Path(CABINET).read_text(encoding="utf-8") + "# changed\n", encoding="utf-8")
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        done = here("start", changed, brief, "--home", home, "--confirm")
        assert done.returncode == 2 and "of this file before it was changed" in done.stderr
        assert not person.ask("status")["running"]
        assert here("start", CABINET, brief, "--home", home, "--confirm").returncode == 0


def test_start_and_run_refuse_a_model_that_is_not_there_and_say_which(here, oven, brief, tmp_path):
    home, missing = at_home(tmp_path), tmp_path / "no-model.yaml"
    with at_work(oven("curing-cabinet"), tmp_path, speed=50.0):
        done = here("start", CABINET, brief, "--home", home, "--model", missing, "--confirm")
        assert done.returncode == 2 and "no-model.yaml" in done.stderr
    done = here(
        "run",
        CABINET,
        brief,
        "--rig",
        "virtual",
        "--model",
        missing,
        "--home",
        tmp_path / "h",
        "--out",
        tmp_path / "served",
    )
    assert done.returncode == 2 and "no-model.yaml" in done.stderr and not (tmp_path / "served").exists()


@pytest.mark.slow
def test_the_seed_of_a_run_is_the_seed_of_its_noise(here, tmp_path):
    (tmp_path / "s.yaml").write_text("schedule: s\nsteps:\n  - {to: 40 °C, hold: 1 min}\n", encoding="utf-8")

    def readings(name, seed):
        out = tmp_path / name
        assert (
            here(
                "run",
                CABINET,
                tmp_path / "s.yaml",
                "--rig",
                "virtual",
                "--speed",
                "100000",
                "--seed",
                seed,
                "--confirm",
                "--quiet",
                "--home",
                out / "home",
                "--out",
                out / "runs",
            ).returncode
            == 0
        )
        lines = next((out / "runs").glob("*/samples.csv")).read_text().splitlines()
        return [line.split(",")[2] for line in lines[1:60]]

    assert readings("one", 1) == readings("again", 1) != readings("other", 2)


@pytest.mark.slow
def test_hardware_that_cannot_let_go_runs_only_with_a_person_beside_it(here, brief, tmp_path, monkeypatch):
    """A virtual rig that says of itself what this computer's own pins have to say."""

    class Clinging(VirtualRig):
        def __init__(self, oven):
            super().__init__(dataclasses.replace(oven, rig=dataclasses.replace(oven.rig, kind="virtual")))
            self.facts = dataclasses.replace(self.facts, kind="pins", unattended=False)

    monkeypatch.setattr("kilnctl.commands._serving.open_rig", Clinging)
    common = ("--rig", "pins", "--home", tmp_path / "home", "--out", tmp_path / "runs", "--quiet")
    alone = here("run", CABINET, brief, *common)
    assert alone.returncode == 2 and "--attended" in alone.stderr
    # With a person next to it (--attended) the next question is asked: limits that no run had before.
    beside = here("run", CABINET, brief, *common, "--attended")
    assert beside.returncode == 2 and "--confirm" in beside.stderr and "--attended" not in beside.stderr
    # The learning run asks the same.
    pins = tmp_path / "pins.yaml"
    pins.write_text(
        Path(CABINET).read_text() + "\nrig: {kind: pins, pins: {relays: [17], coil: 27}}\n", encoding="utf-8"
    )
    learning = ("learn", pins, "--to", "120 °C", *common[2:])
    alone, beside = here(*learning), here(*learning, "--attended")
    assert alone.returncode == beside.returncode == 2 and "--attended" in alone.stderr
    assert "--confirm" in beside.stderr and "--attended" not in beside.stderr


def test_the_board_s_guided_test_wants_a_person_and_a_board(here, tmp_path, monkeypatch):
    """No answer can be piped in, nobody answers with yes for it, and its record must be writable before it begins."""
    port = tmp_path / "no-board"
    piped = here("board", CABINET, "--port", port, "--test", answers="insulated\n")
    assert piped.returncode == 2 and "wants a person at a terminal" in piped.stderr
    assert here("board", CABINET, "--port", port, "--test", "--yes").returncode == 2
    monkeypatch.setattr("kilnctl.commands._guided_test.needs_a_person", lambda port: None)
    whose = ("board", CABINET, "--port", port, "--test", "--who", "A person", "--record")
    alone = here(*whose, tmp_path / "kept.jsonl", answers="insulated\n")
    assert alone.returncode == 2 and "no-board" in alone.stderr
    lost = here(*whose, tmp_path / "no" / "kept.jsonl", answers="insulated\n")
    assert lost.returncode == 2 and "--record" in lost.stderr


def test_the_panel_gives_the_model_to_the_runs_that_it_starts(here, tmp_path, monkeypatch):
    def catalogue(oven, schedules, runs, model_file, home, *more):
        raise KilnctlError(f"a catalogue with {model_file}")

    pytest.importorskip("starlette", reason="starlette is in the test extra")
    monkeypatch.setattr("kilnctl.commands._panel_server.Catalogue", catalogue)
    before = os.getpriority(os.PRIO_PROCESS, 0), sys.getswitchinterval()
    done = here("panel", CABINET, "--home", tmp_path, "--model", "trained.yaml")
    assert done.returncode == 2 and "a catalogue with trained.yaml" in done.stderr
    # A process that is not the panel's own keeps its priority.
    assert (os.getpriority(os.PRIO_PROCESS, 0), sys.getswitchinterval()) == before


@pytest.mark.slow
def test_a_learning_run_after_a_jump_of_the_reading_wants_a_name_and_a_word(here, tmp_path):

    (tmp_path / "curing-cabinet").mkdir()
    words = {"seen": "it jumped", "act": "heat off", "check": "the wires"}
    save_state(
        tmp_path / "curing-cabinet" / "state",
        {"trips": [{"fault": "sensor-jump", **words}], "wall_s": time.time(), "hot": None},
    )
    common = (
        "learn",
        quickly_learnt(tmp_path),
        "--to",
        "120 °C",
        "--ceiling",
        "130 °C",
        "--speed",
        "100000",
        "--home",
        tmp_path,
        "--out",
        tmp_path / "runs",
        "--quiet",
        "--confirm",
    )
    alone = here(*common)
    assert alone.returncode == 2 and "acknowledge" in alone.stderr
    named = here(*common, "--acknowledge", "A. Founder")
    assert named.returncode == 2 and "--reading-is-right" in named.stderr
    assert here(*common, "--acknowledge", "A. Founder", "--reading-is-right").returncode == 0
