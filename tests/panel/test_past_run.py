"""A past run on the page: its curve with its peaks, its marks, and where its energy went."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl import KilnctlError, rehearse
from kilnctl.panel import past_run as module
from kilnctl.panel.past_run import past_run
from kilnctl.record.folder import Begun, begin, new_folder
from kilnctl.report.finishing import finish
from kilnctl.run.summary import summarise
from kilnctl.settings.oven import Control
from kilnctl.settings.schedule import schedule_of

TEXT = "schedule: warm\nsteps:\n  - {name: warm, to: 70 °C, hold: 2 min}\n"


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    from scenarios import oven_file  # noqa: PLC0415 - a module of the tests' own

    from kilnctl import load_oven  # noqa: PLC0415

    oven = replace(load_oven(oven_file("curing-cabinet")), control=Control(tick_s=2.0))
    run = rehearse(oven, schedule_of(TEXT, "warm.yaml"))
    folder = new_folder(tmp_path_factory.mktemp("runs"), oven.name, "warm")
    begin(folder, Begun(oven, run.schedule, run.load, run.model, 0, "x", "2026-11-25 10:00:00 +0000"))
    finish(folder, run, summarise(run))
    return folder, run, oven


def test_its_curve_is_what_was_recorded(kept):
    folder, run, oven = kept
    said = past_run(folder, oven)
    columns = said["columns"]
    assert columns["time_s"][-1] == pytest.approx(run.time_s[-1], abs=1e-3)
    assert {len(v) for v in columns.values()} == {len(columns["time_s"])}
    assert max(columns["chamber_c"]) == pytest.approx(np.nanmax(run.chamber_c), abs=1e-3)
    assert said["energy_j"] == pytest.approx(run.energy_j, rel=1e-3) and said["full_w"] == oven.elements.power_w
    assert any(kind == "step" for _, kind, _ in said["events"])
    (soak,) = [p for p in said["phases"] if p["phase"] == "soak"]
    assert soak["name"] == "warm" and soak["at_c"] == 70.0 and soak["within_k"] == 3.0
    assert soak["to"] - soak["from"] == pytest.approx(120.0, abs=5.0) and said["phases"][-1]["to"] <= run.time_s[-1]


def test_its_energy_is_shared_out_whole(kept):
    """First law: the entries sum to what went into the elements, however coarsely the record is walked."""
    folder, run, oven = kept
    shares = past_run(folder, oven)["ledger_j"]
    assert sum(shares.values()) == pytest.approx(run.energy_j, rel=0.02)
    assert shares["into the walls"] > 0.0 and shares["into the load"] > 0.0 and shares["past the walls"] > 0.0


def test_a_coarse_walk_misses_no_burst(kept, monkeypatch):
    folder, run, oven = kept
    monkeypatch.setattr(module, "WALK_ROWS", 60)
    coarse = past_run(folder, oven)["ledger_j"]
    assert sum(coarse.values()) == pytest.approx(run.energy_j, rel=0.05)


def test_its_own_oven_counts_and_not_the_panel_s(kept):
    folder, _, oven = kept
    stronger = replace(oven, elements=replace(oven.elements, power_w=3.0 * oven.elements.power_w))
    assert past_run(folder, stronger) == past_run(folder, oven)


def test_a_folder_without_a_record_is_told(tmp_path, kept):
    with pytest.raises(KilnctlError):
        past_run(tmp_path / "nothing", kept[2])
