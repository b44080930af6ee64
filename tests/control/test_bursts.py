"""The control corrects the reading for the bursts, and gives the rules the heat that a cold lining takes."""

import pytest

from kilnctl.control import estimator
from kilnctl.control.ripple import ripple_of
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER, ELEMENT, LINING


@pytest.fixture
def model(oven):
    return day_zero(oven("brick-kiln"), None, 800.0)


def test_ripple_is_what_bursts_do_beyond_even_heating_and_goes_away(model):
    x, holding = model.steady(800.0)
    estimate = estimator.start(model, 800.0, 20.0)
    estimate.x = estimate.now = x
    assert ripple_of(estimate, (0.0,) * 8, 100.0) == (0.0,) * 8, "before the first tangent there is none"
    for _ in range(40):
        estimate = estimator.update(model, estimate, 800.0, holding, 1.0, 20.0, 0.1)
    ripple, even, burst = (0.0,) * 8, x, x
    for second in range(60):
        fired = 2.0 * holding if second % 2 < 1 else 0.0
        ripple = ripple_of(estimate, ripple, fired - holding)
        even, burst = model.step(even, holding, 1.0, 20.0), model.step(burst, fired, 1.0, 20.0)
        for state in (ELEMENT, CHAMBER):
            assert ripple[state] == pytest.approx(burst[state] - even[state], rel=0.05, abs=0.02)
    assert max(map(abs, ripple)) > 0.5
    assert ripple_of(estimate, (1e-4,) * 8, 0.0) == (0.0,) * 8


def test_what_keeps_the_chamber_is_many_times_the_holding_power_over_a_cold_lining(model):
    steady, holding = model.steady(600.0)
    assert model.keeping_w(steady) == pytest.approx(holding, rel=0.01)
    cold = (*steady[:LINING], 500.0, 200.0, 40.0, 20.0, *steady[LINING + 4 :])
    power = model.keeping_w(cold)
    assert power > 3.0 * holding
    # The element gives as much heat as the chamber loses: the chamber's temperature is constant.
    element = next(
        t
        for t in range(600, 3000)
        if model.flows((t, *cold[1:]), 20.0)[0][0] >= sum(model.taken_w(cold)) + model.leaking(600.0, 20.0)[0]
    )
    after = model.step((element, *cold[1:]), power, 0.01, 20.0)
    assert abs(after[CHAMBER] - 600.0) < 0.05


def test_a_hot_start_has_no_colder_lining_than_one_held_for_ever(model):
    lining = estimator.start(model, 900.0, 20.0).x[LINING : LINING + 4]
    assert all(t >= s - 1e-9 for t, s in zip(lining[1:], model.steady(900.0, 20.0)[0][LINING + 1 : LINING + 4]))
