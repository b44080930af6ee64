"""Belief in the control reading, to the letter: ranges, reach, frozen, comes and goes, noise."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_sensor
from kilnctl.safety.rule import Look
from kilnctl.safety.state import Fall
from tests.safety.safety_scenes import EVERYTHING, stands, warm

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    """After good readings of 100 °C, the last at 999 s."""
    return SafetyState(**{**dict(good_c=100.0, before_c=100.0, good_s=999.0), **values})


def look(s, chamber=100.0, now=1000.0, dt=1.0, policy=POLICY, warnings=None, **reading) -> bool:
    return rules_sensor.control_reading(at(s, Reading(chamber, **reading), now, dt, policy, warnings))


def at(s, reading, now=1000.0, dt=1.0, policy=POLICY, warnings=None, usable=True) -> Look:
    return Look(s, policy, reading, Tick(now, 1, 0.3), dt, 0.3, usable, warnings=[] if warnings is None else warnings)


# ---- the control reading ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["open", "short-ground", "short-supply", "no-chip", "bus-error", "cold-junction"])
def test_a_fault_word_of_the_control_sensor_ends_belief_and_trips_after_ten_seconds(word):
    s = state(good_s=1000.0)
    assert not look(s, now=1009.9, faults=("board-lost", word, "open")) and not s.trips and s.good_s == 1000.0
    assert not look(s, now=1010.0, faults=("board-lost", word)) and set(s.trips) == {f"sensor-{word}"}
    assert "for 10 s" in s.trips[f"sensor-{word}"].seen and "reading was 100 °C" in s.trips[f"sensor-{word}"].seen
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


def test_while_a_reading_stays_away_its_reach_stands_still():
    for wild, reach in ((True, 20.0), (False, 72.5)):
        s = state(was_wild=wild, reach_k=20.0, good_s=1000.0 - 4.5)
        assert rules_sensor.jumped(at(s, Reading(100.0 + reach + 2.0))) == "" and s.reach_k == reach
        assert rules_sensor.jumped(at(s, Reading(100.0 + reach + 2.1))) == "jump"


@pytest.mark.parametrize(
    "rate, good, value, cold, word",
    [
        # A quick sensor may go 10 K + 200 K in a second, but not to its terminals: there 25 K/s are the most, or the
        # sensor's own if that is less.
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
    """A chamber that rises by 45 K/s takes a slow sheath (12 s: 25 K/s) with it as fast: a lag passes every steady
    rate."""
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


# ---- noise -----------------------------------------------------------------------------------------------------------


def test_noise_is_the_second_difference_of_ten_seconds_where_its_sign_turns():
    # Of white noise the second difference has the standard deviation √6·σ and the mean size √(2/π) of that; neighbours
    # correlate by −2/3, so that of the mean size (1 + 2/3)/2 falls on looks where the sign turns.
    seen = 2.0 / (math.sqrt(6.0) * math.sqrt(2.0 / math.pi) * 5.0 / 6.0)
    for value, second, before, turned in (
        (105.0, 2.0, -0.001, True),
        (105.0, 2.0, 0.0, False),
        (105.0, 2.0, 0.001, False),
        (101.0, -2.0, 0.001, True),
        (101.0, -2.0, -5.0, False),
        (103.0, 0.0, -5.0, False),
        (103.0, 0.0, 5.0, False),
    ):
        s = state(good_c=102.0, before_c=101.0, noise_k=0.5, second_k=before)
        look(s, value, dt=2.0)
        assert s.noise_k == pytest.approx(0.5 + ((seen if turned else 0.0) - 0.5) * 0.2) and s.second_k == second
    capped = state(noise_k=1.0, second_k=-1.0)
    look(capped, 134.0, dt=0.5)
    assert capped.noise_k == pytest.approx(1.0 + (4.0 * POLICY.noise_k - 1.0) * 0.05)
    ramp = state(good_c=101.0, before_c=100.0, second_k=-1.0)
    look(ramp, 102.0)
    first = state(before_c=None, second_k=-1.0)
    look(first, 105.0)
    assert ramp.noise_k == first.noise_k == 0.0 and first.second_k == -1.0


def test_noise_warns_above_half_its_limit_and_trips_above_it_for_five_seconds():
    limit = POLICY.noise_k
    for noise, warned in ((0.5 * limit, False), (0.5 * limit + 0.01, True), (limit, True)):
        s, warnings = state(noise_k=noise), []
        for now in (1000.0, 1006.0):
            warnings.clear()
            look(s, now=now, dt=0.0, warnings=warnings)
        assert warnings == ([f"the control reading jitters by ±{noise:.1f} K"] if warned else []) and not s.trips
    s, warnings = state(noise_k=limit + 0.1), []
    for now, tripped in ((1000.0, False), (1004.9, False), (1005.0, True)):
        look(s, now=now, dt=0.0, warnings=warnings)
        assert bool(s.trips) is tripped
    assert f"±{limit + 0.1:.1f} K" in s.trips["sensor-noisy"].seen and len(warnings) == 2


def test_every_look_minds_the_terminals_too():
    s = state()
    for now in (1000.0, 1003.0):
        look(s, math.nan, now, cold_junction_c=90.0, faults=("open",))
    assert set(s.trips) == {"cold-junction"}


@pytest.mark.parametrize(
    "good, value, cold, word",
    [
        (100.0, 37.9, 30.0, "shorted"),
        (100.0, 38.0, 30.0, "jump"),
        (100.0, 22.1, 30.0, "shorted"),
        (100.0, 22.0, 30.0, "jump"),
        (60.1, 30.0, 30.0, "shorted"),
        (60.0, 22.1, 30.0, "jump"),
        (100.0, 30.0, None, "jump"),
        (100.0, 30.0, math.nan, "jump"),
        (100.0, 30.0, math.inf, "jump"),
        (100.0, 200.0, 30.0, "jump"),
        (0.0, 31.0, 30.0, "jump"),
    ],
)
def test_a_short_between_the_wires_reads_its_terminals(good, value, cold, word):
    assert rules_sensor.jumped(at(state(good_c=good, good_s=1000.0), Reading(value, cold_junction_c=cold))) == word


@pytest.mark.parametrize("chamber, gone", [(-60.0, True), (-60.1, False), (1820.0, True), (1820.1, False)])
def test_a_sensor_is_well_within_the_range_of_any_thermocouple(chamber, gone):
    assert stands("sensor-open", chamber=chamber) is (not gone)


def test_a_counter_that_has_stood_for_five_seconds_keeps_a_frozen_reading_frozen():
    for sample, last, since, standing in (
        (5, 5, 195.0, True),
        (5, 5, 195.1, False),
        (5, 5, 100.0, True),
        (6, 5, 100.0, False),
        (None, None, 100.0, False),
        (None, 5, 100.0, False),
    ):
        assert stands("sensor-frozen", s=warm(sample=last, sample_since_s=since), sample=sample) is standing


def test_noise_has_to_be_within_its_limit_and_jumps_to_be_one_at_most():
    limit = EVERYTHING.noise_k
    for noise, rejects, standing in (
        (limit, 0.0, False),
        (limit + 0.01, 0.0, True),
        (0.0, 1.0, False),
        (0.0, 1.01, True),
    ):
        assert stands("sensor-noisy", s=warm(noise_k=noise, rejects=rejects)) is standing


def test_a_sensor_that_came_and_went_has_to_stay_for_a_while():
    for share, standing in ((0.1, False), (0.101, True)):
        assert stands("sensor-unsteady", s=warm(unsteady=share)) is standing


# 10 K either way, and downward another 0.1 K/s since then.
BACK = [
    (0.0, 90.0, True),
    (0.0, 89.95, False),
    (0.0, 110.0, True),
    (0.0, 110.05, False),
    (-50.0, 90.0, True),
    (-50.0, 89.95, False),
    (100.0, 80.0, True),
    (100.0, 79.95, False),
    (100.0, 110.05, False),
    (1000.0, -10.0, True),
]


@pytest.mark.parametrize("since, now_c, back", BACK)
@pytest.mark.parametrize("fault", ["sensor-jump", "sensor-shorted", "reading-fell"])
def test_a_reading_is_taken_back_where_it_was_or_where_the_oven_may_have_cooled_to(fault, since, now_c, back):
    # Only by what was believed when this very trip latched: not by the moving last good reading, nor by a fall that is
    # under way.
    s = warm(good_s=0.0, good_c=5.0, fall=Fall(0.0, 5.0, 5.0, 0.2, None), believed={fault: (100.0, 200.0 - since)})
    assert stands(fault, chamber=now_c, s=s, policy=POLICY) is (not back)
    unknown = warm(
        good_s=200.0 - since,
        good_c=100.0,
        fall=Fall(200.0 - since, 100.0, 50.0, 0.2, None),
        believed={"another": (100.0, 200.0 - since)},
    )
    assert stands(fault, chamber=now_c, s=unknown, policy=POLICY), "it is unknown where it was"


def test_a_fault_word_of_the_control_sensor_keeps_its_cause_and_others_do_not():
    assert stands("sensor-open", faults=("board-lost", "open")) and not stands("sensor-open", faults=("limit-open",))
