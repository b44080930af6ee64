"""The edges of what rules a load out: each condition alone, from both sides."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_energy
from kilnctl.safety.possible_loads import EVERY_S, Loads, begun, later, wrong_loads
from kilnctl.safety.rule import Look
from tests.safety.test_possible_loads import LIGHT, PAIRS, moved, places

ROOM_C = LIGHT.room_c
WARM = dataclasses.replace(LIGHT, room_c=ROOM_C + 20.0)


@pytest.mark.parametrize("above_k, judged", [(0.0, True), (10.0, True), (10.1, False)])
def test_a_start_is_cold_to_ten_kelvin_above_the_room(above_k, judged):
    loads = begun(PAIRS, ROOM_C + above_k)
    assert loads.judged is judged
    assert loads.ranges[0].hot[2] == pytest.approx(ROOM_C + above_k + 10.0), (
        "what no sensor shows may be so much hotter"
    )


def test_a_start_is_cold_only_for_the_coldest_room_that_may_be():
    assert not begun(((LIGHT, LIGHT), (WARM, WARM)), ROOM_C + 15.0).judged
    assert begun(((WARM, WARM),), ROOM_C + 15.0).judged


def test_nothing_is_judged_before_a_start_and_nothing_is_open():
    assert Loads() == Loads((), False, 0.0, 0.0, 0.0, False, 0.0, -math.inf)
    assert wrong_loads(PAIRS) == "" and wrong_loads(()) == ""


def contradicted(loads: Loads, reads_c: float | None, least_c: float, door: bool = False) -> bool:
    """Whether one step counts against the first load."""
    return later(loads, PAIRS, (0.0, 0.0), EVERY_S, door, reads_c, least_c).ranges[0].above_s > 0.0


def test_each_condition_of_a_contradiction_counts():
    loads = begun(PAIRS, ROOM_C)._replace(top_c=200.0)
    assert contradicted(loads, 200.0, 150.0)
    assert not contradicted(loads._replace(judged=False), 200.0, 150.0), "a hot start"
    assert not contradicted(loads._replace(opened=True), 200.0, 150.0), "a door within the step"
    assert not contradicted(loads, None, 150.0), "no reading"
    assert contradicted(loads, 185.1, 150.0) and not contradicted(loads, 185.0, 150.0), "15 K below the run's highest"


def test_a_reading_that_the_hottest_oven_explains_to_the_bit_contradicts_nothing():
    loads = begun(PAIRS, ROOM_C)._replace(top_c=200.0)
    hottest_c = later(loads, PAIRS, (0.0, 0.0), EVERY_S, False, None, 0.0).ranges[0].hot[1]
    assert not contradicted(loads, 200.0, hottest_c)
    assert contradicted(loads, 200.0, math.nextafter(hottest_c, 999.0))


def test_without_a_reading_nothing_is_proved():
    """Else the coolest ovens would be lifted to what no sensor shows."""
    loads = begun(PAIRS, ROOM_C)
    assert later(loads, PAIRS, (0.0, 0.0), EVERY_S, False, None, 500.0).ranges[0].cool[1] < ROOM_C + 10.0
    assert later(Loads(), PAIRS, (0.0, 0.0), EVERY_S, False, None, 0.0).ranges == (), "and nothing begins"


def test_a_start_again_judges_no_load_however_cold_it_is():
    opened = begun(PAIRS, ROOM_C)._replace(open_s=60.0)
    again = moved(opened, ROOM_C, 0.0, dt=1.0, door=True)
    assert places(again) == [0, 1, 2] and not again.judged, "another load may be in"
    kept = moved(begun(PAIRS, ROOM_C)._replace(open_s=30.0), ROOM_C, 0.0, dt=1.0, door=True)
    assert kept.judged and kept.open_s == 31.0
    unexplained = later(Loads((), True), PAIRS, (0.0, 0.0), EVERY_S, False, ROOM_C, 0.0)
    assert places(unexplained) == [0, 1, 2] and not unexplained.judged


def looked(usable: bool, loads=PAIRS, reads_c: float = ROOM_C + 60.0) -> Loads:
    """The loads after a start at the room's temperature and one look more."""
    policy = Policy(chamber_trip_c=400.0, schedule_trip_c=400.0, coolest=LIGHT, loads=loads)
    state = SafetyState(fired_300=0.3)
    for at_c, may in ((ROOM_C, True), (reads_c, usable)):
        look = Look(state, policy, Reading(at_c, supply_v=230.0), Tick(0.0, 1, 0.3, power_w=0.0), EVERY_S, usable=may)
        rules_energy.energy_says_hotter(look)
    return state.loads


def test_only_a_believed_reading_proves_how_hot_the_chamber_is():
    proved, unknown = looked(True), looked(False)
    assert proved.top_c == ROOM_C + 60.0 and unknown.top_c == ROOM_C
    assert all(a.cool[1] > b.cool[1] + 10.0 for a, b in zip(proved.ranges, unknown.ranges, strict=True))
    assert unknown.ranges[0].cool[1] == pytest.approx(ROOM_C, abs=1.0)


def test_an_oven_without_loads_to_judge_has_none():
    assert looked(True, loads=()) == begun((), ROOM_C)
