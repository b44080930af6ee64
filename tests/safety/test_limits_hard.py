"""The bounds that no file moves, each against what it is there for: at the laxest number that a policy takes, the fault
at its mildest is still found in time."""

import math
from typing import Any

import pytest

from kilnctl import KilnctlError
from kilnctl.firmware import logic
from kilnctl.safety import HARD_CEILINGS, HARD_FLOORS, Policy
from kilnctl.thermal.thermocouples import range_c
from tests.safety.safety_scenes import BASE, FULL, HOT, QUIET, Bench, fell, jitter, level, ramp, spikes

IDLE: dict[str, Any] = dict(tick=dict(fired=0.0))
#: An oven that may become as hot as any, without a second sensor.
OPEN: dict[str, Any] = dict(chamber_trip_c=1360.0, schedule_trip_c=1360.0)
ALONE: dict[str, Any] = {**QUIET, "limit_c": None}


def case(name, rule, within_s, why, before=None, policy=None, dt=1.0, **fed):
    """At the bound of `name`, `rule` trips within that time of a fault that is fed after a quiet minute."""
    return pytest.param(name, rule, within_s, before or QUIET, policy or {}, dt, fed, id=f"{name}: {why}")


CASES = [
    case(
        "over_confirm_s",
        "over-oven",
        6,
        "a chamber above its trip for 6 s",
        chamber=level(301.0),
        limit_c=290.0,
        before={**QUIET, "chamber": level(297.0), "limit_c": 290.0},
        policy=dict(schedule_trip_c=300.0),
    ),
    case(
        "sensor_coast_s",
        "sensor-open",
        11,
        "heat is not off for 11 s in the hope of a wire that is broken",
        chamber=math.nan,
        faults=("open",),
    ),
    case("wild_jump_k", "sensor-jump", 12, "75 K in a second", chamber=level(175.0), policy=dict(wild_k_per_s=25.0)),
    case(
        "wild_k_per_s",
        "sensor-jump",
        12,
        "the quickest bare wire at a door moves by no 230 K in a second",
        chamber=level(330.0),
        policy=OPEN,
    ),
    case(
        "disagreement_k",
        "sensors-disagree",
        70,
        "sensors 65 K apart",
        limit_c=165.0,
        policy=dict(has_limit_sensor=True),
    ),
    case(
        "disagreement_share",
        "sensors-disagree",
        70,
        "sensors 110 K apart at 1000 °C",
        limit_c=890.0,
        chamber=level(1000.0),
        before={**QUIET, "chamber": level(1000.0), "limit_c": 1000.0},
        policy=dict(has_limit_sensor=True, **OPEN),
    ),
    case(
        "disagreement_s",
        "sensors-disagree",
        190,
        "sensors apart for three minutes",
        limit_c=165.0,
        policy=dict(has_limit_sensor=True),
    ),
    case(
        "second_lag_s",
        "sensors-disagree",
        690,
        "a limit sensor that is dead, not slow: 0.2 K/s do not reach it",
        chamber=ramp(0.2),
        limit_c=100.0,
        policy=dict(has_limit_sensor=True, **OPEN),
    ),
    case("frozen_s", "sensor-frozen", 22, "no conversion for 22 s", sample=5),
    case("identical_s", "sensor-frozen", 125, "no bit changes under heat (F41)", chamber=100.0, bits=b"same"),
    case(
        "cold_junction_high_c",
        "cold-junction",
        5,
        "electronics of the industrial range end at 85 °C",
        cold_junction_c=88.0,
        before={**QUIET, "cold_junction_c": 80.0},
        policy=dict(cold_junction_jump_k=10.0),
    ),
    case("cold_junction_jump_k", "cold-junction", 5, "no box warms by 11 K in a second", cold_junction_c=41.0),
    # Mean second difference of ±4.5 K: a noise of 11 K.
    case("noise_k", "sensor-noisy", 60, "noise of 11 K", chamber=jitter(4.5)),
    case(
        "noise_rejects",
        "sensor-noisy",
        120,
        "a wild reading every 3.5 s",
        dt=0.5,
        chamber=spikes(3.5),
        policy=dict(sensor_coast_s=10.0),
    ),
    case("no_rise_s", "heat-no-rise", 1210, "full power for twenty minutes, and no rise", tick=dict(fired=1.0)),
    *(
        case(name, "rise-no-heat", 450, "3 K a minute that nobody asked for", chamber=ramp(0.05), limit_c=None, **IDLE)
        for name in ("unasked_rise_s", "unasked_rise_k")
    ),
    case(
        "warms_k_per_s",
        "rise-no-heat",
        300,
        "no fan explains 0.58 K/s",
        chamber=ramp(0.58),
        policy=OPEN,
        before=ALONE,
        **IDLE,
    ),
    case(
        "unexplained_share",
        "unexplained-heat",
        300,
        "a relay leaks 60 % of full power into an idle oven",
        tick={**FULL, "fired": 0.0, "unexplained_w": 1800.0},
        before={**QUIET, **IDLE},
    ),
    case(
        "explained_per_fired",
        "unexplained-heat",
        300,
        "63 % of full power too much at half power",
        tick={**FULL, "fired": 0.5, "unexplained_w": 1890.0},
        before={**QUIET, "tick": dict(fired=0.5)},
    ),
    case(
        "excess_share_s",
        "unexplained-heat",
        100,
        "a relay that conducts for 100 s",
        tick={**FULL, "unexplained_w": 3000.0},
    ),
    case("missing_share_s", "missing-heat", 1000, "all the heat is missing", tick={**FULL, "unexplained_w": -3000.0}),
    # With the reach of a sheath that follows it.
    case(
        "rise_k_per_s",
        "rise-too-fast",
        25,
        "48 K/s: no element heats so",
        chamber=lambda t: min(1300.0, 48.0 * t),
        before={**ALONE, "chamber": level(0.0)},
        policy=OPEN,
    ),
    case(
        "fall_k_per_s",
        "reading-fell",
        330,
        "24 K/s: no closed oven cools so",
        chamber=lambda t: max(200.0, 1200.0 - 24.0 * t) + 0.3 * math.sin(t),
        before={**ALONE, "chamber": level(1200.0)},
        policy=OPEN,
    ),
    case(
        "fall_s",
        "reading-fell",
        620,
        "a sensor that fell out ten minutes ago",
        chamber=fell(100.0),
        limit_c=None,
        before={**HOT, **{k: v for k, v in QUIET.items() if k != "limit_c"}},
    ),
    case(
        "contactor_s",
        "contactor-welded",
        7,
        "a contactor that stays closed for 7 s",
        contactor_closed=True,
        tick=dict(heating=False),
    ),
    case(
        "unasked_on_s",
        "relay-on-unasked",
        12,
        "full power for 12 s that nobody asked for",
        fired=1.0,
        tick=dict(commanded=0.0),
    ),
    case("outage_s", "supply-lost", 1805, "no mains for half an hour", supply_v=20.0, policy=dict(nominal_v=230.0)),
    case("longest_s", "run-time", 2, "a fortnight and a minute", tick=dict(run_s=14 * 24 * 3600.0 + 60.0)),
    case("stall_s", "loop-stalled", 3, "the lease of 2 s has ended for a second", dt=3.0),
]


