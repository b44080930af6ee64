"""Thresholds come from oven, schedule and model, and nothing raises a ceiling."""

import dataclasses
import math
from statistics import NormalDist
from typing import Any

import pytest

from kilnctl import KilnctlError
from kilnctl.safety import HARD_CEILINGS, HARD_FLOORS, Policy, policy_for
from kilnctl.safety.limits import SETTABLE, bounds, identical_s
from kilnctl.settings.construction import Load, Vent
from kilnctl.settings.equipment import CalibrationPoint, Rig, Sensor
from kilnctl.settings.oven import Control, Safety

BASE: dict[str, Any] = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)


def test_a_policy_cannot_be_changed():
    made = Policy(**BASE)
    for f in dataclasses.fields(made):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(made, f.name, 1.0)
    assert not hasattr(made, "__dict__")


@pytest.mark.parametrize("name", HARD_CEILINGS)
def test_no_setting_lifts_a_ceiling(name):
    with pytest.raises(KilnctlError, match=f"{name} = .* which no setting may lift"):
        Policy(**{**BASE, name: HARD_CEILINGS[name] * 1.0001})
    assert getattr(Policy(**{**BASE, name: HARD_CEILINGS[name]}), name) == HARD_CEILINGS[name]
    with pytest.raises(KilnctlError):
        Policy(**{**BASE, name: math.nan})


@pytest.mark.parametrize("name", HARD_FLOORS)
def test_no_setting_undercuts_a_floor(name):
    for below in (HARD_FLOORS[name] - 0.001, -math.inf):
        with pytest.raises(KilnctlError, match=f"{name} = .* (which no setting may undercut|above zero)"):
            Policy(**{**BASE, name: below})
    assert getattr(Policy(**{**BASE, name: HARD_FLOORS[name]}), name) == HARD_FLOORS[name]


def test_only_the_part_may_be_without_limit_and_energy_too_and_answers_of_a_sensor_that_may_stand_still():
    assert (
        Policy(**BASE).part_trip_c
        == math.inf
        == Policy(**BASE).most_energy_j
        == Policy(**BASE, identical_s=math.inf).identical_s
    )
    for name in set(HARD_CEILINGS) - {"part_trip_c", "identical_s"}:
        with pytest.raises(KilnctlError):
            Policy(**{**BASE, name: math.inf})


@pytest.mark.parametrize(
    "chip, noise_k, tick_s, wait_s",
    [
        # Floors, where there is noise enough.
        ("max31856", 0.15, 1.0, 15.0),
        ("max31856", 0.15, 2.0, 15.0),
        ("max31855", 0.15, 1.0, 120.0),
        ("max31855", 0.2, 0.2, 120.0),
        # A fine converter with little noise: as long as the false-alarm probability needs, and never more than two
        # minutes.
        ("max31856", 0.003, 1.0, 96.7),
        ("max31856", 0.003, 0.5, 48.4),
        ("max31856", 0.003, 0.2, 24.2),
        ("max31856", 0.003, 0.25, 24.2),
        ("max31856", 0.002, 1.0, 120.0),
        ("max31856", 0.0, 1.0, 120.0),
        # Coarse steps that hide the noise: none.
        ("max31855", 0.089, 1.0, 120.0),
        ("max31855", 0.088, 1.0, math.inf),
        ("max31855", 0.089, 1.1, math.inf),
        ("max31855", 0.001, 1.0, math.inf),
        ("max31855", 0.0, 1.0, math.inf),
    ],
)
def test_how_long_answers_may_be_the_same_goes_by_steps_and_noise(oven, chip, noise_k, tick_s, wait_s):
    quiet = Sensor(front_end=chip, noise_k=noise_k)
    assert identical_s(quiet, tick_s) == pytest.approx(wait_s, abs=0.1)
    cabinet = oven("curing-cabinet")
    made = policy_for(
        dataclasses.replace(
            cabinet,
            control=dataclasses.replace(cabinet.control, tick_s=tick_s),
            sensors=dataclasses.replace(cabinet.sensors, control=quiet),
        )
    )
    assert made.identical_s == identical_s(quiet, tick_s)


