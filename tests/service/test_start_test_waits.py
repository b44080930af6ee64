"""A whole run that starts while heat is forbidden: the start test waits, says why, and the schedule begins after it."""

import dataclasses
import re

import pytest

from kilnctl.plants.injection import PlantFault
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.service.session import Session, prepare
from kilnctl.settings.flammable import Vapour


def run(order, seconds, faults=(), told=lambda reading, t: reading):
    """(session, reasons of the start test, when it passed)"""
    session, plant, reasons, passed_s = (
        Session(order),
        VirtualOven(order.oven, load=order.load, seed=3, faults=faults),
        [],
        None,
    )
    reading, heated_before = plant.advance(1.0, 0.0, False), 0.0
    for t in range(1, seconds):
        act = session.tick(told(reading, t), float(t), 1.0, t)
        if session.chain.proving:
            reasons.append(act.decision.reason)
        elif passed_s is None:
            passed_s = t
        if "waiting" in act.decision.reason:
            heated_before += act.fired
        reading = plant.advance(1.0, act.fired, act.contactor)
    assert heated_before == 0.0
    return session, reasons, passed_s


def test_a_door_that_is_open_at_the_start_is_waited_for(oven, schedule):
    order = prepare(oven("curing-cabinet"), schedule("powder-cure"))
    session, reasons, passed_s = run(order, 420, (PlantFault("door open", 0.0, 300.0),))
    assert not session.trips and passed_s is not None and 300 < passed_s < 400
    assert (
        "start test: waiting, the door is open" in reasons and session.chain.control and not session.chain.control.held
    )


def test_a_purge_is_waited_for_however_long(oven, schedule):
    """The fan is proved after 12 s; what is purged then takes many times as long as the heat of the test may."""
    load = Vapour(powder_kg=0.06, volatiles=0.04)
    vapour = dataclasses.replace(schedule("powder-cure"), flammable_vapour=True, vapour=load)
    order = prepare(oven("curing-cabinet"), vapour)
    purge_s = order.policy.purge_s
    assert purge_s > 600.0

    def told(reading, t):
        return dataclasses.replace(reading, airflow_proved=t > 12)

    session, reasons, passed_s = run(order, round(purge_s) + 150, told=told)
    assert not session.trips and passed_s is not None and passed_s > purge_s
    assert any("waiting" in r and "ventilation is not proved" in r for r in reasons) and any(
        "waiting" in r and "purging" in r for r in reasons
    )


@pytest.fixture(scope="module")
def temper(oven, schedule):
    return prepare(oven("curing-cabinet"), schedule("temper"))


@pytest.mark.parametrize(
    ("contactor", "current", "words"),
    [
        (True, True, ""),
        (True, False, "the start test could not show: that the relay blocks"),
        (False, False, "the start test could not show: that the contactor opens .*; that the relay blocks"),
    ],
)
def test_what_the_start_test_could_not_show_is_told_once_it_is_passed(temper, contactor, current, words):
    """It was found out, and told to nobody."""
    meters = dataclasses.replace(temper.oven.meters, contactor=contactor, current=current)
    session, notes = Session(temper), []
    plant = VirtualOven(dataclasses.replace(temper.oven, meters=meters), load=temper.load, seed=3)
    reading = plant.advance(1.0, 0.0, False)
    for t in range(1, 90):
        act = session.tick(reading, float(t), 1.0, t)
        found = [event.text for event in session.events if event.kind == "note"]
        assert not (found and session.chain.proving)
        notes += found
        reading = plant.advance(1.0, act.fired, act.contactor)
    assert not session.chain.proving and not session.trips and len(notes) == bool(words)
    assert not words or re.match(words, notes[0])
