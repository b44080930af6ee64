"""What the place of a sensor explains: heat that only the sensor sees, and two sensors that are apart."""

import dataclasses
import math

import pytest

from kilnctl.safety import SafetyState
from kilnctl.safety.coolest import MOST, STEFAN_BOLTZMANN, ZERO_C, held, step
from kilnctl.safety.misplaced import Place, apart_k, excused_share, follow
from tests.safety.safety_scenes import SMALL

#: A model's own oven round a chamber that is held, and the same with a sensor that sees a quarter of the elements.
LIKELY = dataclasses.replace(SMALL, chamber_j_per_k=MOST)
NEAR = dataclasses.replace(LIKELY, near_elements=0.25, near_walls=0.6, follows_j_per_k=SMALL.chamber_j_per_k)
FULL_W = SMALL.full_w


def share_of(s, oven=NEAR, reads_c=100.0, power_w=1500.0, dt_s=4.0, given_w=0.0, net_w=0.0):
    return excused_share(s, oven, reads_c, power_w, dt_s, given_w, net_w)


def test_a_sensor_in_its_place_excuses_nothing():
    s = SafetyState()
    assert share_of(s, dataclasses.replace(NEAR, near_elements=0.0), given_w=3000.0) == 0.0
    assert s == SafetyState()


def test_it_excuses_what_a_reader_of_a_sensor_near_the_elements_cannot_explain():
    """The truth is an oven whose own chamber moves; the reader knows only its model's oven round the reading, and the
    energy balance of that chamber (first law)."""
    true, reader, s, before_c = SMALL.from_chamber(20.0), LIKELY.from_chamber(20.0), SafetyState(), 20.0
    most = 0.0
    for second in range(900):
        power_w = 3000.0 if second < 300 else 1000.0
        true = step(SMALL, true, power_w, 1.0, False)
        reads_c = 0.75 * true[1] + 0.25 * true[0]
        reader, given_w, taken_w = held(LIKELY, reader, reads_c, power_w, 1.0)
        stored_w = SMALL.chamber_j_per_k * (reads_c - before_c)
        unexplained = (stored_w + taken_w + SMALL.leak_w_per_k * (reads_c - 20.0) - given_w) / FULL_W
        found = share_of(s, NEAR, reads_c, power_w, 1.0, given_w, given_w - taken_w)
        before_c, most = reads_c, max(most, unexplained)
        # Elements of 0.2 s: their own step lags the plant's by one.
        if second not in range(5) and second not in range(300, 305):
            assert found > unexplained - 0.02, second
            assert second > 290 or found < unexplained + 0.02, second
    assert most > 0.5, "half of full power that is not there"


def test_what_it_excuses_exactly():
    s, x, was_k, mean = SafetyState(), NEAR.from_chamber(100.0), 0.0, 0.0
    leak = dataclasses.replace(NEAR, leak_w_per_k=7.0)
    for power_w in (1500.0, 1500.0, 3000.0, 0.0, 0.0):
        chamber_c = (100.0 - 0.25 * x[0]) / 0.75
        x, given_w, taken_w = held(leak, x, chamber_c, power_w, 4.0)
        shown_k = 100.0 - chamber_c
        share = (given_w - taken_w + 7.0 * shown_k + 100.0 * (shown_k - was_k) / 4.0 - 200.0) / FULL_W
        mean, was_k = mean + (share - mean) * (1.0 - math.exp(-4.0 / 300.0)), shown_k
        assert share_of(s, leak, power_w=power_w, net_w=200.0) == pytest.approx(max(share, mean), abs=1e-6)
        assert s.placed == x and s.shown_k == pytest.approx(shown_k, abs=1e-4)
        assert s.place_share == pytest.approx(mean, abs=1e-6)
    assert share < mean, "what it explained is forgotten over minutes"


def test_what_passes_is_seen_for_as_long_as_the_sensor_is_late():
    s, kept = SafetyState(), math.exp(-4.0 / (NEAR.lag_s + 1.0))
    for _ in range(200):
        share_of(s, power_w=3000.0, given_w=900.0)
    # In steady state the elements are full power over their link above the chamber, and the reading a quarter of that.
    assert s.shown_k == s.above_k == pytest.approx(0.25 * 3000.0 / NEAR.element_w_per_k, rel=1e-6)
    assert s.given_w == 900.0
    most_k = s.above_k
    share_of(s, power_w=0.0, given_w=-900.0)  # round the chamber that the elements showed before
    share_of(s, power_w=0.0, given_w=0.0)
    assert (s.above_k, s.given_w) == (pytest.approx(most_k * kept, rel=1e-4), pytest.approx(900.0 * kept**2))
    assert s.shown_k < 0.9 * s.above_k


def test_a_control_sensor_is_above_the_air_by_the_elements_and_below_it_by_the_walls():
    walls = dataclasses.replace(NEAR, film_w_per_k=8.0, film_m2=0.05)
    film = 8.0 + 4.0 * STEFAN_BOLTZMANN * 0.05 * (300.0 + ZERO_C) ** 3
    s = SafetyState(above_k=33.0, shown_k=20.0, given_w=900.0)
    assert apart_k(s, walls, 300.1, 300.0) == apart_k(s, walls, 300.0, 300.0) == 33.0
    assert apart_k(s, walls, 299.9, 300.0) == pytest.approx(0.6 * 900.0 / film)
    assert apart_k(s, LIKELY, 200.0, 300.0) == 0.0
    # No wall is colder than the room, of 20 °C.
    assert apart_k(s, walls, 20.0, 60.0) == pytest.approx(0.6 * 40.0)
    assert apart_k(s, walls, 19.9, 60.0) == 0.0


def test_of_a_fit_only_the_difference_of_two_sensors_is_followed():
    """Near a wall alone there is no heat that only the sensor sees, but what the elements give is still needed."""
    walls, other, s = dataclasses.replace(NEAR, near_elements=0.0), SafetyState(), SafetyState()
    for power_w, given_w in ((3000.0, 900.0), (0.0, -900.0)):
        share_of(other, power_w=power_w, given_w=given_w)
        spare_w = follow(s, NEAR, 100.0, power_w, 4.0, given_w)
        assert (s.above_k, s.shown_k, s.given_w) == (other.above_k, other.shown_k, other.given_w)
    assert math.isfinite(spare_w) and s.place_share == 0.0 != other.place_share
    s = SafetyState()
    follow(s, walls, 100.0, 3000.0, 4.0, 900.0)
    assert s.above_k == 0.0 == pytest.approx(s.shown_k, abs=1e-3) and s.given_w == 900.0
    assert apart_k(s, walls, 100.0, 300.0) > 0.0 == apart_k(s, walls, 300.0, 100.0)


@pytest.mark.parametrize("elements, walls", [(-0.01, 0.0), (1.0, 0.0), (0.0, -0.01), (0.0, 1.0), (math.nan, 0.0)])
def test_a_place_has_shares(elements, walls):
    with pytest.raises(ValueError, match="shares from 0 to below 1"):
        Place(elements, walls)


def test_of_two_places_each_larger_share_counts():
    one, other = Place(0.1, 0.5), Place(0.2, 0.0)
    assert one.wider(other) == other.wider(one) == Place(0.2, 0.5) and one.wider(None) == one
    assert Place(0.0, 0.0).wider(Place(0.0, 0.999)) == Place(0.0, 0.999)


def test_a_place_does_not_change():
    place = Place(0.1, 0.5)
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(place, "near_walls", 0.6)  # noqa: B010 - pyright knows that it must not
    assert not hasattr(place, "__dict__")