def test_the_wait_is_what_chance_asks_for():
    """n repeats of the most likely value have a probability of at most 1e-9; one repeat fewer has more."""
    one = 2.0 * NormalDist(0.0, 0.003).cdf(0.5 / 128.0) - 1.0
    n = identical_s(Sensor(front_end="max31856", noise_k=0.003), 1.0)
    assert one**n == pytest.approx(1e-9) and one ** (n - 1.0) > 1e-9


NUMBERS = [
    f.name
    for f in dataclasses.fields(Policy)
    if not isinstance(f.default, (bool, str, tuple)) and f.default is not None
]


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("bad", [0.0, -1.0])
def test_a_threshold_that_is_not_above_zero_is_refused(name, bad):
    if name in ("cold_junction_low_c", "second_lag_s"):
        assert getattr(Policy(**{**BASE, name: bad}), name) == bad
    else:
        with pytest.raises(KilnctlError, match="above zero"):
            Policy(**{**BASE, name: bad})


def test_every_delay_and_threshold_of_safety_is_bound_where_it_is_lax():
    """By a ceiling or, where less is less safe, by a floor; the energy of a run has no limit unless the file gives
    one."""
    assert set(NUMBERS) - set(HARD_CEILINGS) - set(HARD_FLOORS) == {"most_energy_j"}
    assert set(HARD_CEILINGS) & set(HARD_FLOORS) == {"second_lag_s"}


def test_policy_follows_the_description_and_the_schedule(oven, schedule):
    cabinet = oven("curing-cabinet")
    p = policy_for(cabinet, schedule("powder-cure"))
    assert (p.chamber_trip_c, p.schedule_trip_c, p.part_trip_c) == (275.0, 240.0, math.inf)
    assert (
        p.airflow_required and p.has_limit_sensor and p.has_part_sensor and p.door_switch and p.longest_s == 6 * 3600.0
    )
    # Four volumes of 0.288 m³ at 3 m³/h.
    assert p.purge_s == pytest.approx(4.0 * 0.6 * 0.6 * 0.8 / 3.0 * 3600.0)
    assert (p.nominal_v, p.outage_s, p.wild_jump_k, p.noise_k) == (230.0, 10.0, 10.0, 2.0)
    alone = policy_for(cabinet)
    assert (alone.schedule_trip_c, alone.longest_s, alone.airflow_required) == (275.0, 12 * 3600.0, False)
    assert policy_for(cabinet, schedule("part-cure")).part_trip_c == 215.0
    assert policy_for(cabinet, schedule("part-cure")).schedule_trip_c == 245.0
    muffle = policy_for(oven("bench-muffle"), schedule("temper"))
    assert (
        not muffle.door_switch
        and muffle.nominal_v == 120.0
        and muffle.schedule_trip_c == pytest.approx(237.78 + 50.0, abs=0.01)
    )
    assert policy_for(oven("brick-kiln")).chamber_trip_c == 1125.0


def test_a_schedule_narrows_and_never_widens(oven, schedule):
    cabinet, plan = oven("curing-cabinet"), schedule("temper")
    wide = dataclasses.replace(plan, highest_c=270.0, longest_s=13 * 86400.0, most_energy_j=9e9, part_highest_c=300.0)
    tight = dataclasses.replace(
        cabinet, limits=dataclasses.replace(cabinet.limits, most_energy_j=1e7, part_highest_c=200.0)
    )
    p = policy_for(tight, wide)
    assert (p.schedule_trip_c, p.longest_s, p.most_energy_j, p.part_trip_c) == (275.0, 12 * 3600.0, 1e7, 210.0)
    free = dataclasses.replace(cabinet, limits=dataclasses.replace(cabinet.limits, most_energy_j=None))
    assert policy_for(free).most_energy_j == math.inf and policy_for(free, wide).most_energy_j == 9e9
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
    for file, named in (("plan.yaml", "plan.yaml: the load"), ("", f"{schedule('powder-cure').name}: the load")):
        with pytest.raises(KilnctlError, match=f"{named} gives off flammable vapour.* must not be heated"):
            policy_for(
                dataclasses.replace(oven("curing-cabinet"), vent=vent),
                dataclasses.replace(schedule("powder-cure"), file=file),
            )


