"""A dead time that no description has is found from when the readings begin to rise; a slower oven is not taken for
one."""

import math
from dataclasses import replace

import pytest
from invented_plants import Invented
from strange_plants import PLANTS

from kilnctl.control import estimator, onset
from kilnctl.control.control_state import EnergyBalanceState
from kilnctl.control.onset import SECOND, Times
from kilnctl.run.chain import Chain
from kilnctl.run.prepare import prepare
from kilnctl.settings.schedule import Schedule, Step
from tests.control.control_cases import drawn_oven


def heated(oven, plant, goal_c: float, for_s: float):
    """(control's state, highest true °C) after a run at full power to a soak. No rule may trip."""
    chain = Chain(prepare(oven, Schedule(name="soak", steps=(Step(to_c=goal_c, hold_s=1e5, within_k=1e3),))))
    reading, top_c = plant.advance(1.0, 0.0, False), -math.inf
    for step in range(1, round(for_s) + 1):
        act = chain.tick(reading, float(step), 1.0, step)
        assert not act.verdict.trips
        reading = plant.advance(1.0, act.fired, act.contactor)
        top_c = max(top_c, plant.truth_c)
    assert isinstance(chain.control, EnergyBalanceState)
    return chain.control, top_c


@pytest.mark.parametrize(("seed", "number"), [(13, 8), (11, 21), (13, 33)])
def test_twelve_seconds_of_dead_time_in_a_quick_oven_make_no_overshoot(seed, number):
    """At 3 to 12 K/s. Before, the first two overshot until a rule ended it, and the third by 8 K."""
    oven, goal_c = drawn_oven(seed, number)
    state, top_c = heated(oven, PLANTS["dead time 12 s"](oven, goal_c, 1), goal_c, 1500.0)
    described_s = oven.sensors.control.dead_time_s
    assert state.estimate.dead_s == pytest.approx(12.0 - described_s, abs=1.5)
    assert goal_c - 5.0 < top_c <= 1.01 * goal_c


@pytest.mark.parametrize(
    "name",
    ["as described", "element twice", "sensor twice as slow", "sensor near wall", "wet load", "wire on a carrier"],
)
def test_a_slower_oven_is_not_taken_for_a_dead_time(oven, name):
    for one, goal_c in ((oven("curing-cabinet"), 200.0), drawn_oven(3, 17)):
        state, _ = heated(one, PLANTS[name](one, goal_c, 1), goal_c, 240.0)
        assert state.onset is None and state.estimate.dead_s == 0.0


@pytest.mark.parametrize("structure", ["two zones", "all"])
def test_a_second_zone_is_not_taken_for_a_dead_time(oven, structure):
    cabinet = oven("curing-cabinet")
    state, _ = heated(cabinet, Invented(cabinet, structure, 77), 200.0, 600.0)
    assert state.onset is None and state.estimate.dead_s == 0.0


def test_the_two_times_tell_a_dead_time_from_a_slower_oven():
    model = Times(4.0, 12.0)
    assert onset.dead_more_s(model, Times(14.0, 22.0)) == pytest.approx(10.0)
    assert onset.dead_more_s(model, Times(40.0, 120.0)) == 0.0, "ten times as slow"
    assert onset.dead_more_s(model, Times(18.0, 34.0)) == pytest.approx(10.0), "twice as slow and ten seconds late"
    assert onset.dead_more_s(model, Times(7.0, 15.0)) == 0.0, "not most of the time"
    assert onset.dead_more_s(model, Times(14.0, 18.0)) == pytest.approx(10.0), "a quicker oven counts as the model"


def test_a_level_is_reached_within_the_tick_by_proportion():
    before = onset.reached(Times(), 0.5, 1.0, 1.0, 1.0)
    assert math.isnan(before.first_s) and before.rise_k == 0.5
    first = onset.reached(before, 2.5, 1.0, 2.0, 1.0)
    assert first.first_s == pytest.approx(1.25) and math.isnan(first.second_s)
    both = onset.reached(first, 2.0 * SECOND, 1.0, 3.0, 1.0)
    assert both.first_s == first.first_s and 2.0 < both.second_s < 3.0


def test_nothing_is_looked_for_in_a_warm_oven_or_with_a_model_that_knows(cabinet_model):
    estimate = estimator.start(cabinet_model, 20.0, 20.0)
    assert onset.begun(estimate, 20.0, 20.0, 1.0) is not None
    assert onset.begun(estimate, 80.0, 20.0, 1.0) is None
    assert onset.begun(estimate, 20.0, 20.0, 0.0) is None


def watch(model, readings, share=1.0, late=1.0, dead_s=0.0):
    """(onset, estimate, estimate with the readings) after these, one a second, at a share of full power."""
    now = fed = estimator.start(model, 20.0, 20.0, late)
    watched = onset.begun(now, 20.0, 20.0, late)
    for reading_c in readings:
        if watched is None:
            break
        passed = (reading_c, share * model.power_w, 1.0, 20.0, 0.05)
        free, fed = estimator.update(model, now, *passed, usable=False), estimator.update(model, watched.fed, *passed)
        watched, now = onset.watched(watched, model, free, fed, reading_c, share, 0.05, 1.0, late)
    return watched, now, fed


def test_the_model_alone_counts_until_the_readings_begin(cabinet_model):
    watched, now, fed = watch(cabinet_model, [20.0] * 20)
    assert watched is not None and now is not fed
    assert now.now[estimator.CHAMBER] > fed.now[estimator.CHAMBER] > 19.0


@pytest.mark.parametrize(
    ("readings", "share", "late"),
    [
        ([20.0] * 2000, 1.0, 1.0),  # longer than any lateness
        ([20.0] * 20, 0.5, 1.0),  # little heat
        ([20.0, 20.0, 25.0, 30.0, 60.0], 1.0, 1.0),  # before the model's
        ([20.0] * 200, 1.0, 0.02),  # a fitted model: later than it can be
    ],
)
def test_it_ends_with_the_estimate_that_has_the_readings(cabinet_model, readings, share, late):
    watched, now, fed = watch(cabinet_model, readings, share, late)
    assert watched is None and now is fed and now.dead_s == 0.0


def test_before_the_heat_the_readings_count(cabinet_model):
    watched, now, fed = watch(cabinet_model, [20.0] + 20 * [20.5], share=0.0)
    assert watched is not None and now is fed
    assert watched.since_s == 0.0 and 20.0 < watched.begin_c < 20.6


def test_an_open_door_or_a_lost_reading_ends_it(oven):
    quick, goal_c = drawn_oven(13, 8)
    run = prepare(quick, Schedule(name="soak", steps=(Step(to_c=goal_c, hold_s=1e5, within_k=1e3),)))
    for lost in (dict(chamber_c=math.nan, faults=("open",)), dict(door_open=True)):
        chain, plant = Chain(run), PLANTS["dead time 12 s"](quick, goal_c, 1)
        reading = plant.advance(1.0, 0.0, False)
        for step in range(1, 12):
            act = chain.tick(reading, float(step), 1.0, step)
            reading = plant.advance(1.0, act.fired, act.contactor)
        before = chain.control
        chain.tick(replace(reading, **lost), 12.0, 1.0, 12)
        after = chain.control
        assert isinstance(before, EnergyBalanceState) and before.onset is not None
        assert isinstance(after, EnergyBalanceState) and after.onset is None and after.estimate.dead_s == 0.0
