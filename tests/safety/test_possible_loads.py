"""What the energy shows for each load that may be in: a sensor that slips out, a thick load, a door, a person."""

import dataclasses
import math

import pytest

from kilnctl import KilnctlError, Reading
from kilnctl.safety import Policy, SafetyState, Tick, acknowledge, rules_energy
from kilnctl.safety.coolest import LumpedOven, Lumps, step
from kilnctl.safety.possible_loads import CHANGES_S, COLD_K, CONTRADICTS_S, EVERY_S, MOST_LOADS, Loads, begun, later
from kilnctl.safety.rule import Look
from tests.safety.safety_scenes import QUIET, SMALL, Bench

LEARNT = dataclasses.replace(SMALL, learnt=True)


def with_load(j_per_k: float, w_per_k: float) -> LumpedOven:
    return dataclasses.replace(LEARNT, contents_j_per_k=j_per_k, contents_w_per_k=w_per_k)


#: Loads of one size, three times that, and as heavy but thrice as thick.
LIGHT, HEAVY, THICK = with_load(500.0, 10.0), with_load(1500.0, 30.0), with_load(1500.0, 10.0)
PAIRS = ((LIGHT, LIGHT), (HEAVY, HEAVY), (THICK, THICK))


def moved(loads: Loads, reads_c: float | None, watts=1500.0, dt=EVERY_S, door=False, least_c=None) -> Loads:
    least_c = (reads_c or 0.0) - 10.0 if least_c is None else least_c
    return later(loads, PAIRS, (watts, watts), dt, door, reads_c, least_c)


def run_with(oven: LumpedOven, seconds: int, watts=1500.0, bias_k=0.0) -> Loads:
    """A run in which that oven is the true one, its sensor that much too low."""
    x, loads = oven.from_chamber(20.0), begun(PAIRS, 20.0)
    for _ in range(0, seconds, 10):
        x = step(oven, x, watts, EVERY_S, False)
        loads = moved(loads, x[1] - bias_k, watts)
    return loads


def places(loads: Loads) -> list[int]:
    return [r.place for r in loads.ranges]


def test_a_cold_start_judges_all_loads_and_a_hot_one_rules_none_out():
    edge_c = SMALL.room_c + COLD_K
    cold, hot = begun(PAIRS, edge_c), begun(PAIRS, edge_c + 0.01)
    assert cold.judged and not hot.judged and places(cold) == places(hot) == [0, 1, 2]
    assert not begun(PAIRS, edge_c, cold=False).judged
    for r, (coolest, _) in zip(cold.ranges, PAIRS, strict=True):
        assert r.cool == coolest.from_chamber(edge_c) and r.late_c == edge_c
        assert r.hot == (edge_c, edge_c, *[edge_c + COLD_K] * 5, 0.0)
    assert begun((), 20.0).ranges == () and Loads().least_c == Loads().late_c == -math.inf


def test_ticks_add_up_to_one_step_of_the_ovens():
    one = moved(begun(PAIRS, 20.0), 20.0, watts=900.0)
    many = begun(PAIRS, 20.0)
    for k in range(5):
        assert many.ranges == begun(PAIRS, 20.0).ranges
        many = moved(many, 20.0, watts=1800.0 if k < 2 else 300.0, dt=EVERY_S / 5.0)
    assert many.ranges == one.ranges and many.since_s == many.cool_j == many.hot_j == 0.0
    r = one.ranges[1]
    cool = step(HEAVY, HEAVY.from_chamber(20.0), 900.0, EVERY_S, False)
    late_c = 20.0 + (cool[1] - 20.0) * (1.0 - math.exp(-EVERY_S / 6.0))
    assert r.cool == cool and r.late_c == pytest.approx(late_c)
    assert one.late_c == min(r.late_c for r in one.ranges) < max(r.late_c for r in one.ranges)
    assert one.least_c == min(r.cool[1] for r in one.ranges) < max(r.cool[1] for r in one.ranges)


def test_the_least_power_heats_the_coolest_and_the_most_the_hottest():
    after = later(begun(PAIRS, 20.0), PAIRS, (500.0, 700.0), EVERY_S, False, 20.0, 0.0)
    hot = begun(PAIRS, 20.0).ranges[0].hot
    assert after.ranges[0].cool == step(LIGHT, LIGHT.from_chamber(20.0), 500.0, EVERY_S, False)
    assert after.ranges[0].hot == step(LIGHT, hot, 700.0, EVERY_S, False)


