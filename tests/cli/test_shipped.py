"""What comes along with kilnctl and is no code, and what describes the command line and the computer."""

import subprocess
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.commands.command_line import COMMANDS
from kilnctl.service import computer
from kilnctl.settings.equipment import Pins, Rig

ROOT = Path(__file__).resolve().parents[2]


def test_the_examples_are_those_of_the_workshop_and_overwrite_nothing(tmp_path, capsys):
    mine = tmp_path / "ovens" / "brick-kiln.yaml"
    mine.parent.mkdir()
    mine.write_text("mine")
    assert main(["examples", str(tmp_path)]) == 0
    there = {p.relative_to(ROOT / "configs") for p in (ROOT / "configs").rglob("*.yaml")}
    assert {p.relative_to(tmp_path) for p in tmp_path.rglob("*.yaml")} == there
    assert mine.read_text() == "mine" and "1 were there" in capsys.readouterr().out
    assert main(["check", str(tmp_path / "ovens/curing-cabinet.yaml")]) == 0


def test_examples_into_what_is_no_folder(tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["examples", str(tmp_path / "file")]) == 2
    assert "this is a file; name a folder" in capsys.readouterr().err


def test_safety_is_printed_whole_or_by_its_place(capsys):
    assert main(["safety"]) == 0
    assert capsys.readouterr().out == (ROOT / "SAFETY.md").read_text(encoding="utf-8")
    assert main(["safety", "--where"]) == 0
    assert Path(capsys.readouterr().out.strip()) == ROOT / "SAFETY.md"


def test_the_completion_knows_every_command_and_its_options(tmp_path, capsys):
    assert main(["completion", "bash"]) == 0
    script = capsys.readouterr().out
    assert all(command in script for command in COMMANDS) and "--draws" in script
    (tmp_path / "c.bash").write_text(script)
    said = subprocess.run(["bash", "-n", str(tmp_path / "c.bash")], capture_output=True, text=True)
    assert said.returncode == 0, said.stderr


def test_a_healthy_computer_has_nothing_to_mend(tmp_path, capsys):
    arguments = [
        "doctor",
        str(ROOT / "configs/ovens/curing-cabinet.yaml"),
        "--home",
        str(tmp_path),
        "--out",
        str(tmp_path),
    ]
    assert main(arguments) == 0
    said = capsys.readouterr().out
    assert "numpy" in said and "folder of state" in said and "nothing here stands in the way" in said


def test_a_path_too_long_for_a_socket_is_told(tmp_path, capsys):
    arguments = ["doctor", str(ROOT / "configs/ovens/curing-cabinet.yaml"), "--home", str(tmp_path / ("x" * 100))]
    assert main(arguments) == 1
    assert "a --home with a shorter path" in capsys.readouterr().out


@pytest.mark.parametrize("bytes_, grade", [(107, computer.GOOD), (108, computer.WRONG)])
def test_the_longest_path_of_a_socket_is_linux_s(bytes_, grade):
    """unix(7): sun_path has 108 bytes, the last of them zero."""
    assert computer.path_of_socket(Path("/" + "s" * (bytes_ - 1))).grade == grade


@pytest.mark.parametrize(
    "wish, grade, words",
    [
        ("numpy>=1.26", computer.GOOD, ""),
        ("numpy>=99.0", computer.WRONG, "the oldest that serves"),
        ("no-such-package>=1", computer.WRONG, "is not installed"),
    ],
)
def test_packages_against_what_is_declared(wish, grade, words):
    found = computer.package(wish)
    assert (
        found is not None
        and found.grade == grade
        and words in found.seen
        and bool(found.remedy) == (grade != computer.GOOD)
    )


def test_versions_old_pythons_and_other_forms():
    assert computer.python((3, 10, 9)).grade == computer.WRONG and computer.python((3, 11, 0)).grade == computer.GOOD
    assert computer.package("numpy") is None


def test_ports_and_pins(tmp_path):
    assert "is not there" in computer.port(str(tmp_path / "tty")).seen
    (tmp_path / "tty").touch()
    assert computer.port(str(tmp_path / "tty")).grade == computer.GOOD
    assert computer.pins(tmp_path).grade == computer.WRONG
    (tmp_path / "gpiochip0").touch()
    assert computer.pins(tmp_path).seen == "gpiochip0"
    found = computer.examine(Rig(kind="board", port=str(tmp_path / "none")), tmp_path, tmp_path / "s", tmp_path)
    assert found[-1].about == "board's port" and found[-1].grade == computer.WRONG
    wired = Rig(kind="pins", pins=Pins(relays=(1,), coil=2))
    assert computer.examine(wired, tmp_path, tmp_path / "s", tmp_path)[-1].about == "pins"


def test_a_folder_that_cannot_be_written(tmp_path):
    (tmp_path / "file").touch()
    found = computer.folder("state", tmp_path / "file" / "x")
    assert found.grade == computer.WRONG and "cannot be written" in found.seen
