"""Old records make room: the oldest first, and nothing that is not ours, new, or in use."""

import os

import pytest

from kilnctl import KilnctlError
from kilnctl.record.journal import JournalFile
from kilnctl.record.retention import clear_old


def record(place, name, age, size=1000):
    folder = place / name
    folder.mkdir()
    (folder / "run.json").write_text("{}")
    (folder / "samples.csv").write_bytes(bytes(size - 2))
    for path in folder.iterdir():
        os.utime(path, (1_000_000 - age, 1_000_000 - age))
    return folder


def names(place):
    return sorted(p.name for p in place.iterdir())


def test_the_oldest_go_until_the_rest_fits(tmp_path):
    for i in range(5):
        record(tmp_path, f"run-{i}", age=i)
    cleared = clear_old(tmp_path, 3500)
    assert cleared.removed == ("run-4", "run-3") and names(tmp_path) == ["run-0", "run-1", "run-2"]
    assert (cleared.freed_bytes, cleared.left_bytes, cleared.kept_back) == (2000, 3000, ())
    assert clear_old(tmp_path, 3500).removed == ()


def test_the_newest_stay_whatever_their_size(tmp_path):
    for i in range(4):
        record(tmp_path, f"run-{i}", age=i)
    assert clear_old(tmp_path, 0, keep_runs=2).left_bytes == 2000
    assert names(tmp_path) == ["run-0", "run-1"]


def test_what_is_not_a_record_of_ours_is_left_alone(tmp_path):
    record(tmp_path, "run", age=0)
    record(tmp_path, "older", age=9)
    (tmp_path / "photographs").mkdir()
    (tmp_path / "photographs" / "gate.jpg").write_bytes(bytes(5000))
    (tmp_path / "notes.txt").write_text("x")
    (tmp_path / "link").symlink_to(tmp_path / "older")
    assert clear_old(tmp_path, 0).removed == ("older",)
    assert names(tmp_path) == ["link", "notes.txt", "photographs", "run"]


def test_a_run_in_progress_is_kept_back(tmp_path):
    journal = JournalFile(record(tmp_path, "going-on", age=5))
    os.utime(journal.path, (0, 0))
    record(tmp_path, "newer", age=1)
    assert clear_old(tmp_path, 0).kept_back == ("going-on: it is being written",)
    journal.close()
    assert clear_old(tmp_path, 0).removed == ("going-on",) and names(tmp_path) == ["newer"]


def test_a_half_removed_run_goes_next_time(tmp_path):
    record(tmp_path, ".going-run-1", age=3)
    record(tmp_path, "run-2", age=1)
    assert clear_old(tmp_path, 10_000).removed == () and names(tmp_path) == ["run-2"]


def test_what_cannot_be_done_is_told(tmp_path, monkeypatch):
    with pytest.raises(KilnctlError, match="cannot be read"):
        clear_old(tmp_path / "none", 0)
    for keep_bytes, keep_runs in ((-1, 1), (0, 0)):
        with pytest.raises(ValueError, match="at least"):
            clear_old(tmp_path, keep_bytes, keep_runs=keep_runs)
    record(tmp_path, "a", age=2)
    record(tmp_path, "b", age=1)

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "rename", refuse)
    assert clear_old(tmp_path, 0).kept_back == ("a: Permission denied",) and names(tmp_path) == ["a", "b"]