def test_loads_that_would_be_colder_than_the_sensor_was_are_ruled_out():
    assert places(run_with(LIGHT, 1800)) == [0], "neither heavy load could have let it be so hot"
    assert places(run_with(HEAVY, 3600)) == [0, 1, 2], "a lighter load would be hotter, and a sensor may read low"
    assert places(run_with(LIGHT, 1800, bias_k=300.0)) == [0, 1, 2], "a low reading proves nothing"


def test_a_contradiction_must_last():
    loads, high_c = begun(PAIRS, 20.0), 400.0
    for _ in range(int(CONTRADICTS_S / EVERY_S) - 1):
        loads = moved(loads, high_c)
    assert places(loads) == [0, 1, 2] and all(r.above_s == CONTRADICTS_S - EVERY_S for r in loads.ranges)
    interrupted = moved(loads, None)
    assert all(r.above_s == 0.0 for r in interrupted.ranges) and places(interrupted) == [0, 1, 2]
    assert all(r.above_s == 0.0 for r in moved(loads, high_c - 15.0, least_c=high_c).ranges), "below the top"
    assert all(r.above_s == 0.0 for r in moved(loads, high_c, door=True).ranges), "a door may be open"
    again = moved(loads, high_c)
    assert places(again) == [0, 1, 2] and not again.judged, "nothing explains it: the oven itself is otherwise"
    assert again == begun(PAIRS, high_c, cold=False)


def test_nothing_left_and_no_reading_leaves_nothing_known():
    loads = begun(PAIRS, 20.0)
    loads = loads._replace(ranges=tuple(r._replace(above_s=CONTRADICTS_S) for r in loads.ranges))
    assert places(moved(loads, None)) == [0, 1, 2], "without a reading the count starts again"


@pytest.mark.parametrize("reads_c, opened", [(150.0, True), (None, False)])
def test_a_door_open_for_long_may_have_brought_another_load(reads_c, opened):
    loads = run_with(LIGHT, 1800)
    for _ in range(int(CHANGES_S / EVERY_S)):
        loads = moved(loads, reads_c, 0.0, door=True)
        assert places(loads) == [0] and loads.open_s <= CHANGES_S
    loads = moved(loads, reads_c, 0.0, dt=0.5, door=True)
    if opened:
        assert loads == begun(PAIRS, 150.0, cold=False)
    else:
        assert places(loads) == [0], "what the chamber is at is not known yet"
        assert moved(loads, 140.0, 0.0, dt=0.5, door=True) == begun(PAIRS, 140.0, cold=False)
    shut = moved(run_with(LIGHT, 1800), 150.0, door=True)
    assert moved(shut, 150.0, dt=0.5).open_s == 0.0


def test_a_door_within_a_step_counts_for_all_of_it():
    start = run_with(LIGHT, 300)
    opened = moved(moved(start, None, dt=4.0, door=True), None, dt=6.0)
    assert opened.ranges[0].cool == step(LIGHT, start.ranges[0].cool, 1500.0, EVERY_S, True)
    assert opened.ranges[0].hot == step(LIGHT, start.ranges[0].hot, 1500.0, EVERY_S, False)
    assert not opened.opened and opened.open_s == 0.0


def test_what_falls_is_not_late():
    fallen = moved(run_with(LIGHT, 900), None, watts=0.0)
    assert all(r.late_c == r.cool[1] for r in fallen.ranges)


def test_the_highest_reading_of_the_run_is_kept():
    loads = moved(moved(begun(PAIRS, 20.0), 80.0), 60.0)
    assert loads.top_c == 80.0 and moved(loads, None).top_c == 80.0
    assert moved(loads, 90.0, dt=0.5).top_c == 90.0


