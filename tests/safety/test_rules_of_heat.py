"""The rules of heat and temperature, and of the oven's surroundings: trips, near misses, and how long each waits."""

import math

import pytest

from kilnctl import Reading
from kilnctl.safety import acknowledge
from kilnctl.safety.messages import OFF
from tests.safety.safety_scenes import HOT, QUIET, Bench, fell, play, ramp, steady

# ---- heat and temperature ------------------------------------------------------------------------------------------


def test_a_falling_reading_gets_no_more_heat_than_before_until_it_rises_again():
    bench = Bench().feed(300, **{**QUIET, **HOT})
    bench.feed(10, **{**QUIET, **HOT, "chamber": fell(100.0), "limit_c": None})
    assert bench.permit.duty_limit == pytest.approx(0.3, abs=0.01) == bench.verdict.duty_limit
    assert "no more heat than before" in bench.verdict.reason
    bench.feed(100, chamber=lambda t: 101.0 + 0.1 * math.sin(t), **{**QUIET, "limit_c": None}, tick=dict(fired=0.29))
    assert bench.permit.duty_limit == pytest.approx(0.3, abs=0.01)
    bench.feed(60, chamber=ramp(0.3, 101.0), **{**QUIET, "limit_c": None}, tick=dict(fired=0.29))
    assert bench.permit.duty_limit == pytest.approx(0.3, abs=0.01), "a fifth of the fall is no answer"
    bench.feed(60, chamber=ramp(0.3, 119.0), **{**QUIET, "limit_c": None}, tick=dict(fired=0.29))
    assert bench.permit.duty_limit == 1.0 and bench.faults == set() and "content" in bench.verdict.reason


def test_in_a_fall_the_holding_power_is_always_allowed():
    bench = Bench().feed(300, **{**QUIET, **HOT}, tick=dict(fired=0.0))
    bench.feed(
        10, **{**QUIET, **HOT, "chamber": fell(100.0)}, tick=dict(fired=0.0, full_power_w=3000.0, holding_w=900.0)
    )
    assert bench.permit.duty_limit == pytest.approx(0.3)
    for odd in (math.nan, -5.0):
        bench = Bench().feed(300, **{**QUIET, **HOT}, tick=dict(fired=0.0))
        bench.feed(
            10, **{**QUIET, **HOT, "chamber": fell(100.0)}, tick=dict(fired=0.0, full_power_w=3000.0, holding_w=odd)
        )
        assert bench.permit.duty_limit == pytest.approx(0.02)


def test_a_closed_door_switch_leaves_only_the_sensor_to_blame():
    for switch, within in ((True, 62.0), (False, 302.0)):
        bench = Bench(door_switch=switch).feed(60, **{**QUIET, **HOT})
        bench.feed(400, **{**QUIET, **HOT, "chamber": fell(100.0), "limit_c": None})
        assert bench.tripped_after["reading-fell"] == pytest.approx(within, abs=5.0)


def test_a_second_sensor_that_does_not_follow_a_fall_is_believed():
    bench = Bench().feed(60, **{**QUIET, **HOT}).feed(60, **{**QUIET, **HOT, "chamber": fell(100.0)})
    assert bench.tripped_after["sensors-disagree"] == pytest.approx(25.0, abs=4.0)
    for limit in (lambda t: 201.0 - min(30.0, t), None, math.nan):
        bench = (
            Bench().feed(60, **{**QUIET, **HOT}).feed(60, **{**QUIET, **HOT, "chamber": fell(100.0), "limit_c": limit})
        )
        assert bench.faults == set()
    assert Bench().feed(60, **{**QUIET, **HOT}).feed(60, **{**QUIET, **HOT, "chamber": fell(29.0)}).faults == set()


def test_a_second_sensor_that_fell_from_the_first_second_has_followed():
    """A door open for 25 s in a small furnace: the limit sensor falls at once and rises again by the time of the
    judgement."""

    def door(depth):
        return lambda t: (
            200.0 - depth * (1.0 - math.exp(-t / 8.0)) if t < 25.0 else 200.0 - depth * math.exp(-(t - 25.0) / 10.0)
        )

    for second, faults in ((40.0, set()), (16.0, {"sensors-disagree"})):
        bench = Bench().feed(60, **{**QUIET, **HOT, "limit_c": 200.0})
        assert bench.feed(120, **{**QUIET, **HOT, "chamber": door(80.0), "limit_c": door(second)}).faults == faults
    # Unknown at first: judged from the time when it is known.
    bench = (
        Bench()
        .feed(60, **{**QUIET, **HOT, "limit_c": None})
        .feed(60, **{**QUIET, **HOT, "chamber": fell(100.0), "limit_c": 200.0})
    )
    assert bench.faults == {"sensors-disagree"}


