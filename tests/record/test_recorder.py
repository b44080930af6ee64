"""The writer's thread: the tick never waits for the disk, events are on it once acknowledged, and what is
missing is said."""

import errno
import json
import math
import os
import threading

import pytest

from kilnctl.record.columns import COLUMNS, NAMES, row_text
from kilnctl.record.journal import JournalFile, read_journal
from kilnctl.record.recorder import Recorder

ROW = tuple('so, "it"\nis' if c.name == "reason" else 1.0 / 3.0 for c in COLUMNS)


def writers() -> list[threading.Thread]:
    """The threads of recorders that are still at work."""
    return [t for t in threading.enumerate() if t.name == "recorder"]


class StubFile(JournalFile):
    """A journal on a disk that can be told to stand still, to be full, or to lose a page."""

    def __init__(self, folder):
        self.gate, self.entered, self.full, self.bad_syncs, self.syncs = (
            threading.Event(),
            threading.Event(),
            False,
            0,
            0,
        )
        self.gate.set()
        super().__init__(folder)

    @property
    def unsynced(self):
        return self._unsynced

    def append(self, text):
        if self.full:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return super().append(text)

    def sync(self):
        if not self.gate.is_set():
            self.entered.set()
        self.gate.wait(10.0)
        self.syncs += 1
        if self.bad_syncs:
            self.bad_syncs -= 1
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        super().sync()


def kinds(folder):
    return [e.kind for e in read_journal(folder).entries]


def test_samples_and_events_in_order_with_fixed_decimals(tmp_path):
    recorder = Recorder(tmp_path)
    recorder.sample(ROW)
    receipt = recorder.event("trip", time_s=12.0, fault="over-temperature", text="°C above", worst=math.nan)
    assert receipt.wait(5.0)
    # Acknowledged: a reader in another place finds it although the recorder is still open.
    assert kinds(tmp_path) == ["columns", "sample", "trip"]
    recorder.sample(ROW)
    state = recorder.close()
    entries = read_journal(tmp_path).entries
    assert entries[0].body.split(",") == list(NAMES)
    assert entries[1].body == ",".join(row_text(ROW)[:-1]) + ',"so, ""it"" is"'
    assert json.loads(entries[2].body) == {
        "time_s": 12.0,
        "fault": "over-temperature",
        "text": "°C above",
        "worst": None,
    }
    assert (
        (state.written, state.dropped, state.lost, state.waiting) == (4, 0, 0, 0)
        and state.healthy
        and not state.refusal
    )


def test_a_disk_that_stands_still_costs_samples_but_never_the_caller(tmp_path):
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file, queue_limit=50, sync_s=1000.0)
    file.gate.clear()
    stuck = recorder.event("step", time_s=0.0)
    for _ in range(200):
        recorder.sample(ROW)  # returns although nothing is written: the test would hang here if it waited
    assert file.entered.wait(5.0)
    for _ in range(200):
        recorder.sample(ROW)
    kept = [recorder.event("trip", number=i) for i in range(20)]
    state = recorder.state()
    assert state.dropped >= 150 and state.waiting <= 100 and not stuck.durable
    file.gate.set()
    assert all(r.wait(5.0) for r in [stuck, *kept])
    final = recorder.close()
    entries = read_journal(tmp_path).entries
    lost = sum(json.loads(e.body)["records"] for e in entries if e.kind == "lost")
    assert lost == final.dropped
    assert sum(e.kind == "sample" for e in entries) + lost == 400
    assert [json.loads(e.body)["number"] for e in entries if e.kind == "trip"] == list(range(20))


def test_stalling_is_told_by_the_clock(tmp_path):
    now = [0.0]
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file, clock=lambda: now[0])
    assert recorder.event("step").wait(5.0)
    file.gate.clear()
    recorder.event("step")
    assert file.entered.wait(5.0)
    assert recorder.state().healthy
    now[0] = 42.0
    assert not recorder.state().healthy and "42 s" in recorder.state().refusal
    file.gate.set()
    state = recorder.close()
    assert state.healthy and state.slowest_s == 42.0


def test_a_full_disk_is_told_and_the_gap_is_in_the_journal(tmp_path):
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file)
    assert recorder.event("start").wait(5.0)
    file.full = True
    refused = [recorder.event("step"), recorder.event("step")]
    assert not any(r.wait(5.0) for r in refused)
    state = recorder.state()
    assert (
        not state.healthy and "No space left" in state.failure and "No space left" in state.refusal and state.lost == 2
    )
    file.full = False
    assert recorder.event("trip").wait(5.0)
    assert recorder.state().healthy
    recorder.close()
    assert kinds(tmp_path) == ["columns", "start", "lost", "trip"]
    assert read_journal(tmp_path).entries[2].body == '{"records": 2}' and read_journal(tmp_path).missing == 0


def test_a_failed_sync_is_made_good_in_a_new_file(tmp_path):
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file)
    file.bad_syncs = 1
    assert recorder.event("start").wait(5.0)
    recorder.close()
    assert kinds(tmp_path) == ["columns", "start"] and file.number == 2


def test_a_lasting_sync_failure_is_never_acknowledged(tmp_path):
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file)
    assert recorder.event("start").wait(5.0)
    file.bad_syncs = 10**6
    receipt = recorder.event("trip")
    assert not receipt.wait(5.0) and recorder.state().refusal
    file.bad_syncs = 0
    assert recorder.event("stop").wait(5.0) and recorder.state().healthy
    recorder.close()
    assert kinds(tmp_path) == ["columns", "start", "trip", "stop"]


def test_a_record_that_cannot_be_written_down_does_not_end_the_recording(tmp_path):
    recorder = Recorder(tmp_path)
    assert not recorder.event("note", what=object()).wait(5.0)
    assert "could not be written down" in recorder.state().failure
    assert recorder.event("note", what="fine").wait(5.0)
    assert recorder.close().healthy
    assert kinds(tmp_path) == ["columns", "lost", "note"]


def test_a_disk_that_never_answers_does_not_hold_up_the_end(tmp_path):
    file = StubFile(tmp_path)
    recorder = Recorder(tmp_path, file=file)
    file.gate.clear()
    recorder.event("stop")
    state = recorder.close(timeout_s=0.05)
    assert state.stalled_s > 0.0 or state.waiting
    file.gate.set()
    recorder.close(timeout_s=5.0)
    assert not writers()


def test_samples_alone_are_synced_in_time(tmp_path):
    recorder = Recorder(tmp_path, file=(file := StubFile(tmp_path)), sync_s=0.01)
    recorder.sample(ROW)
    deadline = threading.Event()
    for _ in range(500):
        if file.syncs and not file.unsynced:
            break
        deadline.wait(0.01)
    assert file.syncs and not file.unsynced
    recorder.close()


def test_little_room_refuses_new_starts(tmp_path, monkeypatch):
    real = os.statvfs(tmp_path)
    monkeypatch.setattr(
        os,
        "statvfs",
        lambda path: os.statvfs_result((real.f_bsize, real.f_frsize, 100, 1, 1, 1, 1, 1, 0, 255)),
    )
    recorder = Recorder(tmp_path)
    assert recorder.event("start").wait(5.0)
    assert recorder.state().healthy and "MB are free" in recorder.close().refusal


def test_a_row_of_the_wrong_length_is_no_sample():
    with pytest.raises(ValueError):
        row_text((1.0, 2.0))
