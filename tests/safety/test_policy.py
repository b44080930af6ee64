"""Thresholds come from oven, schedule and model, and nothing lifts a ceiling."""

import dataclasses
import math

import pytest

from kilnctl import KilnctlError
from kilnctl.model.day_zero import day_zero
from kilnctl.safety import HARD_CEILINGS, Policy, policy_for
from kilnctl.safety.policy import fastest_k_per_s
from kilnctl.settings.oven import Control, Limits, Load, Vent

BASE = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)


@pytest.mark.parametrize("name", HARD_CEILINGS)
def test_no_setting_lifts_a_ceiling(name):
    with pytest.raises(KilnctlError, match=f"{name} = .* which no setting may lift"):
        Policy(**{**BASE, name: HARD_CEILINGS[name] * 1.0001})
    assert getattr(Policy(**{**BASE, name: HARD_CEILINGS[name]}), name) == HARD_CEILINGS[name]
    with pytest.raises(KilnctlError):
        Policy(**{**BASE, name: math.nan})


def test_only_the_part_may_be_without_limit_and_energy_too():
    assert Policy(**BASE).part_trip_c == math.inf == Policy(**BASE).most_energy_j
    for name in set(HARD_CEILINGS) - {"part_trip_c"}:
        with pytest.raises(KilnctlError):
            Policy(**{**BASE, name: math.inf})


NUMBERS = [f.name for f in dataclasses.fields(Policy) if not isinstance(f.default, bool) and f.default is not None]


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("bad", [0.0, -1.0])
def test_a_threshold_that_is_not_above_zero_is_refused(name, bad):
    if name in ("cold_junction_low_c", "second_lag_s"):
        assert getattr(Policy(**{**BASE, name: bad}), name) == bad
    else:
        with pytest.raises(KilnctlError, match="above zero"):
            Policy(**{**BASE, name: bad})


def test_every_delay_and_threshold_of_safety_has_a_ceiling():
    free = set(NUMBERS) - set(HARD_CEILINGS)
    assert free == {"most_energy_j", "clock_step_s", "wild_k_per_s", "noise_window_s", "cold_junction_low_c", "no_rise_k", "explained_per_fired",
                    "missing_share_s", "purge_s"}  # fmt: skip


def test_policy_follows_the_description_and_the_schedule(oven, schedule):
    cabinet = oven("curing-cabinet")
    p = policy_for(cabinet, schedule("powder-cure"))
    assert (p.chamber_trip_c, p.schedule_trip_c, p.part_trip_c) == (275.0, 240.0, math.inf)
    assert p.airflow_required and p.has_limit_sensor and p.has_part_sensor and p.door_switch and p.longest_s == 6 * 3600.0
    # Four volumes of 0.288 m³ at 3 m³/h.
    assert p.purge_s == pytest.approx(4.0 * 0.6 * 0.6 * 0.8 / 3.0 * 3600.0)
    assert (p.nominal_v, p.outage_s, p.wild_jump_k, p.noise_k) == (230.0, 10.0, 10.0, 2.0)
    alone = policy_for(cabinet)
    assert (alone.schedule_trip_c, alone.longest_s, alone.airflow_required) == (275.0, 12 * 3600.0, False)
    assert policy_for(cabinet, schedule("part-cure")).part_trip_c == 215.0
    assert policy_for(cabinet, schedule("part-cure")).schedule_trip_c == 245.0
    muffle = policy_for(oven("bench-muffle"), schedule("temper"))
    assert not muffle.door_switch and muffle.nominal_v == 120.0 and muffle.schedule_trip_c == muffle.chamber_trip_c
    assert policy_for(oven("brick-kiln")).chamber_trip_c == 1125.0


