"""`kilnctl board` on the stand-in: firmware, state, clearing; the guided test's own proof that the board switches
off."""

import time
from pathlib import Path

import pytest

from kilnctl import cli
from kilnctl.firmware import logic
from kilnctl.rig.line import ARM, Line, setup

ROOT = Path(__file__).parents[2]
CABINET = str(ROOT / "configs" / "ovens" / "curing-cabinet.yaml")


@pytest.fixture(scope="module")
def port(new_board):
    return new_board()[1]


def test_copies_every_file_that_the_board_imports(tmp_path, capsys):
    assert cli.main(["board", CABINET, "--copy", str(tmp_path)]) == 0
    there = {p.name for p in tmp_path.iterdir()}
    assert there == {p.name for p in (ROOT / "kilnctl" / "firmware").glob("*.py")} - {"__init__.py"}
    assert (tmp_path / "main.py").read_text() == (ROOT / "kilnctl" / "firmware" / "main.py").read_text()
    assert "mains frequency" in capsys.readouterr().out
    assert cli.main(["board", CABINET, "--copy", str(tmp_path / "nowhere")]) == 2


def test_prints_one_file(capsys):
    assert cli.main(["board", CABINET, "--print", "frames.py"]) == 0
    assert "def crc24" in capsys.readouterr().out


def test_shows_the_state_and_clears_only_what_is_gone(port, capsys):
    assert cli.main(["board", CABINET, "--port", port]) == 0
    said = capsys.readouterr().out
    assert (
        "state     safe" in said
        and "mains     50 Hz" in said
        and "supply 2" in said
        and "ceiling   not set yet" in said
        and "control   " in said
    )
    line = Line(port)
    # On a busy machine an answer may come late, and a reading may be too old for the board to arm: ask until it says
    # that it is armed.
    until, answer = time.monotonic() + 20.0, None
    while answer is None or answer.state != logic.ARMED:
        assert time.monotonic() < until, answer
        line.ask(setup(280), 2.0)
        answer = line.ask(ARM, 2.0)
    line.close()
    # The armed board is no longer spoken to.
    time.sleep(0.7)
    assert cli.main(["board", CABINET, "--port", port]) == 1
    assert "nobody spoke to it" in capsys.readouterr().out
    assert cli.main(["board", CABINET, "--port", port, "--clear"]) == 0
    assert "cleared; the board is safe" in capsys.readouterr().out
    assert cli.main(["board", CABINET, "--port", port]) == 0


def test_a_port_that_is_not_there_is_said(capsys):
    assert cli.main(["board", CABINET, "--port", "/dev/nothing"]) == 2
    assert "/dev/nothing" in capsys.readouterr().err
    assert cli.main(["board", CABINET]) == 2
    assert "by-id" in capsys.readouterr().err
