"""Notes of runs from which nothing was learned."""

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.record.kept_aside import FILE_NAME, MOST, KeptAside, note_kept_aside, read_kept_aside


def test_notes_are_read_back_in_order_and_the_last_ones_stay(tmp_path):
    assert read_kept_aside(tmp_path / "h") == ()
    for i in range(MOST + 3):
        note_kept_aside(tmp_path / "h", f"runs/{i}", "it had a trip", float(i))
    notes = read_kept_aside(tmp_path / "h")
    assert len(notes) == MOST and notes[-1] == KeptAside(f"runs/{MOST + 2}", "it had a trip", MOST + 2.0)


@pytest.mark.parametrize("damage", ["", "{", "3", '["x"]', '[{"run": "a"}]', '[{"run": 1, "why": 2, "at_s": "x"}]'])
def test_a_damaged_file_gives_no_notes_and_takes_new_ones(tmp_path, damage):
    (tmp_path / FILE_NAME).write_text(damage)
    assert read_kept_aside(tmp_path) == ()
    note_kept_aside(tmp_path, "runs/1", "why", 1.0)
    assert [n.run for n in read_kept_aside(tmp_path)] == ["runs/1"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(KilnctlError, match="cannot be written"):
        note_kept_aside(tmp_path / "file" / "h", "runs/1", "why", 1.0)