def trips(value, name, rule, within_s, before, policy, dt, fed):
    """With that number, `rule` trips within that time, and nothing trips before the fault."""
    bench = Bench(**{**policy, name: value}).feed(60, **before)
    return bench.faults == set() and rule in bench.feed(within_s, dt=dt, **{**before, **fed}).faults


@pytest.mark.parametrize("name, rule, within_s, before, policy, dt, fed", CASES)
def test_at_the_laxest_number_the_fault_is_still_found(name, rule, within_s, before, policy, dt, fed):
    assert trips(HARD_CEILINGS[name], name, rule, within_s, before, policy, dt, fed)
    if name == "second_lag_s":
        swapped = {**fed, "chamber": fed["limit_c"], "limit_c": fed["chamber"]}
        assert trips(HARD_FLOORS[name], name, rule, within_s, before, policy, dt, swapped)


#: Thresholds that nothing else in a description or the fault table gives, as a person would say them.
USUAL = [
    case("longest_s", "run-time", 2, "two days and an hour", tick=dict(run_s=49 * 3600.0)),
    case("noise_k", "sensor-noisy", 60, "noise of 3.3 K", chamber=jitter(1.35)),
    case("identical_s", "sensor-frozen", 65, "a minute under heat in which no bit changes", chamber=100.0, bits=b"is"),
    case(
        "fall_k_per_s",
        "reading-fell",
        340,
        "2.2 K/s, and it stays away",
        chamber=lambda t: max(300.0, 900.0 - 2.2 * t),
        before={**ALONE, "chamber": level(900.0)},
        policy=OPEN,
    ),
    case(
        "rise_k_per_s",
        "rise-too-fast",
        30,
        "17 K/s",
        chamber=lambda t: 17.0 * t,
        before={**ALONE, "chamber": level(0.0)},
        policy=OPEN,
    ),
]


