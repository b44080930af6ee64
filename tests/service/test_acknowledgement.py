"""Who acknowledged a trip stands in the record of the run that tripped, and in the state."""

import dataclasses
import time
from pathlib import Path

import pytest

from kilnctl import load_schedule
from kilnctl.cli import main
from kilnctl.record.durable import save_state
from kilnctl.record.retention import pending
from kilnctl.record.run_record import read_run
from kilnctl.rig import VirtualRig
from kilnctl.service.session import prepare
from tests.service.at_work import at_work, folder_of, kept_in

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", Path(__file__).parent / "powder-cure.yaml"
BRIEF = "schedule: brief\nsteps:\n  - {to: 50 °C, hold: 1 min}\n"


class FaultyBoard(VirtualRig):
    """A board that reports a fault of its own from its second minute on, and clears it when it is asked to."""

    faulty, minutes = True, 0.0

    def read(self):
        reading = super().read()
        self.minutes += self.dt_s / 60.0
        if self.faulty and self.minutes > 1.0:
            return dataclasses.replace(reading, faults=(*reading.faults, "board-fault"))
        return reading

    def clear(self):
        self.faulty = False


def begun(oven):
    """What begins a cure once the first readings are in."""
    order = prepare(oven, load_schedule(CURE))
    return lambda service: service.begin(order, *service.open_record(order))


@pytest.fixture(scope="module")
def tripped(oven, tmp_path_factory):
    """A command whose run tripped: (its folder, the record's folder). Nobody has acknowledged."""
    folder = tmp_path_factory.mktemp("tripped")
    cabinet = oven("curing-cabinet")
    rig = FaultyBoard(cabinet, load=cabinet.usual_load, seed=2)
    with at_work(cabinet, folder, rig=rig, speed=2000.0, idle=False, before=begun(cabinet)) as person:
        assert person.ended() == "tripped"
    return folder, folder_of(person.service)


def acknowledged(record):
    return [e for e in record.events if e.kind == "acknowledged"]


@pytest.mark.parametrize("ends", ["stop", "signal"])
def test_whoever_ends_a_run_whose_trip_is_watched_leaves_a_tripped_run(oven, tmp_path, ends):
    """What a script and the record are told is the trip, not the person who came because of it."""
    cabinet = oven("curing-cabinet")
    rig = FaultyBoard(cabinet, load=cabinet.usual_load, seed=2)
    with at_work(cabinet, tmp_path, rig=rig, speed=200.0, idle=False, before=begun(cabinet)) as person:
        folder = Path(person.until(lambda said: said.get("trips") and said["running"])["folder"])
        if ends == "stop":
            person.ask("stop", by="test")
        else:
            person.service.end("signal SIGINT")
        assert person.ended() == "tripped"
    record = read_run(folder)
    assert record.outcome == "tripped" and any("stop" in event.text for event in record.events)


def test_asked_over_the_socket_it_stands_in_record_page_and_state(oven, tmp_path):
    cabinet = oven("curing-cabinet")
    rig = FaultyBoard(cabinet, load=cabinet.usual_load, seed=2)
    with at_work(cabinet, tmp_path, rig=rig, speed=2000.0, before=begun(cabinet)) as person:
        folder = Path(person.until(lambda a: a.get("trips") and not a["running"])["folder"])
        assert not acknowledged(read_run(folder))
        while not (said := person.ask("acknowledge", by="A. Smith, day shift"))["ok"]:
            assert said.get("again") or "board-fault" in said["words"]
            time.sleep(0.05)
        person.until(lambda a: not a["trips"])
        end = time.monotonic() + 60.0
        while not ((folder / "run.html").exists() and acknowledged(read_run(folder)) and not pending(folder)):
            assert time.monotonic() < end, "its page was never made again"
            time.sleep(0.05)
    record = read_run(folder)
    (event,) = acknowledged(record)
    assert event.text.startswith("board-fault acknowledged at ") and event.text.endswith("by A. Smith, day shift")
    assert record.outcome == "tripped" and event.time_s == pytest.approx(record.time_s[-1], abs=1.0)
    assert "A. Smith" in (folder / "events.csv").read_text(encoding="utf-8")
    kept = kept_in(tmp_path / "home")["acknowledged"]
    assert kept["by"] == "A. Smith, day shift" and kept["faults"] == ["board-fault"] and kept["wall_s"] > 0.0


def test_by_the_next_command_it_stands_in_the_record_of_the_run_that_tripped(oven, tripped):
    """The name is given to a process that did not run it, and which itself is refused and ends at once."""
    folder, record_folder = tripped
    assert kept_in(folder / "home")["tripped_run"]["folder"] == str(record_folder)
    cabinet = oven("curing-cabinet")

    def before(service):
        assert service.acknowledge("B. Jones") == () and service.refusal() == ""
        service.end("test over")

    with at_work(cabinet, folder, speed=2000.0, before=before) as person:
        assert person.ended() == "stopped"
    (event,) = acknowledged(read_run(record_folder))
    assert event.text.endswith("by B. Jones")
    state = kept_in(folder / "home")
    assert state["tripped_run"] is None and state["acknowledged"]["by"] == "B. Jones" and state["trips"] == []
    # The acknowledgement belongs to that trip: a later process neither repeats nor loses it.
    with at_work(cabinet, folder, speed=2000.0) as person:
        person.until(lambda a: a["state"] == "idle")
        assert person.ask("acknowledge", by="C. Brown")["ok"]
    assert len(acknowledged(read_run(record_folder))) == 1
    assert kept_in(folder / "home")["acknowledged"]["by"] == "B. Jones"


def test_a_run_cut_off_while_its_trip_was_watched_gets_the_name_and_its_end(tmp_path, capsys):
    """The power fails in the minutes after a trip: `kilnctl run --acknowledge` writes both into that record."""
    (tmp_path / "brief.yaml").write_text(BRIEF, encoding="utf-8")
    home, runs = tmp_path / "home", tmp_path / "runs"
    common = [str(OVEN), str(tmp_path / "brief.yaml"), "--rig", "virtual", "--speed", "10000", "--quiet", "--confirm"]
    common += ["--home", str(home), "--out", str(runs)]
    assert main(["run", *common]) == 0
    (folder,) = runs.iterdir()
    state = kept_in(home / "curing-cabinet")
    trip = {"fault": "contactor-welded", "seen": "it stays closed", "act": "heat off", "check": "the contacts"}
    run = {"folder": str(folder), "schedule": "", "place": None, "run_s": 70.0}
    save_state(home / "curing-cabinet" / "state", {**state, "trips": [trip], "run": run, "tripped_run": None})
    assert main(["run", *common, "--acknowledge", "D. Miller", "--anew"]) == 0
    capsys.readouterr()
    (event,) = acknowledged(read_run(folder))
    assert event.time_s == 70.0 and "contactor-welded" in event.text and event.text.endswith("by D. Miller")
    assert len(list(runs.iterdir())) == 2
