"""The loop: a real service on a virtual rig behind it, channels that fail, and a restart in between."""

import contextlib
import datetime
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.notify import channels
from kilnctl.notify.postman import Postman, try_all
from kilnctl.notify.watch import Notice, learning, reminders
from kilnctl.record import care
from kilnctl.record.kept_aside import note_kept_aside, read_kept_aside
from kilnctl.service.socket_server import ask
from kilnctl.settings.notification import Channel, Notify

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", ROOT / "tests/service/powder-cure.yaml"
TRIP = Notice("trip", "Leave it shut. The sensor broke.", "trip|x|", "kiln")


def until(what, patience_s=60.0):
    end = time.monotonic() + patience_s
    while not (said := what()):
        assert time.monotonic() < end, "never"
        time.sleep(0.02)
    return said


def keeper(folder, fails=False):
    """A channel that appends each message to a file, or fails while a file `fail` is there."""
    program = folder / "keep.py"
    program.write_text(
        "import pathlib, sys\n"
        f"here = pathlib.Path({str(folder)!r})\n"
        "if (here / 'fail').exists(): sys.exit('the bell is broken')\n"
        "(here / 'kept').open('a').write(sys.stdin.read() + chr(10))\n"
    )
    if fails:
        (folder / "fail").touch()
    return Notify(name="yard", channels=(Channel(name="bell", by="command", command=f"{sys.executable} {program}"),))


def kept(folder):
    with contextlib.suppress(FileNotFoundError):
        return [json.loads(line) for line in (folder / "kept").read_text().splitlines()]
    return []


def test_what_could_not_be_sent_survives_a_restart_and_is_sent_once(tmp_path):
    waits, said = tmp_path / "n" / "waiting.json", []
    postman = Postman(keeper(tmp_path, fails=True), waits, said.append)
    postman.post(TRIP)
    until(lambda: said)
    assert "bell: not sent" in said[0] and "the bell is broken" in said[0]
    postman.close()
    assert len(json.loads(waits.read_text())["waiting"]["bell"]) == 1
    (tmp_path / "fail").unlink()
    again = Postman(keeper(tmp_path), waits)
    until(lambda: kept(tmp_path))
    again.close()
    assert [m["words"] for m in kept(tmp_path)] == [TRIP.words]
    third = Postman(keeper(tmp_path), waits)
    assert third.waiting()["bell"].waiting == ()
    third.close()


@pytest.mark.parametrize(
    "damage", ["", "{", "[]", '{"told": 3}', '{"told": [], "unload": "", "waiting": {"bell": [{"x": 1}]}}']
)
def test_a_damaged_file_is_put_aside_and_told(tmp_path, damage):
    waits, said = tmp_path / "waiting.json", []
    waits.write_text(damage)
    Postman(keeper(tmp_path), waits, said.append).close()
    assert "put aside" in said[0] and waits.with_name("waiting.json.damaged").read_text() == damage


def test_a_folder_that_cannot_be_written_stops_no_message(tmp_path):
    (tmp_path / "n").write_text("a file where a folder belongs")
    said = []
    postman = Postman(keeper(tmp_path), tmp_path / "n" / "waiting.json", said.append)
    postman.round({"oven": "kiln", "trips": [{"fault": "x", "act": "Leave it shut.", "seen": "s", "check": "c"}]})
    until(lambda: kept(tmp_path))
    postman.close()
    assert sum("cannot be kept" in words for words in said) == 1


def test_a_channel_that_hangs_delays_no_other(tmp_path, monkeypatch):
    monkeypatch.setattr(channels, "PATIENCE_S", 3.0)
    quick = keeper(tmp_path).channels[0]
    slow = Channel(name="slow", by="command", command=f"{sys.executable} -c 'import time; time.sleep(60)'")
    postman = Postman(Notify(name="yard", channels=(slow, quick)), tmp_path / "waiting.json")
    postman.post(TRIP)
    until(lambda: kept(tmp_path))
    assert len(postman.waiting()["slow"].waiting) == 1
    postman.close()


def test_a_library_s_own_fault_ends_no_channel(tmp_path, monkeypatch):
    faults = [RuntimeError("a fault of a library")]
    sends = channels.send

    def send(*args):
        if faults:
            raise faults.pop()
        sends(*args)

    monkeypatch.setattr("kilnctl.notify.postman.send", send)
    said = []
    postman = Postman(keeper(tmp_path), tmp_path / "waiting.json", said.append)
    postman.post(TRIP)
    until(lambda: said)
    assert "RuntimeError: a fault of a library" in said[0]
    postman.post(TRIP)
    postman.close()


def test_only_the_kinds_that_a_channel_tells_go_there(tmp_path):
    file = keeper(tmp_path)
    only = Channel(name="bell", by="command", command=file.channels[0].command, tells="trip, danger")
    postman = Postman(Notify(name="yard", channels=(only,)), tmp_path / "waiting.json")
    postman.post(Notice("done", "It is done.", "d"))
    postman.post(TRIP)
    until(lambda: kept(tmp_path))
    postman.close()
    assert [m["kind"] for m in kept(tmp_path)] == ["trip"]


