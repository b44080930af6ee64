"""The service as a process of its own that is stopped, killed and asked; and the commands that speak to it."""

import fcntl
import json
import os
import pty
import shutil
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.record.run_record import read_run
from kilnctl.safety.state import DANGER
from kilnctl.service.socket_server import ask
from tests.service.at_work import quickly_learnt

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", Path(__file__).parent / "powder-cure.yaml"


@pytest.fixture
def process(tmp_path):
    started = []

    def start(*arguments, **more):
        p = subprocess.Popen(
            [
                sys.executable,
                "-c",
                WATCHED.format(done=str(tmp_path / "done")),
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
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            **(more or {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}),
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
    _, err = p.communicate(timeout=20)
    assert p.returncode == 130 and "stopped: signal SIGTERM" in err and "Traceback" not in err
    record = read_run(next((tmp_path / "runs").iterdir()))
    assert record.outcome == "stopped" and not (tmp_path / "h" / "curing-cabinet" / "socket").exists()


#: The command, with a note of each order to the rig and of each request in the record, in their order.
WATCHED = """
import sys
from kilnctl.cli import main
from kilnctl.record.recorder import Recorder
from kilnctl.rig import VirtualRig

done = open({done!r}, "w", buffering=1)

def noted(owner, name, words):
    before = getattr(owner, name)
    def both(self, *values, **facts):
        if text := words(*values, **facts):
            print(text, file=done)
        return before(self, *values, **facts)
    setattr(owner, name, both)

noted(VirtualRig, "contactor", lambda closed: f"contactor {{closed}}")
noted(VirtualRig, "heat", lambda duty, *_: f"heat {{duty}}")
noted(Recorder, "event", lambda kind, **facts: f"record {{facts['text']}}" if kind == "request" else "")
sys.exit(main())
"""


def in_terminal(start, before=lambda: None):
    """(process, the other end of the terminal that it has for its own)."""
    ours, its = pty.openpty()

    def own() -> None:
        before()
        os.setsid()
        fcntl.ioctl(0, termios.TIOCSCTTY, 0)

    p = start(str(CURE), "--speed", "100", "--confirm", stdin=its, stdout=its, stderr=its, preexec_fn=own)
    os.close(its)
    return p, ours


@pytest.mark.slow
def test_a_closed_terminal_ends_the_run_as_a_stop_does(process, tmp_path):
    """The kernel sends SIGHUP, and every word to the terminal fails from then on."""
    p, terminal = in_terminal(process)
    answered(tmp_path, lambda a: a["state"] == "heat up" and a["duty"] > 0.5)
    os.close(terminal)
    assert p.wait(timeout=20) == 130
    record = read_run(next((tmp_path / "runs").iterdir()))
    assert record.outcome == "stopped" and not (tmp_path / "h" / "curing-cabinet" / "socket").exists()
    assert [e.text for e in record.events if e.kind == "request"] == ["stop, signal SIGHUP"]
    done = (tmp_path / "done").read_text().splitlines()
    told = done.index("record stop, signal SIGHUP")
    assert done[told - 2 : told] == ["contactor False", "heat 0.0"]  # the hand before the pen
    assert not [d for d in done[told:] if d.startswith("heat") and d != "heat 0.0"]


@pytest.mark.slow
def test_under_nohup_a_closed_terminal_ends_nothing(process, tmp_path):
    p, terminal = in_terminal(process, lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN))
    before = answered(tmp_path, lambda a: a["state"] == "heat up" and a["duty"] > 0.5)
    os.close(terminal)
    after = answered(tmp_path, lambda a: a["run_s"] > before["run_s"] + 60.0)
    assert after["running"] and p.poll() is None
    p.send_signal(signal.SIGTERM)
    assert p.wait(timeout=20) == 130


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


@pytest.mark.slow
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


@pytest.mark.slow
def test_a_learning_run_by_the_service_can_be_fitted(tmp_path, capsys):
    """`kilnctl learn` on a rig: start test, every stage, the record that `fit` reads; and its way on after a stop."""
    oven = quickly_learnt(tmp_path)
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
    """Relay and contactor conduct permanently: without --idle the command would end with the run, and the warning would
    stop."""
    (tmp_path / "faults.yaml").write_text(
        "faults:\n  - {kind: contactor welded, at: 2 min}\n  - {kind: relay shorted, at: 2 min}\n"
    )
    p = process(str(CURE), "--speed", "200", "--confirm", "--quiet", "--faults", str(tmp_path / "faults.yaml"))
    answered(tmp_path, lambda a: a["outcome"] == "tripped" and not a["running"] and a["danger"])
    assert p.poll() is None
    p.send_signal(signal.SIGINT)
    out, err = p.communicate(timeout=30)
    assert err.count(f"DANGER: {DANGER}") >= 3 and "DANGER at" in out and p.returncode == 3
