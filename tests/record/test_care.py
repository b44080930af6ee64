"""The tests that come round: SAFETY.md's own rows, days counted to the day, nothing lost by a damaged line."""

import datetime
import re
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.errors import KilnctlError
from kilnctl.record import care
from kilnctl.record.care import CareDone

ROOT = Path(__file__).resolve().parents[2]
OVEN = str(ROOT / "configs/ovens/brick-kiln.yaml")
TODAY = datetime.date(2026, 3, 31)


def ago(days):
    return (TODAY - datetime.timedelta(days=days)).isoformat()


def of(name, done):
    return next(d for d in care.due(tuple(done), TODAY) if d.test.name == name)


def test_every_test_and_its_interval_stands_in_safety_md():
    rows = re.findall(r"^\| every ([^|]+)\| ([^|]+) \|$", (ROOT / "SAFETY.md").read_text(encoding="utf-8"), re.M)
    said = {}
    for when, what in rows:
        days = {"month": 31, "three months": 92, "year": 366}.get(when.split(",")[0].strip())
        said[days] = what.lower()
    words = {"guided test": "guided", "insulation resistance": "insulation", "terminals and lining": "lining",
             "thermocouples": "thermocouple", "earth connections": "earth connections"}  # fmt: skip
    for test in care.TESTS:
        assert words.get(test.name, test.name) in said[test.every_days], test.name


def test_what_was_never_noted_is_due():
    assert all(d.now and d.days is None for d in care.due((), TODAY))


@pytest.mark.parametrize("days, left, now", [(0, 31, False), (30, 1, False), (31, 0, True), (40, -9, True)])
def test_days_count_from_the_last_time(days, left, now):
    d = of("limiter", [CareDone("limiter", ago(300), "A", ""), CareDone("limiter", ago(days), "B", "")])
    assert (d.days, d.now) == (left, now) and d.last is not None and d.last.by == "B"


def test_one_not_passed_is_due_until_it_is_passed():
    failed = CareDone("limiter", ago(2), "A", "it did not open", passed=False)
    assert of("limiter", [failed]).now
    assert not of("limiter", [failed, CareDone("limiter", ago(1), "A", "opened at 262 °C")]).now


def test_a_day_in_the_future_counts_as_today():
    assert of("limiter", [CareDone("limiter", "2031-01-01", "A", "")]).days == 31


def test_what_is_noted_is_read_back_and_a_damaged_line_costs_itself_alone(tmp_path):
    first, second = CareDone("limiter", "2026-01-02", "Ä", "öffnet"), CareDone("uniformity", "2026-01-03", "B", "±4 K")
    care.add(tmp_path / "new" / "home", first)
    with open(tmp_path / "new" / "home" / care.FILE_NAME, "ab") as file:
        file.write(b'{"test": "limiter", "day": "yesterday", "by": "x", "result": ""}\n\xff\xfe{torn\n[]\n')
    care.add(tmp_path / "new" / "home", second)
    done, problems = care.read_log(tmp_path / "new" / "home")
    assert done == (first, second) and [p.split(":")[1] for p in problems] == ["2", "3", "4"]


@pytest.mark.parametrize(
    "done",
    [
        CareDone("lunch", "2026-01-01", "A", ""),
        CareDone("limiter", "2026-01-01", " ", ""),
        CareDone("limiter", "2026-01-01", "A", "x" * 500),
    ],
)
def test_what_cannot_be_noted(tmp_path, done):
    with pytest.raises(KilnctlError):
        care.add(tmp_path, done)
    assert not (tmp_path / care.FILE_NAME).exists()


def test_the_command_from_all_due_to_none(tmp_path, capsys):
    home = ["--home", str(tmp_path)]
    assert main(["due", OVEN, *home]) == 1
    said = capsys.readouterr().out
    assert f"{len(care.TESTS)} of {len(care.TESTS)} tests are due" in said and "turned below" in said
    for name in care.NAMES:
        main(["due", OVEN, *home, "--done", name, "--by", "M. Marsh", "--result", "as it should"])
    capsys.readouterr()
    assert main(["due", OVEN, *home, "--all"]) == 0
    said = capsys.readouterr().out
    assert "no test is due" in said and said.count("as it should") == len(care.NAMES)
    assert main(["due", OVEN, *home, "--done", "limiter", "--by", "M. Marsh", "--failed"]) == 1
    assert "NOT PASSED" in capsys.readouterr().out


@pytest.mark.parametrize(
    "more, words",
    [
        (["--by", "x"], "go with --done"),
        (["--done", "limiter"], "--by NAME"),
        (["--done", "limiter", "--by", "x", "--on", "March"], "no date"),
        (["--done", "limiter", "--by", "x", "--on", "2999-01-01"], "not come yet"),
        (["--done", "dinner", "--by", "x"], "none of the tests"),
    ],
)
def test_the_command_refuses_in_a_sentence(tmp_path, capsys, more, words):
    assert main(["due", OVEN, "--home", str(tmp_path), *more]) == 2
    assert words in capsys.readouterr().err


def test_an_earlier_day_may_be_noted(tmp_path, capsys):
    main(["due", OVEN, "--home", str(tmp_path), "--done", "uniformity", "--by", "A", "--on", "2020-01-31"])
    assert "last 2020-01-31 by A" in capsys.readouterr().out


@pytest.mark.parametrize(
    "ago_days, words", [(40, "9 days overdue"), (32, "1 day overdue"), (31, "due today"), (30, "due in 1 day")]
)
def test_the_command_says_since_when_and_for_how_long(tmp_path, capsys, ago_days, words):
    on = (datetime.date.today() - datetime.timedelta(days=ago_days)).isoformat()
    main(["due", OVEN, "--home", str(tmp_path), "--done", "limiter", "--by", "A", "--on", on])
    line = next(x for x in capsys.readouterr().out.splitlines() if "limiter  " in x)
    assert line.split("  ")[0].strip() == words