def test_a_door_reported_open_is_no_fall():
    bench = Bench(door_switch=True).feed(60, **{**QUIET, **HOT})
    bench.feed(200, **{**QUIET, **HOT, "chamber": fell(100.0), "door_open": True, "limit_c": 150.0})
    assert bench.faults == set() and bench.state.fall is None
    assert bench.feed(60, chamber=ramp(0.3, 100.0), **{**QUIET, "limit_c": 110.0}).faults == set()


def test_heat_without_rise_counts_only_full_power_and_forgives_any_rise():
    full = dict(tick=dict(fired=1.0), **QUIET)
    assert Bench().feed(598, **full).faults == set()
    assert Bench().feed(610, **full).faults == {"heat-no-rise"}
    assert Bench().feed(2000, tick=dict(fired=0.89), **QUIET).faults == set()
    assert Bench().feed(2000, chamber=ramp(0.01), **full).faults == set()
    assert "heat-no-rise" in Bench().feed(2000, chamber=ramp(0.005), **full).faults


def test_wires_swapped_are_found_in_the_run():
    """Reads down from its terminals' temperature while heated; without terminals to compare, from below 60 °C only."""
    heated = dict(tick=dict(fired=0.6))
    for cold, start, faults in ((30.0, 30.0, True), (None, 30.0, True), (None, 80.0, False), (20.0, 40.0, False)):
        quiet = {**QUIET, "cold_junction_c": cold, "limit_c": None}
        bench = (
            Bench()
            .feed(60, chamber=start, **quiet, tick=dict(fired=0.0))
            .feed(100, chamber=ramp(-0.1, start), **quiet, **heated)
        )
        assert (bench.faults == {"falls-when-heated"}) is faults, (cold, start)


def test_an_unasked_rise_waits_for_the_elements_stored_heat_and_for_a_door():
    off = dict(tick=dict(fired=0.0))
    stored = Bench().feed(60, **QUIET).feed(600, chamber=lambda t: 100.0 + min(30.0, 0.3 * t), **QUIET, **off)
    assert stored.faults == set()
    assert Bench().feed(60, **QUIET).feed(600, chamber=ramp(0.05), **QUIET, **off).tripped_after[
        "rise-no-heat"
    ] == pytest.approx(250.0, abs=15.0)
    assert Bench().feed(600, chamber=ramp(0.05), **QUIET, tick=dict(fired=0.03)).faults == set()
    # Cooling, a door without a switch open for a minute, and recovery.
    dip = (
        Bench()
        .feed(60, **{**QUIET, **HOT})
        .feed(
            900,
            chamber=lambda t: 200.0 - 0.02 * t - (40.0 if 400 < t < 460 else 0.0),
            **{**QUIET, "limit_c": None},
            **off,
        )
    )
    assert dip.faults == set()
    told = (
        Bench(door_switch=True)
        .feed(60, **{**QUIET, **HOT})
        .feed(300, chamber=fell(100.0), **{**QUIET, "door_open": True, "limit_c": 110.0}, **off)
    )
    assert told.feed(300, chamber=lambda t: 100.0 + min(60.0, t), **{**QUIET, "limit_c": None}, **off).faults == set()
    cooling = Bench().feed(400, chamber=lambda t: 200.0 - 0.04 * t, **{**QUIET, "limit_c": None}, **off)
    assert cooling.feed(300, chamber=ramp(0.05, 184.0), **{**QUIET, "limit_c": None}, **off).faults == {"rise-no-heat"}


def test_unexplained_heat_is_summed_against_an_allowance_that_grows_with_the_power_fired():
    """1 400 of 3 000 W is 0.467; the allowance after long firing at 0.3 is 0.25 + 0.35·0.3 = 0.355: 15/0.112 = 134
    s."""
    many = dict(tick=dict(unexplained_w=0.0, full_power_w=3000.0))
    bench = Bench().feed(3000, **QUIET, **many).feed(200, **QUIET, tick=dict(unexplained_w=1400.0, full_power_w=3000.0))
    assert bench.tripped_after["unexplained-heat"] == pytest.approx(135.0, abs=2.0)
    bench = (
        Bench().feed(3000, **QUIET, **many).feed(300, **QUIET, tick=dict(unexplained_w=-1400.0, full_power_w=3000.0))
    )
    assert bench.tripped_after["missing-heat"] == pytest.approx(180.0, abs=2.0)
    for nothing in (
        dict(unexplained_w=None, full_power_w=3000.0),
        dict(unexplained_w=math.nan, full_power_w=3000.0),
        dict(unexplained_w=3000.0, full_power_w=math.inf),
        dict(unexplained_w=3000.0, full_power_w=0.0),
    ):
        assert Bench().feed(400, **QUIET, tick=nothing).faults == set()


