"""What a trip tells a person to do: in order, short, plain, true, and safe to do."""

import dataclasses
import re
from pathlib import Path

import pytest

from kilnctl import Reading
from kilnctl.safety import policy_for
from kilnctl.safety.messages import DEAD, LOAD_FIRST, LOUD, OFF, UNKNOWN, WATCH, WORDS
from kilnctl.safety.rules_supply import coil_circuit
from kilnctl.safety.state import DANGER, SafetyState, trip
from kilnctl.settings.equipment import Pins, Rig

ROOT = Path(__file__).parents[2]
#: Words for work where live parts can hurt.
TOUCHED = (
    r"relay|element|contactor|thermocouple|wires|terminals|converter|sensor's "
    r"place|screening|wiring|the board|meters"
)
#: Claims that only a read-back may make.
CLAIMS = (
    r"(relay|contactor|heat|power|current|it|they|board|oven)( \w+)? "
    r"(opened|dropped|let go|lets go|is open|was cut|is cut|is off|was opened|is dead|has stopped|stopped)|"
    r"the heat is|no heat flows|drops? relay"
)
#: Every value that a trip's text may contain, at its longest.
FACTS = dict.fromkeys(
    ("value", "limit", "first", "second", "time", "share", "rate", "fall", "rise", "watts", "least"), 1234.5
) | {
    **dict.fromkeys(("given", "asked", "energy", "hours", "gap"), 98.5),
    "last": "1234 °C",
    "members": coil_circuit(Reading(20.0, door_open=False, airflow_proved=True), True),
}
WHAT = {
    "sensor-noisy": ("the control reading jumped 5 times within seconds", "the control reading jitters by ±12.5 K"),
    "cold-junction": (
        "read 123 °C, outside what electronics bear",
        "jumped from 25 °C to 123 °C; readings err as much",
    ),
    "clock": ("the program's clock gives no number", "the program's clock went back or stood still"),
    "start-contactor": ("the contactor reads closed with its coil off", "current flowed with the contactor's coil off"),
    "start-relay": ("current flowed with the relay's input off",),
    "start-no-rise": (
        "180 s of heat raised it only 1.5 K",
        "heat made the reading fall by 12.5 K",
        "the contactor reads open with its coil on",
    ),
}


def told():
    """(rule, act, seen, check) of every trip as people see it, with every variant of its text, with and without the
    danger message."""
    for rule, (act, seen, check) in WORDS.items():
        for what in WHAT.get(rule, ("",)):
            facts = FACTS | {"what": what, "noise": what}
            for first in (act, LOUD):
                yield rule, first, seen.format(**facts), check.format(**facts)
    for rule, (seen, check) in UNKNOWN.items():
        yield rule, WORDS[rule][0], seen, check
    yield "unexplained-heat", OFF, WORDS["unexplained-heat"][1].format(**FACTS), LOAD_FIRST


TOLD = list(told())


def words(text: str) -> list[str]:
    return re.findall(r"[\w'’.,/±−-]*\w", text)


def grade(text: str) -> float:
    """Automated Readability Index, the school year that reads it: 4.71 letters/words + 0.5 words/sentences − 21.43
    (Senter and Smith, AMRL-TR-66-220, 1967; constants from memory)."""
    sentences = [s for s in re.split(r"[.?!:;](?=\s|$)", text) if s.strip()]
    found = [w for s in sentences for w in words(s)]
    return 4.71 * sum(len(re.sub(r"\W", "", w)) for w in found) / len(found) + 0.5 * len(found) / len(sentences) - 21.43


def test_the_index_against_a_text_whose_counts_are_known():
    """Nine words of 35 letters in one sentence: 4.71 × 35/9 + 4.5 − 21.43."""
    assert grade("The quick brown fox jumps over the lazy dog.") == pytest.approx(4.71 * 35 / 9 + 4.5 - 21.43)
    assert grade("Notwithstanding considerable organisational responsibilities, interpretation deteriorates.") > 20.0


@pytest.mark.parametrize("rule, act, seen, check", TOLD)
def test_first_what_to_do_in_few_plain_words(rule, act, seen, check):
    assert act.startswith(("Leave it shut.", "SWITCH OFF AT THE MAIN SWITCH NOW. Leave it shut."))
    assert len(words(act)) + len(words(seen)) < 25, f"{act} {seen}"
    assert grade(act) < 6.0 and grade(f"{act} {seen}.") < 9.0, (grade(act), grade(f"{act} {seen}."))
    assert grade(check) < 10.0, grade(check)
    assert len(words(check)) < 70 and act.endswith(".") and check.endswith((".", "?")) and not seen.endswith(".")
    assert all(len(words(s)) < 33 for s in re.split(r"[.?!]\s", check)), check


