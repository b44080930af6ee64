"""The page of evidence and the history: what is in them, that nothing in them needs a network, and that
ageing is told."""

import argparse
import csv
import html.parser
import io
import json
import re
import xml.etree.ElementTree as xml
from pathlib import Path

import numpy as np
import pytest

from kilnctl import KilnctlError
from kilnctl.commands import history as history_command
from kilnctl.commands import report as report_command
from kilnctl.record.folder import Begun
from kilnctl.record.run_record import read_run
from kilnctl.report import history, run_report
from kilnctl.report.svg import Chart, Panel, Series, svg
from kilnctl.run.summary import summarise
from kilnctl.settings.construction import Load
from tests.record.made_runs import OVEN, SCHEDULE, TRIP, made, saved


class Page(html.parser.HTMLParser):
    """Collects the words, and everything that a page could fetch or run."""

    def __init__(self, text):
        super().__init__()
        self.words, self.open, self.outside, self.skip = [], [], [], False
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        if tag != "meta":
            self.open.append(tag)
        self.look(tag, attributes)

    def handle_startendtag(self, tag, attributes):
        self.look(tag, attributes)

    def look(self, tag, attributes):
        self.outside += [
            f"{tag} {n}={v}" for n, v in attributes if n in ("src", "href", "srcset", "action") or n.startswith("on")
        ]
        self.outside += [tag] * (tag in ("script", "link", "iframe", "object", "img"))
        self.skip = tag == "style"

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        self.skip = False

    def handle_data(self, data):
        if self.skip:
            self.outside += re.findall(r"url\(|@import", data)
        else:
            self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def test_page_says_what_the_issue_asks_for():
    run = made(trips=(TRIP,), outcome="tripped", problems=("samples.csv: the last line was cut off",))
    shown = Page(run_report.page(run, summarise(run), price=run_report.parse_price("0.30 EUR/kWh")))
    assert not shown.outside and not shown.open
    summary = summarise(run)
    for words in (
        "Dry <lamps> · Curing cabinet",
        "a & b",
        "Started 2031-05-04 10:00",
        "stopped by a trip",
        "Trip at 11 min 40 s: over-temperature",
        "Chamber at 290 °C",
        "Check: the relay",
        f"{summary.energy_kwh:.2f} kWh",
        f"{0.30 * summary.energy_kwh:.2f} EUR",
        "hold (panel)",
        "15 min",
        OVEN.sha256,
        run_report.model_checksum(run.model),
        "type K",
        "none entered",
        "last line was cut off",
        "warm",
        "not by a billing meter",
        "measured current, at the rated voltage",
        "a thermocouple on the part",
        "of the reference cure",
        "no safety device",
        "lining_j_per_k",
        "no gaps",
    ):
        assert words in shown.text, words
    assert "rehearsal" not in shown.text and "nan" not in shown.text.lower().replace("finance", "")


def test_page_of_a_rehearsal_says_that_nothing_was_heated():
    run = made(started="", rig="", seed=3)
    assert "nothing was heated" in Page(run_report.page(run, summarise(run))).text


def test_page_without_a_sample_is_still_a_page():
    run = made(outcome="interrupted")
    run.data = {n: v[:0] for n, v in run.data.items()}
    shown = Page(run_report.page(run, summarise(run)))
    assert "interrupted" in shown.text and "0 samples" not in shown.outside


def test_an_estimated_part_comes_with_its_uncertainty():
    run = made(estimate=True)
    summary = summarise(run)
    shown = Page(run_report.page(run, summary)).text
    assert "± 4.00 K" in shown and "the model's estimate" in shown and "give or take" in shown
    # By hand: at 97 °C instead of 100 °C the rate is exp(−80000/8.314462·(1/370.15 − 1/373.15)) = 0.8115 for
    # 1800 s; it falls by e in 14.24 K, so that the ramp of 1/6 K/s before it counts like 85.4 s more; and ±2
    # K change it by a seventh.
    assert summary.cure_share == pytest.approx(0.8115 * (1800.0 + 85.4) / 1500.0, rel=0.01)
    assert summary.cure_sd / summary.cure_share == pytest.approx(2.0 * 80000.0 / 8.314462 / 370.15**2, rel=0.05)


