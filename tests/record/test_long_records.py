"""Records of weeks: reading one takes little memory, and gives the very numbers that were written."""

import errno
import json
import math
import os
import tracemalloc
from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl.record.compact import BLOCK, CompactColumns
from kilnctl.record.journal import JournalFile, line_of, parse_line, read_journal, segments
from kilnctl.record.recorder import Recorder

#: As written with three decimals, and what cannot be written so.
VALUES = st.one_of(
    st.integers(-(10**6), 2 * 10**6).map(lambda n: float(f"{n / 1000:.3f}")),
    st.just(math.nan),
    st.just(-0.0),
    st.floats(-1e9, 1e9),
)


@given(st.lists(st.lists(VALUES, min_size=1, max_size=20), max_size=4))
@settings(deadline=None)
def test_every_value_comes_back_as_the_number_that_it_was(blocks):
    data = CompactColumns(["time_s", "chamber_c", "another", "reason"])
    for block in blocks:
        values = np.array(block)
        data.add(dict.fromkeys(("time_s", "chamber_c", "another"), values), [f"why {v}" for v in block])
    wanted = np.concatenate([np.array(b) for b in blocks]) if blocks else np.empty(0)
    for name in ("time_s", "chamber_c", "another"):
        assert np.array_equal(data[name], wanted, equal_nan=True)
        assert np.array_equal(np.signbit(data[name]), np.signbit(wanted))
    assert list(data["reason"]) == [f"why {v}" for b in blocks for v in b]
    assert np.isnan(data["power_w"]).all() and len(data["power_w"]) == len(wanted) == data.count


def test_a_column_takes_a_few_bytes_a_row():
    """It was 2,200 bytes a row of 24 columns: 8 MB an hour."""
    rng = np.random.default_rng(1)
    data = CompactColumns(["time_s", "chamber_c"])
    tracemalloc.start()
    for k in range(20):
        time_s = np.arange(k * BLOCK, (k + 1) * BLOCK, dtype=float)
        chamber = np.round(200.0 + np.sin(time_s / 3000.0) + 0.05 * rng.standard_normal(BLOCK), 3)
        data.add({"time_s": time_s, "chamber_c": chamber}, None)
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept / (20 * BLOCK) < 6.0


@pytest.mark.parametrize("sequence", [1, 9, 10**17])
@pytest.mark.parametrize("text", ["sample 1.0,2.0", "x", "", "a  b", "µ °C"])
def test_a_line_is_read_as_it_was_written_and_no_other(sequence, text):
    line = line_of(sequence, text)[:-1]
    assert parse_line(line) == (sequence, text)
    for wrong in (
        line.upper() if line != line.upper() else line + b" ",
        b"0" + line,
        line[:-1],
        b" " + line,
        b"+" + line,
    ):
        assert parse_line(wrong) is None


class Disk:
    """It can go away (what is written never gets there, and no new file can be opened), or have room for so many more
    records."""

    def __init__(self, monkeypatch):
        self.away, self.room = False, math.inf
        for call in ("open", "fdatasync", "write"):
            monkeypatch.setattr(os, call, partial(getattr(self, call), getattr(os, call)))

    def open(self, whole, path, flags, *more, **named):
        if self.away and flags & os.O_CREAT:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        return whole(path, flags, *more, **named)

    def fdatasync(self, whole, handle):
        if self.away:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        whole(handle)

    def write(self, whole, handle, data):
        self.room -= 1
        if self.room < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return whole(handle, data)


@pytest.fixture
def disk(monkeypatch):
    return Disk(monkeypatch)


def test_the_recorder_outlives_every_failed_reopen_and_says_what_is_lost(tmp_path, disk):
    """Its thread died of the second failure: nothing was recorded any more when the disk was back, every later start
    was refused, and each try had counted up the number of the segment."""
    recorder = Recorder(tmp_path, sync_s=0.01)
    assert recorder.event("start", time_s=0.0).wait(10.0)
    disk.away = True
    for k in range(8):
        assert not recorder.event("note", time_s=float(k)).wait(10.0)
    assert "Read-only" in recorder.state().failure and not recorder.closed
    lost = recorder.state().lost
    disk.away = False
    assert recorder.event("note", time_s=100.0, text="back").wait(10.0)
    state = recorder.close()
    assert recorder.closed and not state.failure
    journal = read_journal(tmp_path)
    told = sum(json.loads(e.body)["records"] for e in journal.entries if e.kind == "lost")
    assert told == lost == state.lost and 0 < lost <= 8
    kept = [e for e in journal.entries if e.kind in ("start", "note")]
    assert len(kept) + told == 10 and journal.missing == 0 and not journal.bad
    assert len(segments(tmp_path)) <= 3


def test_a_reopen_that_breaks_off_writes_everything_again_the_next_time(tmp_path, disk):
    """Half of what waited was written, the next sync went well, and the rest was forgotten without a word."""
    file = JournalFile(tmp_path)
    for k in range(6):
        file.append(f"note {k}")
    disk.room = 3
    with pytest.raises(OSError, match="space"):
        file.reopen()
    disk.room = math.inf
    for old in segments(tmp_path)[:-1]:
        old.write_bytes(b"")  # the pages that never reached the disk
    file.append("note 6")
    file.sync()
    file.close()
    assert [e.body for e in read_journal(tmp_path).entries] == [str(k) for k in range(7)]
