"""How fast a model of an oven can rise and fall, by the model's own steps."""

import dataclasses

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import envelope_of
from kilnctl.safety import HARD_CEILINGS, policy_for
from kilnctl.safety.coolest import MOST
from kilnctl.safety.model_rates import fastest_in, fastest_k_per_s, least_rise_k, near_elements_k_per_s
from kilnctl.settings.oven import Limits
from tests.safety.safety_scenes import SMALL


class Ramp:
    """A model whose rates grow each second, so that the last second of any span is the fastest: with power the rise,
    K/s, is power × gain × seconds with power; without power the fall, K/s, is g × seconds without power + h × seconds
    with power before."""

    ambient_c, power_w = 20.0, 1000.0

    def __init__(self, gain=2.0**-18, g=0.001, h=0.0):
        self.gain, self.g, self.h = gain, g, h

    def rest(self, ambient_c):
        return 0.0, 0.0, ambient_c

    def steady(self, chamber_c):
        return (0.0, 0.0, chamber_c), 123.0

    def step(self, x, power_w, dt, ambient_c):
        without, powered, chamber_c = x
        if power_w > 0.0:
            return 0.0, powered + 1.0, chamber_c + power_w * self.gain * (powered + 1.0) * dt
        return without + 1.0, powered, chamber_c - (self.g * (without + 1.0) + self.h * powered) * dt


def test_the_fastest_rise_is_of_five_minutes_with_a_tenth_too_much_voltage_and_its_margin():
    assert fastest_k_per_s(Ramp(), 200.0)[0] == pytest.approx(2.5 * 1.1**2 * 1000.0 * 300.0 / 2.0**18)
    assert fastest_k_per_s(Ramp(gain=2.0**-20), 200.0)[0] == 1.0


def test_the_fastest_fall_is_of_two_minutes_from_the_hottest_with_its_margin():
    assert fastest_k_per_s(Ramp(g=0.002), 200.0)[1] == pytest.approx(0.5 + 3.0 * 0.002 * 120.0)


def test_the_least_rise_is_half_of_the_models_from_cold_with_a_tenth_too_little_voltage():
    risen_k = 0.81 * 1000.0 * 0.25 * (1.0 + 2.0 + 3.0)
    assert least_rise_k(Ramp(gain=0.25), 0.0, 3.9) == pytest.approx(0.5 * risen_k)
    # A sensor of one second's lag is half of the way to the chamber in each second.
    first, second = 0.81 * 250.0, 0.81 * 750.0
    assert least_rise_k(Ramp(gain=0.25), 1.0, 2.0) == pytest.approx(0.5 * (first / 2.0 + (second - first / 2.0) / 2.0))


def test_the_fastest_of_a_span_is_counted_both_ways():
    up, down = Ramp(gain=0.001), Ramp(g=0.5)
    assert fastest_in(up, up.rest(20.0), 1000.0, 3) == (pytest.approx(3.0), 0.0)
    assert fastest_in(down, down.rest(20.0), 0.0, 4) == (0.0, pytest.approx(2.0))


def test_no_model_lifts_a_ceiling(oven):
    """Rates that no oven has: the policy stays within its ceilings."""
    wild = policy_for(oven("curing-cabinet"), None, Ramp(gain=2.0**-13, g=0.1))
    assert (wild.rise_k_per_s, wild.fall_k_per_s) == (HARD_CEILINGS["rise_k_per_s"], HARD_CEILINGS["fall_k_per_s"])


def test_on_the_way_up_it_is_cut_every_twenty_seconds_for_forty_until_the_hottest_is_passed():
    # After n s with power it stands at 20 °C + 1000 W · gain · n(n + 1)/2; the cuts are after 1, 21, 41 … of them.
    reached = 20.0 + 1000.0 * 2.0**-18 * 21.0 * 22.0 / 2.0
    for highest, cut_after in ((reached, 21.0), (reached - 1e-9, 1.0), (1e9, 3581.0)):
        model = Ramp(g=1e-4, h=0.02 if highest < 1e9 else 1e-4)
        assert fastest_k_per_s(model, highest)[1] == pytest.approx(
            0.5 + 3.0 * max(1e-4 * 120.0, 0.5 * (1e-4 * 40.0 + model.h * cut_after))
        )


@pytest.mark.parametrize("name", ["curing-cabinet", "brick-kiln", "bench-muffle"])
def test_the_model_gives_rates_that_the_oven_stays_within(oven, name):
    """Fastest rise at full power from cold and fastest fall without power, as the model's own steps show them."""
    o = oven(name)
    model = day_zero(o, o.usual_load)
    rise, fall = fastest_k_per_s(model, o.limits.highest_c)
    x, steps = model.rest(20.0), []
    for _ in range(200):
        new = model.step(x, model.power_w, 1.0, 20.0)
        steps.append(new[-1] - x[-1])
        x = new
    assert rise >= max(1.0, 2.5 * max(steps)) and 0.5 < fall < 5.0
    assert rise <= max(1.0, 2.5 * 1.5 * max(steps))
    p = policy_for(o, None, model)
    assert (p.rise_k_per_s, p.fall_k_per_s) == (rise, fall)
    assert Limits(highest_c=100.0).trip_at_c == 115.0


def test_a_sensor_near_the_elements_rises_with_them():
    """Elements of one heat capacity and one link to a chamber that stands still: a first-order lag."""
    near = dataclasses.replace(SMALL, chamber_j_per_k=MOST, element_j_per_k=150.0, near_elements=0.25)
    assert near_elements_k_per_s(SMALL, 5.0) == 0.0, "a fitted model"
    # The implicit step of a second: the first one is the fastest; the second is by the lag's factor slower.
    first_k = 0.25 * 1.21 * near.full_w / (near.element_j_per_k + near.element_w_per_k)
    assert near_elements_k_per_s(near, 0.0) == pytest.approx(first_k, rel=1e-4)
    # A sensor much slower than the elements sees them as a step to where full power holds them.
    settled_k = 0.25 * 1.21 * near.full_w / near.element_w_per_k
    assert near_elements_k_per_s(near, 999.0) == pytest.approx(settled_k / 1000.0, rel=0.02)
    # The slowest elements are fastest at the last: 4000 s of warming, of which a minute's lag shows the whole rate.
    slow = dataclasses.replace(near, element_j_per_k=200_000.0)
    rate = 0.25 * 1.21 * near.full_w / slow.element_j_per_k
    assert near_elements_k_per_s(slow, 10.0) == pytest.approx(rate, rel=0.05)


def test_a_description_allows_the_rise_of_such_a_sensor_and_the_fan_warms_no_more_by_it(oven):
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet)
    light = envelope_of(cabinet, None, model)
    near = near_elements_k_per_s(light[2], cabinet.sensors.control.lag_s)
    plain, other = policy_for(cabinet, model=model), policy_for(cabinet, model=model, envelope=light)
    assert other.rise_k_per_s == plain.rise_k_per_s + near and near > 0.1
    assert other.warms_k_per_s == plain.warms_k_per_s > 3.0 / 3600.0
    quick = Ramp(gain=2.0**-13, g=0.1)
    assert policy_for(cabinet, None, quick, envelope=light).rise_k_per_s == HARD_CEILINGS["rise_k_per_s"]