def test_soak_ends_where_a_trip_ends_it():
    assert summarise(made(trips=(TRIP,))).soaks[0].end_s == 700.0
    assert summarise(made()).soaks[0].end_s > 2000.0


def test_fahrenheit_page_has_no_celsius_in_its_tables():
    run = made()
    shown = Page(run_report.page(run, summarise(run), "F")).text
    assert "212 °F" in shown and "°C" not in shown.split("Soaks")[1].split("The part")[0]


@pytest.mark.parametrize(
    ("text", "of_two"),
    [("0.30/kWh", "0.60"), ("0.30 EUR/kWh", "0.60 EUR"), ("€0.3 / kWh", "€0.60"), ("25 ct/kwh", "50.00 ct")],
)
def test_prices(text, of_two):
    assert run_report.parse_price(text).of(2.0) == of_two


@pytest.mark.parametrize("text", ["", "0.3", "0,3 EUR/kWh", "-1/kWh", "nan/kWh", "0.3/MWh", "€0.3 EUR/kWh", "1e9/kWh"])
def test_no_prices(text):
    with pytest.raises(KilnctlError, match="write for example"):
        run_report.parse_price(text)


def test_csv_figures_can_be_read():
    run = made(trips=(TRIP,))
    rows = {
        r["what"]: (r["value"], r["unit"])
        for r in csv.DictReader(
            io.StringIO(run_report.as_csv(run, summarise(run), run_report.parse_price("0.5 EUR/kWh")))
        )
    }
    assert rows["warm: target"] == ("100.000", "°C") and rows["trip over-temperature"] == ("700.0", "s")
    assert float(rows["cost"][0]) == pytest.approx(0.5 * float(rows["energy"][0]), abs=1e-3)
    assert not any(value in ("nan", "inf") for value, _ in rows.values())


def test_same_record_same_page():
    assert run_report.page(made(), summarise(made())) == run_report.page(made(), summarise(made()))


def asked(command, *arguments):
    parser = argparse.ArgumentParser()
    command.arguments(parser)
    return command.run(parser.parse_args([str(a) for a in arguments]))


def test_report_command(tmp_path, capsys):
    folder = saved(tmp_path)
    assert asked(report_command, folder, "--price", "0.30 EUR/kWh", "--csv", tmp_path / "f.csv") == 0
    said = capsys.readouterr().out
    assert "cost" in said and "EUR" in said and str(folder / "report.html") in said
    assert (folder / "report.html").read_text().startswith("<!doctype html>") and (
        tmp_path / "f.csv"
    ).read_text().startswith("what,value,unit")
    assert asked(report_command, folder, "--csv", "-", "--out", tmp_path / "x.html") == 0
    assert capsys.readouterr().out.startswith("what,value,unit")
    with pytest.raises(KilnctlError, match="cannot be written"):
        asked(report_command, folder, "--out", tmp_path / "none" / "x.html")


def test_a_steady_oven_has_no_warning_and_a_worn_one_has(tmp_path, capsys):
    for i in range(6):
        saved(tmp_path, hold_w=600.0 + 6.0 * (-1) ** i)
    assert asked(history_command, tmp_path) == 0
    said = capsys.readouterr().out
    assert "6 runs" in said and "WARNING" not in said and "as before" in said
    saved(tmp_path, hold_w=690.0)
    found = history.read_history(tmp_path)
    (warning,) = found.warnings
    assert "power to hold, 'warm': 690 W, 15 % more than before (600 W" in warning and "more heat gets out" in warning
    assert asked(history_command, tmp_path, "--out", tmp_path / "h.html") == 0
    page = Page((tmp_path / "h.html").read_text())
    assert not page.outside and "15 % more" in page.text
    # After a repair the past begins anew.
    last = found.runs[-1].folder.name
    assert history.read_history(tmp_path, since=last).findings == ()
    with pytest.raises(KilnctlError, match="no run 'other'"):
        history.read_history(tmp_path, since="other")


