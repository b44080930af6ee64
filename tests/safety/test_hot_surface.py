"""Hot surfaces are announced until they are cool, across restarts and clocks that are set."""

import dataclasses
import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.model.day_zero import day_zero
from kilnctl.safety import hot_surface
from kilnctl.safety.hot_surface import (
    SAFE_C,
    HotSurface,
    cooling_tau_s,
    doubted,
    estimate_c,
    from_mapping,
    renewed,
    seen,
    to_mapping,
)


def test_the_estimate_is_exponential_towards_the_room():
    last = seen(220.0, 1000.0, 20.0, 3600.0)
    assert estimate_c(last, 1000.0) == 220.0
    assert estimate_c(last, 4600.0) == pytest.approx(20.0 + 200.0 / math.e)
    assert estimate_c(last, 900.0) == 220.0 == estimate_c(last, math.nan) == estimate_c(last, math.inf), (
        "a clock that went back cools nothing"
    )


def test_the_last_known_is_whole_numbers_cannot_be_changed_and_is_usually_of_a_room_and_a_kiln():
    last = HotSurface(200.0, 5.0)
    assert last == seen(200, 5) == HotSurface(200.0, 5.0, 20.0, 6.0 * 3600.0) and not hasattr(last, "__dict__")
    assert seen(200.0, 5.0, tau_s=0.5).tau_s == 0.5
    for f in dataclasses.fields(last):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(last, f.name, 1.0)


def test_the_notice_stands_until_fifty_degrees():
    last = seen(220.0, 0.0, 20.0, 3600.0)
    cool_s = 3600.0 * math.log(200.0 / 30.0)
    assert "estimated at 50 °C" in hot_surface.notice(last, cool_s - 1.0)
    assert hot_surface.notice(last, cool_s + 1.0) == ""
    assert "estimated at 220 °C" in hot_surface.notice(last, 0.0)
    assert hot_surface.notice(seen(49.9, 0.0), 0.0) == "" and hot_surface.notice(seen(50.0, 0.0), 0.0) != ""


def test_a_clock_set_back_leaves_the_notice():
    last = seen(60.0, 1000.0)
    assert "clock has been set" in hot_surface.notice(last, 994.9) and "estimated" in hot_surface.notice(last, 995.0)
    for odd in (math.nan, math.inf):
        assert "MAY BE HOT" in hot_surface.notice(last, odd)


def test_an_unknown_temperature_counts_as_hot():
    assert "nobody knows" in hot_surface.notice(None, 0.0) and "nobody knows" in hot_surface.notice(None, 0.0, math.nan)
    assert hot_surface.notice(None, 0.0, 30.0) == "" and "about 60 °C" in hot_surface.notice(None, 0.0, 60.0)


def test_a_reading_of_now_counts_unless_it_is_far_below_the_estimate():
    """A sensor that shows a cold oven an hour after 800 °C is a broken sensor, not a cold oven."""
    last = seen(800.0, 0.0)
    assert "about 640 °C" in hot_surface.notice(last, 3600.0, 640.0)
    assert "estimated" not in hot_surface.notice(last, 3600.0, 30.0) and "HOT" in hot_surface.notice(last, 3600.0, 30.0)
    assert f"{estimate_c(last, 3600.0):.0f} °C" in hot_surface.notice(last, 3600.0, 30.0)
    assert (
        hot_surface.notice(seen(99.9, 0.0), 0.0, 49.9) == "" and hot_surface.notice(seen(100.0, 0.0), 0.0, 49.9) != ""
    )
    assert "about 50 °C" in hot_surface.notice(seen(60.0, 0.0), 0.0, 50.0)


def test_it_survives_a_restart_and_a_damaged_file_counts_as_hot():
    last = seen(220, 1.5e9, 18.0, 7200)
    assert from_mapping(json.loads(json.dumps(to_mapping(last)))) == last
    good = to_mapping(last)
    damaged: tuple[Any, ...] = (
        {},
        {**good, "tau_s": 0.0},
        {**good, "chamber_c": None},
        {**good, "wall_s": "then"},
        {**good, "ambient_c": math.nan},
        None,
        [1],
    )
    for bad in damaged:
        assert from_mapping(bad) is None


@pytest.mark.parametrize("k", range(4))
@pytest.mark.parametrize("bad", [math.nan, math.inf, None])
def test_numbers_that_are_none_are_refused(k, bad):
    values = [200.0, 0.0, 20.0, 3600.0]
    values[k] = bad
    with pytest.raises(ValueError, match="finite"):
        seen(*values)
    with pytest.raises(ValueError):
        seen(200.0, 0.0, 20.0, -1.0)


@given(st.floats(30.0, 1300.0), st.floats(0.0, 1e6), st.floats(600.0, 1e5))
def test_the_estimate_only_falls_and_never_below_the_room(chamber, later, tau):
    last = HotSurface(chamber, 0.0, 20.0, tau)
    assert 20.0 <= estimate_c(last, later + 60.0) <= estimate_c(last, later) <= chamber


