"""What the energy limiter promises at full power, against the rule itself."""

import math

import pytest

from kilnctl.model.doubt import DAY_ZERO, coolest_of
from kilnctl.model.promise import heated_c
from kilnctl.reading import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_energy
from kilnctl.safety.rule import Look
from tests.model.test_together import FITTED, WORKSHOP, described


def ended_c(oven, model, coolest, metered: bool) -> float:
    """The chamber when the rule ends full power from cold, °C, with a sensor that nobody believes after the start."""
    x, state, dt, told_w = model.rest(model.ambient_c), SafetyState(), 2.0, 0.0
    policy = Policy(chamber_trip_c=oven.limits.trip_at_c, schedule_trip_c=oven.limits.trip_at_c, coolest=coolest)
    for k in range(40000):
        reading = Reading(model.ambient_c, door_open=False, supply_v=230.0 if metered else None)
        look = Look(state, policy, reading, Tick(k * dt, k, 1.0, power_w=told_w), dt, 1.0, usable=k == 0)
        rules_energy.energy_says_hotter(look)
        if state.trips:
            break
        told_w = model.power_w / (1.0 + model.resistance_rise_per_k * (x[0] - model.rated_c))
        x = model.step(x, model.power_w, dt, model.ambient_c)
    return x[1]


@pytest.mark.parametrize("doubt", [DAY_ZERO, FITTED], ids=["description", "fitted"])
@pytest.mark.parametrize("name", WORKSHOP)
@pytest.mark.parametrize("metered", [True, False])
def test_full_power_ends_where_it_is_promised(name, doubt, metered):
    oven, model = described(name)
    coolest, trip_c = coolest_of(oven, oven.usual_load, model, doubt), oven.limits.trip_at_c
    by_c = heated_c(coolest, model, trip_c, metered)
    if by_c < math.inf:
        # Steps of a hundredth of the time until then, and two ticks more in the rule.
        assert ended_c(oven, model, coolest, metered) == pytest.approx(by_c, abs=0.012 * by_c)


def test_an_oven_that_cannot_reach_its_trip_by_the_energy_promises_nothing():
    oven, model = described("brick-kiln")
    weak = model.but(power_w=0.2 * model.power_w)
    coolest = coolest_of(oven, oven.usual_load, weak, FITTED)
    assert heated_c(coolest, weak, oven.limits.trip_at_c, True) == math.inf
    held = [heated_c(coolest_of(oven, oven.usual_load, model, d), model, 1125.0, True) for d in (FITTED, DAY_ZERO)]
    assert 1125.0 < held[0] < held[1], "less doubt, less heat"