def test_a_short_purge_is_half_a_minute(oven, schedule):
    strong = dataclasses.replace(oven("curing-cabinet"), vent=Vent(flow_m3_per_s=0.1, proved=True))
    assert policy_for(strong, schedule("powder-cure")).purge_s == 30.0


def test_a_wet_load_gets_time_to_dry(oven, schedule):
    wet = Load(name="washed castings", mass_kg=5.0, area_m2=0.3, moisture_kg=1.0)
    for o, s in (
        (dataclasses.replace(oven("curing-cabinet"), usual_load=wet), schedule("dry")),
        (oven("curing-cabinet"), dataclasses.replace(schedule("dry"), load=wet)),
    ):
        p = policy_for(o, s)
        assert (p.no_rise_s, p.missing_share_s) == (1200.0, 600.0)
    for load in (None, dataclasses.replace(wet, moisture_kg=0.0)):
        dry = policy_for(dataclasses.replace(oven("curing-cabinet"), usual_load=load))
        assert (dry.no_rise_s, dry.missing_share_s) == (600.0, 20.0)


def test_an_oven_known_by_its_description_alone_gets_twice_the_time_to_rise(oven, schedule):
    """A box with a heavy inner shell rose by 4.7 K in ten minutes of full power, and reached its soak."""
    cabinet, dry = oven("curing-cabinet"), schedule("dry")
    policies = [policy_for(cabinet, dry, described=d) for d in (False, True)]
    assert [(p.no_rise_s, p.no_rise_k) for p in policies] == [(600.0, 5.0), (1200.0, 2.0)]
    own = dataclasses.replace(cabinet, safety=Safety(no_rise_s=300.0))
    assert policy_for(own, dry, described=True).no_rise_s == 300.0, "what the file says counts"


def test_a_tick_too_slow_for_the_lease_is_refused(oven):
    cabinet = oven("curing-cabinet")
    assert policy_for(dataclasses.replace(cabinet, control=Control(tick_s=2.0)))
    # A gap counts as a stall when it is longer than 1.2 ticks.
    assert (
        policy_for(dataclasses.replace(cabinet, control=Control(tick_s=2.0), safety=Safety(stall_s=2.4))).stall_s == 2.4
    )
    for file, named in (
        ("here.yaml", "here.yaml: control: tick 2.2 s is too slow"),
        ("", f"{cabinet.name}: control: tick 2.2 s is too slow"),
    ):
        with pytest.raises(KilnctlError, match=named):
            policy_for(dataclasses.replace(cabinet, file=file, control=Control(tick_s=2.2)))
    for stall_s, tick_s, most in ((2.5, 2.2, "2"), (1.0, 1.0, "0.83")):
        with pytest.raises(KilnctlError, match=f"a pause of {stall_s:g} s .* use {most} s or less"):
            policy_for(dataclasses.replace(cabinet, control=Control(tick_s=tick_s), safety=Safety(stall_s=stall_s)))


