"""A start takes seconds to prepare. What stops or trips in between makes it void, and no start waits behind a run."""

import dataclasses
import threading
import time
from pathlib import Path

import pytest

from kilnctl.record.run_record import read_run
from kilnctl.rig import VirtualRig
from kilnctl.service import starts
from kilnctl.service.session import prepare
from tests.service.at_work import at_work

CURE = Path(__file__).parent / "powder-cure.yaml"


@pytest.fixture
def gate(monkeypatch):
    """Preparations wait until it is set."""
    opened, prepare = threading.Event(), starts.prepare

    def later(*arguments):
        assert opened.wait(60.0)
        return prepare(*arguments)

    monkeypatch.setattr(starts, "prepare", later)
    yield opened
    opened.set()


def being_prepared() -> bool:
    """Whether a start that was asked for is being prepared; afterwards it waits for its tick."""
    return any(thread.name == "prepare" for thread in threading.enumerate())


def never_ran(person, ticks=20):
    """Whether nothing begins for so many ticks more."""
    upto = person.ask("status")["ticks"]["count"] + ticks
    said = person.until(lambda a: a["running"] or a["ticks"]["count"] >= upto)
    return not said["running"] and said["duty"] == 0.0


def test_a_stop_while_a_start_is_prepared_is_the_last_word(oven, tmp_path, gate):
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        assert person.ask("start", schedule=str(CURE), confirm=True)["pending"]
        assert person.ask("stop", by="the founder")["ok"]
        gate.set()
        said = person.settled()
        assert not said["ok"] and "stop" in said["words"] and "the founder" in said["words"]
        assert never_ran(person) and not list((tmp_path / "runs").iterdir())
        # A start requested after the stop begins as usual.
        assert person.start(CURE)["ok"] and person.until(lambda a: a["running"])


