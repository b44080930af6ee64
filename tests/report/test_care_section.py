"""The repeated tests of SAFETY.md on the page of evidence: as they stood on the day of the run."""

from kilnctl.cli import main
from kilnctl.record import care
from kilnctl.record.care import CareDone
from kilnctl.report.care_section import care_section
from kilnctl.report.run_report import run_page
from kilnctl.run.summary import summarise
from tests.record.made_runs import OVEN, made, saved
from tests.report.pages import Page

#: The run of `made` began on 2031-05-04.
DONE = (
    CareDone("limiter", "2031-04-20", "M. Marsh", "latched at 88 °C"),
    CareDone("guided test", "2030-11-01", "M. Marsh", "all members"),
    CareDone("uniformity", "2031-05-01", "M. Marsh", "±9 K", passed=False),
    CareDone("thermocouples", "2031-05-05", "M. Marsh", "a day after the run"),
)


def test_each_test_stands_as_on_the_day_of_the_run():
    run = made()
    shown = Page(run_page(run, summarise(run), care=DONE))
    assert "Tests of SAFETY.md" in shown.text and not shown.open
    section = care_section(run, DONE)
    for words in ("passed, due in 17 days", "latched at 88 °C", "NOT PASSED", "never noted"):
        assert words in section, words
    assert "a day after the run" not in section
    assert section.count("<td>due</td>") + section.count(">due<") >= 1


def test_a_rehearsal_and_an_oven_without_a_log_have_no_such_part():
    assert care_section(made(started="", rig="", seed=3), DONE) == ""
    assert care_section(made(rig="virtual"), DONE) == "" and care_section(made(), None) == ""


def test_the_command_finds_the_log_where_the_service_keeps_it(tmp_path, capsys):
    run = saved(tmp_path / "runs")
    home = tmp_path / "home"
    assert main(["report", str(run), "--home", str(home)]) == 0
    assert "Tests of SAFETY.md" not in (run / "report.html").read_text(encoding="utf-8")
    care.add(home / "curing-cabinet", DONE[0])
    assert OVEN.name == "Curing cabinet" and main(["report", str(run), "--home", str(home)]) == 0
    assert "latched at 88 °C" in (run / "report.html").read_text(encoding="utf-8")
