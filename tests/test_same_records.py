"""The lock of a rebuild sees a changed value, a renamed column and a changed summary, and nothing else."""

from pathlib import Path

import pytest

from tests.tool_modules import tool_module

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="module")
def lock():
    with tool_module("same_records") as module:
        yield module


@pytest.fixture
def kept(lock, tmp_path):
    """Makes a row from the text of its samples and its summary, its samples kept in a folder of their own."""

    def make(folder: str, text: str, summary: object):
        path = tmp_path / folder / "run.csv"
        path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
        return lock.row_of("run", path, None, summary), path.parent

    return make


def told(lock, kept, old: tuple[str, object], new: tuple[str, object]) -> list[str]:
    (a, there), (b, here) = kept("old", *old), kept("new", *new)
    return lock.differences(b, a, here, there)


def test_the_same_is_the_same(lock, kept):
    same = ("time_s,reason\n1.0,up\n", {"outcome": "finished"})
    assert told(lock, kept, same, same) == []


def test_the_largest_difference_of_a_column_is_told(lock, kept):
    found = told(lock, kept, ("t,c\n1,20.0\n2,21.0\n3,22.0\n", {}), ("t,c\n1,20.0\n2,21.5\n3,22.1\n", {}))
    assert found == ["samples: c: 2 rows differ, at most by 0.5 (row 2: 21.0 → 21.5)"]


def test_renamed_columns_and_words_are_told(lock, kept):
    found = told(lock, kept, ("t,c,why\n1,20.0,up\n", {}), ("t,chamber,why\n1,20.0,heat\n", {}))
    assert found == [
        "samples: column c is gone",
        "samples: why: 1 rows differ, first row 1: 'up' → 'heat'",
        "samples: column chamber is new",
    ]


def test_a_changed_summary_is_told_with_its_place(lock, kept):
    found = told(lock, kept, ("t\n1\n", {"a": [{"k": 1.0}]}), ("t\n1\n", {"a": [{"k": 1.5}]}))
    assert found == ["summary: a.0.k: 1.0 → 1.5"]


def test_every_failing_computer_ends_the_heat_and_the_healthy_one_does_not(lock, tmp_path):
    summary = lock.board_matrix(ROOT, tmp_path / "samples.csv", tmp_path / "answers")
    heat = {event: values["heat until, ms after the event"] for event, values in summary.items()}
    # The limits of tools/trials/board: a line that is silent 0.6 s, a loop that hangs 2.1 s.
    for event in (
        "computer killed",
        "computer frozen, then back",
        "cable pulled in a frame",
        "last request repeated",
        "every frame damaged",
    ):
        assert 0 < heat[f"{event}, 1"] <= 600 and 0 < heat[f"{event}, 3"] <= 600
    assert 0 < heat["loop hangs, 1"] <= 2100 and 0 < heat["step goes back, 3"] <= 2100
    assert heat["nothing, 1"] > 4000 and summary["nothing, 1"]["faults"] == 0