@pytest.mark.parametrize("name", SETTABLE)
def test_the_ovens_file_sets_single_numbers_within_the_bounds(oven, schedule, name):
    cabinet, plan = oven("curing-cabinet"), schedule("powder-cure")
    default, (least, most) = getattr(policy_for(cabinet, plan), name), SETTABLE[name]
    assert least < default <= most, "a maker may want it tighter"
    for value in (least, default, most):
        # The tick must be short enough for the shortest gap.
        quick = dataclasses.replace(cabinet, control=Control(tick_s=0.2))
        made = policy_for(dataclasses.replace(quick, safety=Safety(**{name: value})), plan)
        assert getattr(made, name) == (max(value, default) if name == "purge_s" else value)
        # And nothing else.
        assert dataclasses.replace(made, **{name: default}) == policy_for(quick, plan)


@pytest.mark.parametrize("name", sorted(set(SETTABLE) & set(HARD_CEILINGS)))
def test_the_file_lifts_no_ceiling(oven, name):
    own = Safety(**{name: 1.001 * HARD_CEILINGS[name]})
    with pytest.raises(KilnctlError, match="no setting may lift"):
        policy_for(dataclasses.replace(oven("curing-cabinet"), safety=own))


def test_the_fields_of_the_file_are_what_may_be_set_and_their_bounds_are_of_the_rules():
    """A field is a threshold, is left out by default, and takes no value that a policy refuses."""
    settable = {f.name: f for f in dataclasses.fields(Safety)}
    assert set(settable) == set(SETTABLE)
    for name, field in settable.items():
        low, high = field.metadata["low"], field.metadata["high"]
        assert field.default is None and bounds(name) == {"low": low, "high": high}
        for value in (low, high):
            assert getattr(Policy(**{**BASE, name: value}), name) == value


def test_a_purge_may_be_longer_than_four_changes_of_air_and_never_shorter(oven, schedule):
    cabinet = oven("curing-cabinet")
    needed = policy_for(cabinet, schedule("powder-cure")).purge_s
    for own, purge in ((30.0, needed), (needed - 1.0, needed), (needed + 60.0, needed + 60.0)):
        assert (
            policy_for(dataclasses.replace(cabinet, safety=Safety(purge_s=own)), schedule("powder-cure")).purge_s
            == purge
        )
    assert policy_for(dataclasses.replace(cabinet, safety=Safety(purge_s=90.0))).purge_s == 90.0


def test_what_the_maker_says_of_a_rise_holds_for_a_wet_load_too(oven, schedule):
    wet = Load(name="washed castings", mass_kg=5.0, area_m2=0.3, moisture_kg=1.0)
    assert (
        policy_for(
            dataclasses.replace(oven("curing-cabinet"), usual_load=wet, safety=Safety(no_rise_s=700.0)), schedule("dry")
        ).no_rise_s
        == 700.0
    )


def test_the_policy_says_what_makes_a_reading_of_a_voltage(oven):
    cabinet = oven("curing-cabinet")
    p = policy_for(cabinet)
    assert p.board_ceiling_c is None and p.control_sensor == "type K on max31856, not corrected"
    corrected = dataclasses.replace(
        cabinet.sensors.control,
        type="N",
        front_end="max31855",
        calibration=(CalibrationPoint(reads_c=20.0, true_c=20.0), CalibrationPoint(reads_c=220.0, true_c=191.5)),
    )
    p = policy_for(dataclasses.replace(but(cabinet, control=corrected, limit=None), rig=Rig(ceiling_c=285.0)))
    assert (p.board_ceiling_c, p.limit_sensor) == (285.0, "none")
    assert p.control_sensor == "type N on max31855, corrected (20 °C is 20 °C, 220 °C is 191.5 °C)"
    p = policy_for(but(cabinet, limit=corrected, part=dataclasses.replace(corrected, calibration=())))
    assert (
        p.limit_sensor.startswith("type N on max31855, corrected (")
        and p.part_sensor == "type N on max31855, not corrected"
    )


