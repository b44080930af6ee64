"""Slow and quick sensors, slow and fast ticks, quiet soaks, loads that were described and left out: ordinary use that
trips nothing, each with the fault that looks like it."""

import dataclasses
import math
import random

import pytest

from kilnctl import Reading
from kilnctl.firmware import logic
from kilnctl.plants.injection import PlantFault
from kilnctl.rig import converters
from kilnctl.rig.simulated_board import registers_31856, word_31855
from kilnctl.run.rehearsal import rehearse
from kilnctl.run.virtual_plant import virtual_oven
from kilnctl.safety import Policy, SafetyState, Tick, acknowledge, judge, policy_for
from kilnctl.safety.fault_table import by_id
from kilnctl.safety.limits import identical_s
from kilnctl.safety.messages import DEAD
from kilnctl.settings.construction import Load
from kilnctl.settings.equipment import Sensor
from kilnctl.settings.schedule import schedule_of
from tests.safety.safety_scenes import QUIET, Bench, ramp, steady

TO_700 = schedule_of("schedule: t\nsteps:\n  - {to: 700 °C, hold: 10 min, within: 6 K}\n", "t")


def within_s(fault: str) -> float:
    """What the fault table promises."""
    limit = by_id(fault).detect_within_s
    assert limit is not None
    return limit


def sensor(oven, which, **changes):
    changed = dataclasses.replace(getattr(oven.sensors, which), **changes)
    return dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, **{which: changed}))


def ticking(oven, tick_s):
    return dataclasses.replace(oven, control=dataclasses.replace(oven.control, tick_s=tick_s))


# ---- a limit sensor in a thick sheath --------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("which, lag_s", [("limit", 60.0), ("limit", 300.0)])
def test_a_slow_limit_sensor_may_lag_in_a_fast_furnace(oven, which, lag_s):
    run = rehearse(sensor(oven("bench-muffle"), which, lag_s=lag_s), TO_700)
    assert run.outcome == "finished" and run.trips == ()


@pytest.mark.parametrize("lag_s", [60.0, -60.0])
def test_only_as_much_as_the_greater_lag_explains(lag_s):
    """1 K/s for 100 s; the slower sensor follows with 60 s, and ends 60 K behind. The same difference in a steady oven
    is a fault."""
    bench = Bench(has_limit_sensor=True, second_lag_s=lag_s, chamber_trip_c=900.0, schedule_trip_c=900.0).feed(
        60, **QUIET
    )

    def late(t):
        return 100.0 + t - 60.0 * (1.0 - math.exp(-t / 60.0)) + 0.1 * math.sin(t)

    first, second = (ramp(1.0), late) if lag_s > 0.0 else (late, ramp(1.0))
    assert bench.feed(300, chamber=first, **{**QUIET, "limit_c": second}).faults == set()
    for behind in (50.0, -50.0):
        still = Bench(has_limit_sensor=True, second_lag_s=lag_s).feed(60, **QUIET)
        assert still.feed(240, **{**QUIET, "limit_c": 100.0 + behind}).faults == {"sensors-disagree"}


def test_a_door_gives_a_slow_limit_sensor_its_time_to_follow():
    """The control sensor falls by 100 K in ten seconds, the limit sensor (60 s slower) by a tenth of it in twenty."""

    def seen(t):
        return 300.0 - 100.0 * (1.0 - math.exp(-t / 10.0)) + 0.1 * math.sin(t)

    def slow(t):
        return 300.0 - 60.0 * (1.0 - math.exp(-t / 70.0))

    for lag_s, faults in ((0.0, {"sensors-disagree"}), (60.0, set())):
        bench = Bench(second_lag_s=lag_s, schedule_trip_c=300.0 + 90.0, chamber_trip_c=400.0)
        bench.feed(60, chamber=lambda t: 300.0 + 0.1 * math.sin(t), **{**QUIET, "limit_c": 300.0})
        assert bench.feed(100, chamber=seen, **{**QUIET, "limit_c": slow}).faults == faults


