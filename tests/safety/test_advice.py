"""What a trip tells somebody to do must not hurt them: no hands on live parts, no air for a fire, no extraction
switched off."""

import re
from pathlib import Path

import pytest

from kilnctl.safety import Trip
from kilnctl.safety.messages import LOAD_FIRST, UNKNOWN, WORDS

DEAD = "(plug out or isolator locked off, and cold) "
#: Where hands go that live parts can hurt.
TOUCHED = (
    r"relay|element|contactor|thermocouple|wires|terminals|converter|sensor's "
    r"place|limiter|screening|wiring|breaker|residual-current|fuse|the board|meters"
)


@pytest.mark.parametrize(
    "rule, check", [(rule, words[1]) for table in (WORDS, UNKNOWN) for rule, words in table.items()]
)
def test_who_is_sent_to_the_wiring_is_told_to_unplug_first(rule, check):
    found = re.search(TOUCHED, check.replace(DEAD, ""))
    if found:
        assert DEAD in check and check.index(DEAD) < check.index(found.group())
    assert "power off" not in str(Trip(rule, 0.0, "seen", "done", check))


def test_the_load_needs_no_plug():
    assert LOAD_FIRST.startswith("the load") and LOAD_FIRST.index(DEAD) < LOAD_FIRST.index("the relay")


def test_lost_mains_may_be_an_element_that_touches_earth():
    """The answer to F06: who closes the residual-current device again puts the mains on the cabinet."""
    check = WORDS["supply-lost"][1]
    assert (
        check.startswith(DEAD)
        and "Do not close a residual-current device again before an electrician has found why it opened" in check
    )


def test_a_board_that_reports_a_fault_is_asked_before_it_is_touched():
    check = WORDS["board-fault"][1]
    assert check.startswith("`kilnctl board` shows which; before anything is touched: " + DEAD)


def test_a_rise_that_may_be_a_fire_keeps_the_door_shut():
    _, check, done = WORDS["rise-too-fast"]
    for word in ("keep the door shut", "pull the plug", "extinguisher", "leave", "call the fire brigade"):
        assert word in done
    assert "burns in the chamber" not in check and DEAD in check


def test_lost_ventilation_never_asks_for_the_power_off():
    check = WORDS["ventilation"][1]
    assert "Leave the extraction running" in check and "supply of its own" in check and DEAD not in check


def test_safety_md_proves_the_limiter_before_any_heat_and_shows_what_makes_dead():
    text = (Path(__file__).parents[2] / "SAFETY.md").read_text(encoding="utf-8")
    before = text[text.index("## Before first power") :]
    assert before.index("limiter, before any heat") < before.index("a short heat raises")
    assert before.index("Each sensor against a known temperature") < before.index("a short heat raises")
    assert "elements disconnected** and each loose end insulated" in before
    # Elements are connected with the plug out and the covers go on before there is power; behind an open contactor
    # nothing is live.
    assert before.index("**Plug out:** connect the elements, close the covers") < before.index(
        "**Then power on:** contactor open and relay on"
    )
    assert "nothing live at the elements with the contactor open" in before and "leakage with the contactor" not in text
    assert "It watches the airflow for schedules so marked only" in text
    diagram = text.split("```")[1]
    for part in ("isolator, lockable", "RCD type A", "small fuse", "holding relay", "supply of its own"):
        assert part in diagram, part
    for word in (
        "carbon monoxide alarm",
        "gloves",
        "take the electronics off first",
        "earth every metal sheath",
        "do not open it, air feeds it",
    ):
        assert word in text, word
    assert "power off" not in text.lower()
