"""What a latched trip looks like in the state file, and what is read back from one of any content."""

import math

import pytest

from kilnctl.safety import Policy, Trip
from kilnctl.safety.messages import OFF
from kilnctl.service.saved_trips import LARGEST, from_saved, limits_from_saved, limits_to_saved, number, to_saved

OVEN = Policy(chamber_trip_c=250.0, schedule_trip_c=250.0)
STUCK = Trip("sensor-stuck", 71.5, "heat off", "it stood still", "the thermocouple")
WORDS = dict(fault="sensor-stuck", time_s=71.5, act="heat off", seen="it stood still", check="the thermocouple")


def test_a_trip_is_saved_with_what_was_believed_and_when_on_the_wall_clock():
    assert to_saved((STUCK,), {"sensor-stuck": (172.0, 30.0)}, 1e9) == [
        WORDS | dict(then_c=172.0, then_wall_s=1e9 - 30.0)
    ]
    assert to_saved((STUCK,), {"another": (172.0, 30.0)}, 1e9) == [WORDS | dict(then_c=None, then_wall_s=None)]


def test_it_comes_back_word_for_word_and_ages_by_the_wall_clock():
    saved = to_saved((STUCK,), {"sensor-stuck": (172.0, 30.0)}, 1e9)
    assert from_saved(saved, 1e9 + 100.0) == ((STUCK,), {"sensor-stuck": (172.0, 130.0)})
    assert from_saved(saved, 1e9 - 100.0) == ((STUCK,), {"sensor-stuck": (172.0, 0.0)}), "the clock went back"


@pytest.mark.parametrize("saved", [None, [], (), "", 0, False])
def test_nothing_saved_is_no_trip(saved):
    assert from_saved(saved, 1e9) == ((), {})


@pytest.mark.parametrize("saved", [True, 1, "x", {"a": 1}, [3], [None], [{}], [{"time_s": "soon", "then_c": 5.0}]])
def test_what_may_have_held_a_trip_is_one_of_unknown_cause(saved):
    (trip,), believed = from_saved(saved, 1e9)
    assert (trip.fault, trip.act, trip.seen, trip.check) == ("unknown", OFF, "a trip of the last run", "")
    assert math.isnan(trip.time_s) and believed == {}


def test_each_damaged_item_is_a_trip_of_its_own():
    trips, _ = from_saved([WORDS, {}, 7], 1e9)
    assert [t.fault for t in trips] == ["sensor-stuck", "unknown", "unknown"]
    assert trips[0].seen == "it stood still" and trips[0].time_s == 71.5


@pytest.mark.parametrize("half", [dict(then_c=172.0), dict(then_wall_s=1e9), dict(then_c="hot", then_wall_s=1e9)])
def test_half_of_what_was_believed_is_nothing(half):
    assert from_saved([WORDS | half], 1e9)[1] == {}


@pytest.mark.parametrize("value", [True, None, "5", math.nan, math.inf, -math.inf, LARGEST, -LARGEST, 1.1e15, -1.1e15])
def test_what_is_no_number_of_ours(value):
    assert number(value) is None


@pytest.mark.parametrize("value", [0, -3, 7.25, 0.99e15, -0.99e15])
def test_what_is_one(value):
    assert number(value) == value and type(number(value)) is float


def test_limits_of_the_run_that_tripped_narrow_those_of_the_oven():
    policy = Policy(chamber_trip_c=250.0, schedule_trip_c=150.0, airflow_required=True)
    saved = limits_to_saved(policy)
    assert saved["schedule_trip_c"] == 150.0 and saved["airflow_required"] is True
    assert all(math.isfinite(v) for v in saved.values())
    assert limits_from_saved(saved) == saved
    assert limits_from_saved({"schedule_trip_c": "hot", "airflow_required": 1, "other": 5.0}) == {}
    assert limits_from_saved(None) == limits_from_saved([1]) == {}


def test_a_limit_that_the_oven_cannot_have_is_left_out():
    good = limits_from_saved({"schedule_trip_c": 150.0, "part_trip_c": -1e9, "airflow_required": True}, OVEN)
    assert good == {"schedule_trip_c": 150.0, "airflow_required": True}