@pytest.mark.parametrize("name", ["curing-cabinet", "brick-kiln", "bench-muffle"])
def test_the_cooling_time_is_slower_than_the_model_cools(oven, name):
    """The notice must not go before the model's own chamber is below 50 °C."""
    o = oven(name)
    model, hot = day_zero(o, o.usual_load), 0.8 * o.limits.highest_c
    last = seen(hot, 0.0, model.ambient_c, cooling_tau_s(model, hot))
    x, t = model.steady(hot)[0], 0.0
    while x[1] > 50.0:
        x, t = model.step(x, 0.0, 20.0, model.ambient_c), t + 20.0
    assert hot_surface.notice(last, t) != "" and t > 1000.0
    assert hot_surface.notice(last, 12.0 * t) == ""


class Lumps:
    """Four lumps, two of them lining, with a given loss, W."""

    ambient_c, element_j_per_k, chamber_j_per_k, lining_j_per_k, contents_j_per_k = (
        20.0,
        1.0,
        10.0,
        (100.0, 1000.0),
        10000.0,
    )

    def __init__(self, loss_w):
        self.loss_w = loss_w

    def steady(self, hot_c):
        return (hot_c + 5.0, hot_c, hot_c - 2.0, hot_c - 8.0, hot_c - 1.0), self.loss_w


@pytest.mark.parametrize("loss_w", [0.5, 2000.0])
def test_the_cooling_time_is_twice_the_stored_heat_over_the_loss(loss_w):
    stored = 1.0 * 185.0 + 10.0 * 180.0 + 100.0 * 178.0 + 1000.0 * 172.0 + 10000.0 * 179.0
    assert cooling_tau_s(Lumps(loss_w), 200.0) == pytest.approx(2.0 * stored / loss_w)
    assert cooling_tau_s(Lumps(0.0), 200.0) == cooling_tau_s(Lumps(-5.0), 200.0) == 21600.0
    assert cooling_tau_s(Lumps(loss_w), 29.99) == 21600.0 != cooling_tau_s(Lumps(loss_w), 30.0)


def test_without_a_rise_or_a_loss_the_usual_time_is_taken(oven):
    model = day_zero(oven("curing-cabinet"))
    assert cooling_tau_s(model, model.ambient_c + 9.0) == 21600.0
    assert cooling_tau_s(model.but(extra_w=1e5), 200.0) == 21600.0


# ---- updates: a reading that may be too low does not lower the known temperature -------------------------------------


def hot(chamber_c=220.0, wall_s=1000.0):
    return seen(chamber_c, wall_s, 20.0, 3600.0)


@pytest.mark.parametrize(
    ("faults", "low"),
    [
        ((), False),
        (("over-oven", "energy"), False),
        (("energy", "sensor-jump"), True),
        (("sensor-open",), True),
        (("reading-fell",), True),
        (("sensors-disagree",), True),
        (("falls-when-heated",), True),
        (("cold-junction",), True),
        (("limit-sensor",), False),
    ],
)
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
    assert renewed(last, hot(219.0, 1060.0), 1060.0, True) == hot(219.0, 1060.0), "above what is left after a minute"
    assert "estimated" in hot_surface.notice(renewed(last, hot(24.0, 1060.0), 1060.0, True), 1060.0)


def test_of_two_that_agree_the_newer_is_kept():
    last, new = hot(), hot()
    assert renewed(last, new, 1000.0, True) is new


def test_what_was_believed_before_the_trip_raises_it_again():
    """It had followed a falling reading down to 90 °C before the trip was latched; ten minutes ago it was at 220 °C."""
    lowered, before = hot(90.0, 1000.0), hot(220.0, 400.0)
    kept = renewed(lowered, before, 1000.0, True)
    assert kept is not None and kept is before and estimate_c(kept, 1000.0) > 180.0
    assert renewed(kept, hot(30.0, 1000.0), 1000.0, True) is before


def test_an_oven_that_cannot_have_cooled_so_far_is_not_taken_for_cool():
    last = hot(800.0)
    assert renewed(last, hot(49.9, 1060.0), 1060.0, False) is last
    assert renewed(last, hot(SAFE_C, 1060.0), 1060.0, False) is not last, "warm is a notice of its own"
    assert renewed(hot(100.0), hot(49.0), 1000.0, False) == hot(100.0)
    assert renewed(hot(99.9), hot(49.0), 1000.0, False) == hot(49.0)


def test_what_is_unknown_is_not_learnt_from_a_doubted_reading():
    assert renewed(None, hot(24.0), 1000.0, True) is None and renewed(None, hot(24.0), 1000.0, False) == hot(24.0)
    assert renewed(None, hot(50.0), 1000.0, True) == hot(50.0)