def test_slow_ageing_is_seen_although_no_step_is(tmp_path):
    for i in range(12):
        saved(tmp_path, hold_w=600.0 * 1.02**i)
    (finding,) = (f for f in history.read_history(tmp_path).findings if f.figure.what == "hold")
    assert finding.change > 0.15 and finding.warning


def test_weak_elements_are_seen_in_time_and_gain(tmp_path):
    for strength in (1.0, 1.01, 0.99, 1.0, 0.7):
        saved(tmp_path, strength=strength)
    warnings = " ".join(history.read_history(tmp_path).warnings)
    assert (
        "time to the first soak" in warnings
        and "rise per energy" in warnings
        and "elements" in warnings
        and "power to hold" not in warnings
    )


def test_figures_of_a_run_by_hand():
    """40 K (20 to 70 % of 80 K) at 3 kW in 240 s take 0.2 kWh: 200 K/kWh; reached (3 K below) at 462 s."""
    run = made()
    figures = {f.what: f.value for f in history.figures_of(run, summarise(run))}
    assert (
        figures["hold"] == pytest.approx(600.0)
        and figures["gain"] == pytest.approx(200.0, rel=0.02)
        and figures["time"] == pytest.approx(462.0, abs=2.1)
    )


def test_only_like_is_compared_with_like(tmp_path):
    for _ in range(4):
        saved(tmp_path)
    saved(tmp_path, hold_w=900.0, load=Load(name="much more", mass_kg=20.0, area_m2=1.0))
    assert history.read_history(tmp_path).warnings == ()
    saved(tmp_path, hold_w=900.0)
    assert len(history.read_history(tmp_path).warnings) == 1


def test_history_leaves_out_what_it_cannot_read(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(KilnctlError, match="no run lies there"):
        history.read_history(tmp_path)
    saved(tmp_path)
    broken = saved(tmp_path)
    (broken / "run.json").write_text("{")
    found = history.read_history(tmp_path)
    assert len(found.runs) == 1 and "not a run.json" in found.left_out[0]
    with pytest.raises(KilnctlError, match="no run of 'Other'"):
        history.read_history(tmp_path, "Other")
    with pytest.raises(KilnctlError, match="no such folder"):
        history.read_history(tmp_path / "none")


def test_runs_are_ordered_by_time_then_by_number():
    def past(name, started=""):
        return history.Past(Path(name), "s", started, None, 20.0, (), ())

    runs = [past("a-10"), past("a"), past("a-2"), past("b", "2031-01-02"), past("c", "2031-01-01")]
    assert [r.folder.name for r in sorted(runs, key=history._order)] == ["a", "a-2", "a-10", "c", "b"]


def test_record_of_a_real_run_keeps_time_of_day_and_rig(tmp_path):
    folder = saved(tmp_path)
    said = json.loads((folder / "run.json").read_text())
    assert (said["started"], said["rig"]) == ("2031-05-04 10:00", "board")
    back = read_run(folder)
    assert back.started == "2031-05-04 10:00" and back.trips == ()
    assert Begun(OVEN, SCHEDULE).outcome == "unfinished"


@pytest.mark.parametrize("width", [400, 960])
def test_marks_and_bands_stay_inside_the_picture(width):
    t = np.arange(0.0, 3600.0)
    notes = tuple((1000.0 + 5.0 * i, f"note {i}") for i in range(6))
    panel = Panel(
        "y",
        (Series(t, t * 0.0 + 5.0, "flat", "part", np.full(len(t), 2.0)),),
        marks=((3590.0, "a long word at the end"),),
        notes=notes,
    )
    root = xml.fromstring(svg(Chart("marks", (panel,), width=width)))
    texts = [e for e in root.iter() if e.tag.endswith("text")]
    assert sum("note" in (e.text or "") for e in texts) == 3  # three rows, and no words on top of each other
    (end,) = (e for e in texts if e.text == "a long word at the end")
    assert end.get("text-anchor") == "end" and float(end.get("x")) <= width
    (band,) = (e for e in root.iter() if e.tag.endswith("polygon"))
    heights = [float(p.split(",")[1]) for p in band.get("points").split()]
    assert min(heights) > 50.0 and max(heights) < 490.0 and max(heights) - min(heights) > 200.0