@pytest.mark.parametrize("rule, act, seen, check", TOLD)
def test_no_trip_claims_what_no_read_back_saw(rule, act, seen, check):
    assert not re.search(CLAIMS, f"{act} {seen}", re.IGNORECASE), f"{act} {seen}"
    for word in ("isolator", "plug out", "breaker or", "power off", "unplug"):
        assert word not in f"{act} {seen} {check}".lower(), "one word for one switch"


def test_the_search_for_claims_finds_them():
    for claim in ("The heat was cut and the contactor opened.", "The board drops relay and contactor by itself.",
                  "it lets go of the heat", "The heat is off"):  # fmt: skip
        assert re.search(CLAIMS, claim, re.IGNORECASE), claim


@pytest.mark.parametrize("rule, act, seen, check", TOLD)
def test_advice_to_look_at_wiring_says_first_to_prove_it_dead(rule, act, seen, check):
    found = re.search(TOUCHED, check.replace(DEAD, ""))
    if found and rule not in ("supply-lost", "contactor-open"):
        where = check.find(DEAD) if DEAD in check else check.find(DEAD[0].lower() + DEAD[1:])
        assert where >= 0 and where < check.index(found.group(), check.find("check") if where == 0 else 0) + len(DEAD)
    for word in ("locked", "proved dead", "cold"):
        assert word in DEAD


def test_what_is_not_seen_any_more_or_may_be_heated_unasked_is_switched_off():
    for rule in ("over-oven", "rise-no-heat", "relay-on-unasked", "unexplained-heat", "start-relay", "board-lost"):
        assert WORDS[rule][0] == OFF, rule
    assert all(WORDS[rule][0] == OFF for rule in WORDS if rule.startswith("sensor"))
    assert WORDS["contactor-welded"][0] == WORDS["start-contactor"][0] == LOUD
    assert {act for act, _, _ in WORDS.values()} - {OFF, WATCH, LOUD} == {
        WORDS[r][0] for r in ("rise-too-fast", "ventilation")
    }


def test_the_load_needs_no_switch():
    assert LOAD_FIRST.startswith("Check the load") and LOAD_FIRST.index("main switch off") < LOAD_FIRST.index("relay")


def test_lost_mains_may_be_an_element_that_touches_earth():
    """The answer to F06: closing the residual-current device again would put the mains on the cabinet."""
    check = WORDS["supply-lost"][2]
    assert check.startswith(DEAD) and "leave it open until an electrician has found why" in check


def test_a_rise_that_may_be_a_fire_says_so_before_any_figure():
    act, _, check = WORDS["rise-too-fast"]
    assert act.index("Leave it shut") < act.index("Get out") < act.index("call the fire brigade")
    for word in ("do not open it for hours", "No water", "extraction off if you need not pass the oven"):
        assert word in check
    assert DANGER.index("MAIN SWITCH") < DANGER.index("CANNOT BE CUT") < DANGER.index("Get out")
    assert "from a distance" in DANGER and "STAY WITH" not in DANGER.upper()


def test_lost_ventilation_keeps_the_door_shut_and_never_asks_for_the_switch():
    act, _, check = WORDS["ventilation"]
    assert act.startswith("Leave it shut. No flame, no switch nearby.") and "switch off" not in act.lower()
    assert "leave the oven shut until it is cold" in check and "supply of its own" in check and DEAD not in check


def test_a_contactor_that_stays_open_names_what_is_wired_and_the_start_button_first():
    state = SafetyState()
    trip(state, "contactor-open", 1.0, members=coil_circuit(Reading(20.0, door_open=False), True))
    check = state.trips["contactor-open"].check
    assert check.index("start pressed") < check.index("limiter") and "door switch" in check
    assert "airflow" not in check and "heat sink's thermostat" in check and "pulse timer" in check
    assert "door" not in coil_circuit(Reading(20.0, airflow_proved=False), True)
    assert "airflow switch" in coil_circuit(Reading(20.0, airflow_proved=False), True)
    assert "before you reset it" in check


@pytest.mark.parametrize(
    "rig, timer",
    [
        (Rig(), False),
        (Rig(kind="board", port="/dev/ttyACM0"), False),
        (Rig(kind="pins", pins=Pins(relays=(1,), coil=2)), False),
        (Rig(kind="pins", pins=Pins(relays=(1,), coil=2, pulse=3)), True),
    ],
)
def test_the_pulse_timer_is_named_only_where_own_pins_feed_one(oven, rig, timer):
    policy = policy_for(dataclasses.replace(oven("curing-cabinet"), rig=rig))
    assert policy.pulse_timer is timer
    assert ("pulse timer" in coil_circuit(Reading(20.0), policy.pulse_timer)) == timer
