"""The page of evidence: what is in it, and that nothing in it needs a network."""

import csv
import io
import json
import math

import pytest

from kilnctl import KilnctlError
from kilnctl.commands import report as report_command
from kilnctl.output import IMPERIAL, Units
from kilnctl.record.folder import Begun
from kilnctl.record.run_record import read_run
from kilnctl.report import run_report
from kilnctl.run.summary import summarise
from tests.record.made_runs import OVEN, SCHEDULE, TRIP, made, saved
from tests.report.pages import Page, asked


def test_page_says_what_the_issue_asks_for():
    run = made(trips=(TRIP,), outcome="tripped", problems=("samples.csv: the last line was cut off",))
    shown = Page(run_report.run_page(run, summarise(run), price=run_report.parse_price("0.30 EUR/kWh")))
    assert not shown.outside and not shown.open
    summary = summarise(run)
    for words in (
        "Dry <lamps> · Curing cabinet",
        "a & b",
        "Started 2031-05-04 10:00",
        "Not finished: a trip ended it",
        "Trip at 11 min 40 s: over-temperature",
        "Leave it shut. Chamber at 290 °C. Check the relay.",
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
    assert "nothing was heated" in Page(run_report.run_page(run, summarise(run))).text


def test_page_without_a_sample_is_still_a_page():
    run = made(outcome="interrupted")
    run.data = {n: v[:0] for n, v in run.data.items()}
    shown = Page(run_report.run_page(run, summarise(run)))
    assert "interrupted" in shown.text and "0 samples" not in shown.outside


def test_an_estimated_part_comes_with_its_uncertainty():
    run = made(estimate=True)
    summary = summarise(run)
    shown = Page(run_report.run_page(run, summary)).text
    assert "± 4.00 K" in shown and "the model's estimate" in shown and "by the lower edge" in shown
    # By hand: at 97 °C instead of 100 °C the rate is exp(−80000/8.314462·(1/370.15 − 1/373.15)) = 0.8115 for
    # 1800 s; it falls by e in 14.24 K, so that the ramp of 1/6 K/s before it counts like 85.4 s more; and 4 K more
    # or less are a factor exp(4/14.24).
    middle, edge = 0.8115 * (1800.0 + 85.4) / 1500.0, math.exp(80000.0 / 8.314462 * 4.0 / 370.15**2)
    assert summary.cure_share == pytest.approx(middle / edge, rel=0.02)
    assert summary.cure_most == pytest.approx(middle * edge, rel=0.02)


def test_fahrenheit_page_has_no_celsius_in_its_tables():
    run = made()
    shown = Page(run_report.run_page(run, summarise(run), Units(IMPERIAL))).text
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
            io.StringIO(run_report.run_csv(run, summarise(run), run_report.parse_price("0.5 EUR/kWh")))
        )
    }
    assert rows["warm: target"] == ("100.000", "°C") and rows["trip over-temperature"] == ("700.0", "s")
    assert float(rows["cost"][0]) == pytest.approx(0.5 * float(rows["energy"][0]), abs=1e-3)
    assert not any(value in ("nan", "inf") for value, _ in rows.values())


def test_same_record_same_page():
    assert run_report.run_page(made(), summarise(made())) == run_report.run_page(made(), summarise(made()))


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


def test_record_of_a_real_run_keeps_time_of_day_and_rig(tmp_path):
    folder = saved(tmp_path)
    said = json.loads((folder / "run.json").read_text())
    assert (said["started"], said["rig"]) == ("2031-05-04 10:00", "board")
    back = read_run(folder)
    assert back.started == "2031-05-04 10:00" and back.trips == ()
    assert Begun(OVEN, SCHEDULE).outcome == "unfinished"