@pytest.mark.slow
def test_a_control_sensor_that_drifts_is_found_in_the_soak(oven):
    """F14: it reads 20 K/h less and less, so the chamber gets hotter and hotter and only the second sensor shows it; a
    warning comes first."""
    rules, began = by_id("F14").rules, 3600.0
    long_soak = schedule_of("schedule: t\nsteps:\n  - {to: 160 °C, hold: 5 h, within: 10 K}\n", "t")
    run = rehearse(
        ticking(oven("curing-cabinet"), 2.0),
        long_soak,
        faults=(PlantFault("thermocouple drifting", began, None, -20.0 / 3600.0),),
    )
    found = run.trips[0]
    assert "sensors-disagree" in {t.fault for t in run.trips}, "besides the limit, which judges the second sensor too"
    assert found.fault in rules and 3600.0 < found.time_s - began < within_s("F14")
    assert any(e.kind == "warning" and "apart" in e.text and began < e.time_s < found.time_s for e in run.events), [
        str(e) for e in run.events
    ]


# ---- quick sensors and slow ticks ------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("tick_s, lag_s", [(1.0, 1.0), (1.5, 3.0), (2.0, 8.0)])
def test_a_door_of_half_a_minute_in_a_hot_furnace_trips_nothing(oven, tick_s, lag_s):
    muffle = ticking(sensor(oven("bench-muffle"), "control", lag_s=lag_s, dead_time_s=0.5), tick_s)
    plan = schedule_of("schedule: t\nsteps:\n  - {to: 900 °C, hold: 5 min, within: 6 K}\n", "t")
    run = rehearse(muffle, plan, faults=(PlantFault("door open", 2050.0, 30.0),))
    assert run.outcome == "finished" and run.trips == ()


def test_a_short_at_the_terminals_is_seen_with_a_quick_sensor_too(oven):
    quick = dataclasses.replace(policy_for(sensor(oven("bench-muffle"), "control", lag_s=1.0)), has_limit_sensor=False)
    for cold, faults in ((30.0, {"sensor-shorted"}), (None, set())):
        bench = Bench()
        bench.policy = quick
        quiet = {**QUIET, "limit_c": None, "cold_junction_c": cold}
        bench.feed(60, chamber=lambda t: 220.0 + 0.1 * math.sin(t), **quiet)
        assert bench.feed(15, chamber=lambda t: 31.0 + 0.1 * math.sin(t), **quiet).faults == faults


@pytest.mark.parametrize("dt", [0.2, 1.0, 2.0])
def test_noise_is_what_goes_to_and_fro(dt):
    """White noise of 3 K beyond a limit of 2 K trips in time; of 0.4 K it does not even warn; a sharp curve is no
    noise."""
    for size, trips in ((3.0, True), (0.4, False)):
        generator = random.Random(7)

        def noise(t, generator=generator, size=size):
            return 100.0 + generator.gauss(0.0, size)

        bench = Bench(noise_k=2.0).feed(90, chamber=noise, dt=dt, **QUIET)
        assert bench.faults == ({"sensor-noisy"} if trips else set())
        assert not trips or bench.tripped_after["sensor-noisy"] <= within_s("F17")
        assert trips or not bench.warnings

    def bend(t):
        return 700.0 - 300.0 * (1.0 - math.exp(-max(0.0, t - 5.0) / 2.0))

    bench = Bench(noise_k=2.0, wild_k_per_s=200.0, chamber_trip_c=900.0, schedule_trip_c=900.0)
    bench.feed(20, chamber=700.0, dt=dt, **{**QUIET, "limit_c": None}).feed(
        40, chamber=bend, dt=dt, **{**QUIET, "limit_c": None}
    )
    assert bench.faults == set()


def test_noise_of_one_kelvin_is_measured_as_one_kelvin():
    """Against its definition: the standard deviation of white noise, over 200 means of ten seconds each."""
    generator, bench, seen = random.Random(3), Bench(noise_k=9.0), []
    for _ in range(200):
        bench.feed(30, chamber=lambda t: 100.0 + generator.gauss(0.0, 1.0), **QUIET)
        seen.append(bench.state.noise_k)
    assert sum(seen) / len(seen) == pytest.approx(1.0, abs=0.08)


# ---- quiet soaks -----------------------------------------------------------------------------------------------------


def test_a_quiet_soak_may_show_the_same_figure_while_the_answers_bits_move():
    quiet = {**QUIET, "limit_c": None}
    assert Bench().feed(1200, chamber=200.0, **quiet).faults == set()
    for more in (dict(bits=None, sample=None), dict(bits=None), dict(bits=b"same"), dict(sample=7)):
        assert Bench().feed(90, chamber=200.0, **quiet, **more).faults == {"sensor-frozen"}
    # Without heat any value may repeat: at rest, or while it cools to the room.
    assert (
        Bench()
        .feed(7200, chamber=20.0, **{**quiet, "cold_junction_c": 20.0}, bits=b"same", tick=dict(fired=0.0))
        .faults
        == set()
    )


