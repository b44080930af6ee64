"""What the rules carry from tick to tick: what a restart of the timers forgets, and what it must not; the small helpers."""

import dataclasses
import math

import pytest

from kilnctl.safety import SafetyState
from kilnctl.safety.state import finite, lasting, number, trip

def scrambled() -> SafetyState:
    made = SafetyState()
    for f in dataclasses.fields(SafetyState):
        if f.name == "trips":
            made.trips["sensor-open"] = "latched"
        elif f.name == "over":
            made.over["noise"] = 5.0
        else:
            setattr(made, f.name, 123.5)
    return made


def test_a_restart_of_the_timers_forgets_spans_and_comparisons_and_nothing_else():
    made, fresh = scrambled(), SafetyState()
    made.restart_timers()
    assert made.trips == {"sensor-open": "latched"} and made.over == {}
    forgotten = {f.name for f in dataclasses.fields(SafetyState) if getattr(made, f.name) != 123.5} - {"trips", "over"}
    assert forgotten == {"raw", "sample", "window", "fall", "quiet_c", "sink", "was_wild", "rejects", "noise_k", "off_s", "excess", "missing", "unasked", "asked",
                         "given", "slope_k_per_s", "second_slope", "airless_s", "slow_c", "second_c", "before_c", "good_c", "cold_c", "wall_ahead_s", "coil",
                         "good_count", "top_c", "delayed_c", "second_k", "purge_until_s", "settled_s"}  # fmt: skip
    for name in forgotten - {"settled_s"}:
        assert getattr(made, name) == getattr(fresh, name), name
    # The missing-heat sum need not rest: there is nothing left to unlearn.
    assert made.settled_s == -math.inf and made.top_c == -math.inf and made.purge_until_s == math.inf


def test_a_copy_is_whole_and_its_latches_are_its_own():
    made = scrambled()
    other = made.copied()
    assert all(getattr(other, f.name) == getattr(made, f.name) for f in dataclasses.fields(SafetyState))
    other.trips["x"], other.over["y"], other.step = "new", 1.0, 7
    assert "x" not in made.trips and "y" not in made.over and made.step == 123.5


@pytest.mark.parametrize("value, good", [(1.0, True), (0, True), (-5, True), (True, True), (math.nan, False), (math.inf, False), (-math.inf, False), (None, False),
                                         ("1", False), (10**400, False), (1j, False), ([1.0], False)])  # fmt: skip
def test_what_a_number_is(value, good):
    assert finite(value) is good
    assert number(value) == float(value) if good else math.isnan(number(value))


def test_lasting_counts_without_a_break():
    s = SafetyState()
    assert not lasting(s, "a", True, 10.0, 5.0) and not lasting(s, "a", True, 14.9, 5.0) and lasting(s, "a", True, 15.0, 5.0)
    assert not lasting(s, "b", True, 15.0, 5.0)
    assert not lasting(s, "a", False, 16.0, 5.0) and "a" not in s.over
    assert not lasting(s, "a", True, 17.0, 5.0) and not lasting(s, "a", True, 21.9, 5.0) and lasting(s, "a", True, 22.0, 5.0)
    assert lasting(s, "now", True, 3.0, 0.0) and not lasting(s, "never", False, 3.0, 0.0)


def test_a_trip_latches_once_with_its_words():
    s = SafetyState()
    trip(s, "energy", 5.0, energy=1.0, limit=0.5)
    first = s.trips["energy"]
    trip(s, "energy", 9.0, energy=2.0, limit=0.5)
    assert s.trips["energy"] is first and first.time_s == 5.0 and first.fault == "energy"
    assert str(first) == f"energy: {first.seen}. {first.done} Check: {first.check}" and first.seen and first.done and first.check