@pytest.mark.parametrize(
    "bad, words",
    [
        ([], "at most"),
        (((LIGHT, LIGHT),) * (MOST_LOADS + 1), "at most"),
        ((LIGHT,), "must be pairs"),
        (((LIGHT,),), "must be pairs"),
        (((LIGHT, 3.0),), "must be pairs"),
        (([LIGHT, LIGHT],), "must be pairs"),
        (((LIGHT, dataclasses.replace(LIGHT, full_w=1.0)),), "one rated power"),
    ],
)
def test_a_policy_refuses_what_is_no_pair_of_ovens(bad, words):
    with pytest.raises(KilnctlError, match=words):
        Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, coolest=LEARNT, loads=bad)


def test_a_policy_takes_as_many_as_it_may():
    pairs = ((LIGHT, LIGHT),) * MOST_LOADS
    assert Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, coolest=LEARNT, loads=pairs).loads == pairs


# ---- in the whole judge ----------------------------------------------------------------------------------------------


def soak(true: LumpedOven, creeps_k_per_s: float, seconds: int) -> tuple[Bench, float]:
    """A chamber that a loop holds at 180 °C by a sensor that creeps out from 40 minutes on; the chamber at the end."""
    quiet = {**QUIET, "limit_c": None, "cold_junction_c": 20.0}
    bench = Bench(chamber_trip_c=400.0, schedule_trip_c=400.0, coolest=HEAVY, loads=PAIRS, fall_k_per_s=20.0)
    bench.feed(1, 20.0, **quiet)
    x = true.from_chamber(20.0)
    power_w = 0.0
    for second in range(seconds):
        x = step(true, x, power_w, 1.0, False)
        reads_c = x[1] - creeps_k_per_s * max(0, second - 2400)
        told = dict(power_w=power_w, fired=power_w / 3000.0, full_power_w=3000.0)
        bench.feed(1, reads_c, supply_v=230.0, tick=told, **quiet)
        if bench.faults:
            break
        power_w = min(3000.0, max(0.0, 60.0 * (205.0 - reads_c)))
    return bench, x[1]


@pytest.mark.parametrize("true", [LIGHT, THICK, HEAVY])
def test_a_sound_sensor_never_trips_it_with_any_load_that_may_be_in(true):
    """A load thrice as thick was taken for a sensor that reads low: only one as large as heavy was allowed for."""
    bench, chamber_c = soak(true, 0.0, 3600)
    assert not bench.faults and 170.0 < chamber_c < 190.0
    assert bench.state.loads.least_c < chamber_c + 0.01


def test_a_sensor_that_creeps_out_trips_it_and_a_person_resets_it():
    bench, chamber_c = soak(LIGHT, 0.03, 7200)
    assert bench.faults == {"energy-says-hotter"} and chamber_c < 300.0
    least_c = bench.state.loads.least_c
    assert (
        least_c > bench.reading.chamber_c
        and f"{least_c:.0f} °C at least" in bench.state.trips["energy-says-hotter"].seen
    )
    _, standing = acknowledge(bench.state, bench.policy, bench.reading, bench.later(), "somebody")
    assert standing == ("energy-says-hotter",), "sensor and energy disagree"
    mended = dataclasses.replace(bench.reading, chamber_c=chamber_c)
    after, standing = acknowledge(bench.state, bench.policy, mended, bench.later(), "somebody")
    assert standing == () and not after.trips and after.loads == Loads()


@pytest.mark.parametrize("supply_v, hot_w", [(230.0, 1000.0), (None, 1000.0 / 0.8)])
def test_without_a_meter_the_supply_may_be_as_high_as_it_may_be_low(supply_v, hot_w):
    policy = Policy(chamber_trip_c=400.0, schedule_trip_c=400.0, coolest=HEAVY, loads=PAIRS)
    state, tick = SafetyState(fired_300=0.3), Tick(0.0, 1, 0.3, power_w=1000.0)
    for usable in (True, False):
        look = Look(state, policy, Reading(20.0, supply_v=supply_v), tick, EVERY_S, usable=usable)
        rules_energy.energy_says_hotter(look)
    assert state.loads.ranges[0].hot == pytest.approx(_twice(hot_w)), "an unusable reading moves it all the same"


def _twice(hot_w: float) -> Lumps:
    hot = begun(PAIRS, 20.0).ranges[0].hot
    return step(LIGHT, step(LIGHT, hot, hot_w, EVERY_S, False), hot_w, EVERY_S, False)