# ---- a real converter: what a board or the pins see ------------------------------------------------------------------


def converted(sensor, noise_k, hours, duty=0.6, frozen_at_s=math.inf, cold_c=28.0):
    """An oven whose temperature is in the middle of a converter step, read as a rig reads it; returns the trips and
    their times."""
    generator, channel, last = random.Random(11), logic.Thermocouple(), converters.ConverterState()
    policy = Policy(chamber_trip_c=900.0, schedule_trip_c=900.0, identical_s=identical_s(sensor, 1.0))
    state, coarse, held = SafetyState(), sensor.front_end == "max31855", 600.0
    for i in range(1, round(hours * 3600.0)):
        value = 600.0 + generator.gauss(0.0, noise_k) if i < frozen_at_s else held
        held = value
        channel.take_31855(*word_31855("K", value, cold_c)) if coarse else channel.take_31856(
            registers_31856(value, cold_c)
        )
        last = converters.take_conversion(sensor, last, bytes(channel.raw), channel.count)
        reading = Reading(
            last.value_c,
            cold_junction_c=last.cold_c,
            sample=last.count,
            faults=last.faults,
            bits=last.bits,
            rejects=last.rejects,
        )
        state, verdict = judge(state, policy, reading, Tick(float(i), i, duty))
        if verdict.trips:
            return [(t.fault, t.time_s) for t in verdict.trips]
    return []


@pytest.mark.parametrize(("chip", "within_s"), [("max31855", 125.0), ("max31856", 20.0)])
def test_a_converter_that_repeats_itself_is_found_although_the_board_goes_on_counting(chip, within_s):
    [(fault, at_s)] = converted(Sensor(front_end=chip), 0.15, 1.0, frozen_at_s=600.0)
    assert fault == "sensor-frozen" and at_s - 600.0 <= within_s <= by_id("F41").detect_within_s


@pytest.mark.parametrize(
    ("chip", "described_k", "noise_k"),
    [
        ("max31855", 0.15, 0.15),
        ("max31855", 0.15, 0.09),
        ("max31855", 0.05, 0.0),
        ("max31856", 0.15, 0.15),
        ("max31856", 0.15, 0.012),
    ],
)
def test_a_steady_soak_on_the_middle_of_a_step_is_no_repetition(chip, described_k, noise_k):
    """With the heat of a soak, constant terminals, and the least noise that the shortest waits allow."""
    assert converted(Sensor(front_end=chip, noise_k=described_k), noise_k, 6.0) == []


@pytest.mark.parametrize("chip", ["max31855", "max31856"])
def test_without_heat_a_converter_may_repeat_itself_for_hours(chip):
    assert converted(Sensor(front_end=chip), 0.0, 3.0, duty=0.0) == []
    assert converted(Sensor(front_end=chip), 0.0, 3.0, duty=0.6) != []


# ---- sensors that come and go ----------------------------------------------------------------------------------------


def gaps(open_s, every_s):
    return dict(
        chamber=lambda t: math.nan if t % every_s < open_s else steady(t),
        faults=lambda t: ("open",) if t % every_s < open_s else (),
    )


@pytest.mark.parametrize(("open_s", "every_s", "trips_within_s"), [(8, 10, 40.0), (3, 10, 200.0), (1, 3, 120.0)])
def test_a_wire_that_is_open_now_and_then_warns_soon_and_trips(open_s, every_s, trips_within_s):
    bench = Bench().feed(60, **QUIET).feed(30, **QUIET, **gaps(open_s, every_s))
    assert any("comes and goes" in w for w in bench.warnings) and not bench.faults
    bench.feed(600, **QUIET, **gaps(open_s, every_s))
    assert bench.faults == {"sensor-unsteady"} and bench.tripped_after["sensor-unsteady"] + 30.0 <= trips_within_s


@pytest.mark.parametrize(("open_s", "every_s"), [(9, 1800), (1, 60), (2, 15)])
def test_a_short_gap_now_and_then_is_ridden_over(open_s, every_s):
    bench = Bench().feed(60, **QUIET).feed(3600, **QUIET, **gaps(open_s, every_s))
    assert bench.faults == set() and any("comes and goes" in w for w in bench.warnings) is (every_s != 60)