def test_a_test_that_is_due_is_told_once_and_again_when_its_time_has_come_anew(tmp_path, monkeypatch):
    monkeypatch.setattr("kilnctl.notify.postman.ASIDE_EVERY_S", 0.0)
    done = [care.CareDone(name, "2026-01-01", "A", "") for name in care.NAMES]
    days = [datetime.date(2026, 1, 15)]
    postman = Postman(
        keeper(tmp_path), tmp_path / "w.json", aside=lambda oven: reminders(oven, care.due(tuple(done), days[0]))
    )
    postman.round({"oven": "kiln"})
    days[0] = datetime.date(2026, 2, 1)
    for _ in range(3):
        postman.round({"oven": "kiln"})
    until(lambda: len(kept(tmp_path)) == 2)
    done.append(care.CareDone("limiter", "2026-02-01", "A", ""))
    days[0] = datetime.date(2026, 3, 10)
    postman.round(None)
    until(lambda: len(kept(tmp_path)) == 3)
    postman.close()
    subjects = [m["words"].split(".")[0] for m in kept(tmp_path)]
    assert subjects == ["Due: residual-current device", "Due: limiter", "Due: limiter"]


def test_a_run_from_which_nothing_was_learned_is_told_once_with_its_reason(tmp_path, monkeypatch):
    monkeypatch.setattr("kilnctl.notify.postman.ASIDE_EVERY_S", 0.0)
    home = tmp_path / "h"
    note_kept_aside(home, "runs/old", "it had a trip", time.time() - 8 * 3600.0)
    note_kept_aside(home, "runs/dry-7", "it predicts the run of 3 May worse than before", time.time())
    places = tmp_path / "w.json", lambda words: None, lambda oven: learning(oven, read_kept_aside(home), time.time())
    for _ in range(2):
        # The second process finds in its file what the first one has sent.
        postman = Postman(keeper(tmp_path), *places)
        postman.round({"oven": "kiln"})
        postman.round(None)
        until(lambda: kept(tmp_path))
        postman.close()
    assert [(m["kind"], m["run"]) for m in kept(tmp_path)] == [("learning", "runs/dry-7")]
    assert "worse than before. The oven is controlled with the model as it was" in kept(tmp_path)[0]["words"]


NOTIFY = """notify: the yard
channels:
  - name: bell
    by: command
    command: {command}
"""


def file_of(folder):
    path = folder / "notify.yaml"
    path.write_text(NOTIFY.format(command=keeper(folder).channels[0].command))
    return path


def test_the_command_s_trial_message(tmp_path, capsys):
    path = file_of(tmp_path)
    assert main(["notify", str(OVEN), str(path), "--test"]) == 0
    assert "bell: sent" in capsys.readouterr().out and "Nothing happened" in kept(tmp_path)[0]["words"]
    (tmp_path / "fail").touch()
    assert main(["notify", str(OVEN), str(path), "--test"]) == 1
    assert "NOT sent" in capsys.readouterr().out


def test_the_trial_says_what_is_missing_and_each_channel_s_name_once(tmp_path, capsys, monkeypatch):
    monkeypatch.delenv("NO_SUCH_KEY", raising=False)
    path = tmp_path / "notify.yaml"
    path.write_text(
        "notify: the yard\nchannels:\n"
        "  - {name: house, by: web hook, address: 'http://127.0.0.1:9/', secret variable: NO_SUCH_KEY}\n"
    )
    assert main(["notify", str(OVEN), str(path), "--test"]) == 1
    said = capsys.readouterr().out
    assert said == "house: NOT sent: the environment has no NO_SUCH_KEY (secret variable)\n"


def test_a_broker_that_is_not_there_is_named_with_what_to_check():
    pytest.importorskip("paho.mqtt")
    broker = Channel(name="b", by="mqtt", server="127.0.0.1", port=9, security="none", topic="t")
    said = try_all(Notify(name="yard", channels=(broker,)), patience_s=0.2)
    assert said["b"].startswith("no connection to the broker at 127.0.0.1:9: check server, port and security")


@pytest.mark.slow
def test_a_killed_service_is_told(tmp_path):
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    places = ["--home", str(tmp_path / "h")]
    run = [sys.executable, "-m", "kilnctl", "run", str(OVEN)]
    rig = ["--rig", "virtual", "--out", str(tmp_path / "runs"), *places]
    told = [sys.executable, "-m", "kilnctl", "notify", str(OVEN), str(tmp_path / "notify.yaml"), *places, "--quiet"]
    file_of(tmp_path)
    (tmp_path / "notify.yaml").write_text((tmp_path / "notify.yaml").read_text() + "silent after: 5 s\n")
    service = subprocess.Popen(
        [*run, str(CURE), "--confirm", "--quiet", *rig],
        cwd=ROOT,
        env=env,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    notify = subprocess.Popen(told, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        socket = tmp_path / "h" / "curing-cabinet" / "socket"
        until(lambda: running(socket))
        time.sleep(2.5)
        service.kill()
        service.wait()
        until(lambda: [m for m in kept(tmp_path) if m["kind"] == "silent"])
        service = subprocess.Popen(
            [*run, "--idle", *rig], cwd=ROOT, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        back = until(lambda: [m for m in kept(tmp_path) if m["kind"] == "power back"])
        assert "does not go on" in back[0]["words"] and back[0]["place"] == "the yard"
        notify.send_signal(signal.SIGTERM)
        notify.communicate(timeout=20)
        assert notify.returncode == 0
    finally:
        for process in (service, notify):
            process.kill()
            process.communicate()


def running(socket):
    with contextlib.suppress(Exception):
        return ask(socket, {"ask": "status"})["running"]
    return False
