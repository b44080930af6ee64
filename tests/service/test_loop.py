"""The service as a whole: in this process on simulated time, and as a process of its own that is stopped and killed."""

import dataclasses
import json
import math
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.record.recorder import Recorder
from kilnctl.record.run_record import read_run
from kilnctl.rig import RigLost, VirtualRig
from kilnctl.service.answers import answer
from kilnctl.service.loop import OvenService
from kilnctl.service.pace import SimulatedPace
from kilnctl.service.session import prepare
from kilnctl.service.socket_server import ask

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", Path(__file__).parent / "powder-cure.yaml"


class Log(list):
    def __call__(self, text):
        self.append(text)


def service(oven, tmp_path, rig=None, **more):
    rig = rig or VirtualRig(oven, load=oven.usual_load, seed=2)
    more.setdefault("tell", Log())
    return OvenService(
        oven,
        rig,
        SimulatedPace(oven.control.tick_s, math.inf),
        home=tmp_path / "home",
        socket=tmp_path / "socket",
        out=tmp_path / "runs",
        **more,
    )


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
    record = read_run(s.folder)
    assert outcome == record.outcome == "finished" and not record.trips and not record.problems
    kinds = [e.kind for e in record.events]
    assert kinds[0] == "start" and kinds[-1] == "end" and kinds.count("step") >= 4
    assert record.energy_j == pytest.approx(s.rig.plant.energy_j, rel=0.02)
    soak = record.true_chamber_c[(record.reference_c == 200.0) & (record.time_s > 1500.0)]
    assert abs(soak - 200.0).max() < 0.5
    assert record.rig.startswith("virtual") and record.started


def test_what_is_known_after_it_survives(finished, oven):
    s, _, tmp_path = finished
    again = service(oven("curing-cabinet"), tmp_path)
    try:
        assert again.saved.before["run"] is None and again.saved.hot is not None
        assert again.unlike() == (), "the limits are those of the last run"
    finally:
        again.end("test")
        again.run()


def s_schedule():
    from kilnctl import load_schedule

    return load_schedule(CURE)


def test_requests_reach_the_run_and_its_record(oven, schedule, tmp_path):
    cabinet = oven("curing-cabinet")
    s = service(cabinet, tmp_path, idle=True)
    s.pace = SimulatedPace(1.0, 300.0)
    path, answers = tmp_path / "socket", {}

    def person():
        try:

            def until(what, patience=20.0):
                end = time.monotonic() + patience
                while time.monotonic() < end:
                    said = ask(path, {"ask": "status"})
                    if what(said):
                        return said
                    time.sleep(0.01)
                raise AssertionError(f"never: {said}")

            until(lambda a: a["state"] == "idle")
            answers["hold without a run"] = ask(path, {"ask": "hold"})
            ask(path, {"ask": "start", "schedule": str(CURE)})
            while (said := ask(path, {"ask": "prepared"})).get("pending"):
                time.sleep(0.02)
            answers["unconfirmed"] = said
            answers["nonsense"] = None
            ask(path, {"ask": "start", "schedule": str(tmp_path / "nowhere.yaml")})
            while (said := ask(path, {"ask": "prepared"})).get("pending"):
                time.sleep(0.02)
            answers["nonsense"] = said
            ask(path, {"ask": "start", "schedule": str(CURE), "confirm": True, "by": "the founder"})
            until(lambda a: a["state"] == "heat up")
            answers["second start"] = ask(path, {"ask": "start", "schedule": str(CURE), "confirm": True})
            ask(path, {"ask": "hold"})
            until(lambda a: a["held"])
            ask(path, {"ask": "proceed"})
            until(lambda a: not a["held"])
            before = ask(path, {"ask": "status"})["left_s"]
            ask(path, {"ask": "soak", "seconds": 60, "by": "the founder"})
            until(lambda a: a["left_s"] > before)
            answers["curve"] = ask(path, {"ask": "curve", "since": 5, "most": 3})
            answers["running"] = ask(path, {"ask": "status"})
            ask(path, {"ask": "stop", "by": "the founder"})
            answers["after"] = until(lambda a: not a["running"])
        except BaseException as error:
            answers["error"] = error
        finally:
            s.end("test over")

    thread = threading.Thread(target=person)
    thread.start()
    s.run()
    thread.join()
    assert "error" not in answers, answers["error"]
    assert (
        not answers["hold without a run"]["ok"]
        and answers["unconfirmed"]["confirm"]
        and "nowhere" in answers["nonsense"]["words"]
    )
    assert (
        not answers["second start"]["ok"]
        and answers["curve"]["from"] == 5
        and len(answers["curve"]["columns"]["chamber_c"]) == 3
    )
    assert (
        answers["running"]["running"]
        and answers["running"]["demand_w"] > 0.0
        and answers["after"]["outcome"] == "stopped"
    )
    record = read_run(s.folder)
    asked = " / ".join(e.text for e in record.events if e.kind == "request")
    assert record.outcome == "stopped" and all(w in asked for w in ("hold", "proceed", "soak 60 s more", "stop"))
    # In the record and on the terminal, with who it was.
    assert "soak 60 s more, asked by the founder" in asked and "soak 60 s more, asked by the founder" in s.tell


