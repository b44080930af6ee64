"""What is known of an oven's heat: a reading that may be too low does not cool it."""

import pytest

from kilnctl.safety.notice import SAFE_C, doubted, estimate_c, notice, renewed, seen


def hot(chamber_c=220.0, wall_s=1000.0):
    return seen(chamber_c, wall_s, 20.0, 3600.0)


@pytest.mark.parametrize(("faults", "low"), [
    ((), False), (("over-oven", "energy"), False), (("energy", "sensor-jump"), True), (("sensor-open",), True), (("reading-fell",), True),
    (("sensors-disagree",), True), (("falls-when-heated",), True), (("cold-junction",), True), (("limit-sensor",), False),
])  # fmt: skip
def test_which_trips_say_that_a_reading_may_be_too_low(faults, low):
    assert doubted(faults) is low


def test_a_good_reading_renews_it_up_and_down():
    for value in (300.0, 150.0, 60.0):
        new = hot(value, 1060.0)
        assert renewed(hot(), new, 1060.0, False) is new


def test_a_doubted_reading_only_raises_it():
    last = hot()
    for value in (24.0, 60.0, 210.0):
        assert renewed(last, hot(value, 1060.0), 1060.0, True) is last
    assert renewed(last, hot(219.0, 1060.0), 1060.0, True).chamber_c == 219.0, "above what is left of 220 °C after a minute"
    assert "estimated" in notice(renewed(last, hot(24.0, 1060.0), 1060.0, True), 1060.0)


def test_what_was_believed_before_the_trip_raises_it_again():
    """It had followed a falling reading down to 90 °C before the trip was latched; ten minutes ago it was at 220 °C."""
    lowered, before = hot(90.0, 1000.0), hot(220.0, 400.0)
    kept = renewed(lowered, before, 1000.0, True)
    assert kept is before and estimate_c(kept, 1000.0) > 180.0
    assert renewed(kept, hot(30.0, 1000.0), 1000.0, True) is before


def test_an_oven_that_cannot_have_cooled_so_far_is_not_taken_for_cool():
    last = hot(800.0)
    assert renewed(last, hot(49.9, 1060.0), 1060.0, False) is last
    assert renewed(last, hot(SAFE_C, 1060.0), 1060.0, False) is not last, "warm is a notice of its own"
    assert renewed(hot(100.0), hot(49.0), 1000.0, False).chamber_c == 100.0
    assert renewed(hot(99.9), hot(49.0), 1000.0, False).chamber_c == 49.0


def test_what_nobody_knows_is_not_learnt_from_a_doubted_reading():
    assert renewed(None, hot(24.0), 1000.0, True) is None and renewed(None, hot(24.0), 1000.0, False) == hot(24.0)
    assert renewed(None, hot(50.0), 1000.0, True) == hot(50.0)
