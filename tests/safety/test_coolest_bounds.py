"""A bound that stays one: the coolest oven may be raised to what a reading proves, and what cools counts as light."""

import dataclasses
import itertools
import random

import pytest

from kilnctl import KilnctlError
from kilnctl.safety import Policy
from kilnctl.safety.coolest import HOTTEST_C, step, step_above, wrong_ovens
from tests.safety.safety_scenes import SMALL

HEAVY = dataclasses.replace(SMALL, lining_j_per_k=(60.0, 80.0, 100.0, 120.0), contents_j_per_k=200.0)
LIGHT = dataclasses.replace(SMALL, lining_j_per_k=(30.0, 40.0, 50.0, 60.0), contents_j_per_k=50.0)
#: Bounds both: it warms as the heavy one and cools as the light one.
BOUND = dataclasses.replace(HEAVY, lighter=0.5, lighter_in=0.25)


def test_a_chamber_known_to_be_hotter_is_never_lowered_and_warms_what_is_round_it():
    x = (90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0, 5.0)
    free = step(SMALL, x, 500.0, 2.0, False)
    assert step_above(SMALL, x, 500.0, 2.0, False, free[1]) == step_above(SMALL, x, 500.0, 2.0, False, -50.0) == free
    known = step_above(SMALL, x, 500.0, 2.0, False, free[1] + 0.1)
    assert known[1] == free[1] + 0.1 and known[2] > free[2] and known[6] > free[6]
    assert step_above(SMALL, x, 500.0, 2.0, False, 1e9)[1] == HOTTEST_C


def test_a_light_chamber_at_a_reading_brings_its_contents_there():
    """A chamber that was raised only after each step warmed nothing: its contents seemed to take heat for ever."""
    light = dataclasses.replace(SMALL, chamber_j_per_k=0.1)
    x = light.from_chamber(20.0)
    for _ in range(300):
        x = step_above(light, x, 0.0, 2.0, False, 200.0)
    assert x[1] == 200.0 and x[6] == pytest.approx(200.0, abs=0.5)
    opened = step_above(light, x, 0.0, 2.0, True, 100.0)
    assert opened[1] < 199.0, "a door lets it cool to what is known"


@pytest.mark.parametrize("seed", range(6))
def test_the_bound_stays_below_both_ovens_in_heating_and_cooling(seed):
    """Also when it is lifted, at any time, to a temperature that both chambers have."""
    chance = random.Random(seed)
    bound, heavy, light = (oven.from_chamber(20.0) for oven in (BOUND, HEAVY, LIGHT))
    power_w, lifts = 0.0, 0
    for second in range(600):
        if second % 60 == 0:
            power_w = chance.choice((0.0, 0.0, 300.0, 1500.0, 3000.0))
        before, free = bound, step(BOUND, bound, power_w, 1.0, False)
        heavy, light = step(HEAVY, heavy, power_w, 1.0, False), step(LIGHT, light, power_w, 1.0, False)
        known_c = min(heavy[1], light[1]) - 1.0 if chance.random() < 0.05 else -100.0
        bound = step_above(BOUND, before, power_w, 1.0, False, known_c)
        lifts += bound != free
        # A lump whose flow turns within a step is taken as at the step's beginning.
        assert all(b <= min(h, i) + 0.2 for b, h, i in zip(bound, heavy, light, strict=True))
    assert lifts > 5


def test_a_lining_that_is_as_cold_as_the_room_warms_as_the_heavy_one():
    """As much leaves each of its lumps as comes in, nothing, until the chamber's heat arrives."""
    start = BOUND.from_chamber(90.0)
    heavy = step(dataclasses.replace(BOUND, lighter=1.0), start, 900.0, 20.0, False)
    assert step(BOUND, start, 900.0, 20.0, False) == heavy and heavy[5] > start[5]