def test_missing_heat_rests_after_a_door():
    missing = dict(tick=dict(unexplained_w=-2900.0, full_power_w=3000.0))
    bench = Bench(door_switch=True).feed(60, **QUIET).feed(60, **{**QUIET, "door_open": True})
    assert bench.feed(170, **QUIET, **missing).faults == set() and bench.feed(60, **QUIET, **missing).faults == {
        "missing-heat"
    }


def test_low_gain_warns_and_does_not_stop_the_run():
    heated = dict(chamber=lambda t: 100.0 + 0.02 * t, **{**QUIET, "limit_c": None})
    bench = Bench().feed(1500, **heated, tick=dict(fired=0.8, unexplained_w=-900.0, full_power_w=3000.0))
    assert bench.faults == set() and any(w.startswith("compare the control sensor") for w in bench.warnings)
    assert not Bench().feed(1500, **heated, tick=dict(fired=0.8, unexplained_w=-500.0, full_power_w=3000.0)).warnings


def test_a_rise_after_a_door_is_a_recovery_and_not_too_fast():

    def recovering(t):
        return steady(t) + 100.0 - (80.0 if t < 30.0 else max(0.0, 80.0 - 8.0 * (t - 30.0)))

    bench = (
        Bench(rise_k_per_s=3.0).feed(60, **{**QUIET, **HOT}).feed(20, chamber=fell(80.0), **{**QUIET, "limit_c": None})
    )
    assert bench.feed(90, chamber=recovering, **{**QUIET, "limit_c": None}).faults == set()


# ---- surroundings --------------------------------------------------------------------------------------------------


def test_an_open_door_takes_the_heat_and_the_contactor_and_gives_them_back():
    bench = Bench(door_switch=True).feed(10, **QUIET, contactor_closed=True)
    bench.feed(1, **{**QUIET, "door_open": True})
    assert (
        bench.verdict.permit is None
        and not bench.verdict.contactor_allowed
        and bench.verdict.reason == "the door is open"
    )
    # The switch in the coil's circuit opens the contactor too: no fault.
    bench.feed(60, **{**QUIET, "door_open": True}, contactor_closed=False)
    assert bench.faults == set() and bench.feed(2, **QUIET).verdict.permit is not None


def test_behind_a_door_switch_that_no_longer_answers_nothing_is_heated():
    bench = Bench(door_switch=True).feed(10, **{**QUIET, "door_open": None})
    assert bench.verdict.permit is not None and "the door switch does not answer" in bench.warnings
    bench.feed(2, **QUIET).feed(2, **{**QUIET, "door_open": None})
    assert (
        bench.verdict.permit is None
        and not bench.verdict.contactor_allowed
        and bench.verdict.reason == "the door switch no longer answers"
    )
    assert bench.faults == set() and bench.feed(2, **QUIET).verdict.permit is not None


def test_lost_airflow_takes_the_heat_at_once_and_is_purged_before_heat_returns():
    air = dict(airflow_required=True, purge_s=100.0)
    for lost in (False, None):
        bench = Bench(**air).feed(110, **QUIET).feed(1, **{**QUIET, "airflow_proved": lost})
        assert bench.verdict.permit is None and "ventilation" in bench.verdict.reason
        assert bench.feed(1, **QUIET).verdict.permit is not None, "a flicker needs no purge"
        bench.feed(3, **{**QUIET, "airflow_proved": lost}).feed(99, **QUIET)
        assert bench.verdict.permit is None and "purging" in bench.verdict.reason
        assert bench.feed(2, **QUIET).verdict.permit is not None and bench.faults == set()
    assert (
        Bench(**air).feed(10, **QUIET).feed(60, **{**QUIET, "airflow_proved": False}, tick=dict(heating=False)).faults
        == set()
    )


def test_contactor_read_back_gets_its_time():
    bench = Bench().feed(10, **QUIET, contactor_closed=True)
    assert bench.feed(1, **QUIET, contactor_closed=False).faults == set()
    assert bench.feed(1, **QUIET, contactor_closed=False).faults == {"contactor-open"}
    assert (
        "contactor-welded"
        in Bench().feed(5, **QUIET, contactor_closed=True, tick=dict(contactor=False, heating=False)).faults
    )