def test_a_skipped_step_is_in_the_record_and_on_the_terminal(oven, tmp_path):
    s = service(oven("curing-cabinet"), tmp_path)
    order = prepare(s.oven, s_schedule())

    def asked_at_once(running):
        running.begin(order, *running.open_record(order))
        assert answer(running, {"ask": "skip", "by": "the founder"})["ok"]

    assert s.run(before=asked_at_once) == "finished", "the oven is cold: the next step, a cooling, is over at once"
    told = [e.text for e in read_run(s.folder).events if e.kind == "request"]
    assert told == ["on to the next step, asked by the founder"] and told[0] in s.tell
    assert s.rig._fired == 0.0 and not s.rig._closed


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

    def read(self):
        if self.plant.time_s > 300.0:
            raise RigLost("the board does not answer")
        return super().read()


def test_a_lost_rig_latches_and_refuses_the_next_start_until_acknowledged(oven, schedule, tmp_path):
    cabinet = oven("curing-cabinet")
    s = service(cabinet, tmp_path, Lost(cabinet, load=cabinet.usual_load))
    assert s.run(prepare(cabinet, schedule("powder-cure"))) == "lost"
    record = read_run(s.folder)
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
    def slow(recorder):
        # The record is whole when `run` has returned, also where the disk takes its time.
        time.sleep(0.3)
        return synced(recorder)

    synced = Recorder._sync
    monkeypatch.setattr(Recorder, "_sync", slow)
    cabinet = oven("curing-cabinet")
    rig = Unplugged(cabinet, load=cabinet.usual_load)

    def before(s):
        s.begin(order, *s.open_record(order))
        rig.gone = True
        s.stop("asked by the founder")

    order = prepare(cabinet, schedule("powder-cure"))
    s = service(cabinet, tmp_path, rig, idle=idle)
    assert s.run(before=before) == "lost"
    record = read_run(s.folder)
    assert record.outcome == "tripped" and record.trips[0].fault == "board-lost"
    assert any(e.kind == "request" and "stop, asked by the founder" in e.text for e in record.events)
    again = service(cabinet, tmp_path)
    assert "board-lost" in again.refusal() and again.saved.before["run"] is None
    again.end("test over")
    again.run()


def test_a_trip_ends_the_run_with_heat_off(oven, schedule, tmp_path):
    from kilnctl.plants.injection import Fault

    cabinet = oven("curing-cabinet")
    rig = VirtualRig(cabinet, load=cabinet.usual_load, faults=(Fault("thermocouple open", 400.0),))
    s = service(cabinet, tmp_path, rig)
    assert s.run(prepare(cabinet, schedule("powder-cure"))) == "tripped"
    record = read_run(s.folder)
    assert record.trips and record.outcome == "tripped" and record.data["contactor"][-1] == 0.0
    assert any("TRIP" in line for line in s.tell)
    saved = json.loads((tmp_path / "home" / "state").read_bytes().split(b"\n")[0])
    assert saved["trips"][0]["fault"] == record.trips[0].fault


