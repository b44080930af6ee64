"""Runs and rest between two ticks, without clock or disk."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.control import Programme, reference
from kilnctl.model.energy import CHAMBER, SENSOR
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.run.chain import AFTER_TRIP_S
from kilnctl.safety import Trip
from kilnctl.service import resume
from kilnctl.service.saved_state import outage_s
from kilnctl.service.session import Rest, Session, cooled_state, prepare
from kilnctl.terms import HOLD, PROCEED, SKIP, Request, RequestKind


@pytest.fixture(scope="module")
def order(oven, schedule):
    return prepare(oven("curing-cabinet"), schedule("powder-cure"))


def position_of(session: Session) -> reference.Position:
    """Where it is in its schedule."""
    state = session.chain.control
    assert state is not None and state.position is not None
    return state.position


def start_test_of(session: Session) -> str:
    """The phase of its start test."""
    assert session.chain.test is not None
    return session.chain.test.phase


def place_of(session: Session) -> dict:
    """From where another process would go on with it."""
    place = session.place()
    assert place is not None
    return place


def after_outage(model, place: dict, outage_s: float) -> tuple[float, ...]:
    """The model's temperatures after so long without heat."""
    x = cooled_state(model, place, outage_s)
    assert x is not None
    return x


def drive(session, plant, ticks, first=1, requests=lambda k: (), reading=None):
    reading = plant.advance(1.0, 0.0, False) if reading is None else reading
    act = None
    for k in range(first, first + ticks):
        act = session.tick(reading, float(k), 1.0, k, requests(k))
        reading = plant.advance(1.0, act.fired, act.contactor)
        if session.over:
            break
    assert act is not None
    return act, reading


def test_the_start_test_comes_first_and_the_schedule_waits_for_it(order):
    session, plant = Session(order), VirtualOven(order.oven, load=order.load, seed=3)
    act, reading = drive(session, plant, 12)
    assert act.decision.phase == "start test" and position_of(session).held and session.place() is None
    act, _ = drive(session, plant, 60, 13, reading=reading)
    assert act.decision.phase == "heat up" and not position_of(session).held
    assert start_test_of(session) == "passed" and place_of(session)["leg"] == 0


@pytest.mark.parametrize(
    ("asked", "leg", "held"),
    [
        ({20: HOLD}, 0, True),
        ({20: HOLD, 25: PROCEED}, 0, False),
        ({20: SKIP}, 3, False),
        ({20: SKIP, 25: HOLD}, 2, True),
        ({20: PROCEED}, 0, False),
    ],
)
def test_what_a_person_asks_for_during_the_start_test_is_done_after_it(order, asked, leg, held):
    session, plant = Session(order), VirtualOven(order.oven, load=order.load, seed=3)
    _, reading = drive(session, plant, 27, requests=lambda k: (asked[k],) if k in asked else ())
    assert session.chain.proving and position_of(session).held and position_of(session).leg == 0
    drive(session, plant, 60, 28, reading=reading)
    p = position_of(session)
    assert start_test_of(session) == "passed" and (p.leg, p.held) == (leg, held)
    if held and leg == 0:
        assert abs(p.reference_c - plant.chamber_c) < 15.0, "held where the oven was when the test was over"


def test_more_soak_asked_for_during_the_start_test_is_not_lost(order):
    session, plant = Session(order), VirtualOven(order.oven, load=order.load, seed=3)
    drive(session, plant, 80, requests=lambda k: (Request(RequestKind.SOAK, 600.0),) if k == 20 else ())
    assert start_test_of(session) == "passed" and position_of(session).added_s == 600.0


def test_a_resumed_hold_is_let_go_by_a_person_during_the_start_test(order):
    place, plant = brought_halfway(order)
    session = Session(order, place={**place, "held": True, "reference_c": 120.0, "outage_s": 30.0})
    plant.advance(30.0, 0.0, False)
    drive(session, plant, 150, requests=lambda k: (PROCEED,) if k == 15 else ())
    assert start_test_of(session) == "passed" and not position_of(session).held


