"""The first line about a run: whether it did what its schedule asks."""

import math
from dataclasses import replace

import pytest

from kilnctl.output import IMPERIAL, Units
from kilnctl.record.events import Event
from kilnctl.report.run_report import run_page
from kilnctl.report.summary_text import summaries_compared, summary_text
from kilnctl.report.verdict import verdict
from kilnctl.run.summary import Soak, Summary
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.terms import SKIP
from tests.record.made_runs import SCHEDULE, made
from tests.report.pages import Page

KEPT = Soak("cure", 190.0, 60.0, 100.0, 900.0, -0.5, 0.1)
MISSED = Soak("cure", 190.0, math.nan, math.nan, math.nan, math.nan, math.nan)
STEPS = (Step(name="heat", to_c=100.0), Step(name="cure", to_c=190.0, hold_s=600.0, within_k=3.0))


def summary(soak: Soak = KEPT, **facts) -> Summary:
    usual = Summary("finished", 1000.0, (soak,), 0.2, 0.5, 0.4, 1.5, 200.2, 195.0, 3.0, None, None, "")
    return replace(usual, **facts)


def run(outcome: str = "finished"):
    schedule: Schedule = replace(SCHEDULE, steps=STEPS)
    return replace(made(outcome=outcome), schedule=schedule)


@pytest.mark.parametrize(
    "facts, good, words",
    [
        ({}, True, "as asked: the soak kept to its band"),
        ({"cure_share": 1.17}, True, "as asked: the soak kept to its band, the part got 117 % of the reference cure"),
        ({"cure_share": 1.0, "cure_most": 1.3}, True, "the part got 100 % to 130 % of the reference cure"),
        ({"cure_share": 0.87}, False, "not as asked; NOT CURED: the part got 87 % of the reference cure"),
        ({"cure_share": 0.999}, False, "NOT CURED: the part got 99 % of the reference cure"),
        ({"cure_share": 0.7, "cure_most": 0.9}, False, "NOT CURED: the part got 70 % to 90 % of the reference cure"),
        ({"cure_share": 0.9, "cure_most": 1.2}, False, "is not known (90 % to 120 % of the reference cure, by an"),
        ({"soak": MISSED}, False, "not as asked; 'cure' at 190 °C was not reached"),
        ({"soak": replace(KEPT, worst_k=-4.25)}, False, "'cure' at 190 °C was -4.25 K off at worst, 3.00 K was asked"),
        ({"soak": replace(KEPT, worst_k=3.0)}, True, "as asked"),
        ({"soak": replace(KEPT, past_k=3.0)}, True, "as asked"),
        (
            {"soak": replace(KEPT, past_k=24.0)},
            True,
            "as asked: the soak kept to its band; but 'cure' at 190 °C was 24.00 K past its target before it settled",
        ),
        ({"soak": replace(KEPT, worst_k=math.nan)}, False, "'cure' at 190 °C was not measured all the time"),
        ({"soaks": ()}, True, "as asked: it ran to its end"),
    ],
)
def test_a_run_to_its_end_is_good_only_if_it_did_what_was_asked(facts, good, words):
    found = verdict(run(), summary(**facts))
    assert found.good is good and words in found.words


@pytest.mark.parametrize(
    "outcome, words",
    [
        ("tripped", "a trip ended it"),
        ("stopped", "a person stopped it"),
        ("interrupted", "a person interrupted it"),
        ("lost", "the hardware was gone"),
        ("unfinished", "has no ending"),
    ],
)
def test_any_other_end_is_not_finished_and_says_what_else_was_missed(outcome, words):
    found = verdict(run(outcome), summary(cure_share=0.5))
    assert not found.good and found.words.startswith("not finished: ")
    assert words in found.words and "NOT CURED" in found.words


def test_a_skipped_step_is_told_even_where_every_soak_kept_to_its_band():
    """The event is the one that tests/service/test_loop.py finds in a record."""
    skipped = replace(run(), events=(Event(600.0, "request", f"{SKIP} (panel)"),))
    found = verdict(skipped, summary())
    assert not found.good and "a person skipped to the next step at 10 min" in found.words


def test_it_is_told_in_the_units_of_the_oven_and_leads_the_page():
    off, units = summary(replace(KEPT, worst_k=10.0)), Units(IMPERIAL)
    assert "'cure' at 374 °F was 18.00 °F off at worst, 5.40 °F was asked" in verdict(run(), off, units).words
    shown = Page(run_page(run(), off)).text
    assert shown.index("It ran to its end, but not as asked") < shown.index("overshoot")


def test_a_cure_just_short_of_full_is_nowhere_told_as_100_percent():
    short = summary(cure_share=0.997)
    text = summary_text(short)
    assert "cure                 99 % of the reference cure" in text and "100 %" not in text
    shown = Page(run_page(run(), short)).text
    assert shown.count("99 % of the reference cure") == 3 and "100 % of" not in shown


def test_a_summary_claims_no_overshoot_of_a_soak_that_was_never_reached():
    assert "overshoot            –\n" in summary_text(summary(MISSED, overshoot_k=0.0))


def test_a_comparison_claims_no_steadiness_of_a_soak_that_was_never_reached():
    text = summaries_compared(summary(), summary(MISSED, overshoot_k=0.0, swing_k=0.0), "thermostat")
    cells = {line[:32].strip(): line[32:].split()[-1] for line in text.splitlines()}
    assert cells["overshoot"] == "–" and cells["swing during the soak"] == "–"
