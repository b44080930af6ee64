"""A run of weeks in fewer rows: the same figures, and memory that does not grow with the run."""

import dataclasses
import math
import tracemalloc

import numpy as np
import pytest

from kilnctl.record import coarse as coarsening
from kilnctl.record.coarse import CoarseColumns, coarse, together
from kilnctl.record.columns import COLUMNS, NAMES
from kilnctl.record.compact import CompactColumns
from kilnctl.record.folder import write_samples
from kilnctl.report.run_curves import curves
from kilnctl.report.run_report import run_page
from kilnctl.run.summary import summarise
from tests.record.made_runs import made


def test_rows_become_the_mean_of_what_is_there_or_the_last():
    fine = {
        "time_s": np.arange(1.0, 8.0),
        "step": np.array([1.0, 1.0, 2.0, 2.0, 2.0, 2.0, 3.0]),
        "chamber_c": np.array([1.0, 2.0, math.nan, math.nan, math.nan, math.nan, 7.0]),
        "reason": np.array(list("abcdefg"), dtype=object),
    }
    made_coarse = CoarseColumns(fine, 3)
    assert made_coarse["time_s"].tolist() == [3.0, 6.0, 7.0] and made_coarse["step"].tolist() == [2.0, 2.0, 3.0]
    assert made_coarse["reason"].tolist() == ["c", "f", "g"]
    assert np.array_equal(made_coarse["chamber_c"], [1.5, math.nan, 7.0], equal_nan=True)
    made_coarse["mine"] = np.zeros(3)
    assert set(made_coarse) == {*fine, "mine"} and len(made_coarse) == 5 and "mine" in made_coarse
    del made_coarse["mine"]
    assert "mine" not in made_coarse


def test_a_run_of_days_is_taken_as_it_is():
    run = made()
    assert coarse(run) is run and together(run) == 1
    assert coarse(dataclasses.replace(run, data={n: v[:0] for n, v in run.data.items()})).time_s.size == 0


def test_a_coarse_run_has_the_figures_of_the_fine_one(monkeypatch):
    run = made()
    fine, page = summarise(run), run_page(run, summarise(run))
    monkeypatch.setattr(coarsening, "MOST_ROWS", 400)
    assert together(run) == 3 and len(coarse(run).time_s) == 380
    rough = summarise(run)
    for name in ("duration_s", "energy_kwh", "highest_chamber_c", "highest_part_c", "switchings_per_h"):
        assert getattr(rough, name) == getattr(fine, name), name
    assert rough.overshoot_k == pytest.approx(fine.overshoot_k, abs=0.05)
    assert rough.cure_share == pytest.approx(fine.cure_share, rel=0.01)
    assert rough.soaks[0].arrived_s == pytest.approx(fine.soaks[0].arrived_s, abs=12.0)
    assert rough.soaks[0].settled_s == pytest.approx(fine.soaks[0].settled_s, abs=15.0)
    assert rough.soaks[0].rms_k == pytest.approx(fine.soaks[0].rms_k, abs=0.02)
    told = run_page(run, rough)
    assert "of means over 3 samples" in told and "of means over" not in page
    assert f"{len(run.time_s)}, one every 2 s" in told, "the record itself is as fine as it was"


def packed(hours: float) -> CompactColumns:
    data, count = CompactColumns(NAMES), round(hours * 3600.0)
    for begin in range(0, count, 8192):
        time_s = np.arange(begin, min(count, begin + 8192), dtype=float)
        values = {c.name: np.full(len(time_s), math.nan) for c in COLUMNS if c.name != "reason"}
        values |= {"time_s": time_s, "chamber_c": np.minimum(100.0, 20.0 + time_s / 30.0), "step": np.ones(len(time_s))}
        values |= {"reference_c": np.full(len(time_s), 100.0), "fired": np.full(len(time_s), 0.3)}
        data.add(values, ["on its way"] * len(time_s))
    return data


def test_what_is_written_block_by_block_is_what_was_read(tmp_path):
    """A column was unpacked again for every few thousand rows: a 14-day record took a minute."""
    run, data = made(), packed(3.0)
    for folder, columns in (("a", data), ("b", {n: data[n] for n in NAMES})):
        (tmp_path / folder).mkdir()
        write_samples(tmp_path / folder, dataclasses.replace(run, data=columns))
    assert (tmp_path / "a" / "samples.csv").read_bytes() == (tmp_path / "b" / "samples.csv").read_bytes()
    data["chamber_c"] = np.zeros(data.count)
    [first, *_] = data.blocks(("chamber_c", "none", "reason"))
    assert not first[0].any() and np.isnan(first[1]).all() and set(first[2]) == {"on its way"}


def test_pictures_and_figures_of_four_times_as_long_a_run_take_little_more_memory(monkeypatch):
    monkeypatch.setattr(coarsening, "MOST_ROWS", 5_000)
    peaks = []
    for hours in (3.0, 12.0):
        run = dataclasses.replace(made(), data=packed(hours))
        tracemalloc.start()
        curves(run, summarise(run))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # A few whole columns at a time, of 24 that the record has.
    assert peaks[1] < peaks[0] + 8 * 8 * 9 * 3600
