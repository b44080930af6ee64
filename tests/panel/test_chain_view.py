"""The safety chain on the page: each link says what is known of it, and one sentence says why there is no heat."""

import dataclasses

import pytest

from kilnctl.panel.chain_view import LinkState, links, view, why
from kilnctl.safety.messages import WORDS

#: A run that heats, on a rig with every read-back.
HEATS = {
    "running": True,
    "duty": 0.4,
    "reason": "",
    "trips": [],
    "supply_v": 231.0,
    "contactor": True,
    "contactor_closed": True,
    "fired": 0.4,
    "door_open": False,
    "airflow_proved": True,
    "faults": [],
    "chamber_c": 120.0,
    "limit_c": 121.0,
    "rig": {"name": "the board", "unproved": []},
}
NAMES = ["mains", "limiter", "contactor", "relay", "door", "airflow", "sensors", "board", "permit"]


@pytest.fixture
def cabinet(oven):
    return oven("curing-cabinet")


def states(status, oven, fresh=True):
    return {x.name: x.state for x in links(status, oven, fresh)}


def test_a_chain_that_is_proved_says_so_and_the_limiter_is_never_proved_by_us(cabinet):
    found = states(HEATS, cabinet)
    assert list(found) == NAMES
    assert found.pop("limiter") == LinkState.UNPROVED
    assert set(found.values()) == {LinkState.PROVED}
    assert view(HEATS, cabinet, True)["why"].startswith("Heat may flow")


@pytest.mark.parametrize(
    ("change", "name", "words"),
    [
        ({"door_open": True, "duty": 0.0}, "door", "No heat: the door is open."),
        ({"contactor_closed": False, "duty": 0.0}, "contactor", "told closed, and reads open"),
        ({"supply_v": 0.0, "duty": 0.0}, "mains", "0 V"),
        ({"chamber_c": None, "duty": 0.0}, "sensors", "no reading"),
        ({"faults": ["board: watchdog"], "duty": 0.0}, "board", "board: watchdog"),
        ({"contactor": False, "duty": 0.0}, "contactor", "told open, and reads closed"),
    ],
)
def test_what_refuses_is_marked_and_is_the_reason(cabinet, change, name, words):
    status = HEATS | change
    assert [n for n, s in states(status, cabinet).items() if s == LinkState.REFUSING] == [name]
    assert words in view(status, cabinet, True)["why"]


def test_what_nothing_reads_back_is_not_proved_and_what_is_not_there_is_none(cabinet):
    blind = HEATS | dict.fromkeys(("supply_v", "contactor_closed", "fired", "door_open", "airflow_proved", "limit_c"))
    found = states(blind, dataclasses.replace(cabinet, limits=dataclasses.replace(cabinet.limits, limiter_c=None)))
    assert {n: s for n, s in found.items() if s == LinkState.NONE}.keys() == {"door", "airflow"}
    assert {n for n, s in found.items() if s == LinkState.UNPROVED} == {
        "mains",
        "limiter",
        "contactor",
        "relay",
        "sensors",
    }
    unproved = HEATS | {"rig": {"name": "own pins", "unproved": ["the relay's leakage"]}}
    assert states(unproved, cabinet)["board"] == LinkState.UNPROVED


def test_at_rest_what_is_open_is_no_fault(cabinet):
    rest = HEATS | {"running": False, "duty": 0.0, "contactor": False, "contactor_closed": False, "fired": 0.0}
    found = states(rest, cabinet)
    assert {n for n, s in found.items() if s == LinkState.OPEN} == {"contactor", "relay", "permit"}
    assert why(rest, links(rest, cabinet, True), True) == "No heat: no run has been started."
    refused = rest | {"refusal": "The disk is full."}
    assert states(refused, cabinet)["permit"] == LinkState.REFUSING
    assert view(refused, cabinet, True)["why"] == "No heat: the disk is full."


def test_a_run_that_wants_no_heat_now_says_for_what_reason(cabinet):
    coasting = HEATS | {"duty": 0.0, "fired": 0.0, "contactor": False, "contactor_closed": False, "reason": "cooling"}
    assert view(coasting, cabinet, True)["why"] == "No heat at this moment: cooling."
    assert "none is asked for" in view(coasting | {"reason": ""}, cabinet, True)["why"]


@pytest.mark.parametrize("fault", WORDS)
def test_every_trip_stands_at_one_link_with_what_was_seen(cabinet, fault):
    tripped = HEATS | {"duty": 0.0, "trips": [{"fault": fault, "seen": "this was seen"}]}
    refusing = [x for x in links(tripped, cabinet, True) if x.state == LinkState.REFUSING]
    assert len(refusing) == 1 and refusing[0].words == "this was seen"
    # A trip that names a piece of hardware stands at that piece.
    pieces = {"contactor": "contactor", "relay": "relay", "board": "board", "sensor": "sensors", "supply": "mains"}
    named = [pieces[word] for word in fault.split("-") if word in pieces]
    if named:
        assert refusing[0].name == named[0]
    assert "until the trip is acknowledged" in view(tripped, cabinet, True)["why"]


def test_heat_that_cannot_be_cut_is_never_told_as_no_heat(cabinet):
    danger = HEATS | {"danger": "SWITCH OFF", "trips": [{"fault": "relay-on-unasked", "seen": "x"}], "running": False}
    assert "cannot be cut" in view(danger, cabinet, True)["why"]


def test_a_silent_service_proves_nothing(cabinet):
    said = view(HEATS, cabinet, fresh=False)
    assert [x["name"] for x in said["links"]] == NAMES and {x["state"] for x in said["links"]} == {"unproved"}
    assert said["why"].startswith("Nothing is known")