def test_a_wire_that_broke_is_acknowledged_as_soon_as_it_is_mended():
    bench = Bench().feed(60, **QUIET).feed(600, chamber=math.nan, faults=("open",), **QUIET).feed(3, **QUIET)
    assert bench.faults == {"sensor-open"}
    assert acknowledge(bench.state, bench.policy, bench.reading, bench.tick, "k")[1] == ()


@pytest.mark.parametrize(("every", "warns", "trips"), [(3, True, True), (10, True, False), (60, False, False)])
def test_wild_conversions_that_the_median_hides_are_counted(every, warns, trips):
    """One wild conversion in three: the rig's value is steady and does not show it."""
    sensor, last, bench = Sensor(), converters.ConverterState(), Bench(schedule_trip_c=900.0, chamber_trip_c=900.0)
    generator, shown = random.Random(5), set()
    for i in range(1, 900):
        last = converters.take_conversion(
            sensor, last, registers_31856(800.0 + generator.gauss(0.0, 0.15) if i % every else 50.0, 25.0), i & 255
        )
        shown.add(round(last.value_c))
        bench.feed(1, chamber=last.value_c, **{**QUIET, "limit_c": None}, bits=last.bits, rejects=last.rejects)
    assert shown <= {799, 800, 801} and bench.faults == ({"sensor-unsteady"} if trips else set())
    assert any("comes and goes" in w for w in bench.warnings) is warns
    assert not trips or bench.state.trips["sensor-unsteady"].time_s <= within_s("F17")


# ---- the terminals ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dt", [0.2, 1.0, 2.0])
@pytest.mark.parametrize(("jump", "trips"), [(5.6, True), (4.9, False)])
def test_a_jump_of_the_terminals_is_seen_at_any_tick(dt, jump, trips):
    bench = Bench().feed(60, dt=dt, **QUIET).feed(30, dt=dt, **{**QUIET, "cold_junction_c": 30.0 + jump})
    assert bench.faults == ({"cold-junction"} if trips else set())
    assert not trips or bench.tripped_after["cold-junction"] <= within_s("F18")


# ---- heat that is missing, heat that is too much ---------------------------------------------------------------------


@pytest.mark.slow
def test_a_lid_ajar_while_it_cools_is_no_missing_heat(oven):
    kiln = ticking(oven("brick-kiln"), 2.0)
    kiln = dataclasses.replace(kiln, door=dataclasses.replace(kiln.door, switch=False))
    plan = schedule_of(
        "schedule: t\nsteps:\n  - {to: 900 °C, hold: 10 min, within: 10 K}\n  - {to: 400 °C, let cool: yes}\n", "t"
    )
    run = rehearse(kiln, plan, faults=(PlantFault("door open", 8600.0, 1800.0, size=0.3),))
    assert math.isnan(run.reference_c[run.time_s > 8590.0][0]), "it was cooling when the lid was opened"
    assert run.outcome == "finished" and run.trips == ()


def test_a_load_that_was_left_out_ends_no_run(oven):
    """At full power more than full power seems to be too much: no relay can be the cause of that."""
    kiln = oven("brick-kiln")
    heavy = dataclasses.replace(kiln, usual_load=Load(name="steel", mass_kg=20.0, material="steel", area_m2=0.5))
    plan = schedule_of("schedule: t\nsteps:\n  - {to: 900 °C, hold: 20 min, within: 10 K}\n", "t")
    run = rehearse(heavy, plan, virtual_oven(dataclasses.replace(kiln, usual_load=None), None))
    assert run.outcome == "finished" and run.trips == ()


def test_while_little_is_fired_the_relay_is_named_first():
    many = dict(unexplained_w=1800.0, full_power_w=3000.0)
    for fired, first in ((0.3, f"{DEAD} the relay"), (0.9, "Check the load")):
        bench = Bench().feed(
            600, **QUIET, chamber=ramp(0.02), tick=dict(fired=fired, unexplained_w=0.0, full_power_w=3000.0)
        )
        bench.feed(
            400,
            **QUIET,
            chamber=ramp(0.02, 112.0),
            tick=dict(fired=fired, **{**many, "unexplained_w": 1800.0 + 600.0 * fired}),
        )
        assert bench.state.trips["unexplained-heat"].check.startswith(first)
        # Later ticks do not change the text of a trip.
        said = bench.state.trips["unexplained-heat"]
        assert (
            bench.feed(5, **QUIET, chamber=ramp(0.02, 120.0), tick=dict(many, fired=1.0)).state.trips[
                "unexplained-heat"
            ]
            == said
        )
