"""Records read back: equal to what was written, however much was cut off their end; damage inside is refused with file
and line."""

import dataclasses
import json
import math
import shutil
from pathlib import Path

import numpy as np
import pytest

from kilnctl import KilnctlError, load_oven, load_schedule, rehearse
from kilnctl.identification.records import as_log
from kilnctl.record.columns import NAMES
from kilnctl.record.folder import Begun, SampleWriter, begin, new_folder, write_samples
from kilnctl.record.journal import line_of, segments
from kilnctl.record.recorder import Recorder
from kilnctl.record.run_record import read_run
from kilnctl.report.finishing import finish
from kilnctl.run.summary import summarise
from kilnctl.settings.schedule import Schedule, Step

SHORT = """schedule: Short dry
steps:
  - {name: warm, to: 60 °C, hold: 10 min}
cure: {at: 60 °C, time: 3 min}
longest: 1 h
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """(oven, schedule, run, folder) of a short rehearsal written to disk."""
    place = tmp_path_factory.mktemp("runs")
    (place / "short.yaml").write_text(SHORT)
    oven = load_oven(Path(__file__).parents[2] / "configs/ovens/curing-cabinet.yaml")
    schedule = load_schedule(place / "short.yaml")
    folder = new_folder(place, oven.name, schedule.name)
    writer = SampleWriter(folder)
    run = rehearse(oven, schedule, sink=writer)
    writer.close()
    finish(folder, run, summarise(run))
    return oven, schedule, run, folder


@pytest.fixture
def copy(made, tmp_path):
    shutil.copytree(made[3], tmp_path / "run")
    return tmp_path / "run"


def named(settings):
    """Settings as a record knows them: with the name of their file, without the way to it."""
    return dataclasses.replace(settings, file=Path(settings.file).name)


def test_a_record_read_back_is_the_run(made):
    _, _, run, folder = made
    back = read_run(folder)
    assert (back.outcome, back.seed, back.controller, back.problems) == (
        run.outcome,
        run.seed,
        run.controller,
        (),
    )
    assert back.energy_j == run.energy_j and back.load == run.load
    assert (back.oven, back.schedule) == (named(run.oven), named(run.schedule))
    assert [(e.time_s, e.kind, e.text) for e in back.events] == [(e.time_s, e.kind, e.text) for e in run.events]
    assert set(back.data) == set(run.data)
    for name in NAMES:
        if name != "reason":
            np.testing.assert_allclose(back.data[name], run.data[name], atol=0.051, err_msg=name)
    assert list(back.reason) == list(run.reason) and back.time_s is back.data["time_s"]
    ours, theirs = summarise(back), summarise(run)
    assert ours.soaks[0].settled_s == theirs.soaks[0].settled_s and ours.cure_share == pytest.approx(
        theirs.cure_share, rel=1e-3
    )


def test_a_record_written_again_has_the_same_bytes(made, tmp_path):
    back = read_run(made[3])
    write_samples(tmp_path, back)
    assert (tmp_path / "samples.csv").read_bytes() == (made[3] / "samples.csv").read_bytes()


def test_the_same_run_twice_gives_the_same_bytes(made, tmp_path):
    oven, schedule, _, folder = made
    again = new_folder(tmp_path, oven.name, schedule.name)
    run = rehearse(oven, schedule)
    finish(again, run, summarise(run))
    assert {p.name for p in again.iterdir()} == {p.name for p in folder.iterdir()}
    for path in folder.iterdir():
        assert (again / path.name).read_bytes() == path.read_bytes(), path.name


def test_samples_cut_at_any_byte_are_read_up_to_there(made, copy):
    data = (copy / "samples.csv").read_bytes()
    whole = read_run(copy)
    head = data.index(b"\n") + 1
    for cut in [*range(head, head + 240, 7), len(data) - 1]:
        for tail in (b"", bytes(300)):
            (copy / "samples.csv").write_bytes(data[:cut] + tail)
            back = read_run(copy)
            rows = data[head:cut].count(b"\n")
            assert len(back.time_s) == rows
            np.testing.assert_array_equal(back.chamber_c, whole.chamber_c[:rows])
            assert bool(back.problems) == (data[cut - 1 : cut] != b"\n" or bool(tail))


@pytest.mark.parametrize(
    ("line", "text", "said"),
    [
        (5, b"1,2,3", f"3 cells where there are {len(NAMES)} columns"),
        (7, b"," * (len(NAMES) - 1), "could not convert"),
        (9, b"3.0" + b"," * (len(NAMES) - 1), "time goes from 7 s to 3 s"),
        (9, b"12.0,hot" + b"," * (len(NAMES) - 2), "could not convert string to float: 'hot'"),
        (9, b"nan" + b"," * (len(NAMES) - 1), "time goes from 7 s to nan s"),
    ],
)
def test_damage_inside_is_refused_with_its_line(copy, line, text, said):
    lines = (copy / "samples.csv").read_bytes().split(b"\n")
    lines[line - 1] = text
    (copy / "samples.csv").write_bytes(b"\n".join(lines))
    with pytest.raises(KilnctlError, match=rf"samples\.csv:{line}: not a sample") as caught:
        read_run(copy)
    assert said in str(caught.value)


def test_what_is_no_record_is_refused(copy, tmp_path):
    with pytest.raises(KilnctlError, match="no such folder"):
        read_run(tmp_path / "none")
    with pytest.raises(KilnctlError, match=r"neither samples.csv nor a journal"):
        read_run(tmp_path)
    (copy / "run.json").write_text("{\n  oops")
    with pytest.raises(KilnctlError, match=r"run\.json:2: not a run\.json"):
        read_run(copy)
    (copy / "run.json").write_text("[]")
    with pytest.raises(KilnctlError, match=r"not a run.json"):
        read_run(copy)
    (copy / "run.json").write_text('{"load": {"weight": 3}}')
    with pytest.raises(KilnctlError, match="its load is not ours"):
        read_run(copy)
    (copy / "samples.csv").write_text("")
    with pytest.raises(KilnctlError, match=r"samples\.csv:1: it is empty"):
        read_run(copy)
    (copy / "samples.csv").write_text("a,b\n1,2\n")
    with pytest.raises(KilnctlError, match="no column time_s"):
        read_run(copy)


def test_a_killed_rehearsal_leaves_a_readable_record(made, tmp_path):
    """What is on disk when the process dies in the middle: run.json of the start, the settings, and some
    samples."""
    oven, schedule, run, _ = made
    folder = new_folder(tmp_path, oven.name, schedule.name)
    begin(folder, Begun(oven, schedule, run.load, run.model, 0, "ours"))
    writer = SampleWriter(folder)
    for row in list(zip(*(run.data[n].tolist() for n in NAMES), strict=True))[:600]:
        writer(row)
    writer.close()
    back = read_run(folder)
    assert back.outcome == "unfinished" and len(back.time_s) == 600 and back.schedule == named(schedule)
    fired = np.nan_to_num(run.data["fired"][:600])
    assert back.energy_j == pytest.approx(float(fired.sum()) * oven.elements.power_w, rel=0.05)
    assert any("added up" in p for p in back.problems) and any("events.csv" in p for p in back.problems)
    assert summarise(back).outcome == "unfinished"


def test_settings_changed_since_are_noticed(made, copy, tmp_path):
    (copy / "schedule.yaml").write_text(SHORT.replace("60 °C, hold", "61 °C, hold"))
    assert any("schedule.yaml" in p and "checksum" in p for p in read_run(copy).problems)
    changed = tmp_path / "changed.yaml"
    changed.write_text(SHORT)
    schedule = load_schedule(changed)
    changed.write_text(SHORT + "# later\n")
    with pytest.raises(KilnctlError, match="changed after it was read"):
        begin(tmp_path, Begun(made[0], schedule))


def test_a_run_without_files_keeps_its_schedule(made, tmp_path):
    oven, _, run, _ = made
    schedule = Schedule(name="by hand", steps=(Step(name="up", to_c=50.0, hold_s=60.0),))
    begin(tmp_path, Begun(oven, schedule))
    write_samples(tmp_path, run)
    back = read_run(tmp_path).schedule
    assert back.steps == schedule.steps and back.name == "by hand"


def test_a_record_without_its_oven_names_it(copy):
    (copy / "oven.yaml").unlink()
    back = read_run(copy)
    assert back.oven.name == "Curing cabinet" and any("description" in p for p in back.problems)


def journalled(folder, oven, schedule, run, rows=300, ending=True):
    begin(folder, Begun(oven, schedule, run.load, run.model, None, "ours", started="Monday", rig="board"))
    recorder = Recorder(folder)
    recorder.event("start", time_s=0.0, text="started by hand", oven={"name": oven.name})
    for row in list(zip(*(run.data[n].tolist() for n in NAMES), strict=True))[:rows]:
        recorder.sample(row)
    recorder.event(
        "trip", time_s=250.0, fault="over-temperature", seen="too hot", act="Leave it shut.", check="the relay"
    )
    recorder.event("request", time_s=260.0, text="stop (panel)")
    if ending:
        recorder.event("end", time_s=300.0, outcome="tripped", energy_j=5000.0)
    recorder.close()


def test_a_journal_gives_the_same_samples_and_the_ending(made, tmp_path):
    oven, schedule, run, folder = made
    journalled(tmp_path, oven, schedule, run)
    back, direct = read_run(tmp_path), read_run(folder)
    for name in NAMES:
        np.testing.assert_array_equal(back.data[name], direct.data[name][:300], err_msg=name)
    assert back.outcome == "tripped" and back.energy_j == 5000.0 and back.started == "Monday" and back.problems == ()
    assert back.trips[0].fault == "over-temperature" and back.trips[0].time_s == 250.0
    assert [e.kind for e in back.events] == ["start", "trip", "request", "end"]
    assert (back.events[1].text, back.events[2].text) == ("over-temperature: too hot", "stop (panel)")
    # The finished folder holds CSV files as well, and still says the same.
    finish(tmp_path, back, summarise(back))
    assert (
        read_run(tmp_path).energy_j == 5000.0 and json.loads((tmp_path / "run.json").read_text())["started"] == "Monday"
    )
    assert (tmp_path / "samples.csv").read_text().splitlines()[:301] == (
        folder / "samples.csv"
    ).read_text().splitlines()[:301]


def test_a_journal_torn_anywhere_is_read_up_to_there(made, tmp_path):
    oven, schedule, run, _ = made
    journalled(tmp_path, oven, schedule, run, rows=20)
    (path,) = segments(tmp_path)
    data = path.read_bytes()
    for cut in range(data.index(b" sample ") - 4, len(data), 53):
        path.write_bytes(data[:cut] + b"\0\0\0")
        back = read_run(tmp_path)
        assert len(back.time_s) == min(
            20, sum(line.endswith(b"\n") for line in data[:cut].splitlines(True) if b" sample " in line)
        )
        assert back.outcome in ("unfinished", "tripped")
    assert math.isnan(read_run(tmp_path).part_c[0]) or np.isfinite(read_run(tmp_path).chamber_c).all()


def test_rows_of_a_journal_that_are_no_samples_are_left_out_and_told(made, tmp_path):
    oven, schedule, run, _ = made
    journalled(tmp_path, oven, schedule, run, rows=20)
    recorder = Recorder(tmp_path)
    recorder.event("sample-like")
    recorder.event("lost", records=7)
    recorder.close()
    with open(segments(tmp_path)[0], "ab") as file:
        file.write(line_of(900, "sample 1.0,2.0"))
    back = read_run(tmp_path)
    assert len(back.time_s) == 20 and any("not a sample, left out" in p for p in back.problems)
    assert any("7 records were lost" in p for p in back.problems) and any("are missing" in p for p in back.problems)


def test_a_record_of_ours_can_be_fitted_from(made):
    log = as_log(made[0], made[3])
    assert len(log.time_s) == len(made[2].time_s)