def test_without_the_light_shares_the_heavy_oven_is_no_bound_when_it_cools():
    heavy = light = bound = (300.0, 300.0, 300.0, 300.0, 300.0, 300.0, 300.0, 0.0)
    for _ in range(100):
        heavy, light = step(HEAVY, heavy, 0.0, 1.0, False), step(LIGHT, light, 0.0, 1.0, False)
        bound = step(BOUND, bound, 0.0, 1.0, False)
    assert heavy[1] > light[1] + 5.0 and bound[1] == pytest.approx(light[1], abs=0.1)


@pytest.mark.parametrize("field, bad", [*itertools.product(("lighter", "lighter_in"), (0.0, -0.5, 1.01, float("nan")))])
def test_a_share_that_cannot_be_is_refused(field, bad):
    with pytest.raises(ValueError, match="oven in lumps: "):
        dataclasses.replace(SMALL, **{field: bad})


@pytest.mark.parametrize(
    "field, bad, words",
    [
        ("coolest", 5.0, "coolest must be"),
        ("coolest", (SMALL,), "coolest must be"),
        ("placed", 5.0, "placed must be"),
        ("placed", (SMALL,), "placed must be"),
        ("envelope", SMALL, "must be three"),
        ("envelope", [SMALL, SMALL, SMALL], "must be three"),
        ("envelope", (SMALL, SMALL), "must be three"),
        ("envelope", (SMALL, SMALL, SMALL, SMALL), "must be three"),
        ("envelope", (SMALL, SMALL, 1e12), "must be three"),
        ("envelope", (SMALL, SMALL, SMALL, None), "must be three"),
        ("envelope", (SMALL, SMALL, dataclasses.replace(SMALL, full_w=2999.0)), "one rated power"),
    ],
)
def test_a_policy_takes_only_ovens_that_were_checked(field, bad, words):
    with pytest.raises(KilnctlError, match=f"safety: .*{words}"):
        Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, **{field: bad})


def test_sound_ovens_are_taken():
    assert wrong_ovens(None, None) == wrong_ovens(SMALL, (SMALL, HEAVY, LIGHT)) == ""
    made = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0, coolest=BOUND, envelope=(SMALL, HEAVY, LIGHT))
    assert made.envelope == (SMALL, HEAVY, LIGHT) and made.placed is None
    assert dataclasses.replace(made, placed=LIGHT).placed == LIGHT and wrong_ovens(None, None, LIGHT) == ""


def test_what_may_not_be_there_holds_no_heat_at_the_start():
    """A hot start of an oven whose chamber was named too heavy by far: it begins with the light one's heat."""
    named = dataclasses.replace(SMALL, chamber_j_per_k=80.0 * SMALL.chamber_j_per_k, sure_chamber=1.0 / 80.0)
    bound, true = named.from_chamber(600.0), SMALL.from_chamber(600.0)
    assert bound[1] == pytest.approx(SMALL.room_c + (600.0 - SMALL.room_c) / 80.0) and true[1] == 600.0
    for _ in range(120):
        bound, true = step(named, bound, 0.0, 1.0, False), step(SMALL, true, 0.0, 1.0, False)
        assert bound[1] <= true[1] + SMALL.apart_k
    light = dataclasses.replace(SMALL, sure_elements=0.5)
    assert light.from_chamber(600.0)[0] == pytest.approx(0.5 * (600.0 + SMALL.room_c))
    with pytest.raises(ValueError, match="share"):
        dataclasses.replace(SMALL, sure_chamber=0.0)


def test_a_sensor_shows_something_of_its_chamber():
    assert (SMALL.near_elements, SMALL.near_walls) == (0.0, 0.0), "in its place, unless said"
    assert dataclasses.replace(SMALL, near_elements=0.99).near_elements == 0.99
    for bad in (1.0, 1.5, -0.1, float("nan")):
        with pytest.raises(ValueError, match="oven in lumps: "):
            dataclasses.replace(SMALL, near_elements=bad)
