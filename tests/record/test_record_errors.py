"""What a user is told when a record cannot be written or read: one sentence naming the file, no traceback."""

import errno
import json
import os
import threading

import numpy as np
import pytest

from kilnctl import KilnctlError
from kilnctl.record.columns import COLUMNS, NAMES
from kilnctl.record.folder import Begun, SampleWriter, begin, new_folder, write_samples
from kilnctl.record.journal import JournalFile, read_journal
from kilnctl.record.recorder import Recorder
from kilnctl.record.run_record import read_run
from kilnctl.report.finishing import finish
from kilnctl.run.summary import summarise
from tests.record.made_runs import OVEN, SCHEDULE, made, saved

ROW = tuple("" if c.name == "reason" else 1.0 for c in COLUMNS)


def full_disk(path):
    """A file on a disk without room."""
    path.symlink_to("/dev/full")


def test_samples_on_a_full_disk(tmp_path):
    full_disk(tmp_path / "samples.csv")
    writer = SampleWriter(tmp_path)
    with pytest.raises(KilnctlError, match=r"samples\.csv: cannot be written: No space left on device; what was"):
        for _ in range(5000):
            writer(ROW)
    writer.close()


def test_places_where_nothing_can_be_written(tmp_path):
    with pytest.raises(KilnctlError, match=r"samples\.csv: cannot be written: No such file"):
        SampleWriter(tmp_path / "none")
    with pytest.raises(KilnctlError, match=r"oven\.yaml: cannot be written: No such file"):
        begin(tmp_path / "none", Begun(OVEN, SCHEDULE))
    run = made()
    full_disk(tmp_path / "events.csv")
    with pytest.raises(KilnctlError, match=r"events\.csv: cannot be written: No space"):
        finish(tmp_path, run, summarise(run))
    # What could be written is a readable record all the same.
    (tmp_path / "events.csv").unlink()
    assert read_run(tmp_path).outcome == "unfinished"


def test_a_name_is_never_used_twice(tmp_path):
    assert [new_folder(tmp_path, "Oven", "Cure").name for _ in range(3)] == [
        "oven-cure",
        "oven-cure-2",
        "oven-cure-3",
    ]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("run.json", b'{"a": "\xff\xfe"}', r"run\.json: not a run\.json of ours"),
        ("events.csv", b"time_s,kind,text\n1.0,step\n", r"events\.csv:2: not an event"),
        ("events.csv", b"time_s,kind,text\nsoon,step,x\n", r"events\.csv:2: not an event"),
        ("events.csv", b"", r"events\.csv:1: it is empty"),
        ("samples.csv", b"time_s,time_s\n1,1\n", "two columns of one name"),
    ],
)
def test_files_of_a_record_that_are_not_ours(tmp_path, name, content, said):
    folder = saved(tmp_path)
    (folder / name).write_bytes(content)
    with pytest.raises(KilnctlError, match=said):
        read_run(folder)


def test_files_that_cannot_be_opened(tmp_path):
    for name in ("run.json", "samples.csv"):
        folder = saved(tmp_path)
        (folder / name).rename(folder / "away")
        (folder / name).mkdir()
        with pytest.raises(KilnctlError, match=rf"{name}: cannot be read: Is a directory|neither samples"):
            read_run(folder)
    with pytest.raises(KilnctlError, match=r"j\.log: cannot be read: No such file"):
        read_journal(tmp_path / "j.log")


def test_a_record_that_does_not_say_what_was_run(tmp_path):
    write_samples(tmp_path, made())
    with pytest.raises(KilnctlError, match="which oven this was"):
        read_run(tmp_path)
    (tmp_path / "run.json").write_text(json.dumps({"oven": {"name": "O"}}))
    with pytest.raises(KilnctlError, match="what was run"):
        read_run(tmp_path)
    for steps in (
        {"name": "s"},
        {"name": "s", "steps": [{"too": 1}]},
        {"name": "s", "steps": [{"to_c": 50.0}], "odd": 1},
    ):
        (tmp_path / "run.json").write_text(json.dumps({"oven": {"name": "O"}, "steps": steps}))
        with pytest.raises(KilnctlError, match="its steps are not ours"):
            read_run(tmp_path)


def test_old_and_foreign_columns(tmp_path):
    """A record with fewer columns is read with NaN in the others; one with more keeps them."""
    folder = saved(tmp_path)
    lines = (folder / "samples.csv").read_text().splitlines()
    keep = [NAMES.index(n) for n in ("time_s", "chamber_c", "fired")]
    cut = [
        ",".join(line.split(",")[i] for i in keep) + (",humidity" if i == 0 else ",0.5") for i, line in enumerate(lines)
    ]
    (folder / "samples.csv").write_text("\n".join(cut) + "\n")
    back = read_run(folder)
    assert np.isnan(back.supply_v).all() and len(back.reason) == len(back.time_s) and set(back.humidity) == {0.5}
    assert np.isfinite(back.chamber_c).all()


def test_a_journal_that_is_not_ours_inside(tmp_path):
    begin(tmp_path, Begun(OVEN, SCHEDULE))
    recorder = Recorder(tmp_path)
    recorder.sample(ROW)
    recorder.close()
    file = JournalFile(tmp_path)
    file.append("columns time_s,chamber_c")
    file.close()
    with pytest.raises(KilnctlError, match=r"journal-000001\.log:3: the columns change"):
        read_run(tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    begin(other, Begun(OVEN, SCHEDULE))
    for text, said in (("step {oops", "kind 'step' that is not ours"), ("step [1]", "no mapping")):
        file = JournalFile(other)
        file.append(text)
        file.close()
        with pytest.raises(KilnctlError, match=said):
            read_run(other)
        file.path.unlink()


class Standing(JournalFile):
    """On a disk that stands still."""

    def __init__(self, folder):
        self.entered, self.gate = threading.Event(), threading.Event()
        super().__init__(folder)

    def append(self, text):
        self.entered.set()
        self.gate.wait(10.0)
        return super().append(text)


def test_a_flood_of_events_is_bounded_and_told(tmp_path):
    file = Standing(tmp_path)
    recorder = Recorder(tmp_path, file=file, queue_limit=10)
    assert file.entered.wait(5.0)
    receipts = [recorder.event("note", number=i) for i in range(50)]
    assert recorder.state().dropped == 50 - 20 and recorder.state().waiting == 20
    assert all(not r.wait(0.0) for r in receipts)
    file.gate.set()
    assert recorder.close().waiting == 0 and [r.durable for r in receipts] == [True] * 20 + [False] * 30


def test_a_disk_that_fails_for_good_is_told_and_the_end_still_comes(tmp_path, monkeypatch):
    recorder = Recorder(tmp_path)
    assert recorder.event("start").wait(5.0)

    def fail(*_):
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fdatasync", fail)
    monkeypatch.setattr(os, "open", fail)
    assert not recorder.event("trip").wait(5.0)
    state = recorder.close()
    assert (
        "Input/output error" in state.failure
        and state.waiting == 0
        and "recorder" not in {t.name for t in threading.enumerate()}
    )
    monkeypatch.undo()
    assert [e.kind for e in read_journal(tmp_path).entries][:2] == ["columns", "start"]


def test_room_of_a_folder_that_went_away_is_none(tmp_path, monkeypatch):
    recorder = Recorder(tmp_path)
    monkeypatch.setattr(os, "statvfs", lambda path: (_ for _ in ()).throw(OSError(errno.ENOENT, "gone")))
    assert recorder.event("start").wait(5.0)
    assert recorder.close().free_bytes == 0
