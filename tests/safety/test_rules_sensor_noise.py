"""Belief in the control reading, exactly: noise, and what must be gone before a trip can be acknowledged."""

import math

import pytest

from kilnctl import Reading
from kilnctl.safety import rules_sensor
from kilnctl.safety.state import Fall
from tests.safety.safety_scenes import EVERYTHING, stands, warm
from tests.safety.sensor_looks import POLICY, at, look, state

# ---- noise -----------------------------------------------------------------------------------------------------------


def test_noise_is_the_second_difference_of_ten_seconds_where_its_sign_turns():
    # The second difference of white noise has the standard deviation √6·σ and a mean size of √(2/π) times that.
    # Neighbours correlate by −2/3, so the share (1 + 2/3)/2 of the mean size falls on looks where the sign changes.
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


def test_every_look_checks_the_terminals_too():
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


# 10 K up or down, and downward also 0.1 K/s since then.
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
    # Judged only by the value that was believed when this trip latched: not by the last good reading, which moves, nor
    # by a fall in progress.
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


@pytest.mark.parametrize("fault", ["sensor-frozen", "sensor-noisy", "sensor-unsteady", "sensor-jump"])
@pytest.mark.parametrize("seen", [dict(chamber=math.nan), dict(faults=("open",))])
def test_a_sensor_that_shows_nothing_is_not_well_again(fault, seen):
    """After any trip: quiet, steady and where it was are said of a reading."""
    well = warm(believed={"sensor-jump": (100.0, 100.0)}, sample=1, sample_since_s=199.0)
    assert not stands(fault, s=well, sample=2)
    assert stands(fault, s=well, sample=2, **seen)
