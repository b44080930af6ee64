"""The coolest oven: checked numbers, conserved heat, and a step that no input breaks."""

import dataclasses
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl.safety.coolest import COLDEST_C, HOTTEST_C, MOST, held, step
from tests.safety.safety_scenes import SMALL

#: 1 W/K of lining in series with the film, and 9.01 W/K that bypasses the lining.
HELD_W_PER_K = 9.01 + 1.0 / (4.0 / 4.0 + 1.0 / 100.0)


def but(**changes: Any):
    return dataclasses.replace(SMALL, **changes)


def settled(oven, power_w, door=False, seconds=10_000):
    x = oven.from_chamber(20.0)
    for _ in range(seconds // 10):
        x = step(oven, x, power_w, 10.0, door)
    return x


@pytest.mark.parametrize(
    "field, bad",
    [
        ("full_w", 0.0),
        ("full_w", -1.0),
        ("full_w", math.nan),
        ("full_w", math.inf),
        ("full_w", 1.1e9),
        ("power_share", 0.0),
        ("power_share", 1.01),
        ("unmetered_share", 1.01),
        ("unmetered_share", -0.1),
        ("room_c", -301.0),
        ("room_c", math.nan),
        ("leak_rise_per_k", math.inf),
        ("element_j_per_k", 0.0),
        ("chamber_j_per_k", 0.0),
        ("lining_j_per_k", (1.0, 1.0, 0.0, 1.0)),
        ("lining_j_per_k", (1.0, 1.0, 1.0)),
        ("lining_w_per_k", (1.0, 1.0, 1.0, 0.0)),
        ("lining_w_per_k", (1.0,) * 5),
        ("rise_per_k", (0.0, 0.0, 0.0)),
        ("rise_per_k", (-0.1, 0.0, 0.0, 0.0)),
        ("capacity_rise_per_k", (0.0,)),
        ("contents_j_per_k", 2e9),
        ("contents_w_per_k", 0.0),
        ("element_w_per_k", 0.0),
        ("film_w_per_k", 0.0),
        ("water_j", -1.0),
        ("apart_k", -0.1),
        ("lag_s", math.nan),
    ],
)
def test_a_number_that_cannot_be_is_refused(field, bad):
    with pytest.raises(ValueError, match="oven in lumps: "):
        but(**{field: bad})


def test_contents_that_take_no_heat_are_refused():
    with pytest.raises(ValueError, match="its contents take no heat"):
        but(contents_j_per_k=0.5, contents_w_per_k=0.0)


def test_nothing_changes_it_and_it_is_not_learnt_unless_said():
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(SMALL, "full_w", 0.0)  # noqa: B010 - as a careless program would
    assert not hasattr(SMALL, "__dict__") and not SMALL.learnt and SMALL.liner_j_per_k == 0.0


def test_what_may_be_nothing_may_be_nothing():
    for field in ("leak_w_per_k", "extra_w", "door_w_per_k", "water_j", "lag_s", "apart_k", "apart_share"):
        assert getattr(but(**{field: 0.0}), field) == 0.0
    empty = but(contents_j_per_k=0.0, contents_w_per_k=0.0, contents_m2=0.0)
    x = step(empty, empty.from_chamber(50.0), 500.0, 1.0, False)
    assert x[6] == x[1] != 20.0
    assert but(element_w_per_k=0.0, element_m2=0.1) and but(film_w_per_k=0.0, film_m2=0.1)
    # Convection and radiation may be equal numbers.
    assert but(element_w_per_k=0.5, element_m2=0.5, film_w_per_k=0.5, film_m2=0.5)
    assert but(contents_w_per_k=0.5, contents_m2=0.5)
    assert but(contents_w_per_k=0.0, contents_m2=0.1) and but(unmetered_share=1.0) and but(unmetered_share=0.0)
    assert but(full_w=1e9).full_w == 1e9 and but(room_c=-300.0).room_c == -300.0


def test_a_believed_start_is_cold_behind_the_chamber():
    assert but(water_j=7.0).from_chamber(90.0) == (90.0, 90.0, 20.0, 20.0, 20.0, 20.0, 20.0, 7.0)
    assert SMALL.from_chamber(15.0) == (15.0,) * 7 + (0.0,)


@pytest.mark.parametrize("reads_c", [8.0, 7.9, -58.0])
def test_no_start_is_colder_than_the_coldest_room_and_a_sensor_s_error(reads_c):
    """A calibration typed 80 K wrong started an oven at -58 °C, and energy was counted from there: the true chamber was
    61 K above the trip before the bound was (drawn oven 3 of the campaign)."""
    assert SMALL.from_chamber(reads_c) == (8.0,) * 7 + (0.0,)


def test_it_settles_where_its_losses_are_its_power():
    """By hand: conductances in series and side by side."""
    for power_w in (0.0, 500.0, 1000.0):
        x = settled(SMALL, power_w)
        assert x[1] == pytest.approx(20.0 + power_w / HELD_W_PER_K, abs=0.01)
        assert x[0] - x[1] == pytest.approx(power_w / 50.0, abs=0.01) and x[6] == pytest.approx(x[1], abs=0.01)
    into = 1000.0 / HELD_W_PER_K / (4.0 / 4.0 + 1.0 / 100.0)
    x = settled(SMALL, 1000.0)
    for a, b, g in ((1, 2, 100.0), (2, 3, 4.0), (3, 4, 4.0), (4, 5, 4.0)):
        assert x[a] - x[b] == pytest.approx(into / g, abs=0.01)
    assert settled(but(extra_w=300.0), 200.0)[1] == pytest.approx(20.0 + 500.0 / HELD_W_PER_K, abs=0.01)


def test_an_open_door_and_each_loss_make_it_cooler():
    assert settled(SMALL, 1000.0, door=True)[1] == pytest.approx(20.0 + 1000.0 / (HELD_W_PER_K + 200.0), abs=0.01)
    shut = settled(SMALL, 1000.0)[1]
    more = (0.001, 0.001, 0.001, 0.001)
    for changes in (
        dict(rise_per_k=more),
        dict(leak_rise_per_k=0.001),
        dict(leak_w_per_k=10.0),
        dict(lining_w_per_k=(8.0,) * 4),
    ):
        assert settled(but(**changes), 1000.0)[1] < shut - 0.5
    assert settled(but(door_m2=0.5), 1000.0, door=True)[1] < settled(SMALL, 1000.0, door=True)[1] - 0.05


def stored_j(oven, x):
    return (
        oven.element_j_per_k * x[0]
        + oven.chamber_j_per_k * x[1]
        + sum(j * t for j, t in zip(oven.lining_j_per_k, x[2:6]))
        + oven.contents_j_per_k * x[6]
    )


def test_heat_is_neither_made_nor_lost():
    """An oven with almost no losses keeps the heat that it gets."""
    tight = but(leak_w_per_k=0.0, lining_w_per_k=(4.0, 4.0, 4.0, 1e-9))
    x = start = tight.from_chamber(20.0)
    for _ in range(600):
        x = step(tight, x, 100.0, 1.0, False)
    assert stored_j(tight, x) - stored_j(tight, start) == pytest.approx(60_000.0, rel=1e-6)


def test_radiation_is_that_of_stefan_and_boltzmann():
    """1 m² of black element gives its power to a chamber held near 20 °C by a great leak: σ(T⁴ − T⁴)."""
    oven = but(element_w_per_k=0.0, element_m2=1.0, leak_w_per_k=1e6)
    x = settled(oven, 5000.0)
    assert 5.670374e-8 * ((x[0] + 273.15) ** 4 - (x[1] + 273.15) ** 4) == pytest.approx(5000.0, rel=1e-4)


def test_water_keeps_the_contents_at_the_boiling_point_until_it_is_gone():
    wet = but(water_j=100_000.0, contents_j_per_k=50.0)
    x, dry, seconds = wet.from_chamber(20.0), SMALL.from_chamber(20.0), 0
    plateau = []
    while x[7] > 0.0 and seconds < 20_000:
        x, dry, seconds = step(wet, x, 2000.0, 1.0, False), step(SMALL, dry, 2000.0, 1.0, False), seconds + 1
        if x[7] < 100_000.0:
            plateau.append(x[6])
            assert x[1] < dry[1]
    assert max(plateau) - min(plateau) == 0.0 and 100.0 <= plateau[0] < 105.0 and len(plateau) > 60
    assert x[7] == 0.0
    for _ in range(600):
        x = step(wet, x, 2000.0, 1.0, False)
    assert x[6] > 150.0
    # Without heat that flows in, nothing boils.
    hot = (20.0, 20.0, 20.0, 20.0, 20.0, 20.0, 150.0, 500.0)
    cooled = step(wet, hot, 0.0, 1.0, False)
    assert cooled[7] == 500.0 and cooled[6] < 150.0


def test_an_oven_in_the_frost_stays_as_cold_as_its_room():
    frost = but(room_c=-30.0)
    x = frost.from_chamber(-30.0)
    for _ in range(100):
        x = step(frost, x, 0.0, 1.0, False)
    assert x[:7] == pytest.approx([-30.0] * 7)


numbers = st.floats(-100.0, 5000.0)


@settings(max_examples=200, deadline=None)
@given(
    st.tuples(*([numbers] * 7), st.floats(0.0, 1e6)),
    st.floats(0.0, 1e6),
    st.floats(1e-6, 1e5),
    st.booleans(),
)
def test_no_state_and_no_step_leaves_the_bounds(x, power_w, dt_s, door):
    oven = but(
        rise_per_k=(0.01, 0.0, 0.1, 0.0), capacity_rise_per_k=(0.02, 0.0, 0.0, 0.0), leak_rise_per_k=-0.001, film_m2=1.0
    )
    for _ in range(5):
        x = step(oven, x, power_w, dt_s, door)
        assert all(COLDEST_C <= t <= HOTTEST_C for t in x[:7]) and 0.0 <= x[7] <= 1e6


@settings(max_examples=100, deadline=None)
@given(st.floats(0.0, 5000.0), st.floats(0.0, 3000.0), st.integers(1, 60))
def test_less_power_and_more_loss_are_never_hotter(power_w, less_w, ticks):
    leaky = but(leak_w_per_k=20.0, contents_j_per_k=300.0, lining_j_per_k=(20.0, 20.0, 20.0, 20.0))
    x, y = SMALL.from_chamber(20.0), leaky.from_chamber(20.0)
    for _ in range(ticks):
        x = step(SMALL, x, power_w, 10.0, False)
        y = step(leaky, y, max(0.0, power_w - less_w), 10.0, False)
    assert y[1] <= x[1] + 1e-9


def test_round_a_held_chamber_the_elements_give_what_they_get_and_contents_and_lining_take_what_they_lack():
    """In steady state all the power arrives; at the first moment elements of 10 J/K keep it, contents of 20 °C take 20
    W/K, and a lining of 20 °C takes 100 W/K."""
    fixed = but(chamber_j_per_k=MOST)
    x = fixed.from_chamber(120.0)
    first, given_w, taken_w = held(fixed, x, 120.0, 500.0, 1e-4)
    assert given_w == pytest.approx(0.0, abs=1.0) and taken_w == pytest.approx(100.0 * 120.0, rel=1e-2)
    assert first[1] == pytest.approx(120.0, abs=1e-6)
    for _ in range(2000):
        x, given_w, taken_w = held(fixed, x, 120.0, 500.0, 1.0)
    assert given_w == pytest.approx(500.0, rel=1e-4) and x[6] == pytest.approx(120.0, abs=1e-2)
    assert taken_w == pytest.approx(100.0 / (4.0 / 4.0 + 1.0 / 100.0), rel=1e-3), "what the lining then loses"
    assert x[0] == pytest.approx(120.0 + 500.0 / 50.0, abs=1e-2), "the elements are hotter by power over conductance"
    # The chamber is where the reading is, wherever it was before.
    assert held(fixed, x, 60.0, 0.0, 1.0)[0][1] == pytest.approx(60.0, abs=1e-2)
    assert held(fixed, x, 1e9, 0.0, 1.0)[0][1] == pytest.approx(HOTTEST_C, abs=1.0)


def test_round_a_held_chamber_no_door_is_open():
    """A person at the door changes the reading itself."""
    windy = but(chamber_j_per_k=MOST, door_w_per_k=1e6, door_m2=1e3)
    assert held(windy, windy.from_chamber(120.0), 120.0, 500.0, 1.0)[0][1] == pytest.approx(120.0, abs=1e-4)


def test_round_a_held_chamber_an_empty_oven_s_contents_take_nothing():
    empty = but(chamber_j_per_k=MOST, contents_j_per_k=0.0, contents_w_per_k=0.0)
    first, given_w, taken_w = held(empty, empty.from_chamber(100.0), 100.0, 3000.0, 1.0)
    assert given_w > 0.0 and given_w == pytest.approx((first[0] - first[1]) * 50.0)
    assert taken_w == pytest.approx((first[1] - first[2]) * 100.0), "the lining alone"
