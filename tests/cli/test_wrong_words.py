"""Slips of a newcomer: a wrong command, a wrong option, a file where a folder belongs. Each gets an answer that
helps, and status 2."""

import os

import pytest

CABINET, DRY = "configs/ovens/curing-cabinet.yaml", "configs/schedules/dry.yaml"


@pytest.mark.parametrize(
    "words, told",
    [
        (("sze", CABINET), "there is no command 'sze'; did you mean size?"),
        (("xyzzy",), "there is no command 'xyzzy'\nnext: kilnctl --help"),
        (
            ("rehearse", CABINET, DRY, "--quite"),
            "rehearse: error: --quite: not known here; did you mean --quiet?",
        ),
        (("doctor", CABINET, "--zzz"), "kilnctl doctor: error: --zzz: not known here; see kilnctl doctor --help"),
        (("size", CABINET, "--kwh", "0,32"), "--kwh: '0,32' is not a number: write a decimal point"),
        (("export", "runs", "x.csv", "--every", "10 s"), "--every: '10 s' is not a number"),
        (("safety", "page"), "kilnctl safety: error: page: not known here"),
    ],
)
def test_a_wrong_word_is_answered_with_the_nearest_right_one(here, words, told):
    done = here(*words)
    assert done.returncode == 2 and told in done.stderr and done.stdout == ""


@pytest.mark.parametrize("command", [("report",), ("history",), ("export",), ("examples",), ("survey",), ("accuracy",)])
def test_a_file_where_a_folder_belongs_is_called_a_file(here, tmp_path, command):
    file = tmp_path / "words.txt"
    file.write_text("words\n", encoding="utf-8")
    more = {"export": ("table.csv",), "survey": (file,), "accuracy": (file,)}.get(command[0], ())
    done = here(*command, file, *more)
    assert done.returncode == 2 and f"{file}: this is a file" in done.stderr


@pytest.mark.parametrize("content", [b"", b"\x00\xff\xfe\x01" * 40, b"oven: x\n\tchamber: 3\n", b"[]\n", b"words\n"])
@pytest.mark.parametrize("command", [("doctor",), ("notify", CABINET), ("due",), ("check",), ("check", CABINET)])
def test_a_file_that_is_no_yaml_is_refused_at_its_place(here, tmp_path, command, content):
    file = tmp_path / "file.yaml"
    file.write_bytes(content)
    for path in (file, tmp_path, tmp_path / "none.yaml"):
        done = here(*command, path, *(("--test",) if command[0] == "notify" else ()))
        assert done.returncode == 2 and done.stderr.startswith(str(path)), done.stderr


def test_a_folder_that_must_not_be_looked_into_is_no_fault_of_the_program(here, tmp_path, monkeypatch):
    """`export`, `new` and `doctor` called it one. The tests may run as a user whom nothing is forbidden."""
    stat = os.stat

    def forbidden(path, *args, **more):
        if "shut" in str(path) and not str(path).endswith("shut"):
            raise PermissionError(13, "Permission denied", str(path))
        return stat(path, *args, **more)

    (tmp_path / "shut").mkdir()
    monkeypatch.setattr(os, "stat", forbidden)
    for words in (("new", tmp_path / "shut" / "x.yaml", "--defaults"), ("export", tmp_path / "shut", "x.csv")):
        done = here(*words)
        assert done.returncode == 2 and "Permission denied; may this user" in done.stderr
    assert here("doctor", CABINET, "--home", tmp_path / "shut" / "x", "--out", tmp_path).returncode in (0, 1)


def test_an_assumed_share_is_told_in_per_cent(here, tmp_path):
    (tmp_path / "oven.yaml").write_text(THREE_PHASE, encoding="utf-8")
    done = here("check", tmp_path / "oven.yaml")
    assert "assumed supply.tolerance: 10 % (" in done.stdout and "assumed chamber.emissivity: 0.85 (" in done.stdout
    assert "1 group does not load three lines alike" in done.stdout
    # What is wrong in the wiring is no good answer.
    assert done.stdout.startswith("DANGER") and done.returncode == 1


THREE_PHASE = """oven: Long cabinet
chamber: {width: 1.2 m, depth: 2 m, height: 1.2 m, opening: front}
walls:
  sides: [{material: steel, thickness: 1 mm}, {material: mineral wool 100, thickness: 150 mm}]
fan: {power: 370 W, air speed: 3 m/s}
elements: {power: 18 kW, alloy: nickel-chromium}
supply: {voltage: 400 V, connection: star, frequency: 50 Hz, breaker: 32 A, cable area: 6 mm², cable length: 15 m}
sensors: {control: {type: K, lag: 10 s, dead time: 3 s}}
limits: {highest: 230 °C, limiter: 260 °C}
"""
