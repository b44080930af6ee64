"""Belief in the control reading, exactly: ranges, reach, frozen, failing and recovering, noise."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import SafetyState, rules_sensor
from tests.safety.sensor_looks import POLICY, at, look, state

# ---- the control reading ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["open", "short-ground", "short-supply", "no-chip", "bus-error", "cold-junction"])
def test_a_fault_word_of_the_control_sensor_ends_belief_and_trips_after_ten_seconds(word):
    s = state(good_s=1000.0)
    assert not look(s, now=1009.9, faults=("board-lost", word, "open")) and not s.trips and s.good_s == 1000.0
    assert not look(s, now=1010.0, faults=("board-lost", word)) and set(s.trips) == {f"sensor-{word}"}
    assert "for 10 s" in s.trips[f"sensor-{word}"].seen and "reading 100 °C" in s.trips[f"sensor-{word}"].seen
    assert look(state(), faults=("board-lost", "limit-open", "part-open"))


@pytest.mark.parametrize(
    "value, near, believed",
    [
        (-60.0, -60.0, True),
        (-60.1, -60.0, False),
        (1820.0, 1820.0, True),
        (1820.1, 1820.0, False),
        (math.nan, 100.0, False),
        (math.inf, 100.0, False),
        (None, 100.0, False),
    ],
)
def test_what_a_thermocouple_can_show(value, near, believed):
    s = state(good_c=near, before_c=near)
    assert look(s, value) is believed and s.rejects == 0.0
    look(s, value, now=1010.0)
    assert (set(s.trips) == {"sensor-not-a-number"}) is not believed


def test_a_reading_that_never_was_good_is_waited_for_from_the_first_look():
    s = SafetyState()
    for now, tripped in ((500.0, False), (509.9, False), (510.0, True)):
        assert not look(s, math.nan, now) and bool(s.trips) is tripped
    assert "the start" in s.trips["sensor-not-a-number"].seen and "for 10 s" in s.trips["sensor-not-a-number"].seen
    s = SafetyState()
    assert (
        not look(s, math.nan, 500.0)
        and not look(s, 100.0, 505.0)
        and s.over == {}
        and (s.good_c, s.good_s, s.before_c) == (100.0, 505.0, None)
    )
    assert not look(s, 200.0, 506.0) and s.good_c is None, "the first two disagree"
    assert not look(s, math.nan, 510.0) and not s.trips
    assert (
        not look(s, 100.0, 511.0)
        and look(s, 101.0, 512.0)
        and (s.good_c, s.good_s, s.before_c) == (101.0, 512.0, 100.0)
    )


def test_separate_jumps_are_counted_and_forgotten_in_half_a_minute():
    s = state(rejects=2.0)
    look(s, 200.0, dt=3.0)
    assert s.rejects == pytest.approx(2.0 * math.exp(-0.1) + 1.0) and s.was_wild
    look(s, 200.0, dt=0.0)
    assert s.rejects == pytest.approx(2.0 * math.exp(-0.1) + 1.0), "still the same jump"
    look(s, math.nan, dt=0.0)
    assert not s.was_wild
    for cold in (None, 198.0):
        s = state(good_c=300.0, before_c=300.0)
        look(s, 200.0, cold_junction_c=cold)
        assert s.rejects == 1.0
    for had, tripped in ((3.0, False), (3.01, True)):
        s = state(rejects=had)
        look(s, 200.0, dt=0.0)
        assert (set(s.trips) == {"sensor-noisy"}) is tripped
        assert not tripped or "jumped 4 times" in s.trips["sensor-noisy"].seen


# ---- jumps -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "gap, reach", [(0.0, 10.0), (0.5, 22.5), (1.0, 35.0), (2.5, 72.5), (3.5, 73.5), (10.0, 80.0), (100.0, 80.0)]
)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_how_far_a_reading_may_go(gap, reach, sign):
    """10 K and 25 K/s for 2.5 s, then 1 K/s up to 10 s."""
    for value, word in ((500.0 + sign * reach, ""), (500.0 + sign * (reach + 0.01), "jump")):
        s = state(good_c=500.0, before_c=500.0, good_s=1000.0 - gap)
        assert rules_sensor.jumped(at(s, Reading(value))) == word and s.good_c == 500.0


def test_the_reach_does_not_grow_while_a_reading_stays_away():
    for wild, reach in ((True, 20.0), (False, 72.5)):
        s = state(was_wild=wild, reach_k=20.0, good_s=1000.0 - 4.5)
        assert rules_sensor.jumped(at(s, Reading(100.0 + reach + 2.0))) == "" and s.reach_k == reach
        assert rules_sensor.jumped(at(s, Reading(100.0 + reach + 2.1))) == "jump"


@pytest.mark.parametrize(
    "rate, good, value, cold, word",
    [
        # A quick sensor may move by 10 K + 200 K in a second, but not to its terminals' temperature: there the limit is
        # 25 K/s, or the sensor's own rate if that is less.
        (200.0, 500.0, 290.0, None, ""),
        (200.0, 500.0, 289.9, None, "jump"),
        (200.0, 500.0, 465.0, 470.0, ""),
        (200.0, 500.0, 464.9, 466.0, "shorted"),
        (200.0, 500.0, 464.9, 470.0, ""),
        (200.0, 100.1, 65.2, 70.0, ""),
        (200.0, 100.1, 65.0, 70.0, "shorted"),
        (200.0, 100.0, 62.1, 70.0, ""),
        (10.0, 100.0, 80.0, 69.9, ""),
        (10.0, 100.0, 75.0, 69.9, "shorted"),
        (10.0, 100.0, 80.0, None, ""),
        (10.0, 100.0, 79.9, None, "jump"),
    ],
)
def test_a_short_needs_no_sensor_to_be_slow(rate, good, value, cold, word):
    s = state(good_c=good, before_c=good)
    assert (
        rules_sensor.jumped(
            at(s, Reading(value, cold_junction_c=cold), policy=dataclasses.replace(POLICY, wild_k_per_s=rate))
        )
        == word
    )


def test_a_reading_may_rise_as_fast_as_full_power_heats_and_not_fall_so():
    """In a chamber that rises by 45 K/s a slow sheath (12 s: 25 K/s) rises as fast: a lag passes every steady rate."""
    policy = dataclasses.replace(POLICY, wild_k_per_s=25.0, rise_k_per_s=40.0)
    for value, word in ((149.9, ""), (150.1, "jump"), (65.1, ""), (64.9, "jump")):
        assert rules_sensor.jumped(at(state(), Reading(value), policy=policy)) == word


def test_with_nothing_to_compare_nothing_jumped():
    assert rules_sensor.jumped(at(state(good_c=None), Reading(1000.0))) == ""
    for before, kept in ((None, None), (100.0, 100.0)):
        s = state(before_c=before)
        assert rules_sensor.jumped(at(s, Reading(300.0))) == "jump" and s.good_c == kept


# ---- frozen ----------------------------------------------------------------------------------------------------------


def test_a_counter_that_stands_for_five_seconds():
    s = state(sample=4, sample_since_s=5.0)
    look(s, sample=5)
    assert (s.sample, s.sample_since_s) == (5, 1000.0) and not s.trips
    look(s, 100.5, now=1004.9, sample=5)
    assert not s.trips
    look(s, 100.4, now=1005.0, sample=5)
    assert "for 5 s" in s.trips["sensor-frozen"].seen
    blind = state(sample=5, sample_since_s=5.0)
    look(blind, sample=5, faults=("open",))
    look(blind, sample=None)
    assert not blind.trips and blind.sample == 5, "a fault word says enough, and no counter says nothing"


@pytest.mark.parametrize(
    "fired, lasts, tripped", [(0.02, 60.0, True), (0.02, 59.9, False), (0.019, 60.0, False), (0.3, 61.0, True)]
)
def test_bits_that_do_not_move_under_heat_for_a_minute(fired, lasts, tripped):
    s = state(fired_60=fired, raw=(100.0, 30.0), raw_since_s=1000.0 - lasts)
    look(s, cold_junction_c=30.0)
    assert bool(s.trips) is tripped and s.raw_since_s == (1000.0 if fired < 0.02 else 1000.0 - lasts)
    assert not tripped or f"for {lasts:.0f} s" in s.trips["sensor-frozen"].seen


@pytest.mark.parametrize("chamber, cold", [(100.01, 30.0), (100.0, 30.01), (100.0, None)])
def test_one_bit_is_enough(chamber, cold):
    s = state(fired_60=1.0, raw=(100.0, 30.0), raw_since_s=0.0)
    look(s, chamber, cold_junction_c=cold)
    assert s.raw == (chamber, cold) and s.raw_since_s == 1000.0 and not s.trips


@pytest.mark.parametrize("sample", [None, 5])
@pytest.mark.parametrize(
    "raw, bits, tripped",
    [
        ((100.0, 30.0), None, True),
        ((b"abc",), b"abc", True),
        ((b"abc",), b"abd", False),
        ((100.0, 30.0), b"abc", False),
        ((b"abc",), None, False),
    ],
)
def test_bits_count_whether_or_not_samples_are_counted_and_the_converters_own_before_a_medians(
    sample, raw, bits, tripped
):
    s = state(fired_60=1.0, raw=raw, raw_since_s=0.0, sample=4)
    look(s, cold_junction_c=30.0, sample=sample, bits=bits)
    assert bool(s.trips) is tripped and s.raw_since_s == (0.0 if tripped else 1000.0)
    assert s.raw == ((100.0, 30.0) if bits is None else (bits,)) and s.sample == (4 if sample is None else 5)


# ---- comes and goes --------------------------------------------------------------------------------------------------


STEP = 1.0 - math.exp(-1.0 / 120.0)


@pytest.mark.parametrize(
    "reading, rejected, adds, later",
    [
        (dict(), None, 0.0, None),
        (dict(faults=("open",)), None, 1.0, None),
        (dict(chamber=300.0), None, 1.0, None),
        (dict(rejects=5), 4, 1.0, 5),
        (dict(rejects=5), 5, 0.0, 5),
        (dict(rejects=5), None, 0.0, 5),
        (dict(), 4, 0.0, None),
        (dict(rejects=0), 4, 1.0, 0),
        (dict(faults=("open",), rejects=5), 4, 1.0, 5),
    ],
)
def test_the_share_of_answers_that_cannot_be_used_is_forgotten_in_two_minutes(reading, rejected, adds, later):
    s = state(unsteady=0.02, rejected=rejected)
    look(s, **reading)
    assert s.unsteady == pytest.approx(0.02 + (adds - 0.02) * STEP) and s.rejected == later and not s.trips


def test_only_a_gap_that_does_not_trip_by_itself_counts():
    for now, counts in ((1008.9, True), (1009.0, False), (2000.0, False)):
        s = state(unsteady=0.02)
        look(s, now=now, faults=("open",))
        assert (s.unsteady > 0.02) is counts and (s.unsteady == 0.02) is not counts and bool(s.trips) is not counts
    # A good answer after a long gap counts as good, however long the gap was.
    healed = state(unsteady=0.02, good_s=1.0)
    assert look(healed) and healed.unsteady == pytest.approx(0.02 * (1.0 - STEP))


def test_it_warns_above_three_per_cent_and_trips_above_twenty():
    for share, warned, tripped in (
        (0.03, False, False),
        (0.0301, True, False),
        (0.2, True, False),
        (0.2001, False, True),
    ):
        s, warnings = state(unsteady=share), []
        look(s, dt=0.0, warnings=warnings)
        percent = f"{100.0 * share:.0f} % of its answers of the last minutes could not be used"
        said = f"the control sensor comes and goes: {percent}"
        assert warnings == ([said] if warned else [])
        assert set(s.trips) == ({"sensor-unsteady"} if tripped else set())
        assert not tripped or "comes and goes: 20 % of its answers" in s.trips["sensor-unsteady"].seen