@pytest.mark.parametrize("name, rule, within_s, before, policy, dt, fed", USUAL)
def test_what_is_found_where_nothing_is_said(name, rule, within_s, before, policy, dt, fed):
    assert trips(getattr(Policy(**BASE), name), name, rule, within_s, before, policy, dt, fed)


def test_where_nothing_is_said_a_minute_purges_and_a_clock_may_err_by_five_seconds():
    bench = Bench(airflow_required=True).feed(62, **QUIET)
    assert bench.verdict.permit is not None
    bench.feed(1, **QUIET, tick=dict(wall_s=1e6)).feed(1, **QUIET, tick=dict(wall_s=1e6 + 7.0))
    assert any("wall clock was set by +6 s" in w for w in bench.warnings)


def test_a_rig_that_has_only_its_control_sensor_is_asked_for_nothing_else():
    bench = Bench(part_trip_c=200.0).feed(60, tick=dict(run_s=47 * 3600.0))
    assert bench.faults == set() and not bench.warnings and bench.verdict.permit is not None
    open_circuit = bench.feed(5, contactor_closed=False).state.trips["contactor-open"]
    assert "pulse timer" not in str(open_circuit)


def test_each_ceiling_has_its_case():
    elsewhere = {"chamber_trip_c", "schedule_trip_c", "part_trip_c", "board_ceiling_c", "airflow_s", "clock_step_s"}
    assert {c.values[0] for c in CASES} | elsewhere == set(HARD_CEILINGS)


def test_a_trip_is_a_temperature_that_the_usual_sensor_can_show():
    """The table of type K in IEC 60584-1 ends at 1372 °C. A trip above it never comes."""
    assert range_c("K")[1] == 1372.0
    for name in ("chamber_trip_c", "schedule_trip_c", "part_trip_c"):
        with pytest.raises(KilnctlError, match="no setting may lift"):
            Policy(**{**BASE, name: 1372.0})


def test_no_policy_asks_the_board_for_a_ceiling_that_it_refuses():
    assert HARD_CEILINGS["board_ceiling_c"] == logic.HIGHEST_CEILING


def test_eleven_seconds_without_air_are_purged_again():
    policy: dict[str, Any] = dict(airflow_required=True, airflow_s=HARD_CEILINGS["airflow_s"], purge_s=30.0)
    bench = Bench(**policy).feed(60, **QUIET)
    assert bench.verdict.permit is not None
    bench.feed(11, **{**QUIET, "airflow_proved": False}).feed(1, **QUIET)
    assert bench.verdict.permit is None and "purging" in bench.verdict.reason


def test_a_wall_clock_set_by_more_than_a_minute_is_told():
    bench = Bench(clock_step_s=HARD_CEILINGS["clock_step_s"])
    bench.feed(10, **QUIET, tick=dict(wall_s=lambda t: 1e6 + t)).feed(1, **QUIET, tick=dict(wall_s=1e6 + 71.0))
    assert any("wall clock was set by +61 s" in w for w in bench.warnings)


def test_terminals_colder_than_electronics_bear_are_refused():
    """Electronics of the industrial range: −40 to 85 °C (common practice)."""
    bench = Bench(cold_junction_low_c=HARD_FLOORS["cold_junction_low_c"])
    bench.feed(60, **{**QUIET, "cold_junction_c": -38.0})
    assert bench.faults == set()
    assert bench.feed(5, **{**QUIET, "cold_junction_c": -43.0}).faults == {"cold-junction"}


def test_a_room_that_warms_is_no_rise():
    """3 K/h, for as long as full power may give no rise: the least rise that counts is more than twice that."""
    room_k = 3.0 / 3600.0 * HARD_CEILINGS["no_rise_s"]
    assert HARD_FLOORS["no_rise_k"] >= 2.0 * room_k