def test_noisy_sensors_get_wider_bands_up_to_the_ceiling(oven):
    cabinet = oven("curing-cabinet")

    def noisy(noise_k):
        control = dataclasses.replace(cabinet.sensors.control, noise_k=noise_k)
        return policy_for(dataclasses.replace(cabinet, sensors=dataclasses.replace(cabinet.sensors, control=control)))

    assert (noisy(1.0).noise_k, noisy(1.5).wild_jump_k) == (6.0, 15.0)
    assert (noisy(9.0).noise_k, noisy(9.0).wild_jump_k) == (HARD_CEILINGS["noise_k"], HARD_CEILINGS["wild_jump_k"])


def but(oven, **sensors):
    return dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, **sensors))


def test_lags_come_from_the_description(oven):
    cabinet = oven("curing-cabinet")
    assert policy_for(cabinet).second_lag_s == 3.0
    assert (
        policy_for(
            but(cabinet, limit=dataclasses.replace(cabinet.sensors.limit, lag_s=4.0, dead_time_s=1.0))
        ).second_lag_s
        == -11.0
    )
    assert policy_for(but(cabinet, limit=None)).second_lag_s == 0.0
    control, limit = cabinet.sensors.control, dataclasses.replace(cabinet.sensors.limit, lag_s=40.0, dead_time_s=7.0)
    assert (
        policy_for(
            but(cabinet, limit=limit, control=dataclasses.replace(control, lag_s=30.0, dead_time_s=1.0))
        ).second_lag_s
        == 16.0
    )
    # 200 K in one time constant, of which a second is the least; the usual 25 K/s from 8 s on.
    for lag_s, rate in (
        (12.0, 25.0),
        (30.0, 25.0),
        (8.0, 25.0),
        (4.0, 50.0),
        (1.0, 200.0),
        (0.5, 200.0),
        (0.4, 200.0),
        (0.0, 200.0),
    ):
        assert policy_for(but(cabinet, control=dataclasses.replace(control, lag_s=lag_s))).wild_k_per_s == rate


def test_a_parts_limit_is_the_lower_one_and_ten_kelvin_and_needs_a_sensor(oven, schedule):
    cabinet, plan = oven("curing-cabinet"), dataclasses.replace(schedule("temper"), part_highest_c=None)

    def limited(own):
        return dataclasses.replace(cabinet, limits=dataclasses.replace(cabinet.limits, part_highest_c=own))

    for own, plans, trip in (
        (None, None, math.inf),
        (190.0, None, 200.0),
        (None, 190.0, 200.0),
        (180.0, 190.0, 190.0),
        (200.0, 190.0, 200.0),
        (190.0, math.inf, 200.0),
    ):
        of_plan = dataclasses.replace(plan, part_highest_c=plans, file="plan.yaml")
        assert policy_for(limited(own), of_plan).part_trip_c == trip
        blind = but(limited(own), part=None)
        if trip == math.inf:
            assert policy_for(blind, of_plan).part_trip_c == math.inf and not policy_for(blind, of_plan).has_part_sensor
            continue
        # The message names the file that sets the limit, the oven before the schedule; without a file, its name.
        for file, plan_file, named in (
            (blind.file, "plan.yaml", "plan.yaml" if own is None else blind.file),
            ("", "", plan.name if own is None else blind.name),
        ):
            with pytest.raises(KilnctlError) as refused:
                policy_for(dataclasses.replace(blind, file=file), dataclasses.replace(of_plan, file=plan_file))
            assert str(refused.value).startswith(
                f"{named}: 'part highest' is a limit that nobody can guard: {cabinet.name} has no thermocouple"
            )
    with pytest.raises(KilnctlError, match="nobody can guard"):
        policy_for(but(limited(190.0), part=None))


def test_what_bursts_show_as_noise_is_no_fault(oven):
    cabinet = oven("curing-cabinet")
    own = policy_for(cabinet).noise_k
    assert policy_for(cabinet, bursts_k=own - 0.1).noise_k == own
    assert policy_for(cabinet, bursts_k=own + 1.0).noise_k == own + 1.0
    assert policy_for(cabinet, bursts_k=99.0).noise_k == HARD_CEILINGS["noise_k"] == 10.0
