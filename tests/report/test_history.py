"""The history of an oven: what is compared with what, and that ageing is told."""

from pathlib import Path

import pytest

from kilnctl import KilnctlError
from kilnctl.commands import history as history_command
from kilnctl.report import ageing
from kilnctl.run.summary import summarise
from kilnctl.settings.construction import Load
from tests.record.made_runs import made, saved
from tests.report.pages import Page, asked


def test_a_steady_oven_has_no_warning_and_a_worn_one_has(tmp_path, capsys):
    for i in range(6):
        saved(tmp_path, hold_w=600.0 + 6.0 * (-1) ** i)
    assert asked(history_command, tmp_path) == 0
    said = capsys.readouterr().out
    assert said.startswith("Curing cabinet: 6 runs; it is as before\n") and "WARNING" not in said
    saved(tmp_path, hold_w=690.0)
    found = ageing.read_history(tmp_path)
    (warning,) = found.warnings
    assert "power to hold, 'warm': 690 W, 15 % more than before (600 W" in warning and "more heat gets out" in warning
    assert asked(history_command, tmp_path, "--out", tmp_path / "h.html") == 0
    first, _, second = capsys.readouterr().out.splitlines()[:3]
    assert first == "Curing cabinet: 7 runs; it has changed" and second == f"WARNING: {warning}"
    page = Page((tmp_path / "h.html").read_text())
    assert not page.outside and "15 % more" in page.text
    # After a repair the past begins again.
    last = found.runs[-1].folder.name
    assert ageing.read_history(tmp_path, since=last).findings == ()
    with pytest.raises(KilnctlError, match="no run 'other'"):
        ageing.read_history(tmp_path, since="other")


def test_slow_ageing_is_seen_although_no_step_is(tmp_path):
    for i in range(12):
        saved(tmp_path, hold_w=600.0 * 1.02**i)
    (finding,) = (f for f in ageing.read_history(tmp_path).findings if f.figure.what == "hold")
    assert finding.change > 0.15 and finding.warning


def test_weak_elements_are_seen_in_time_and_gain(tmp_path):
    for strength in (1.0, 1.01, 0.99, 1.0, 0.7):
        saved(tmp_path, strength=strength)
    warnings = " ".join(ageing.read_history(tmp_path).warnings)
    assert (
        "time to the first soak" in warnings
        and "rise per energy" in warnings
        and "elements" in warnings
        and "power to hold" not in warnings
    )


def test_figures_of_a_run_by_hand():
    """40 K (20 to 70 % of 80 K) at 3 kW in 240 s take 0.2 kWh: 200 K/kWh; reached (3 K below) at 462 s."""
    run = made()
    figures = {f.what: f.value for f in ageing.figures_of(run, summarise(run))}
    assert (
        figures["hold"] == pytest.approx(600.0)
        and figures["gain"] == pytest.approx(200.0, rel=0.02)
        and figures["time"] == pytest.approx(462.0, abs=2.1)
    )


def test_only_like_is_compared_with_like(tmp_path):
    for _ in range(4):
        saved(tmp_path)
    saved(tmp_path, hold_w=900.0, load=Load(name="much more", mass_kg=20.0, area_m2=1.0))
    assert ageing.read_history(tmp_path).warnings == ()
    saved(tmp_path, hold_w=900.0)
    assert len(ageing.read_history(tmp_path).warnings) == 1


def test_history_leaves_out_what_it_cannot_read(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(KilnctlError, match="no run lies there"):
        ageing.read_history(tmp_path)
    saved(tmp_path)
    broken = saved(tmp_path)
    (broken / "run.json").write_text("{")
    found = ageing.read_history(tmp_path)
    assert len(found.runs) == 1 and "not a run.json" in found.left_out[0]
    with pytest.raises(KilnctlError, match="no run of 'Other'"):
        ageing.read_history(tmp_path, "Other")
    with pytest.raises(KilnctlError, match="no such folder"):
        ageing.read_history(tmp_path / "none")


def test_runs_are_ordered_by_time_then_by_number():
    def past(name, started=""):
        return ageing.Past(Path(name), "s", started, summarise(made()), 20.0, (), (), True)

    runs = [past("a-10"), past("a"), past("a-2"), past("b", "2031-01-02"), past("c", "2031-01-01")]
    assert [r.folder.name for r in sorted(runs, key=ageing.order_of)] == ["a", "a-2", "a-10", "c", "b"]
    # In the night in which the clocks go back, 02:10 comes again, after 02:40; and a computer may change its zone.
    times = ("2030-10-27 02:40:00 +0200", "2030-10-27 02:10:00 +0100", "2030-10-27 01:30:00 +0000")
    late = [past(f"{n}", t) for n, t in zip("321", times, strict=True)]
    assert [r.folder.name for r in sorted([*late, *runs[:1]], key=ageing.order_of)] == ["a-10", "3", "2", "1"]