def test_an_oven_described_otherwise_than_the_service_knows_it_is_not_started(oven, tmp_path):
    cabinet = oven("curing-cabinet")
    with at_work(cabinet, tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        said = person.start(CURE, oven_sha256="0" * 64)
        assert not said["ok"] and "another oven of that name" in said["words"] and never_ran(person)
        assert person.start(CURE, oven_sha256=cabinet.sha256)["ok"]


@pytest.mark.slow
def test_a_stop_between_preparation_and_tick_closes_the_record(oven, tmp_path, monkeypatch):
    """The last moment: prepared, its record open, and not yet begun."""
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        begin, service = starts.Starts.begin, person.service

        def stopped_first(self, waits=False):
            if not self._ready.empty():
                service.stop("asked in the last moment")
            begin(self, waits)

        monkeypatch.setattr(starts.Starts, "begin", stopped_first)
        said = person.start(CURE)
        assert not said["ok"] and "in the last moment" in said["words"] and never_ran(person)
    (folder,) = (tmp_path / "runs").iterdir()
    record = read_run(folder)
    assert record.outcome == "stopped" and "did not start" in record.events[-1].text and not len(record.time_s)


class Faulty(VirtualRig):
    """A board that latches when told to."""

    latched = False

    def read(self):
        reading = super().read()
        return dataclasses.replace(reading, faults=(*reading.faults, "board-fault")) if self.latched else reading

    def clear(self):
        self.latched = False


@pytest.mark.parametrize("acknowledged", [False, True])
def test_a_trip_while_a_start_is_prepared_makes_it_void(oven, tmp_path, gate, acknowledged):
    cabinet = oven("curing-cabinet")
    rig = Faulty(cabinet, load=cabinet.usual_load, seed=2)
    with at_work(cabinet, tmp_path, rig=rig) as person:
        person.until(lambda a: a["state"] == "idle")
        assert person.ask("start", schedule=str(CURE), confirm=True)["pending"]
        rig.latched = True
        person.until(lambda a: a["trips"])
        rig.latched = False
        if acknowledged:
            person.until(lambda a: "board-fault" not in a["faults"])
            assert person.ask("acknowledge", by="the founder")["ok"]
        gate.set()
        said = person.settled()
        assert not said["ok"] and "board-fault" in said["words"] and never_ran(person)
        assert bool(person.ask("status")["trips"]) is not acknowledged, "it still is latched"


def test_what_refuses_a_start_is_asked_again_when_its_tick_comes(oven, tmp_path, monkeypatch):
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        service, full = person.service, []
        refusal, open_record = service.refusal, service.open_record
        monkeypatch.setattr(service, "refusal", lambda **_: "the state cannot be kept: full" if full else refusal())
        monkeypatch.setattr(
            service, "open_record", lambda order, **more: full.append(True) or open_record(order, **more)
        )
        said = person.start(CURE)
        assert not said["ok"] and "the state cannot be kept" in said["words"] and never_ran(person)


def test_a_second_start_does_not_wait_behind_the_first(oven, tmp_path, monkeypatch):
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        begin, held = starts.Starts.begin, threading.Event()
        monkeypatch.setattr(
            starts.Starts, "begin", lambda self, waits=False: begin(self, waits) if held.is_set() else None
        )
        assert person.ask("start", schedule=str(CURE), confirm=True, by="A")["pending"]
        while being_prepared():
            assert person.ask("prepared")["pending"], "it is not called started before it is"
            time.sleep(0.005)
        second = person.ask("start", schedule=str(CURE), confirm=True, by="B")
        assert not second["ok"] and "another start" in second["words"]
        held.set()
        assert person.settled()["ok"]
        person.until(lambda a: a["running"])
        assert not person.ask("start", schedule=str(CURE), confirm=True)["ok"]
        person.ask("stop")
        person.until(lambda a: not a["running"])
        assert never_ran(person)
    assert len(list((tmp_path / "runs").iterdir())) == 1


def test_a_start_waits_until_it_is_known_whether_a_run_goes_on(oven, schedule, tmp_path):
    """Asked for in the first seconds after a power cut: the run that goes on has the oven, and is not replaced."""
    cabinet = oven("curing-cabinet")

    order = prepare(cabinet, schedule("powder-cure"))
    asked = threading.Event()

    def before(service):
        assert asked.wait(60.0)
        service.begin(order, *service.open_record(order), words="goes on")

    with at_work(cabinet, tmp_path, before=before) as person:
        assert person.ask("start", schedule=str(CURE), confirm=True)["pending"]
        while being_prepared():
            time.sleep(0.005)
        asked.set()
        said = person.settled()
        assert not said["ok"] and "going on" in said["words"]
        first = person.until(lambda a: a["running"])["folder"]
        assert person.until(lambda a: a["run_s"] > 20.0)["folder"] == first


@pytest.mark.slow
def test_a_service_that_ends_closes_the_record_of_a_start_that_waits(oven, tmp_path, monkeypatch):
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        monkeypatch.setattr(starts.Starts, "begin", lambda self, waits=False: None)
        person.ask("start", schedule=str(CURE), confirm=True)
        while being_prepared():
            time.sleep(0.005)
    for thread in threading.enumerate():
        if thread.name == "closing":
            thread.join(10.0)
    (folder,) = (tmp_path / "runs").iterdir()
    assert read_run(folder).outcome == "stopped" and not person.service.starts.answer["ok"]


@pytest.mark.slow
def test_a_start_that_cannot_be_prepared_lets_the_next_one_in(oven, tmp_path, monkeypatch):
    with at_work(oven("curing-cabinet"), tmp_path) as person:
        person.until(lambda a: a["state"] == "idle")
        assert "nowhere" in person.start(tmp_path / "nowhere.yaml")["words"]
        unconfirmed = person.ask("start", schedule=str(CURE))
        assert unconfirmed["pending"] and person.settled()["confirm"]
        assert person.start(CURE)["ok"]
