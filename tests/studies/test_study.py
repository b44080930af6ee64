"""A study: the same numbers from every executor, resumable, and nothing lost."""

import dataclasses
import json
import multiprocessing
import os
import signal
import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

import kilnctl
from kilnctl import KilnctlError
from kilnctl.report.study_text import study_text
from kilnctl.studies import case_of, many_draws, run_case
from kilnctl.studies import draw as drawing
from kilnctl.studies.draw import rehearse_draw
from kilnctl.studies.inputs import plant_seed
from tests.studies.study_cases import WARM


@pytest.mark.slow
def test_processes_come_to_the_same_numbers_bit_for_bit(case, alone):
    assert [r["draw"] for r in alone.rows] == list(range(4)) and not alone.failed and not alone.tripped
    assert run_case(case, 4, jobs=2).rows == alone.rows
    # And they differ from each other, and survive the file exactly.
    assert len({r["measures"]["energy_kwh"] for r in alone.rows}) == 4
    assert json.loads(json.dumps(alone.rows)) == alone.rows


@pytest.mark.slow
def test_a_local_dask_cluster_comes_to_the_same_numbers_bit_for_bit(case, alone):
    distributed = pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        assert run_case(case, 4, executor=client.get_executor(pure=False)).rows == alone.rows


def test_a_large_cluster_is_not_left_waiting(case, monkeypatch):
    """An executor with many workers gets a draw for each of them, however few cores this computer has."""
    together = threading.Barrier(40)

    def draw(_case, k: int) -> dict:
        together.wait(60.0)  # until forty are being computed at once
        return {"draw": k}

    monkeypatch.setattr(many_draws, "rehearse_draw", draw)
    with ThreadPoolExecutor(40) as executor:
        assert [row["draw"] for row in run_case(case, 80, executor=executor).rows] == list(range(80))


@pytest.mark.slow
def test_a_killed_worker_costs_nothing(case, alone):
    killed = []

    def kill(done: int, draws: int, left_s: float) -> None:
        children = [c for c in multiprocessing.active_children() if c.pid not in killed]
        if not killed and children and (pid := children[0].pid):
            killed.append(pid)
            os.kill(pid, signal.SIGKILL)

    assert run_case(case, 4, jobs=2, progress=kill).rows == alone.rows and killed


@pytest.mark.slow
def test_it_goes_on_where_it_was_interrupted(case, alone, tmp_path):
    keep = tmp_path / "draws.jsonl"
    run_case(case, 3, jobs=1, keep=keep)
    whole = keep.read_bytes()
    keep.write_bytes(whole[:-40])  # the last line is torn
    computed = []
    made = run_case(case, 4, jobs=1, keep=keep, progress=lambda done, draws, left: computed.append((done, draws)))
    assert made.rows == alone.rows and computed == [(3, 4), (4, 4)]
    again = run_case(case, 4, jobs=1, keep=keep, progress=lambda *a: computed.append(a))
    assert again.rows == alone.rows and len(computed) == 2
    with pytest.raises(KilnctlError, match=r"another study .seed differ"):
        run_case(dataclasses.replace(case, seed=4), 4, jobs=1, keep=keep)
    lines = keep.read_text().splitlines(keepends=True)
    keep.write_text("".join(lines[:2]) + "{broken\n" + "".join(lines[3:]))
    with pytest.raises(KilnctlError, match=r"draws.jsonl:3: damaged"):
        run_case(case, 4, jobs=1, keep=keep)


@pytest.mark.slow
def test_a_draw_that_fails_is_told_and_not_lost(case, alone, monkeypatch, tmp_path):
    made = drawing.drawn_oven

    def sometimes(oven, virtual, load):
        if virtual.seed == plant_seed(case.seed, 2):
            raise ZeroDivisionError("a plant of glass")
        return made(oven, virtual, load)

    monkeypatch.setattr(drawing, "drawn_oven", sometimes)
    found = run_case(case, 4, jobs=1, keep=tmp_path / "draws.jsonl")
    assert [r["draw"] for r in found.failed] == [2] and "a plant of glass" in found.failed[0]["failed"]
    assert "1 failed" in study_text(found) and "draw 2 failed: ZeroDivisionError" in study_text(found)
    monkeypatch.undo()
    # With the cause gone, only that one is computed again.
    told = []
    assert (
        run_case(case, 4, jobs=1, keep=tmp_path / "draws.jsonl", progress=lambda *a: told.append(a)).rows
        == alone.rows[:4]
        and len(told) == 1
    )


def test_the_public_function(oven):
    made = kilnctl.study(oven("curing-cabinet"), WARM, draws=1, seed=3, jobs=1)
    assert made.rows == [rehearse_draw(case_of(oven("curing-cabinet"), WARM, seed=3), 0)]
    with pytest.raises(KilnctlError, match="--draws"):
        kilnctl.study(oven("curing-cabinet"), WARM, draws=0)