def test_a_full_disk_refuses_new_starts(oven, tmp_path, monkeypatch):
    s = service(oven("curing-cabinet"), tmp_path)
    monkeypatch.setattr("kilnctl.service.housekeeping.LEAST_FREE", 1e18)
    assert "free for the record" in s.refusal()
    s.end("test over")
    s.run()


# ---- as a process ----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def process(tmp_path):
    started = []

    def start(*arguments):
        p = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "kilnctl",
                "run",
                str(OVEN),
                *arguments,
                "--rig",
                "virtual",
                "--home",
                str(tmp_path / "h"),
                "--out",
                str(tmp_path / "runs"),
            ],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        started.append(p)
        return p

    yield start
    for p in started:
        if p.poll() is None:
            p.kill()
        p.communicate()


def answered(tmp_path, what=lambda a: True, patience=30.0):
    end = time.monotonic() + patience
    while time.monotonic() < end:
        try:
            said = ask(tmp_path / "h" / "curing-cabinet" / "socket", {"ask": "status"})
            if what(said):
                return said
        except Exception:
            pass
        time.sleep(0.05)
    raise AssertionError("the service never got there")


def test_sigterm_turns_the_heat_off_first_and_ends_cleanly(process, tmp_path):
    p = process(str(CURE), "--speed", "100", "--confirm")
    answered(tmp_path, lambda a: a["state"] == "heat up" and a["duty"] > 0.5)
    p.send_signal(signal.SIGTERM)
    out, err = p.communicate(timeout=20)
    assert p.returncode == 130 and "stopped: signal SIGTERM" in err and "Traceback" not in err
    record = read_run(next((tmp_path / "runs").iterdir()))
    assert record.outcome == "stopped" and not (tmp_path / "h" / "curing-cabinet" / "socket").exists()


def test_a_killed_service_does_not_heat_by_itself_when_the_oven_is_not_where_it_was(process, here, tmp_path):
    p = process(str(CURE), "--speed", "100", "--confirm")
    answered(tmp_path, lambda a: a["state"] == "heat up" and a["chamber_c"] > 60.0)
    time.sleep(0.3)
    p.kill()
    p.communicate()
    again = here(
        "run", OVEN, CURE, "--speed", "100", "--rig", "virtual", "--home", tmp_path / "h", "--out", tmp_path / "runs"
    )
    assert (
        again.returncode == 2
        and "does not go on" in again.stderr
        and "--anew" in again.stderr
        and "Traceback" not in again.stderr
    )
    record = read_run(next((tmp_path / "runs").iterdir()))
    assert record.outcome == "interrupted" and record.time_s.size > 50


def test_a_second_owner_is_refused_and_the_small_commands_speak_to_the_first(process, tmp_path, capsys):
    process("--idle", "--speed", "50")
    answered(tmp_path)
    home = ["--home", str(tmp_path / "h")]
    assert main(["run", str(OVEN), "--idle", "--rig", "virtual", *home]) == 2
    assert main(["status", str(OVEN), *home]) == 0
    assert main(["hold", str(OVEN), *home]) == 2
    assert main(["start", "Curing cabinet", str(CURE), "--confirm", *home]) == 0
    answered(tmp_path, lambda a: a["running"])
    assert main(["status", "Curing cabinet", "--json", *home]) == 0
    assert main(["stop", "Curing cabinet", *home]) == 0
    said = capsys.readouterr()
    assert "already runs" in said.err and "nothing is running" in said.err and "heat is being cut" in said.out
    assert json.loads("{" + said.out.split("{", 1)[1].rsplit("}", 1)[0] + "}")["running"]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "give a schedule file, or --idle"),
        ([str(CURE), "--idle"], "give a schedule file"),
        ([str(CURE), "--speed", "0.5"], "a number from 1"),
        ([str(CURE), "--speed", "nan"], "a number from 1"),
    ],
)
def test_wrong_use_is_told(arguments, words, capsys, tmp_path):
    assert main(["run", str(OVEN), *arguments, "--rig", "virtual", "--home", str(tmp_path)]) == 2
    assert words in capsys.readouterr().err


