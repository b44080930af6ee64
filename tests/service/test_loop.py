"""The service as a whole: in this process on simulated time, and as a process of its own that is stopped and killed."""

import dataclasses
import json
import math
import threading
import time
from pathlib import Path

import pytest

from kilnctl import load_schedule
from kilnctl.plants.injection import PlantFault
from kilnctl.record.journal import JournalFile
from kilnctl.record.run_record import read_run
from kilnctl.rig import RigLost, VirtualRig
from kilnctl.service import commanding
from kilnctl.service.loop import OvenService
from kilnctl.service.pace import SimulatedPace
from kilnctl.service.session import prepare
from kilnctl.service.socket_answers import answer
from tests.service.at_work import at_work, folder_of

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", Path(__file__).parent / "powder-cure.yaml"


class Log(list):
    def __call__(self, text):
        self.append(text)


class LoggedService(OvenService):
    """Keeps what is said at the terminal."""

    log: Log


def service(oven, tmp_path, rig=None, **more):
    rig = rig or VirtualRig(oven, load=oven.usual_load, seed=2)
    log = more.setdefault("tell", Log())
    made = LoggedService(
        oven,
        rig,
        SimulatedPace(oven.control.tick_s, math.inf),
        home=tmp_path / "home",
        socket=tmp_path / "socket",
        out=tmp_path / "runs",
        **more,
    )
    made.log = log
    return made


def told(s: LoggedService) -> Log:
    """What was said at the terminal."""
    return s.log


def begun(s: OvenService, order, **more) -> None:
    """Begin that run, and wait for the tick that does it."""
    s.begin(order, *s.open_record(order), **more)
    end = time.monotonic() + 60.0
    while s.session is None and not s.outcome:
        assert time.monotonic() < end, "it never began"
        time.sleep(0.001)


@pytest.fixture(scope="module")
def finished(oven, schedule, tmp_path_factory):
    """A whole cure, run to its end as fast as it goes."""
    tmp_path = tmp_path_factory.mktemp("finished")
    cabinet = oven("curing-cabinet")
    s = service(cabinet, tmp_path)
    outcome = s.run(prepare(cabinet, schedule("powder-cure")))
    return s, outcome, tmp_path


def test_a_cure_from_start_test_to_record(finished):
    s, outcome, _ = finished
    record = read_run(folder_of(s))
    assert outcome == record.outcome == "finished" and not record.trips and not record.problems
    kinds = [e.kind for e in record.events]
    assert kinds[0] == "start" and kinds[-1] == "end" and kinds.count("step") >= 4
    assert record.energy_j == pytest.approx(s.rig.plant.energy_j, rel=0.02)
    soak = record.true_chamber_c[(record.reference_c == 200.0) & (record.time_s > 1500.0)]
    assert abs(soak - 200.0).max() < 0.5
    assert record.rig.startswith("virtual") and record.started


def test_what_is_known_after_it_survives(finished, oven):
    _, _, tmp_path = finished
    again = service(oven("curing-cabinet"), tmp_path)
    try:
        assert again.saved.before["run"] is None and again.saved.hot is not None
        assert again.unlike() == (), "the limits are those of the last run"
    finally:
        again.end("test")
        again.run()


def s_schedule():
    return load_schedule(CURE)


def test_requests_reach_the_run_and_its_record(oven, tmp_path):
    told = Log()
    with at_work(oven("curing-cabinet"), tmp_path, speed=300.0, tell=told) as person:
        person.until(lambda a: a["state"] == "idle")
        assert not person.ask("hold")["ok"], "nothing runs yet"
        person.ask("start", schedule=str(CURE))
        assert person.settled()["confirm"], "limits that no run had before"
        assert "nowhere" in person.start(tmp_path / "nowhere.yaml")["words"]
        assert person.start(CURE, by="the founder")["ok"]
        person.until(lambda a: a["state"] == "heat up")
        assert not person.ask("start", schedule=str(CURE), confirm=True)["ok"], "one runs already"
        person.ask("hold")
        person.until(lambda a: a["held"])
        person.ask("proceed")
        before = person.until(lambda a: not a["held"])["left_s"]
        person.ask("soak", seconds=60, by="the founder")
        person.until(lambda a: a["left_s"] > before)
        curve = person.ask("curve", since=5, most=3)
        assert curve["from"] == 5 and len(curve["columns"]["chamber_c"]) == 3
        running = person.ask("status")
        assert running["running"] and running["demand_w"] > 0.0
        person.ask("stop", by="the founder")
        assert person.until(lambda a: not a["running"])["outcome"] == "stopped"
    record = read_run(folder_of(person.service))
    asked = " / ".join(e.text for e in record.events if e.kind == "request")
    assert record.outcome == "stopped" and all(w in asked for w in ("hold", "proceed", "soak 60 s more", "stop"))
    # In the record and on the terminal, with who it was.
    assert "soak 60 s more, asked by the founder" in asked and "soak 60 s more, asked by the founder" in told


