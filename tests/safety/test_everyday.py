"""What ordinary use of an oven does to its readings, and must not trip anything; each next to the fault that looks like
it."""

import math

import pytest

from kilnctl.safety.messages import LOUD
from tests.safety.safety_scenes import HOT, QUIET, Bench, ramp, steady

REST = dict(fired=0.0, heating=False, commanded=0.0, contactor=False)
#: An idle oven without door switch or second sensor.
IDLE = dict(cold_junction_c=25.0, tick=REST)


# ---- at rest: rooms warm, doors are opened ---------------------------------------------------------------------------


@pytest.mark.parametrize("terminals", [True, False])
def test_a_room_that_warms_from_6_to_18_degrees_in_the_morning_is_no_rise(terminals):
    """The steepest of a sine of ±6 K a day is 1.6 K/h."""

    def room(t):
        return 12.0 + 6.0 * math.sin(2.0 * math.pi * (t - 6 * 3600.0) / 86400.0)

    bench = Bench().feed(
        14 * 3600,
        chamber=lambda t: room(t) + 0.1 * math.sin(t),
        dt=2.0,
        tick=REST,
        cold_junction_c=room if terminals else None,
    )
    assert bench.faults == set()


def test_a_workshop_whose_heating_comes_on_warms_the_oven_no_further_than_its_terminals():
    """5 °C to 20 °C in an hour: faster than any day warms a room, and the box of the electronics warms first."""

    def room(t):
        return 20.0 - 15.0 * math.exp(-t / 1500.0)

    def oven(t):
        return 5.0 + 15.0 * (1.0 - math.exp(-t / 3000.0)) + 0.1 * math.sin(t)

    bench = Bench().feed(300, chamber=lambda t: 5.0 + 0.1 * math.sin(t), cold_junction_c=5.0, tick=REST)
    assert bench.feed(7200, chamber=oven, cold_junction_c=room, tick=REST).faults == set()
    assert Bench().feed(300, chamber=5.0, cold_junction_c=5.0, tick=REST).feed(
        7200, chamber=oven, cold_junction_c=5.0, tick=REST
    ).faults == {"rise-no-heat"}


def test_unloading_a_hot_idle_oven_without_door_switch_trips_nothing():
    """Ten minutes open: from 200 °C to 55 °C, and back to 75 °C from the lining's heat."""
    hot = Bench(fall_k_per_s=1.0).feed(300, chamber=lambda t: 200.0 + steady(t) - 100.0, **IDLE)
    hot.feed(600, chamber=lambda t: 55.0 + 145.0 * math.exp(-t / 40.0) + 0.1 * math.sin(t), **IDLE)
    hot.feed(3600, chamber=lambda t: 55.0 + 20.0 * (1.0 - math.exp(-t / 200.0)) + 0.1 * math.sin(t), **IDLE)
    assert hot.faults == set() and hot.dangers == set()


def test_a_lid_ajar_for_hours_and_then_shut_trips_nothing():
    bench = Bench(chamber_trip_c=1000.0, schedule_trip_c=1000.0).feed(
        200, chamber=lambda t: 900.0 + 0.1 * math.sin(t), dt=2.0, **IDLE
    )
    bench.feed(10800, chamber=lambda t: 300.0 + 600.0 * math.exp(-t / 5000.0) + 0.1 * math.sin(t), dt=2.0, **IDLE)
    low = bench.reading.chamber_c
    bench.feed(
        7200,
        chamber=lambda t: low + 25.0 * (1.0 - math.exp(-t / 900.0)) - 0.005 * t + 0.1 * math.sin(t),
        dt=2.0,
        **IDLE,
    )
    assert bench.faults == set()


def test_the_fall_of_an_oven_at_rest_is_judged_once_heat_is_wanted():
    """A sensor slips out while nothing is heated: its earlier value decays, the cap stays, and 300 s of wanted heat end
    it."""

    def out(t):
        return 60.0 + 140.0 * math.exp(-t / 20.0) + 0.1 * math.sin(t)

    bench = Bench(fall_k_per_s=1.0).feed(300, **{**QUIET, **HOT, "limit_c": None})
    bench.feed(600, chamber=out, **{**QUIET, "limit_c": None}, tick=REST)
    assert bench.faults == set() and bench.state.fall is not None
    bench.feed(290, chamber=lambda t: 60.0 + 0.1 * math.sin(t), **{**QUIET, "limit_c": None})
    assert bench.faults == set() and bench.permit.duty_limit < 0.31
    assert bench.feed(20, chamber=lambda t: 60.0 + 0.1 * math.sin(t), **{**QUIET, "limit_c": None}).faults == {
        "reading-fell"
    }


# ---- the double fault that no read-back shows ------------------------------------------------------------------------


def test_heat_past_relay_and_open_contactor_raises_the_danger_message_without_any_read_back():
    """F33 on the poorest wiring: neither the contactor's contact nor current is read back; the oven is idle."""
    bench = Bench().feed(300, chamber=lambda t: 30.0 + 0.1 * math.sin(t), **IDLE)
    bench.feed(200, chamber=ramp(0.3, 30.0), **IDLE)
    assert bench.faults == {"rise-no-heat"} and bench.tripped_after["rise-no-heat"] < 240.0
    assert "MAIN SWITCH NOW" in bench.verdict.danger and "MAIN SWITCH NOW" in bench.verdict.reason
    assert str(bench.state.trips["rise-no-heat"]).startswith(LOUD)


def test_a_rise_while_the_contactor_was_closed_is_the_relays_alone():
    bench = Bench().feed(
        300, chamber=lambda t: 30.0 + 0.1 * math.sin(t), **{**QUIET, "limit_c": None}, tick=dict(fired=0.0)
    )
    bench.feed(60, chamber=ramp(0.3, 30.0), **{**QUIET, "limit_c": None}, tick=dict(fired=0.0))
    # The elements' stored heat goes on for a minute.
    bench.feed(
        600,
        chamber=lambda t: 48.0 + 8.0 * (1.0 - math.exp(-t / 40.0)),
        **{**QUIET, "limit_c": None},
        tick=dict(fired=0.0),
    )
    assert bench.faults == {"rise-no-heat"} and bench.dangers == set()