def test_the_loops_command_to_the_contactor_counts_more_than_the_verdict():
    assert Bench().feed(30, **QUIET, contactor_closed=False, tick=dict(contactor=False)).faults == set()
    assert Bench().feed(30, **QUIET, contactor_closed=True, tick=dict(contactor=True)).faults == set()


def test_a_welded_contactor_raises_the_danger_message():
    bench = play("contactor-welded", "trip")
    assert "MAIN SWITCH NOW" in bench.verdict.danger == bench.verdict.reason
    assert "MAIN SWITCH NOW" in bench.state.trips["contactor-welded"].act


def test_power_after_everything_was_switched_off_raises_the_danger_message():
    stopped = dict(tick=dict(commanded=0.0, contactor=False, fired=0.0), **QUIET)
    assert Bench().feed(30, fired=0.0, **stopped).dangers == set()
    bench = Bench().feed(30, fired=1.0, **stopped)
    assert bench.faults == {"relay-on-unasked"} and bench.dangers
    running = dict(tick=dict(commanded=0.3, contactor=True), **QUIET)
    bench = Bench().feed(30, fired=1.0, **running)
    assert bench.faults == {"relay-on-unasked"} and not bench.dangers


def test_a_rise_after_a_trip_raises_the_danger_message():
    bench = play("board-lost", "trip")
    assert not bench.dangers
    bench.feed(400, chamber=ramp(0.05), **{**QUIET, "limit_c": None}, tick=dict(fired=0.0))
    assert bench.dangers and {"board-lost", "rise-no-heat"} <= bench.faults
    # While the contactor is closed, the relay alone is at fault; a rise that goes on after the contactor was commanded
    # open shows more.
    bench = play("rise-no-heat", "miss")
    bench.feed(300, chamber=ramp(0.05, 105.0), **{**QUIET, "limit_c": None}, tick=dict(fired=0.0))
    assert bench.faults == {"rise-no-heat"} and not bench.dangers and bench.state.trips["rise-no-heat"].act == OFF
    bench.feed(300, chamber=ramp(0.05, 120.0), **{**QUIET, "limit_c": None}, tick=dict(fired=0.0))
    assert bench.dangers and "MAIN SWITCH NOW" in bench.state.trips["rise-no-heat"].act


def test_current_stands_in_for_a_missing_power_read_back():
    off = dict(tick=dict(commanded=0.0, fired=0.0), **QUIET)
    assert Bench().feed(30, current_a=0.19, **off).faults == set()
    for current in (0.2, 13.0, math.nan):
        assert Bench().feed(30, current_a=current, **off).faults == {"relay-on-unasked"}
    assert Bench().feed(30, current_a=13.0, tick=dict(commanded=0.3), **QUIET).faults == set()
    assert Bench().feed(30, fired=1.0, tick=dict(commanded=math.nan), **QUIET).faults == set()


def test_a_tick_of_bursts_that_are_shifted_is_no_unasked_power():
    shifted = dict(
        fired=lambda t: float(t % 60 < 30),
        tick=dict(commanded=lambda t: float((t + 1) % 60 < 30), fired=0.5),
        contactor_closed=True,
    )
    assert Bench().feed(900, **shifted, **QUIET).faults == set()


def test_part_of_the_power_missing_warns():
    bench = Bench().feed(90, fired=0.2, contactor_closed=True, tick=dict(commanded=0.3), **QUIET)
    assert bench.faults == set() and any("only 67 % of the power" in w for w in bench.warnings)
    assert not Bench().feed(90, fired=0.27, contactor_closed=True, tick=dict(commanded=0.3), **QUIET).warnings
    assert not Bench().feed(90, fired=0.0, contactor_closed=True, tick=dict(commanded=0.04), **QUIET).faults


def test_without_mains_there_is_no_heat_no_contactor_and_no_false_trip():
    gone = dict(supply_v=0.0, contactor_closed=False, fired=0.0, tick=dict(commanded=0.3), **QUIET)
    bench = Bench(nominal_v=230.0).feed(10, supply_v=230.0, **QUIET).feed(1, **gone)
    assert (
        bench.verdict.permit is None
        and not bench.verdict.contactor_allowed
        and bench.verdict.reason == "there is no mains"
    )
    assert bench.feed(8, **gone).faults == set()
    assert bench.feed(3, supply_v=230.0, **QUIET).verdict.permit is not None
    assert bench.feed(12, **gone).faults == {"supply-lost"}
    for volts, stands in ((0.0, True), (None, True), (math.nan, True), (230.0, False)):
        assert (
            bool(acknowledge(bench.state, bench.policy, Reading(100.0, supply_v=volts), bench.later(), "k")[1])
            is stands
        )
    assert Bench(nominal_v=230.0).feed(20, supply_v=math.nan, **QUIET).faults == {"supply-lost"}
    assert Bench().feed(20, supply_v=0.0, **QUIET).faults == set()