def test_a_welded_contactor_fails_the_start_test_and_the_run_ends_tripped(order):
    plant = VirtualOven(order.oven, load=order.load, seed=3, faults=(PlantFault("contactor welded", 0.0),))
    session = Session(order)
    reading, heat_after = plant.advance(1.0, 0.0, False), 0.0
    for k in range(1, 400):
        act = session.tick(reading, float(k), 1.0, k)
        heat_after += act.fired if session.trips else 0.0
        reading = plant.advance(1.0, act.fired, act.contactor)
        if session.over:
            break
    assert session.over == "tripped" and session.trips and heat_after == 0.0
    assert session.tripped_s is not None
    assert session.time_s - session.tripped_s == pytest.approx(AFTER_TRIP_S, abs=1.0)


def test_a_hold_in_the_heat_up_stays_where_the_oven_is_and_proceeds_to_where_it_was_going(order):
    session, plant = Session(order, prove=False), VirtualOven(order.oven, load=order.load, seed=3)
    _, reading = drive(session, plant, 300)
    _, reading = drive(session, plant, 600, 301, lambda k: (HOLD,) if k == 301 else (), reading)
    p = position_of(session)
    assert p.held and abs(p.reference_c - plant.chamber_c) < 1.0 and p.reference_c < 150.0
    drive(session, plant, 2, 901, lambda k: (PROCEED,) if k == 901 else (), reading)
    p = position_of(session)
    assert not p.held and p.reference_c == 200.0


def test_rest_never_heats_and_keeps_trips_until_somebody_acknowledges(order):
    rest = Rest(order.oven, (Trip("over-oven", 0.0, "too hot", "heat off", "the relay"),))
    assert rest.trips
    for k in range(1, 6):
        act = rest.tick(Reading(300.0 + 0.01 * k, limit_c=300.0, cold_junction_c=25.0), float(k), 1.0, k)
        assert act.fired == 0.0 and not act.contactor
    assert "over-oven" in rest.acknowledge("the founder"), "it still is too hot"
    for k in range(6, 12):
        rest.tick(Reading(100.0 + 0.01 * k, limit_c=100.0, cold_junction_c=25.0), float(k), 1.0, k)
    assert "over-oven" in rest.acknowledge("  ") and rest.trips
    rest.acknowledge("the founder")
    assert "over-oven" not in {t.fault for t in rest.trips}


def brought_halfway(order):
    """A place in the middle of the heat-up, and the plant as it stands."""
    session, plant = Session(order, prove=False), VirtualOven(order.oven, load=order.load, seed=3)
    drive(session, plant, 700)
    return place_of(session), plant


@pytest.fixture(scope="module")
def halfway(order):
    return brought_halfway(order)


def test_a_resumed_run_goes_on_with_its_own_time_energy_and_place(order, halfway):
    place, plant = halfway
    session = Session(order, place={**place, "outage_s": 0.0})
    act, _ = drive(session, plant, 40)
    assert session.time_s > place["run_s"] and session.chain.energy_j >= place["energy_j"] > 0.0
    assert position_of(session).leg == place["leg"]
    assert (act.decision.part_c or 0.0) > 60.0, "the part's temperature is remembered, not taken for the chamber's"


def test_time_and_energy_of_a_run_are_counted_over_every_power_cut(oven, schedule):
    """Repeated interruptions do not restart the longest run time; the time of a start test counts too."""
    limited = prepare(oven("curing-cabinet"), dataclasses.replace(schedule("powder-cure"), longest_s=1000.0))
    place, plant = brought_halfway(limited)
    assert place["run_s"] == pytest.approx(700.0, abs=2.0)
    plant.advance(30.0, 0.0, False)
    again = Session(limited, place={**place, "outage_s": 30.0})
    drive(again, plant, 20)
    second = place_of(again)
    assert (
        again.chain.proving
        and second["run_s"] == pytest.approx(720.0, abs=3.0)
        and second["energy_j"] > place["energy_j"]
    )
    plant.advance(30.0, 0.0, False)
    third = Session(limited, place={**second, "outage_s": 30.0})
    drive(third, plant, 270)
    assert not third.trips
    drive(third, plant, 20, 271)
    assert {t.fault for t in third.trips} == {"run-time"} and third.time_s == pytest.approx(1000.0, abs=15.0)


