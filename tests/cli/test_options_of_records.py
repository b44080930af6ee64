"""Options of the commands that read: each changes what it says it changes."""

import csv

import pytest

from kilnctl.cli import main
from kilnctl.record.run_record import read_run

CABINET = "configs/ovens/curing-cabinet.yaml"
SOAK = "schedule: soak\nsteps:\n  - {to: 110 °C, hold: 12 min, within: 3 K}\n  - {to: 100 °C, let cool: yes}\n"


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """A folder with two runs of the cabinet and one of another oven."""
    place = tmp_path_factory.mktemp("runs")
    (place / "soak.yaml").write_text(SOAK, encoding="utf-8")
    (place / "brief.yaml").write_text(SOAK.replace("12 min", "1 min"), encoding="utf-8")
    for oven, schedule in ((CABINET, "soak"), (CABINET, "brief"), ("configs/ovens/bench-muffle.yaml", "brief")):
        assert main(["rehearse", oven, str(place / f"{schedule}.yaml"), "--out", str(place / "runs"), "--quiet"]) == 0
    return place / "runs"


@pytest.fixture(scope="module")
def soak(runs):
    return runs / "curing-cabinet-soak"


@pytest.fixture(scope="module")
def logger(soak, tmp_path_factory):
    """Four loose thermocouples, 1 K to 8 K above the true chamber; the logger's clock was started 90 s before the
    run."""
    run = read_run(soak)
    file = tmp_path_factory.mktemp("logger") / "logger.csv"
    rows = [
        f"{t + 90.0:.1f},{c + 1.0:.3f},{c + 2.0:.3f},{c + 3.0:.3f},{c + 8.0:.3f}"
        for t, c in zip(run.time_s[::5], run.true_chamber_c[::5], strict=True)
    ]
    file.write_text("\n".join(["time_s,near,left,right,far", *rows]), encoding="utf-8")
    return file


def test_materials_of_a_kind_alone(here):
    some, every = here("materials", "--kind", "fibre"), here("materials")
    assert "ceramic fibre blanket 128" in some.stdout and "firebrick" not in some.stdout and "firebrick" in every.stdout
    none = here("materials", "--kind", "cheese")
    assert none.returncode == 2 and "no material of a kind like 'cheese'" in none.stderr


@pytest.mark.slow
def test_report_with_a_price_tells_the_cost(here, soak, tmp_path):
    done = here(
        "report", soak, "--price", "2 EUR/kWh", "--out", tmp_path / "page.html", "--csv", tmp_path / "figures.csv"
    )
    assert done.returncode == 0
    (cost,) = [float(line.split()[1]) for line in done.stdout.splitlines() if line.startswith("cost")]
    with open(tmp_path / "figures.csv", encoding="utf-8", newline="") as file:
        figures = {row[0]: row[1] for row in csv.reader(file) if len(row) > 1}
    energy = float(figures["energy"])
    assert cost == pytest.approx(2.0 * energy, abs=0.011) and energy > 0.1
    assert "EUR" in (tmp_path / "page.html").read_text()


def test_report_prints_the_figures_alone(here, soak, tmp_path):
    done = here("report", soak, "--csv", "-", "--out", tmp_path / "page.html")
    assert done.returncode == 0 and all(len(row) > 1 for row in csv.reader(done.stdout.splitlines()) if row)


@pytest.mark.parametrize("command", ["survey", "accuracy"])
@pytest.mark.parametrize("offset", ["-90 s", "-1.5 min", "90 s"])
def test_the_offset_puts_the_logger_s_clock_right(here, soak, logger, tmp_path, command, offset):
    """A logger that was started 90 s early says the chamber's temperatures too late, unless 90 s are taken off."""
    choice = ("--only", "near, left,right") if command == "survey" else ("--reference", "near")
    right, shown = (
        here(command, soak, logger, f"--offset={o}", *choice, "--out", tmp_path / "page.html")
        for o in ("-90 s", offset)
    )
    assert right.returncode == 0, right.stderr
    assert (shown.stdout == right.stdout) == offset.startswith("-")


def test_survey_takes_the_named_columns_alone(here, soak, logger, tmp_path):
    page = ("--out", tmp_path / "page.html", "--offset=-90 s")
    near, both = here("survey", soak, logger, "--only", "near,left,right", *page), here("survey", soak, logger, *page)
    assert (
        near.returncode == both.returncode == 0
        and "far" not in near.stdout
        and "far" in both.stdout
        and "near" in near.stdout
    )
    wrong = here("survey", soak, logger, "--only", "middle", *page)
    assert wrong.returncode == 2 and "middle" in wrong.stderr


def test_history_of_one_oven_since_a_run_and_as_a_page(here, runs, tmp_path):
    assert here("history", runs).returncode == 2, "two ovens: which?"
    whole = here("history", runs, "--oven", "Curing cabinet", "--out", tmp_path / "history.html")
    assert whole.returncode == 0 and "soak" in whole.stdout
    assert "Curing cabinet" in (tmp_path / "history.html").read_text() and "Bench" not in whole.stdout
    names = sorted(p.name for p in runs.glob("curing-cabinet-*"))
    later = here("history", runs, "--oven", "Curing cabinet", "--since", names[-1])
    assert later.returncode == 0 and later.stdout != whole.stdout
    assert here("history", runs, "--oven", "Nobody").returncode == 2
    assert here("history", runs, "--oven", "Curing cabinet", "--since", "nothing").returncode == 2