def test_energy_and_time_that_are_no_numbers_trip_and_a_cooling_run_may_take_its_time():
    for name, rule in (("energy_j", "energy"), ("run_s", "run-time")):
        for odd in (math.nan, math.inf, None):
            assert Bench().feed(3, **QUIET, tick={name: odd}).faults == {rule}
    assert Bench(longest_s=100.0).feed(3, **QUIET, tick=dict(run_s=200.0, heating=False)).faults == set()


def test_a_record_that_is_not_written_warns_after_ten_seconds():
    bench = Bench().feed(10, **QUIET, tick=dict(recording=False))
    assert not bench.warnings
    bench.feed(1, **QUIET, tick=dict(recording=False))
    assert any("record" in w for w in bench.warnings) and bench.verdict.permit is not None
    assert not Bench().feed(30, **QUIET, tick=dict(recording=True)).warnings


SAID = {
    "over-oven": ("reads 301 °C", "trip is 300 °C"),
    "over-schedule": ("reads 251 °C", "trip is 250 °C"),
    "over-part": ("reads 211 °C", "limit is 210 °C"),
    "sensor-open": ("open for 10 s", "last good reading 100 °C"),
    "sensor-frozen": ("for 5 s",),
    "sensors-disagree": (" 141 °C",),
    "sensor-jump": ("from 100 °C", "for 10 s"),
    "sensor-shorted": ("from 100 °C", "for 10 s"),
    "cold-junction": ("read 81 °C",),
    "heat-no-rise": ("601 s at full", "K of rise"),
    "unexplained-heat": ("1400 W",),
    "missing-heat": ("1400 W",),
    "relay-on-unasked": ("60 % of the time; 30 %",),
    "relay-open": ("and 15 %",),
    "supply-lost": ("for 10 s",),
    "loop-stalled": ("for 2.6 s",),
    "rise-no-heat": ("rose by 6.", "for 2"),
    "falls-when-heated": ("fell by", "21 full-power seconds"),
}


@pytest.mark.parametrize("rule", SAID)
def test_a_trip_says_the_figures_of_its_moment(rule):
    seen = play(rule, "trip").state.trips[rule].seen
    for words in SAID[rule]:
        assert words in seen


def test_when_the_quick_rules_trip_to_the_second():
    assert play("heat-no-rise", "trip").tripped_after["heat-no-rise"] == pytest.approx(602.0, abs=1.0)
    assert Bench().feed(610, **QUIET, tick=dict(fired=1.0)).tripped_after["heat-no-rise"] == 603.0
    assert play("contactor-welded", "trip").tripped_after["contactor-welded"] == 3.0
    off = dict(tick=dict(commanded=0.0, fired=0.0), **QUIET)
    assert Bench().feed(30, fired=0.0, **off).feed(30, fired=1.0, **off).tripped_after["relay-on-unasked"] == 3.0
    assert play("relay-open", "trip").tripped_after["relay-open"] == pytest.approx(7.0, abs=1.0)
    assert play("sensor-noisy", "trip").tripped_after["sensor-noisy"] == pytest.approx(13.0, abs=1.0)


def test_unasked_power_of_six_per_cent_is_found_and_of_four_is_not():
    part = dict(contactor_closed=True, tick=dict(commanded=0.3), **QUIET)
    assert "relay-on-unasked" in Bench().feed(400, fired=0.36, **part).faults
    assert Bench().feed(1000, fired=0.345, **part).faults == set()


def test_missing_power_gives_a_warning_after_half_a_minute():
    part = dict(fired=0.2, contactor_closed=True, tick=dict(commanded=0.3), **QUIET)
    assert not Bench().feed(30, **part).warnings and Bench().feed(36, **part).warnings


def test_two_seconds_without_airflow_need_no_purge_and_three_do():
    air = dict(airflow_required=True, purge_s=100.0)
    bench = Bench(**air).feed(110, **QUIET).feed(2, **{**QUIET, "airflow_proved": False}).feed(1, **QUIET)
    assert bench.verdict.permit is not None
    bench.feed(3, **{**QUIET, "airflow_proved": False}).feed(1, **QUIET)
    assert "for another 99 s" in bench.verdict.reason