def test_nobody_answers(capsys, tmp_path):
    assert main(["stop", str(OVEN), "--home", str(tmp_path)]) == 2
    assert "is it running" in capsys.readouterr().err
    assert main(["soak", str(OVEN), "ten", "--home", str(tmp_path)]) == 2


@pytest.mark.parametrize(
    "name, more", [("kilnctl@", ("Type=notify", "WatchdogSec=")), ("kilnctl-panel@", ("Nice=", "MemoryMax="))]
)
def test_the_unit_files_pass_the_service_managers_own_check(tmp_path, name, more):
    import shutil

    tool = shutil.which("systemd-analyze")
    if tool is None:
        pytest.skip("systemd-analyze is not here (Debian package systemd)")
    unit = tmp_path / f"{name}cabinet.service"
    text = (ROOT / f"configs/systemd/{name}.service").read_text()
    unit.write_text(text.replace("/opt/kilnctl/bin/kilnctl", sys.executable))
    done = subprocess.run([tool, "verify", str(unit)], capture_output=True, text=True, timeout=60)
    assert (done.stdout + done.stderr).strip() == ""
    for wanted in (*more, "ProtectSystem=strict", "NoNewPrivileges=yes"):
        assert wanted in text


def test_a_learning_run_by_the_service_can_be_fitted(tmp_path, capsys):
    """`kilnctl learn` on a rig: start test, every stage, the record that `fit` reads; and its way on after a stop."""
    # Half as many ticks as usual, and walls that follow sooner: sooner done, and the same is shown.
    oven, text = tmp_path / "oven.yaml", OVEN.read_text(encoding="utf-8")
    for thick, thin in (("thickness: 80 mm", "thickness: 30 mm"), ("thickness: 60 mm", "thickness: 25 mm")):
        assert thick in text
        text = text.replace(thick, thin)
    oven.write_text(text + "\ncontrol: {tick: 2 s}\n", encoding="utf-8")
    options = [
        "--to",
        "120 °C",
        "--ceiling",
        "130 °C",
        "--speed",
        "100000",
        "--home",
        str(tmp_path / "home"),
        "--out",
        str(tmp_path),
        "--quiet",
    ]
    assert main(["learn", str(oven), *options]) == 0
    folder = next(tmp_path.glob("*learning-run*"))
    record = read_run(folder)
    assert record.outcome == "finished" and not record.trips and record.chamber_c.max() < 131.0
    assert record.events[0].kind == "start" and sum(e.kind == "step" for e in record.events) >= 10
    assert "kilnctl fit" in capsys.readouterr().out
    assert main(["fit", str(oven), str(folder)]) == 0
    said = capsys.readouterr().out
    assert "Power that holds a temperature for ever" in said and "did not settle" not in said


def test_heat_that_cannot_be_cut_is_shouted_until_a_person_stops_the_command(process, tmp_path):
    """Relay and contactor conduct for good: without --idle the command would end with the run, and nobody would say so any more."""
    (tmp_path / "faults.yaml").write_text(
        "faults:\n  - {kind: contactor welded, at: 2 min}\n  - {kind: relay shorted, at: 2 min}\n"
    )
    p = process(str(CURE), "--speed", "200", "--confirm", "--quiet", "--faults", str(tmp_path / "faults.yaml"))
    answered(tmp_path, lambda a: a["outcome"] == "tripped" and not a["running"] and a["danger"])
    assert p.poll() is None
    p.send_signal(signal.SIGINT)
    out, err = p.communicate(timeout=30)
    assert err.count("DANGER: HEAT CANNOT BE CUT") >= 3 and "DANGER at" in out and p.returncode == 1