def test_a_skipped_step_is_in_the_record_and_on_the_terminal(oven, tmp_path):
    s = service(oven("curing-cabinet"), tmp_path)
    order = prepare(s.oven, s_schedule())

    def asked_at_once(running):
        begun(running, order)
        assert answer(running, {"ask": "skip", "by": "the founder"})["ok"]

    assert s.run(before=asked_at_once) == "finished", "the oven is cold: the next step, a cooling, is over at once"
    asked = [e.text for e in read_run(folder_of(s)).events if e.kind == "request"]
    assert asked == ["on to the next step, asked by the founder"] and asked[0] in told(s)
    assert s.rig.read().fired == 0.0


class Latched(VirtualRig):
    """A board with a latch of its own."""

    latched = True

    def read(self):
        reading = super().read()
        return dataclasses.replace(reading, faults=(*reading.faults, "board-fault")) if self.latched else reading

    def clear(self):
        self.latched = False


def test_an_acknowledgement_clears_the_board_s_latch_first_and_then_ours(oven, tmp_path):
    cabinet = oven("curing-cabinet")
    said = []

    def person(s):
        while not (said and said[-1]["ok"]) and len(said) < 500:
            said.append(answer(s, {"ask": "acknowledge", "by": "the founder"}))
            time.sleep(0.01)
        s.end("test over")

    s = service(cabinet, tmp_path, Latched(cabinet), idle=True)
    asker = threading.Thread(target=person, args=(s,))
    s.run(before=lambda s: asker.start())
    asker.join()
    assert said[0]["again"] and "clear" in said[0]["words"] and said[-1]["ok"] and not s.rest.trips


class Lost(VirtualRig):
    """A cable that is pulled in the middle of the run."""

    seconds = 0.0

    def read(self):
        self.seconds += self.dt_s
        if self.seconds > 300.0:
            raise RigLost("the board does not answer")
        return super().read()


def test_a_lost_rig_latches_and_refuses_the_next_start_until_acknowledged(oven, schedule, tmp_path):
    cabinet = oven("curing-cabinet")
    s = service(cabinet, tmp_path, Lost(cabinet, load=cabinet.usual_load))
    assert s.run(prepare(cabinet, schedule("powder-cure"))) == "lost"
    record = read_run(folder_of(s))
    assert record.outcome == "tripped" and record.trips[0].fault == "board-lost"
    again = service(cabinet, tmp_path)
    assert "board-lost" in again.refusal()

    def look(s):
        assert s.rest.acknowledge("the founder") == () and s.refusal() == ""
        s.end("test over")

    again.run(before=look)


class Unplugged(VirtualRig):
    """A cable that is pulled in the very moment of a stop."""

    gone = False

    def contactor(self, closed):
        if self.gone:
            raise RigLost("the board is gone")
        super().contactor(closed)

    def heat(self, duty, burst, permit):
        if self.gone:
            raise RigLost("the board is gone")
        super().heat(duty, burst, permit)


@pytest.mark.parametrize("idle", [False, True])
def test_a_stop_with_the_rig_gone_latches_and_ends_the_record(oven, schedule, tmp_path, idle, monkeypatch):
    def slow(file):
        # The record is complete when `run` has returned, even on a slow disk.
        time.sleep(0.3)
        synced(file)

    synced = JournalFile.sync
    monkeypatch.setattr(JournalFile, "sync", slow)

    def cut(rig):
        rig.gone = True
        whole(rig)

    whole = commanding.cut
    monkeypatch.setattr(commanding, "cut", cut)
    cabinet = oven("curing-cabinet")
    rig = Unplugged(cabinet, load=cabinet.usual_load)

    def before(s):
        begun(s, order)
        s.stop("asked by the founder")

    order = prepare(cabinet, schedule("powder-cure"))
    s = service(cabinet, tmp_path, rig, idle=idle)
    assert s.run(before=before) == "lost"
    record = read_run(folder_of(s))
    assert record.outcome == "tripped" and record.trips[0].fault == "board-lost"
    assert any(e.kind == "request" and "stop, asked by the founder" in e.text for e in record.events)
    again = service(cabinet, tmp_path)
    assert "board-lost" in again.refusal() and again.saved.before["run"] is None
    again.end("test over")
    again.run()


def test_a_trip_ends_the_run_with_heat_off(oven, schedule, tmp_path):
    cabinet = oven("curing-cabinet")
    rig = VirtualRig(cabinet, load=cabinet.usual_load, faults=(PlantFault("thermocouple open", 400.0),))
    s = service(cabinet, tmp_path, rig)
    assert s.run(prepare(cabinet, schedule("powder-cure"))) == "tripped"
    record = read_run(folder_of(s))
    assert record.trips and record.outcome == "tripped" and record.data["contactor"][-1] == 0.0
    assert any("TRIP" in line for line in told(s))
    saved = json.loads((tmp_path / "home" / "state").read_bytes().split(b"\n")[0])
    assert saved["trips"][0]["fault"] == record.trips[0].fault


def test_a_full_disk_refuses_new_starts(oven, tmp_path, monkeypatch):
    s = service(oven("curing-cabinet"), tmp_path)
    monkeypatch.setattr("kilnctl.service.housekeeping.LEAST_FREE", 1e18)
    assert "free for the record" in s.house.refusal() and "free for the record" in s.refusal()
    s.end("test over")
    s.run()
