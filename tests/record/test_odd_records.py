"""Reading any record, however odd, ends in a record or in a sentence that names the file, never in a fault of the
program."""

import json
import math
import shutil
import warnings
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kilnctl import KilnctlError
from kilnctl.identification.records import as_log
from kilnctl.record.columns import NAMES
from kilnctl.record.folder import plain
from kilnctl.record.journal import JournalFile
from kilnctl.record.run_record import read_run
from kilnctl.report import ageing, run_report, uniformity
from kilnctl.report.history_text import history_text
from kilnctl.report.summary_text import summary_text
from kilnctl.run.summary import summarise
from tests.record.made_runs import OVEN, TRIP, made, saved

ODD = (None, True, -1, 0, 1e300, 10**400, "", "text", [], [1], {}, {"a": 1}, ["x", None])


def used(folder: Path) -> str:
    """Everything that is made of a record; the sentence where it is refused."""
    said = ""
    try:
        with np.errstate(all="raise"), warnings.catch_warnings():
            warnings.simplefilter("error")
            run = read_run(folder)
            summary = summarise(run)
            for made_of_it in (
                summary_text(summary),
                run_report.run_page(run, summary),
                run_report.run_csv(run, summary),
            ):
                assert made_of_it
    except KilnctlError as error:
        said = str(error)
        assert str(folder) in said
    for use in (lambda: as_log(OVEN, folder), lambda: history_text(ageing.read_history(folder.parent))):
        try:
            use()
        except KilnctlError as error:
            said += str(error)
    return said


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return saved(tmp_path_factory.mktemp("odd"), trips=(), events=())


def leaves(value, way=()):
    """Every place in a JSON value."""
    yield way
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from leaves(inner, (*way, key))


def put(value, way, new):
    if not way:
        return new
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[way[0]] = put(copy[way[0]], way[1:], new)
    return copy


@pytest.mark.slow
@pytest.mark.parametrize("with_settings", [True, False])
def test_a_run_json_with_any_value_anywhere(folder, tmp_path, with_settings):
    """Each place of a run.json in turn holds what it should not; with the copies of the settings files and without."""
    copy = tmp_path / "runs" / "run"
    shutil.copytree(folder, copy)
    lines = (copy / "samples.csv").read_text().splitlines(keepends=True)
    (copy / "samples.csv").write_text("".join(lines[:1] + lines[1:900:10]))
    if not with_settings:
        for name in ("oven.yaml", "schedule.yaml"):
            (copy / name).unlink(missing_ok=True)
    whole = json.loads((copy / "run.json").read_bytes()) | {"trips": [plain(t) for t in (TRIP,)]}
    read = 0
    for way in leaves({k: v for k, v in whole.items() if k not in ("columns", "summary", "model")}):
        for odd in ODD[len(way) % 2 :: 2]:
            (copy / "run.json").write_text(json.dumps(put(whole, way, odd)))
            read += not used(copy)
    assert read > 50, "most odd values are no reason to refuse the rest"


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(
    st.lists(
        st.tuples(
            st.integers(0, 40),
            st.sampled_from(NAMES),
            st.sampled_from(
                ["", "nan", "inf", "-inf", "1e308", "-5", "0", "1e9", "1_0", "x", '"', "\x85", "9" * 200000]
            ),
        ),
        max_size=12,
    )
)
@example([(k, "chamber_c", "") for k in range(41)])
@example([(k, "step", "") for k in range(41)])
@example([(0, "true_part_c", "-5")])
@example([(3, "reason", "a\u2028b")])
@example([(3, "reason", "9" * 200000)])
def test_samples_of_any_kind(folder, tmp_path, changes):
    copy = tmp_path / "runs" / "run"
    shutil.rmtree(copy.parent, ignore_errors=True)
    shutil.copytree(folder, copy)
    rows = [line.split(",") for line in (folder / "samples.csv").read_text().splitlines()]
    rows = [rows[0], *rows[1::30]][:42]
    for row, name, text in changes:
        rows[1 + row % (len(rows) - 1)][NAMES.index(name)] = text
    (copy / "samples.csv").write_text("\n".join(",".join(r) for r in rows) + "\n", encoding="utf-8")
    used(copy)


@pytest.mark.parametrize(
    "body",
    [
        'trip {"fault": 3, "time_s": "soon"}',
        'trip {"time_s": null}',
        'end {"outcome": 7, "energy_j": "much"}',
        'end {"energy_j": 1e999}',
        'start {"oven": 3}',
        "sample",
        "sample ,,,",
        "columns",
        "columns time_s,time_s",
        "columns a,b",
        "lost {}",
        'note {"text": {"a": [1]}}',
        "\x00",
        "step " + "[" * 30000,
        'end {"energy_j": ' + "9" * 5000 + "}",
    ],
)
def test_a_journal_with_any_record(folder, tmp_path, body):
    copy = tmp_path / "runs" / "run"
    shutil.copytree(folder, copy)
    run = made()
    (copy / "samples.csv").unlink()
    for before in (True, False):
        file = JournalFile(copy)
        if before:
            file.append(body)
        file.append("columns " + ",".join(n for n in NAMES if n != "reason"))
        for row in list(zip(*(run.data[n].tolist() for n in NAMES if n != "reason"), strict=True))[:20]:
            file.append("sample " + ",".join("" if math.isnan(v) else f"{v:.3f}" for v in row))
        if not before:
            file.append(body)
        file.close()
        used(copy)
        for path in copy.glob("journal-*"):
            path.unlink()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "time_s\n",
        "time_s,a,b,c\n",
        "time_s,a\n,1\n",
        "time_s,a,b,c\nx,y,z,w\n",
        "time_min,a_f\n1,inf\n2,1\n",
        'time_s,"a\n',
    ],
)
def test_a_logger_s_file_of_any_kind(folder, tmp_path, text):
    (tmp_path / "logger.csv").write_text(text)
    with pytest.raises(KilnctlError, match=r"logger.csv"):
        uniformity.survey(read_run(folder), uniformity.read_loose(tmp_path / "logger.csv"))


def test_a_record_that_may_not_be_read_and_one_nested_too_deep(folder, tmp_path, monkeypatch):
    copy = tmp_path / "deep"
    copy.mkdir()
    (copy / "run.json").write_text("[" * 200000)
    with pytest.raises(KilnctlError, match=r"run\.json"):
        read_run(copy)

    def refused(self, *a, **k):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "is_dir", refused)
    with pytest.raises(KilnctlError, match="cannot be read: Permission denied"):
        read_run(folder)