def test_a_ramp_goes_on_from_where_the_oven_is(oven, schedule):
    slow = prepare(oven("bench-muffle"), schedule("anneal"))
    programme = slow.programme
    assert isinstance(programme, Programme)
    leg = next(i for i, item in enumerate(programme.legs) if item.kind == "ramp")
    model = slow.model
    place = {
        "leg": leg,
        "counted_s": 0.0,
        "reference_c": 300.0,
        "rate_k_per_s": 0.1,
        "arrived": False,
        "held": False,
        "added_s": 0.0,
        "state_c": list(model.rest(300.0)),
        "unexplained_w": 0.0,
        "chamber_c": 300.0,
        "run_s": 100.0,
        "energy_j": 1e5,
        "outage_s": 60.0,
    }
    session = Session(slow, prove=False, place=place)
    session.tick(Reading(280.0, cold_junction_c=25.0), 1.0, 1.0, 1)
    assert position_of(session).reference_c == pytest.approx(280.0, abs=1.0)


# ---- whether to go on ----


def test_outage_by_the_boot_clock_within_a_boot_else_by_the_wall():
    state = {"boot": "a", "boottime_s": 1000.0, "wall_s": 5e8}
    assert outage_s(state, "a", 1042.0, 1.0) == 42.0
    assert outage_s(state, "b", 30.0, 5e8 + 300.0) == 300.0
    assert math.isnan(outage_s(state, "b", 30.0, 5e8 - 1.0)), "a wall clock that went back knows nothing"
    assert math.isnan(outage_s({}, "b", 30.0, 5e8))


@pytest.mark.parametrize(
    ("policy", "out_s", "offset_k", "go"),
    [
        ("resume", 60.0, 0.0, True),
        ("resume", 600.0, 0.0, True),
        ("stop", 60.0, 0.0, False),
        ("resume", 901.0, 0.0, False),
        ("resume", math.nan, 0.0, False),
        ("resume", 60.0, -60.0, False),
        ("resume", 60.0, 60.0, False),
        ("resume", 60.0, math.nan, False),
    ],
)
def test_it_goes_on_only_when_short_known_consistent_and_wished(order, halfway, policy, out_s, offset_k, go):
    place, _ = halfway
    after = after_outage(order.model, place, out_s if math.isfinite(out_s) else 60.0)
    verdict = resume.decide(place, policy, order.model, out_s, after[CHAMBER] + offset_k)
    assert verdict.go is go, verdict.words
    assert ("goes on" in verdict.words) is go and "chamber was at" in verdict.words


def test_without_a_place_or_with_a_foreign_one_it_does_not_go_on(order, halfway):
    place, _ = halfway
    assert not resume.decide(None, "resume", order.model, 10.0, 100.0).go
    assert not resume.decide({**place, "state_c": [1.0, 2.0]}, "resume", order.model, 10.0, place["chamber_c"]).go


def test_cooling_follows_the_model_and_the_sensor_lags_behind(order, halfway):
    place, _ = halfway
    soon, later = after_outage(order.model, place, 30.0), after_outage(order.model, place, 600.0)
    assert later[CHAMBER] < soon[CHAMBER] and later[SENSOR] >= later[CHAMBER] - 1.0
    assert cooled_state(order.model, {"state_c": [math.nan] * 8}, 1.0) is None


def test_the_reference_of_a_resumed_hold_is_where_it_was(order):
    place, plant = brought_halfway(order)
    held = Session(order, prove=True, place={**place, "held": True, "reference_c": 120.0, "outage_s": 30.0})
    plant.advance(30.0, 0.0, False)
    drive(held, plant, 150)
    assert not held.trips
    assert start_test_of(held) == "passed" and position_of(held).held, "a hold by a person outlives the start test"
    assert isinstance(position_of(held), reference.Position)
