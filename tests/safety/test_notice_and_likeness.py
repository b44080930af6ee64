"""Hot surfaces are announced until they are cool, across restarts; limits unlike the last run's are shown before there is heat."""

import dataclasses
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.model.day_zero import day_zero
from kilnctl.safety import Policy, likeness, notice, policy_for
from kilnctl.safety.notice import SAFE_C, USUAL_TAU_S, HotSurface, cooling_tau_s, estimate_c, from_mapping, seen, to_mapping

BASE = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)


def test_the_estimate_is_exponential_towards_the_room():
    last = seen(220.0, 1000.0, 20.0, 3600.0)
    assert estimate_c(last, 1000.0) == 220.0
    assert estimate_c(last, 4600.0) == pytest.approx(20.0 + 200.0 / math.e)
    assert estimate_c(last, 900.0) == 220.0 == estimate_c(last, math.nan), "a clock that went back cools nothing"


def test_the_notice_stands_until_fifty_degrees():
    last = seen(220.0, 0.0, 20.0, 3600.0)
    cool_s = 3600.0 * math.log(200.0 / 30.0)
    assert "estimated at 50 °C" in notice.notice(last, cool_s - 1.0)
    assert notice.notice(last, cool_s + 1.0) == ""
    assert "estimated at 220 °C" in notice.notice(last, 0.0)
    assert notice.notice(seen(49.9, 0.0), 0.0) == "" and notice.notice(seen(50.0, 0.0), 0.0) != ""


def test_a_clock_set_back_leaves_the_notice():
    last = seen(60.0, 1000.0)
    assert "clock has been set" in notice.notice(last, 994.9) and "estimated" in notice.notice(last, 995.0)
    for odd in (math.nan, math.inf):
        assert "MAY BE HOT" in notice.notice(last, odd)


def test_what_nobody_knows_counts_as_hot():
    assert "nobody knows" in notice.notice(None, 0.0) and "nobody knows" in notice.notice(None, 0.0, math.nan)
    assert notice.notice(None, 0.0, 30.0) == "" and "about 60 °C" in notice.notice(None, 0.0, 60.0)


def test_a_reading_of_now_counts_unless_it_is_far_below_the_estimate():
    """A sensor that shows a cold oven an hour after 800 °C is a broken sensor, not a cold oven."""
    last = seen(800.0, 0.0)
    assert "about 640 °C" in notice.notice(last, 3600.0, 640.0)
    assert "estimated" not in notice.notice(last, 3600.0, 30.0) and "HOT" in notice.notice(last, 3600.0, 30.0)
    assert f"{estimate_c(last, 3600.0):.0f} °C" in notice.notice(last, 3600.0, 30.0)
    assert notice.notice(seen(99.9, 0.0), 0.0, 49.9) == "" and notice.notice(seen(100.1, 0.0), 0.0, 49.9) != ""
    assert notice.notice(seen(60.0, 0.0), 0.0, SAFE_C) != ""


def test_it_survives_a_restart_and_a_damaged_file_counts_as_hot():
    last = seen(220, 1.5e9, 18.0, 7200)
    assert from_mapping(json.loads(json.dumps(to_mapping(last)))) == last
    good = to_mapping(last)
    for bad in ({}, {**good, "tau_s": 0.0}, {**good, "chamber_c": None}, {**good, "wall_s": "then"}, {**good, "ambient_c": math.nan}, None, [1]):
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
    while x[1] > SAFE_C:
        x, t = model.step(x, 0.0, 20.0, model.ambient_c), t + 20.0
    assert notice.notice(last, t) != "" and t > 1000.0
    assert notice.notice(last, 12.0 * t) == ""


def test_without_a_rise_or_a_loss_the_usual_time_is_taken(oven):
    model = day_zero(oven("curing-cabinet"))
    assert cooling_tau_s(model, model.ambient_c + 9.0) == USUAL_TAU_S
    assert cooling_tau_s(model.but(extra_w=1e5), 200.0) == USUAL_TAU_S


# ---- likeness ------------------------------------------------------------------------------------------------------


def test_the_same_limits_need_no_word_and_survive_a_file():
    for policy in (Policy(**BASE), Policy(**BASE, part_trip_c=200.0, most_energy_j=1e8, nominal_v=230.0, door_switch=True)):
        assert likeness.unlike(policy, json.loads(json.dumps(likeness.to_mapping(policy)))) == ()


@pytest.mark.parametrize("name", likeness.WATCHED)
def test_each_watched_limit_that_differs_is_named(name):
    words, _, same = likeness.WATCHED[name]
    base = dict(BASE, part_trip_c=200.0, most_energy_j=1e8, nominal_v=230.0)
    last = likeness.to_mapping(Policy(**base))
    value = getattr(Policy(**base), name)
    assert likeness.unlike(dataclasses.replace(Policy(**base), **{name: value - 0.99 * same}), last) == ()
    found = likeness.unlike(dataclasses.replace(Policy(**base), **{name: value - 1.01 * same}), last)
    assert len(found) == 1 and words in found[0] and f"{value:g}" in found[0]
    for damage in ({k: v for k, v in last.items() if k != name}, {**last, name: "much"}, {**last, name: math.nan}):
        assert likeness.unlike(Policy(**base), damage) == (f"{words} is not in the record of the last run",)


@pytest.mark.parametrize("name", likeness.SWITCHES)
def test_each_switch_that_differs_is_named(name):
    last = likeness.to_mapping(Policy(**BASE))
    assert likeness.unlike(Policy(**BASE, **{name: True}), last) == (f"that {likeness.SWITCHES[name]}: yes now, no in the last run",)
    assert likeness.unlike(Policy(**BASE), {**last, name: True}) == (f"that {likeness.SWITCHES[name]}: no now, yes in the last run",)


def test_a_limit_that_was_or_is_not_set_is_named():
    none, some = Policy(**BASE), Policy(**BASE, part_trip_c=200.0, nominal_v=230.0)
    assert likeness.unlike(some, likeness.to_mapping(none)) == (
        "the part's limit is 200 °C; in the last run it was not set", "the nominal supply is 230 V; in the last run it was not set",
    )  # fmt: skip
    assert "the part's limit is not set; in the last run it was 200 °C" in likeness.unlike(none, likeness.to_mapping(some))


@pytest.mark.parametrize("last", [None, {}])
def test_a_first_run_needs_a_word_too(last):
    assert likeness.unlike(Policy(**BASE), last) == ("there is no earlier run of this oven to compare its limits with",)


def test_another_ovens_file_does_not_pass_for_this_one(oven, schedule):
    cabinet, kiln = policy_for(oven("curing-cabinet")), policy_for(oven("brick-kiln"))
    assert any("the oven's trip is 1125 °C; in the last run it was 275 °C" in w for w in likeness.unlike(kiln, likeness.to_mapping(cabinet)))
    # Schedules differ by nature; what is compared is the oven's own policy.
    assert likeness.unlike(policy_for(oven("curing-cabinet")), likeness.to_mapping(cabinet)) == ()
