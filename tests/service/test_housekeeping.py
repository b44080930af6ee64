"""What a run of the service leaves, and what goes to make room: whole old records, never a part of the running one."""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from kilnctl import rehearse
from kilnctl.identification.records import as_log
from kilnctl.record.columns import NAMES
from kilnctl.record.folder import Begun, begin, new_folder
from kilnctl.record.journal import read_journal, segments
from kilnctl.record.recorder import Recorder
from kilnctl.record.retention import pending
from kilnctl.record.run_record import read_run
from kilnctl.report.finishing import finish_record
from kilnctl.service import housekeeping
from tests.service.at_work import at_work, folder_of

LEFT = {"samples.csv", "events.csv", "curves.svg", "run.html", "run.json", "oven.yaml", "schedule.yaml"}


def old_record(runs, name, age_s, size=1_000_000):
    folder = runs / name
    folder.mkdir(parents=True)
    (folder / "run.json").write_text("{}")
    (folder / "samples.csv").write_bytes(bytes(size))
    for path in folder.iterdir():
        os.utime(path, (time.time() - age_s,) * 2)
    return folder


def waited(what, patience_s=60.0):
    end = time.monotonic() + patience_s
    while not (found := what()):
        assert time.monotonic() < end, "it never came"
        time.sleep(0.05)
    return found


@pytest.mark.slow
def test_room_is_made_from_the_oldest_other_records_and_the_running_one_stays_whole(
    oven, schedule, tmp_path, monkeypatch
):
    """Segments of 20 kB, and less room than the running record alone takes: it is kept from its first sample on all the
    same."""
    monkeypatch.setattr(housekeeping, "Recorder", lambda folder: Recorder(folder, segment_bytes=20_000))
    for k in range(3):
        old_record(tmp_path / "runs", f"old-{k}", 1000.0 * (3 - k))
    told = []
    with at_work(oven("curing-cabinet"), tmp_path, keep_bytes=10_000, tell=told.append) as person:
        assert person.start(schedule("powder-cure").file)["ok"]
        person.until(lambda s: s["run_s"] > 600.0)
        folder = folder_of(person.service)
        waited(lambda: not list((tmp_path / "runs").glob("old-*")))
        waited(lambda: len(segments(folder)) > 3)
        journal = read_journal(folder)
        assert journal.entries[0].sequence == 1 and journal.missing == 0
        assert read_run(folder).time_s[0] <= 1.0
    assert any("old-0" in words and "to make room" in words for words in told)


def test_as_many_old_records_stay_as_there_is_room_for(oven, tmp_path):
    for k in range(4):
        old_record(tmp_path / "runs", f"old-{k}", 1000.0 * (4 - k))
    with at_work(oven("curing-cabinet"), tmp_path, keep_bytes=2_500_000):
        waited(lambda: len(list((tmp_path / "runs").iterdir())) == 2)
    assert sorted(p.name for p in (tmp_path / "runs").iterdir()) == ["old-2", "old-3"]


@pytest.mark.parametrize("size", ["nan", "inf", "-1"])
def test_what_is_no_size_is_refused_in_a_sentence(here, tmp_path, size):
    root = Path(__file__).parents[2] / "configs"
    oven_file, cure = root / "ovens/curing-cabinet.yaml", root / "schedules/powder-cure.yaml"
    done = here(
        "run",
        oven_file,
        cure,
        "--rig",
        "virtual",
        f"--keep={size}",
        "--home",
        tmp_path / "home",
        "--out",
        tmp_path / "runs",
    )
    assert done.returncode == 2 and "a number of megabytes from 0" in done.stderr and not (tmp_path / "runs").exists()


def test_a_run_of_the_service_leaves_what_a_rehearsal_leaves(oven, schedule, tmp_path, here):
    with at_work(oven("curing-cabinet"), tmp_path, speed=1000.0) as person:
        assert person.start(schedule("powder-cure").file)["ok"]
        person.until(lambda s: s["run_s"] > 900.0)
        folder = folder_of(person.service)
        # While it lasts, its journal is read.
        read = here("report", folder, "--out", tmp_path / "meanwhile.html")
        assert read.returncode == 0 and "not finished" in read.stdout and not (folder / "samples.csv").exists()
        log = as_log(oven("curing-cabinet"), folder)
        assert log.time_s[0] == 1.0 and log.time_s[-1] >= 900.0 and log.load is not None
        person.ask("stop", by="test")
        waited(lambda: (folder / "run.html").exists() and not pending(folder))
    assert {p.name for p in folder.iterdir()} >= LEFT
    record = read_run(folder)
    assert record.about["summary"]["outcome"] == record.outcome == "stopped" and record.about[
        "energy_j"
    ] == pytest.approx(record.energy_j)
    assert len(as_log(oven("curing-cabinet"), folder).time_s) == len(record.time_s)
    history = here("history", tmp_path / "runs")
    assert history.returncode == 0 and "stopped" in history.stdout


def test_what_a_killed_service_left_is_finished_by_the_next_one(oven, schedule, tmp_path):
    cabinet = oven("curing-cabinet")
    folder = killed(cabinet, schedule("powder-cure"), tmp_path / "runs")
    assert pending(folder)
    with at_work(cabinet, tmp_path):
        waited(lambda: (folder / "run.html").exists() and not pending(folder))
    record = read_run(folder)
    assert record.about["outcome"] == "unfinished" and record.about["summary"]["duration_s"] == 700.0


