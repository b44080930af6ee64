"""Notes on runs: kept, replaced, removed, never more than there is room for, never a fault by a damaged file."""

import json
import threading

import pytest

from kilnctl import KilnctlError
from kilnctl.panel import run_notes as module
from kilnctl.panel.run_notes import LONGEST, Notes


def test_a_note_is_kept_replaced_and_removed(tmp_path):
    notes = Notes(tmp_path / "notes.json")
    assert notes.every() == {}
    notes.keep("a", "  hinges, ½ coat \n")
    notes.keep("b", "door seal new")
    assert Notes(tmp_path / "notes.json").every() == {"a": "hinges, ½ coat", "b": "door seal new"}
    notes.keep("a", "again")
    notes.keep("b", "   ")
    assert notes.every() == {"a": "again"}


def test_too_long_a_note_is_refused_and_the_old_one_stays(tmp_path):
    notes = Notes(tmp_path / "notes.json")
    notes.keep("a", "x" * LONGEST)
    with pytest.raises(KilnctlError, match=f"{LONGEST} characters at most; this one has {LONGEST + 1}"):
        notes.keep("a", "y" * (LONGEST + 1))
    assert notes.every()["a"] == "x" * LONGEST


def test_the_oldest_notes_make_room(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "MOST", 3)
    notes = Notes(tmp_path / "notes.json")
    for name in "abcde":
        notes.keep(name, name)
    notes.keep("c", "newest")
    assert notes.every() == {"d": "d", "e": "e", "c": "newest"}


@pytest.mark.parametrize("damaged", ["", "{", "[1]", '"x"', "\xff"])
def test_a_damaged_file_is_no_fault_and_the_next_note_is_kept(tmp_path, damaged):
    (tmp_path / "notes.json").write_bytes(damaged.encode("latin-1"))
    notes = Notes(tmp_path / "notes.json")
    assert notes.every() == {}
    notes.keep("a", "b")
    assert json.loads((tmp_path / "notes.json").read_bytes()) == {"a": "b"}


def test_a_folder_that_takes_no_file_is_told(tmp_path):
    with pytest.raises(KilnctlError, match="cannot be kept"):
        Notes(tmp_path / "missing" / "notes.json").keep("a", "b")


def test_notes_of_many_at_once_are_all_kept(tmp_path):
    notes = Notes(tmp_path / "notes.json")
    threads = [threading.Thread(target=notes.keep, args=(str(i), "n")) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(notes.every()) == 8