def test_a_schedule_narrows_and_never_widens(oven, schedule):
    cabinet, plan = oven("curing-cabinet"), schedule("temper")
    wide = dataclasses.replace(plan, highest_c=270.0, longest_s=13 * 86400.0, most_energy_j=9e9, part_highest_c=300.0)
    tight = dataclasses.replace(cabinet, limits=dataclasses.replace(cabinet.limits, most_energy_j=1e7, part_highest_c=200.0))
    p = policy_for(tight, wide)
    assert (p.schedule_trip_c, p.longest_s, p.most_energy_j, p.part_trip_c) == (275.0, 12 * 3600.0, 1e7, 210.0)
    small = dataclasses.replace(plan, most_energy_j=5e6, longest_s=60.0)
    p = policy_for(tight, small)
    assert (p.most_energy_j, p.longest_s) == (5e6, 60.0)
    assert policy_for(tight, dataclasses.replace(plan, highest_c=600.0)).schedule_trip_c == 275.0
    kiln = policy_for(oven("brick-kiln"), dataclasses.replace(plan, highest_c=1000.0))
    assert kiln.schedule_trip_c == 1020.0


def test_an_outage_is_longer_where_the_schedule_resumes(oven, schedule):
    plan = dataclasses.replace(schedule("temper"), after_power_loss="resume")
    assert policy_for(oven("bench-muffle"), plan).outage_s == 900.0


@pytest.mark.parametrize("vent", [None, Vent(flow_m3_per_s=0.001, proved=False), Vent(flow_m3_per_s=0.0, proved=True)])
def test_flammable_vapour_without_proved_ventilation_is_refused(oven, schedule, vent):
    with pytest.raises(KilnctlError, match="must not be heated"):
        policy_for(dataclasses.replace(oven("curing-cabinet"), vent=vent), schedule("powder-cure"))


def test_a_short_purge_is_half_a_minute(oven, schedule):
    strong = dataclasses.replace(oven("curing-cabinet"), vent=Vent(flow_m3_per_s=0.1, proved=True))
    assert policy_for(strong, schedule("powder-cure")).purge_s == 30.0


def test_a_wet_load_gets_time_to_dry(oven, schedule):
    wet = Load(name="washed castings", mass_kg=5.0, area_m2=0.3, moisture_kg=1.0)
    for o, s in ((dataclasses.replace(oven("curing-cabinet"), usual_load=wet), schedule("dry")),
                 (oven("curing-cabinet"), dataclasses.replace(schedule("dry"), load=wet))):  # fmt: skip
        p = policy_for(o, s)
        assert (p.no_rise_s, p.missing_share_s) == (1200.0, 600.0)
    dry = policy_for(dataclasses.replace(oven("curing-cabinet"), usual_load=None))
    assert (dry.no_rise_s, dry.missing_share_s) == (600.0, 20.0)


def test_a_tick_too_slow_for_the_lease_is_refused(oven):
    cabinet = oven("curing-cabinet")
    assert policy_for(dataclasses.replace(cabinet, control=Control(tick_s=2.0)))
    with pytest.raises(KilnctlError, match="too slow"):
        policy_for(dataclasses.replace(cabinet, control=Control(tick_s=2.2)))


def test_single_numbers_may_be_changed_within_the_ceilings(oven):
    cabinet = oven("curing-cabinet")
    assert policy_for(cabinet, changes={"sensor_coast_s": 4.0}).sensor_coast_s == 4.0
    with pytest.raises(KilnctlError, match="no setting may lift"):
        policy_for(cabinet, changes={"sensor_coast_s": 11.0})
    with pytest.raises(KilnctlError, match="no setting named sensor_cost_s"):
        policy_for(cabinet, changes={"sensor_cost_s": 4.0})


def test_noisy_sensors_get_wider_bands_up_to_the_ceiling(oven):
    cabinet = oven("curing-cabinet")

    def noisy(noise_k):
        control = dataclasses.replace(cabinet.sensors.control, noise_k=noise_k)
        return policy_for(dataclasses.replace(cabinet, sensors=dataclasses.replace(cabinet.sensors, control=control)))

    assert (noisy(1.0).noise_k, noisy(1.5).wild_jump_k) == (6.0, 15.0)
    assert (noisy(9.0).noise_k, noisy(9.0).wild_jump_k) == (HARD_CEILINGS["noise_k"], HARD_CEILINGS["wild_jump_k"])


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
