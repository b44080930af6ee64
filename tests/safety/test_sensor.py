"""Belief in the readings, one function at a time and to the letter: ranges, reach, frozen, noise, terminals, limits, disagreement."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, sensor
from kilnctl.safety.rule import Look

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
BOTH = dataclasses.replace(POLICY, has_limit_sensor=True)


def state(**values) -> SafetyState:
    """After good readings of 100 °C, the last at 999 s."""
    made = SafetyState()
    for name, value in {**dict(good_c=100.0, before_c=100.0, good_s=999.0), **values}.items():
        setattr(made, name, value)
    return made


def look(s, chamber=100.0, now=1000.0, dt=1.0, policy=POLICY, warnings=None, **reading) -> bool:
    return sensor.control_reading(at(s, Reading(chamber, **reading), now, dt, policy, warnings))


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
        assert sensor.jumped(at(s, Reading(value))) == word and s.good_c == 500.0


def test_while_a_reading_stays_away_its_reach_stands_still():
    for wild, reach in ((True, 20.0), (False, 72.5)):
        s = state(was_wild=wild, reach_k=20.0, good_s=1000.0 - 4.5)
        assert sensor.jumped(at(s, Reading(100.0 + reach + 2.0))) == "" and s.reach_k == reach
        assert sensor.jumped(at(s, Reading(100.0 + reach + 2.1))) == "jump"


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
    assert sensor.jumped(at(state(good_c=good, good_s=1000.0), Reading(value, cold_junction_c=cold))) == word


@pytest.mark.parametrize(
    "rate, good, value, cold, word",
    [
        # A quick sensor may go 10 K + 200 K in a second, but not to its terminals: there 25 K/s are the most, or the sensor's own if that is less.
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
        sensor.jumped(
            at(s, Reading(value, cold_junction_c=cold), policy=dataclasses.replace(POLICY, wild_k_per_s=rate))
        )
        == word
    )


def test_with_nothing_to_compare_nothing_jumped():
    assert sensor.jumped(at(state(good_c=None), Reading(1000.0))) == ""
    for before, kept in ((None, None), (100.0, 100.0)):
        s = state(before_c=before)
        assert sensor.jumped(at(s, Reading(300.0))) == "jump" and s.good_c == kept


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
        assert warnings == (
            [
                (
                    f"the control sensor comes and goes: {100.0 * share:.0f} % of its answers of the last "
                    f"minutes could "
                    f"not be used"
                )
            ]
            if warned
            else []
        )
        assert set(s.trips) == ({"sensor-unsteady"} if tripped else set())
        assert not tripped or "comes and goes: 20 % of its answers" in s.trips["sensor-unsteady"].seen


# ---- noise -----------------------------------------------------------------------------------------------------------


def test_noise_is_the_second_difference_of_ten_seconds_where_its_sign_turns():
    # Of white noise the second difference has the standard deviation √6·σ and the mean size √(2/π) of that; neighbours correlate by −2/3, so that of the
    # mean size (1 + 2/3)/2 falls on looks where the sign turns.
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


# ---- terminals -------------------------------------------------------------------------------------------------------


def terminals(s, cold, now=1000.0, dt=1.0):
    warnings = []
    sensor.cold_junction(at(s, Reading(100.0, cold_junction_c=cold), now, dt, warnings=warnings))
    return warnings


@pytest.mark.parametrize(
    "cold, well",
    [
        (-20.0, True),
        (-20.1, False),
        (80.0, True),
        (80.1, False),
        (math.nan, False),
        (-math.inf, False),
        ("x", False),
        (None, True),
    ],
)
def test_terminals_have_to_be_within_what_electronics_bear(cold, well):
    s = state()
    for now, last in ((1000.0, False), (1002.9, False), (1003.0, True)):
        terminals(s, cold, now)
        assert bool(s.trips) is (last and not well)
    assert well or "outside what electronics bear" in s.trips["cold-junction"].seen
    assert well or s.cold_c is None


def test_every_look_minds_the_terminals_too():
    s = state()
    for now in (1000.0, 1003.0):
        look(s, math.nan, now, cold_junction_c=90.0, faults=("open",))
    assert set(s.trips) == {"cold-junction"}


def test_terminals_that_were_well_for_a_moment_start_anew():
    s = state()
    for now, cold in ((1000.0, 81.0), (1002.0, 79.0), (1003.0, 81.0), (1005.0, 81.0)):
        terminals(s, cold, now)
    assert not s.trips
    terminals(s, 81.0, 1006.0)
    assert "read 81 °C" in s.trips["cold-junction"].seen


def test_the_terminals_usual_temperature_follows_in_fifty_seconds_whatever_the_tick():
    for dt, ticks in ((0.5, 44), (2.0, 11)):
        s, seen = state(cold_c=30.0), []
        for _ in range(ticks):
            terminals(s, 34.0, dt=dt)
            seen.append(s.cold_c)
        assert seen[0] == pytest.approx(34.0 - 4.0 * math.exp(-dt / 50.0)) and seen[-1] == pytest.approx(
            34.0 - 4.0 * math.exp(-22.0 / 50.0)
        )
    first = state()
    terminals(first, 44.0)
    assert first.cold_c == 44.0


@pytest.mark.parametrize("cold, jumped", [(35.0, False), (35.01, True), (25.0, False), (24.99, True)])
def test_terminals_that_jump_by_more_than_five_kelvin_for_three_seconds(cold, jumped):
    s = state(cold_c=30.0)
    for now, last in ((1000.0, False), (1002.9, False), (1003.0, True)):
        terminals(s, cold, now, dt=0.0)
        assert bool(s.trips) is (last and jumped)
    assert not jumped or f"jumped from 30 °C to {cold:.0f} °C" in s.trips["cold-junction"].seen
    held = state(cold_c=30.0)
    held.over["cold-jump"] = 990.0
    terminals(held, 36.0)
    assert held.cold_c == 30.0, "what they jumped from is kept"


@pytest.mark.parametrize("dt", [0.2, 0.5, 1.0, 2.0])
def test_a_jump_of_the_terminals_is_found_whatever_the_tick(dt):
    """An oven file may ask for ticks of 0.2 s; six kelvin are a jump then too."""
    s = state(cold_c=30.0)
    for i in range(math.ceil(3.0 / dt) + 1):
        terminals(s, 36.0, 1000.0 + i * dt, dt)
    assert set(s.trips) == {"cold-junction"}


@pytest.mark.parametrize("cold, warm", [(65.0, False), (65.1, True), (80.0, True), (81.0, False)])
def test_a_box_that_gets_warm_is_told_fifteen_kelvin_before(cold, warm):
    assert terminals(state(), cold) == (
        [f"the terminals of the thermocouple are at {cold:.0f} °C: the electronics box is getting too warm"]
        if warm
        else []
    )


# ---- limits ----------------------------------------------------------------------------------------------------------


def below(s, policy, chamber=100.0, now=1000.0, usable=True, warnings=None, dt=1.0, **reading) -> bool:
    return sensor.below_limits(at(s, Reading(chamber, **reading), now, dt, policy, warnings, usable))


@pytest.mark.parametrize(
    "fault, name, at, policy",
    [
        ("over-oven", "chamber", 300.0, dataclasses.replace(BOTH, schedule_trip_c=1000.0)),
        ("over-schedule", "chamber", 250.0, BOTH),
        ("over-oven", "limit_c", 300.0, BOTH),
        ("over-part", "part_c", 210.0, dataclasses.replace(BOTH, part_trip_c=210.0)),
    ],
)
def test_above_a_limit_there_is_no_heat_and_after_two_seconds_a_trip(fault, name, at, policy):
    for value, over in ((at, False), (at + 0.01, True)):
        s, reading = state(), {"limit_c": 290.0, **{name: value}}
        for now, last in ((1000.0, False), (1001.9, False), (1002.0, True)):
            assert below(s, policy, now=now, **reading) is (not over)
            assert set(s.trips) == ({fault} if over and last else set())
        assert not over or f"{at:.0f} °C" in s.trips[fault].seen


def test_the_coldest_and_too_hot_are_temperatures_too():
    """What is too hot for any sensor is above every limit at once, and not absent for ten seconds."""
    policy = dataclasses.replace(BOTH, has_part_sensor=True, part_trip_c=200.0)
    assert below(state(), policy, chamber=-60.0, part_c=-60.0, limit_c=-60.0)
    for hot, fault in (
        (dict(part_c=5000.0, limit_c=100.0), "over-part"),
        (dict(part_c=100.0, limit_c=5000.0), "over-oven"),
    ):
        s = state()
        for now in (1000.0, 1002.0):
            assert not below(s, policy, now=now, **hot)
        assert set(s.trips) == {fault}


def test_two_sensors_above_the_same_limit_have_a_clock_each():
    s = state()
    below(s, BOTH, limit_c=301.0)
    below(s, BOTH, chamber=301.0, now=1001.0, limit_c=290.0)
    below(s, BOTH, limit_c=301.0, now=1002.0)
    assert not s.trips


def test_a_reading_that_is_not_believed_is_not_held_against_a_limit():
    s = state()
    assert below(s, BOTH, chamber=999.0, usable=False, limit_c=100.0) and below(
        s, BOTH, chamber=999.0, usable=False, limit_c=100.0, now=1100.0
    )
    assert not s.trips and not s.over


@pytest.mark.parametrize(
    "reading",
    [
        dict(part_c=None),
        dict(part_c=math.nan),
        dict(part_c=90.0, faults=("part-open",)),
        dict(part_c=999.0, faults=("part-open",)),
        dict(part_c=-60.1),
    ],
)
def test_a_part_with_a_limit_of_its_own_has_to_be_seen(reading):
    for policy, needed in (
        (dataclasses.replace(POLICY, has_part_sensor=True, part_trip_c=200.0), True),
        (dataclasses.replace(POLICY, has_part_sensor=True), False),
        (dataclasses.replace(POLICY, part_trip_c=200.0), False),
    ):
        s = state()
        for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
            assert below(s, policy, now=now, **reading) is (not needed)
            assert set(s.trips) == ({"part-sensor"} if needed and last else set())
    assert below(state(), POLICY, part_c=90.0, faults=("limit-open", "open"))


@pytest.mark.parametrize(
    "reading",
    [
        dict(limit_c=None),
        dict(limit_c=math.nan),
        dict(limit_c=100.0, faults=("limit-open",)),
        dict(limit_c=999.0, faults=("limit-open",)),
        dict(limit_c=-60.1),
    ],
)
def test_a_second_sensor_has_to_be_there_where_there_is_one(reading):
    for policy, needed in ((BOTH, True), (POLICY, False)):
        s = state()
        for now, last in ((1000.0, False), (1009.9, False), (1010.0, True)):
            assert below(s, policy, now=now, **reading) is (not needed)
            assert set(s.trips) == ({"limit-sensor"} if needed and last else set())
    assert below(state(), BOTH, limit_c=100.0, faults=("part-open", "open"))


@pytest.mark.parametrize(
    "chamber, second, apart, warned",
    [
        (100.0, 140.0, False, True),
        (100.0, 140.1, True, True),
        (100.0, 60.0, False, True),
        (100.0, 59.9, True, True),
        (100.0, 132.0, False, False),
        (100.0, 132.1, False, True),
        (1000.0, 1060.0, False, True),
        (1000.0, 1064.0, True, True),
        (1000.0, 940.0, False, True),
        (1000.0, 939.9, True, True),
        (1000.0, 952.0, False, False),
        (1000.0, 951.9, False, True),
    ],
)
def test_two_sensors_may_be_apart_by_forty_kelvin_or_six_per_cent_for_a_minute(chamber, second, apart, warned):
    policy, s, warnings = dataclasses.replace(BOTH, chamber_trip_c=1300.0, schedule_trip_c=1300.0), state(), []
    for now, last in ((1000.0, False), (1059.9, False), (1060.0, True)):
        warnings.clear()
        assert below(s, policy, chamber, now, warnings=warnings, limit_c=second)
        assert set(s.trips) == ({"sensors-disagree"} if apart and last else set())
        assert warnings == (
            [f"the two sensors are {abs(second - chamber):.0f} K apart"] if warned and not (apart and last) else []
        )
    assert not apart or f"{chamber:.0f} °C and {second:.0f} °C" in s.trips["sensors-disagree"].seen
    blind = state()
    assert below(blind, policy, chamber, usable=False, warnings=warnings, limit_c=second) and "apart" not in blind.over


def test_what_the_slower_ones_greater_lag_explains_is_no_disagreement():
    """With 60 s more of lag in either sensor: the quicker one delayed by as much, and the slower may lie anywhere between the two."""
    share = 1.0 - math.exp(-2.0 / 60.0)
    for lag, order in ((60.0, lambda quick, slow: (quick, slow)), (-60.0, lambda quick, slow: (slow, quick))):
        policy = dataclasses.replace(BOTH, second_lag_s=lag)
        fresh = state()
        # At first the quick one is thought to come from where the slow one is.
        assert sensor.apart_k(fresh, policy, *order(200.0, 100.0), 2.0) == pytest.approx(
            100.0 * share
        ) and fresh.delayed_c == pytest.approx(100.0 + 100.0 * share)
        for slow, apart in (
            (130.0, 20.0 + 50.0 * share),
            (150.0 + 50.0 * share, 0.0),
            (170.0, 0.0),
            (200.0, 0.0),
            (230.0, 30.0),
        ):
            s = state(delayed_c=150.0)
            assert sensor.apart_k(s, policy, *order(200.0, slow), 2.0) == pytest.approx(
                apart, abs=1e-9
            ) and s.delayed_c == pytest.approx(150.0 + 50.0 * share)
        for slow, apart in ((130.0, 30.0), (90.0, 10.0)):
            assert sensor.apart_k(state(delayed_c=150.0), policy, *order(100.0, slow), 1e-9) == pytest.approx(
                0.0 if slow == 130.0 else apart, abs=1e-6
            )
    same = state(delayed_c=150.0)
    assert (
        sensor.apart_k(same, BOTH, 200.0, 170.0, 2.0) == 30.0 == sensor.apart_k(state(), BOTH, 170.0, 200.0, 2.0)
        and same.delayed_c == 200.0
    )
    short = state(delayed_c=100.0)
    assert sensor.apart_k(short, dataclasses.replace(BOTH, second_lag_s=0.5), 200.0, 100.0, 0.5) == pytest.approx(
        100.0 * (1.0 - math.exp(-1.0))
    )


def test_the_lag_is_allowed_for_in_every_look_that_is_believed():
    policy, warnings = dataclasses.replace(BOTH, second_lag_s=60.0, schedule_trip_c=300.0), []
    s = state(delayed_c=100.0)
    for now in (1000.0, 1060.0):
        assert below(s, policy, 290.0, now, dt=2.0, warnings=warnings, limit_c=100.0)
    delayed = 290.0 - 190.0 * math.exp(-4.0 / 60.0)
    assert s.delayed_c == pytest.approx(delayed) and not s.trips and not warnings
    below(s, policy, 290.0, 1061.0, usable=False, dt=2.0, limit_c=100.0)
    assert s.delayed_c == pytest.approx(delayed)
    late = state(delayed_c=180.0)
    below(late, policy, 290.0, 1000.0, dt=1e-9, warnings=warnings, limit_c=144.0)
    assert warnings == ["the two sensors are 36 K apart"]
