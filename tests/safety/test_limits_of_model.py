"""What a model and the rig give to the rules: the fastest rise and fall, the fan's share, the pulse timer."""

import dataclasses

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import coolest_of, envelope_of
from kilnctl.safety import HARD_CEILINGS, policy_for
from kilnctl.safety.model_rates import fastest_k_per_s, near_elements_k_per_s
from kilnctl.settings.construction import Fan, Load
from kilnctl.settings.oven import Safety


def test_the_model_bounds_rise_and_fall_and_a_fan_warms_the_oven_by_its_share(oven):
    """A room may warm by 3 K/h, and a fan heats in proportion to the elements' fastest rise."""
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet)
    rise, fall = fastest_k_per_s(model, cabinet.limits.highest_c)
    assert cabinet.fan is not None and rise < HARD_CEILINGS["rise_k_per_s"] and fall < HARD_CEILINGS["fall_k_per_s"]
    for fan, fan_w in ((cabinet.fan, cabinet.fan.power_w), (None, 0.0)):
        policy = policy_for(dataclasses.replace(cabinet, fan=fan), model=model)
        assert (policy.rise_k_per_s, policy.fall_k_per_s) == (rise, fall)
        assert policy.warms_k_per_s == pytest.approx(3.0 / 3600.0 + rise * fan_w / cabinet.elements.power_w)
    without = policy_for(cabinet)
    assert without.rise_k_per_s != rise and without.fall_k_per_s != fall and without.coolest is None


def test_a_model_lifts_no_ceiling_and_its_coolest_oven_comes_along(oven):
    muffle = oven("bench-muffle")
    model = day_zero(muffle)
    # So much power, and elements and air of so little heat capacity, as no oven has.
    quick = model.but(
        power_w=200.0 * model.power_w, element_j_per_k=1.0, chamber_j_per_k=1.0, film_w_per_k=500.0 * model.film_w_per_k
    )
    windy = dataclasses.replace(muffle, fan=Fan(air_speed_m_per_s=1.0, power_w=muffle.elements.power_w))
    policy = policy_for(windy, model=quick)
    for name in ("rise_k_per_s", "fall_k_per_s", "warms_k_per_s"):
        assert getattr(policy, name) == HARD_CEILINGS[name], name
    coolest = coolest_of(muffle, None, model)
    assert policy_for(muffle, model=model, coolest=coolest).coolest is coolest


def test_a_sensor_near_the_lightest_elements_may_rise_faster_than_the_chamber(oven):
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet)
    envelope = envelope_of(cabinet, None, model)
    near = near_elements_k_per_s(envelope[2], cabinet.sensors.control.lag_s)
    alone = policy_for(cabinet, model=model).rise_k_per_s
    assert near > 0.1
    assert policy_for(cabinet, model=model, envelope=envelope).rise_k_per_s == pytest.approx(alone + near)


@pytest.mark.parametrize(("kind", "pulse", "timed"), [("pins", 17, True), ("pins", None, False), ("board", 17, False)])
def test_a_pulse_timer_is_one_of_our_own_pins(oven, kind, pulse, timed):
    cabinet = oven("curing-cabinet")
    rig = dataclasses.replace(cabinet.rig, kind=kind, pins=dataclasses.replace(cabinet.rig.pins, pulse=pulse))
    assert policy_for(dataclasses.replace(cabinet, rig=rig)).pulse_timer is timed


class Slow:
    """A model whose chamber rises evenly, by that many kelvin in `within_s` at nine tenths of the voltage."""

    ambient_c, power_w = 0.0, 1.0

    def __init__(self, rise_k, within_s=600.0):
        self.k_per_j = rise_k / within_s / 0.81

    def rest(self, ambient_c):
        return (ambient_c,)

    def steady(self, chamber_c):
        return (chamber_c,), 0.0

    def step(self, x, power_w, dt, ambient_c):
        return (x[0] + power_w * self.k_per_j * dt,)


def test_a_slow_learnt_oven_need_not_rise_by_more_than_half_of_what_its_model_does(oven):
    """Within the dead time no sensor shows anything; one without lag shows all of the rest."""
    cabinet = oven("curing-cabinet")
    control = dataclasses.replace(cabinet.sensors.control, lag_s=0.0, dead_time_s=6.0)
    cabinet = dataclasses.replace(cabinet, sensors=dataclasses.replace(cabinet.sensors, control=control))

    def needed(rise_k, oven=cabinet, **more):
        policy = policy_for(oven, model=Slow(rise_k), **more)
        return policy.no_rise_s, pytest.approx(policy.no_rise_k)

    assert needed(20.0) == (600.0, 5.0)
    assert needed(8.0) == (600.0, 0.5 * 8.0 * 0.99)
    assert needed(4.1) == (600.0, 0.5 * 4.1 * 0.99)
    assert needed(4.0) == (1200.0, 2.0), "below the least of rises"
    late = dataclasses.replace(control, dead_time_s=600.0 - 512.0)  # so that seconds and kelvin are powers of two
    late = dataclasses.replace(cabinet, sensors=dataclasses.replace(cabinet.sensors, control=late))
    exact = policy_for(late, model=Slow(4.0, 512.0))
    assert (exact.no_rise_s, exact.no_rise_k) == (600.0, 2.0), "the least of rises itself"
    assert needed(20.0, described=True) == (1200.0, 2.0)
    patient = dataclasses.replace(cabinet, safety=Safety(no_rise_s=900.0))
    assert needed(6.0, patient) == (900.0, 0.5 * 6.0 * 894.0 / 600.0)
    assert needed(2.0, patient) == (900.0, 2.0), "the file's time stays"
    wet = Load(name="washed castings", mass_kg=5.0, area_m2=0.3, moisture_kg=1.0)
    assert needed(4.0, dataclasses.replace(cabinet, usual_load=wet)) == (1200.0, 0.5 * 4.0 * 1194.0 / 600.0)
