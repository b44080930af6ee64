"""Many runs in one table: what is read back by other programs is what the records hold."""

import csv
import itertools
import shutil

import numpy as np
import pyarrow.parquet
import pytest

from kilnctl.cli import main
from kilnctl.record.columns import COLUMNS
from kilnctl.record.run_record import read_run


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Two runs of the same little schedule, and a folder that is none."""
    place = tmp_path_factory.mktemp("export")
    (place / "s.yaml").write_text("schedule: Warm\nsteps:\n  - {to: 60 °C, hold: 2 min}\n", encoding="utf-8")
    for seed in ("0", "1"):
        arguments = ["rehearse", "configs/ovens/curing-cabinet.yaml", str(place / "s.yaml"), "--seed", seed]
        assert main([*arguments, "--out", str(place / "runs"), "--quiet"]) == 0
    (place / "runs" / "notes").mkdir()
    return place / "runs"


def folders(runs):
    return sorted(p for p in runs.iterdir() if p.name != "notes")


def test_csv_holds_every_row_of_every_run(runs, tmp_path, capsys):
    out = tmp_path / "all.csv"
    assert main(["export", str(runs), str(out)]) == 0
    with open(out, newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    records = [read_run(f) for f in folders(runs)]
    assert len(rows) == sum(len(r.time_s) for r in records) and "2 runs" in capsys.readouterr().out
    assert {r["run"] for r in rows} == {f.name for f in folders(runs)} and {r["oven"] for r in rows} == {
        "Curing cabinet"
    }
    chamber = [float(r["chamber_c"]) for r in rows]
    assert chamber == pytest.approx(np.concatenate([r.chamber_c for r in records]), abs=5e-4)
    assert {r["true_part_c"] == "" for r in rows} <= {True, False} and rows[0]["outcome"] == "finished"


def test_parquet_says_units_and_reads_back_the_same(runs, tmp_path):
    out = tmp_path / "all.parquet"
    assert main(["export", str(runs), str(out)]) == 0
    table = pyarrow.parquet.read_table(out)
    records = [read_run(f) for f in folders(runs)]
    assert np.array_equal(table["chamber_c"].to_numpy(), np.concatenate([r.chamber_c for r in records]))
    units = {f.name: f.metadata[b"unit"].decode() for f in table.schema if b"unit" in (f.metadata or {})}
    assert units == {c.name: c.unit for c in COLUMNS}
    assert table["limit_c"].null_count == sum(int(np.isnan(r.limit_c).sum()) for r in records)


def test_every_thins_and_the_filters_choose(runs, tmp_path, capsys):
    out = tmp_path / "some.csv"
    assert main(["export", str(folders(runs)[0]), str(out), "--every", "60", "--oven", "Curing cabinet"]) == 0
    with open(out, newline="", encoding="utf-8") as file:
        times = [float(r["time_s"]) for r in csv.DictReader(file)]
    assert len(times) > 3 and all(b - a == pytest.approx(60.0, abs=1.0) for a, b in itertools.pairwise(times))
    assert main(["export", str(runs), str(out), "--schedule", "no such"]) == 2
    assert "no run here fits" in capsys.readouterr().err


def test_a_damaged_run_among_many_is_left_out_and_alone_is_refused(runs, tmp_path, capsys):
    copy = tmp_path / "runs"
    shutil.copytree(runs, copy)
    samples = folders(copy)[0] / "samples.csv"
    lines = samples.read_text(encoding="utf-8").splitlines()
    samples.write_text("\n".join([*lines[:3], "x,y", *lines[3:]]), encoding="utf-8")
    assert main(["export", str(copy), str(tmp_path / "t.csv")]) == 0
    said = capsys.readouterr()
    assert "left out: " in said.err and "1 run " in said.out
    assert main(["export", str(folders(copy)[0]), str(tmp_path / "u.csv")]) == 2
    assert sorted(p.name for p in tmp_path.glob("u*")) == []


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["{runs}", "table.xlsx"], "name it .csv or .parquet"),
        (["{runs}/notes", "t.csv"], "neither a run"),
        (["nowhere", "t.csv"], "no such folder"),
        (["{runs}", "/no/such/folder/t.csv"], "cannot be written"),
        (["{runs}", "/no/such/folder/t.parquet"], "cannot be written"),
        (["{runs}", "t.csv", "--every", "0"], "--every"),
    ],
)
def test_what_cannot_be_done_is_refused_in_a_sentence(runs, tmp_path, monkeypatch, capsys, arguments, words):
    monkeypatch.chdir(tmp_path)
    assert main(["export", *(a.format(runs=runs) for a in arguments)]) == 2
    assert words in capsys.readouterr().err and list(tmp_path.iterdir()) == []
