"""The record of each rule is complete, and its words and table rows exist."""

import dataclasses
import inspect

import pytest

from kilnctl import Reading
from kilnctl.reading import SENSOR_FAULTS
from kilnctl.safety import RULES, Policy, SafetyState, Tick
from kilnctl.safety.fault_table import FAULTS, by_id
from kilnctl.safety.messages import WORDS
from kilnctl.safety.rule import Look, at_a_persons_word

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
#: Trips of `control_reading`, whose ids are made from the word of what is wrong.
FROM_A_WORD = {*(f"sensor-{word}" for word in (*SENSOR_FAULTS, "not-a-number", "jump", "shorted"))}


def look(**values) -> Look:
    return Look(SafetyState(), POLICY, Reading(100.0), Tick(50.0, 5, 0.3), **values)


def test_a_rule_cannot_be_changed_and_a_look_takes_no_misspelled_name():
    rule = next(iter(RULES.values()))
    with pytest.raises(dataclasses.FrozenInstanceError):
        rule.id = "another"  # type: ignore[misc]
    for made in (rule, look()):
        assert not hasattr(made, "__dict__")


def test_every_id_that_has_words_has_a_rule_and_in_the_same_order():
    assert list(RULES) == list(WORDS) == [rule.id for rule in RULES.values()]


@pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))
def test_a_rule_is_whole(rule):
    seen, check, done = rule.words
    assert seen and check and done and rule.words is WORDS[rule.id]
    assert rule.rows == tuple(fault.id for fault in FAULTS if rule.id in fault.rules)
    assert all(rule.id in by_id(row).rules for row in rule.rows)
    assert bool(rule.rows) is not rule.id.startswith("start-"), "the start test finds what other rules answer"
    assert isinstance(rule.cause_gone(look()), bool)


@pytest.mark.parametrize("rule", RULES.values(), ids=list(RULES))
def test_a_rule_names_the_function_that_latches_its_trip(rule):
    source = inspect.getsource(rule.tripped_by)
    wanted = 'f"sensor-{bad}"' if rule.id in FROM_A_WORD else f'"{rule.id}"'
    assert wanted in source


def test_a_person_is_believed_of_what_shows_only_under_heat():
    assert at_a_persons_word(look()) is True


@pytest.mark.parametrize(("switch", "is_open"), [(True, True), (False, False), (None, False)])
def test_a_door_without_a_switch_is_not_said_to_be_open(switch, is_open):
    seen = Look(SafetyState(), POLICY, Reading(100.0, door_open=switch), Tick(50.0, 5, 0.3))
    assert seen.door_is_open is is_open


def test_a_look_latches_waits_and_warns_in_its_own_tick():
    seen = look()
    assert seen.now_s == 50.0 and (seen.dt_s, seen.fired, seen.usable, seen.powered) == (0.0, 0.0, False, True)
    seen.trip("board-lost")
    assert seen.state.trips["board-lost"].time_s == 50.0
    seen.warn("first")
    seen.warn("second")
    assert seen.warnings == ["first", "second"] and look().warnings == []
    assert not seen.lasting("noise", True, 1.0) and seen.state.over == {"noise": 50.0}
    seen.tick = Tick(51.0, 6, 0.3)
    assert seen.lasting("noise", True, 1.0) and not seen.lasting("noise", False, 1.0) and seen.state.over == {}


def test_lasting_counts_without_a_break():
    seen = look()

    def lasting(name: str, condition: bool, now_s: float, for_s: float) -> bool:
        seen.tick = Tick(now_s, 5, 0.3)
        return seen.lasting(name, condition, for_s)

    assert [lasting("a", True, t, 5.0) for t in (10.0, 14.9, 15.0)] == [False, False, True]
    assert not lasting("b", True, 15.0, 5.0)
    assert not lasting("a", False, 16.0, 5.0) and "a" not in seen.state.over
    assert [lasting("a", True, t, 5.0) for t in (17.0, 21.9, 22.0)] == [False, False, True]
    assert lasting("now", True, 3.0, 0.0) and not lasting("never", False, 3.0, 0.0)


def test_a_trip_is_filled_in_with_its_facts():
    seen = look()
    seen.trip("sensor-frozen", time=7.2)
    assert "for 7 s" in seen.state.trips["sensor-frozen"].seen