def test_a_report_finishes_what_was_left(oven, schedule, tmp_path, here):
    folder = killed(oven("curing-cabinet"), schedule("powder-cure"), tmp_path / "runs")
    assert here("report", folder).returncode == 0
    assert (folder / "samples.csv").read_text().count("\n") == 701 and not pending(folder)


def test_a_record_that_cannot_be_finished_is_told_and_the_next_is_done(oven, schedule, tmp_path):
    good = killed(oven("curing-cabinet"), schedule("powder-cure"), tmp_path / "runs")
    bad = killed(oven("curing-cabinet"), schedule("powder-cure"), tmp_path / "runs")
    (bad / "oven.yaml").write_text("nonsense: [")
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-m", "kilnctl.report.finishing", str(bad)],
        capture_output=True,
        text=True,
        cwd=root,
        check=False,
    )
    told = done.stderr
    assert done.returncode == 2 and told.startswith(str(bad / "oven.yaml")) and "Traceback" not in told
    said = []
    house = housekeeping.Housekeeping(tmp_path / "runs", None, said.append)
    house.finish_old()
    waited(lambda: not pending(good) and said)
    house.end()
    assert len(said) == 1 and "oven.yaml" in said[0] and "kilnctl report" in said[0]
    house.finish(good)  # after the end: nothing, and no error


def test_the_end_of_the_service_does_not_wait_for_a_page(tmp_path, monkeypatch):
    children, said, popen = [], [], housekeeping.subprocess.Popen

    def slow(*arguments, **more):
        children.append(popen([sys.executable, "-c", "import time; time.sleep(600)"], **more))
        return children[-1]

    monkeypatch.setattr(housekeeping.subprocess, "Popen", slow)
    house = housekeeping.Housekeeping(tmp_path, None, said.append)
    house.finish(tmp_path)
    (child,) = waited(lambda: children)
    house.end()
    assert child.poll() is not None and not said
    assert not [t for t in threading.enumerate() if t.name == "housekeeping"]


def test_a_run_gone_on_with_after_its_page_was_made_is_finished_anew(oven, schedule, tmp_path):
    folder = killed(oven("curing-cabinet"), schedule("powder-cure"), tmp_path / "runs")
    finish_record(folder)
    first = read_run(folder)
    more = Recorder(folder)
    more.sample(tuple("" if isinstance(v, str) else 800.0 if i == 0 else v for i, v in enumerate(row_of_last(first))))
    more.event("end", outcome="finished", energy_j=5e6)
    time.sleep(0.02)
    more.close()
    assert pending(folder)
    finish_record(folder)
    again = read_run(folder)
    assert again.about["outcome"] == "finished" and again.energy_j == 5e6
    assert (folder / "samples.csv").read_text().splitlines()[-1].startswith("800.0,")


def row_of_last(run):

    return [run.data[name][-1] for name in NAMES]


def killed(oven, schedule, runs):
    """The record of a service that was killed in the 700th second of a run."""

    run = _REHEARSED.setdefault(oven.name, None) or rehearse(oven, schedule)
    _REHEARSED[oven.name] = run
    folder = new_folder(runs, oven.name, schedule.name)
    begin(folder, Begun(oven, schedule, run.load, run.model, None, "ours", "2031-05-04 10:00:00 +0000", "virtual"))
    time.sleep(0.02)
    recorder = Recorder(folder, queue_limit=10_000)
    recorder.event("start", time_s=0.0, text="begun")
    for row in list(zip(*(run.data[name].tolist() for name in NAMES), strict=True))[:700]:
        recorder.sample(row)
    recorder.close(30.0)
    return folder


_REHEARSED: dict = {}


@pytest.mark.slow
def test_a_finished_run_teaches_the_model_that_the_next_run_has(oven, schedule, tmp_path):
    """Behind the service, in another process; and a run that is stopped teaches nothing."""
    soak = tmp_path / "soak.yaml"
    soak.write_text("schedule: Soak\nsteps:\n  - {to: 80 °C, hold: 10 min}\n")
    told = []
    with at_work(oven("curing-cabinet"), tmp_path, speed=1000.0, tell=told.append) as person:
        assert person.start(soak)["ok"]
        said = person.until(lambda s: s["lesson"], 120.0)
        assert said["lesson"]["taught"] == "learnt" and said["lesson"]["version"] == 1
        assert said["models"] == str(tmp_path / "home" / "models-virtual")
        folder = folder_of(person.service)
        waited(lambda: not pending(folder))
        assert "model 1, from 1 run, is in use from now on" in (folder / "run.html").read_text()
        assert person.start(soak)["ok"]
        assert person.until(lambda s: s["running"])["model"].startswith("model 1, from 1 run")
        person.ask("stop", by="test")
        said = person.until(lambda s: s["lesson"]["run"] != str(folder), 120.0)
        assert said["lesson"]["taught"] == "refused" and "did not run to its end" in said["lesson"]["words"]
        assert person.start(soak, learning=False)["ok"]
        person.until(lambda s: s["running"])
        person.ask("stop", by="test")
        third = folder_of(person.service)
        waited(lambda: not pending(third))
    assert not (third / "learning.json").exists() and any("model 1" in line for line in told)
