"""The reference: what a schedule asks for, second by second, and its preview."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.control import reference
from tests.control.control_cases import schedule_of


def walk(schedule, follow, seconds, start=20.0, dt=1.0, always=False):
    """The reference over time when the oven's temperature is `follow(reference, last)`."""
    legs = reference.legs_of(schedule)
    p, value, line = reference.begin(legs, start), start, []
    for _ in range(int(seconds / dt)):
        value = follow(p.reference_c, value)
        p = reference.advance(legs, p, value, dt, always)
        line.append((p.reference_c, p.done, p.waiting, value))
        if p.done:
            break
    return line, p


def perfect(target, value):
    return value if math.isnan(target) else target


def test_ramp_takes_the_time_its_rate_says():
    line, p = walk(schedule_of(dict(to_c=80.0, at_k_per_s=0.1, hold_s=100.0)), perfect, 5000)
    assert p.done and len(line) == pytest.approx(600 + 100, abs=3)
    assert line[299][0] == pytest.approx(50.0, abs=0.2)


def test_time_to_get_there_is_kept():
    line, _ = walk(schedule_of(dict(to_c=100.0, in_s=400.0)), perfect, 1000)
    assert len(line) == pytest.approx(400, abs=2)


def test_soak_counts_only_inside_its_band_unless_it_always_counts():
    def late(target, value):
        return min(target, value + 0.1) if not math.isnan(target) else value

    steps = dict(to_c=60.0, at_k_per_s=1.0, hold_s=60.0, within_k=2.0)
    inside, _ = walk(schedule_of(steps), late, 5000)
    always, _ = walk(schedule_of(steps), late, 5000, always=True)
    assert len(inside) - len(always) > 15
    assert inside[-2][3] >= 58.0


@pytest.mark.parametrize("counts", ["in band", "from arrival"])
def test_a_soak_after_a_jump_counts_from_the_arrival_not_from_the_steps_start(counts):
    """The way up takes 45 min, more than the hold of 30 min: counted from the step's start, the soak would be over
    before it begins."""
    schedule = schedule_of(dict(to_c=200.0, hold_s=1800.0), dict(to_c=290.0, hold_s=1800.0))
    line, p = walk(
        schedule, lambda target, value: min(target, value + 180.0 / 2700.0), 10_000, always=counts == "from arrival"
    )
    assert p.done
    first = next(i for i, (*_, value) in enumerate(line) if value >= 200.0 - 3.0)
    left = next(i for i, (reference_c, *_) in enumerate(line) if reference_c == 290.0)
    second = next(i for i, (*_, value) in enumerate(line) if value >= 290.0 - 3.0)
    assert first == pytest.approx(2655, abs=3) and second - left > 1200, "each way up takes its own time"
    assert left - first == pytest.approx(1800, abs=2) and len(line) - second == pytest.approx(1800, abs=2)


def test_a_jump_that_passes_through_its_band_and_leaves_it_counts_only_what_lies_inside():
    """In the band for a minute, out for ten, and back: with `in band` the ten minutes do not count."""

    def follow(target, value, at=[0]):  # noqa: B006 - the time of this walk
        at[0] += 1
        return 20.0 + 0.2 * at[0] if at[0] < 900 else 190.0 if 960 < at[0] <= 1560 else 200.0

    line, p = walk(schedule_of(dict(to_c=200.0, hold_s=1800.0)), follow, 10_000)
    inside = [i for i, (*_, value) in enumerate(line) if abs(value - 200.0) <= 3.0]
    assert p.done and len(inside) == pytest.approx(1800, abs=2) and len(line) - inside[0] == pytest.approx(2400, abs=2)


def test_ramp_waits_for_an_oven_that_falls_behind():
    line, _ = walk(schedule_of(dict(to_c=200.0, at_k_per_s=1.0)), lambda target, value: value + 0.2, 3000)
    assert any(w for _, _, w, _ in line)
    assert max(r - v for r, _, _, v in line) <= reference.BEHIND_K + 2.0


def test_let_cool_has_no_reference_and_ends_by_temperature():
    line, p = walk(
        schedule_of(dict(to_c=100.0), dict(to_c=60.0, let_cool=True)),
        lambda t, v: v - 0.5 if math.isnan(t) else 100.0,
        500,
    )
    assert p.done and math.isnan(line[10][0]) and line[-1][3] <= 60.0


def test_requests_hold_go_on_skip_and_soak():
    legs = reference.legs_of(
        schedule_of(dict(to_c=100.0, at_k_per_s=0.1, hold_s=50.0), dict(to_c=150.0, at_k_per_s=0.1))
    )
    p = reference.begin(legs, 20.0)
    for _ in range(100):
        p = reference.advance(legs, p, p.reference_c, 1.0)
    held = p._replace(held=True)
    assert reference.advance(legs, held, 30.0, 100.0) == held
    skipped = reference.skip(legs, held._replace(added_s=60.0), 28.0)
    assert (skipped.leg, skipped.reference_c, skipped.rate_k_per_s) == (2, 28.0, 0.1), (
        "the step after it, at its own rate, from where the oven is"
    )
    assert not skipped.held and skipped.added_s == 0.0
    assert reference.skip(legs, skipped, 40.0).done
    longer = p._replace(leg=1, reference_c=100.0, rate_k_per_s=0.0, added_s=100.0)
    for _ in range(140):
        longer = reference.advance(legs, longer, 100.0, 1.0)
    assert legs[longer.leg].kind == "hold"


def test_a_soak_that_is_skipped_to_is_gone_to_at_the_rate_that_leads_there():
    legs = reference.legs_of(schedule_of(dict(to_c=120.0, at_k_per_s=5.0 / 60.0), dict(hold_s=300.0), dict(to_c=150.0)))
    p = reference.skip(legs, reference.begin(legs, 20.0), 62.0)
    assert (legs[p.leg].kind, p.reference_c, p.rate_k_per_s) == ("hold", 62.0, 5.0 / 60.0)
    way_s = (120.0 - 62.0) / (5.0 / 60.0)
    assert reference.seconds_left(legs, p) == pytest.approx(way_s + 300.0)
    times, values = reference.preview(legs, p, 5000.0)
    assert times[:3] == pytest.approx([0.0, way_s, way_s + 300.0]) and values[:3] == [62.0, 120.0, 120.0]
    behind = reference.advance(legs, p._replace(reference_c=80.0), 62.0, 1.0)
    assert behind.waiting and behind.reference_c == 80.0, "it waits for an oven that falls behind, as a ramp does"
    ticks = 0
    while legs[p.leg].kind == "hold":
        last, p = p, reference.advance(legs, p, p.reference_c, 1.0)
        ticks += 1
        assert legs[p.leg].kind != "hold" or p.reference_c - last.reference_c <= 5.0 / 60.0 + 1e-12
        assert not p.counted_s or p.reference_c == 120.0, "nothing counts before it is there"
    assert ticks == pytest.approx(way_s + 300.0, abs=2.0)
    # If the oven is at the temperature already, the soak begins at once; a step without a rate is as fast as the oven
    # can go.
    near = reference.skip(legs, reference.begin(legs, 20.0), 119.0)
    assert (near.reference_c, near.rate_k_per_s) == (120.0, 0.0)
    legs = reference.legs_of(schedule_of(dict(to_c=120.0), dict(hold_s=300.0)))
    assert reference.skip(legs, reference.begin(legs, 20.0), 62.0).reference_c == 120.0


@pytest.mark.parametrize("always", [False, True])
def test_a_soak_that_is_skipped_to_without_a_rate_counts_from_its_arrival(always):
    """With `soak counts: from arrival` it counted from the skip: half an hour below the temperature was half a soak."""
    legs = reference.legs_of(schedule_of(dict(to_c=120.0), dict(hold_s=300.0)))
    p, value, counted = reference.skip(legs, reference.begin(legs, 20.0), 62.0), 62.0, []
    while not p.done:
        value = min(120.0, value + 0.1)
        p = reference.advance(legs, p, value, 1.0, always)
        counted.append(p.counted_s)
    arrived = sum(62.0 + 0.1 * (i + 1) < 117.0 for i in range(len(counted)))
    assert arrived > 500 and not any(counted[: arrived - 1]) and len(counted) - arrived == pytest.approx(300, abs=2)
    # Once it was there its time goes on, in or out of the band, where the schedule says so.
    out = reference.advance(legs, reference.skip(legs, reference.begin(legs, 20.0), 62.0), 119.0, 1.0)
    out = reference.advance(legs, out, 80.0, 1.0, always)
    assert out.counted_s == (2.0 if always else 1.0)


def test_a_jump_after_a_ramp_is_not_begun_before_the_ramp_has_ended():
    """A quick furnace began it nine seconds early, and was 125 K above the ramp when that ended. The ramp is taken to
    go on, not to end, so that nothing slows down for the corner; the other way there is nothing to go on with."""
    ramp = dict(to_c=100.0, at_k_per_s=0.5)
    legs = reference.legs_of(schedule_of(ramp, dict(to_c=300.0)))
    p = reference.begin(legs, 20.0)
    assert reference.preview(legs, p, 200.0) == ([0.0, 160.0, 200.0], [20.0, 100.0, 120.0])
    assert reference.preview(legs, p, 1e4) == ([0.0, 160.0, 560.0], [20.0, 100.0, 300.0]), "never beyond its target"
    at_the_end = p._replace(reference_c=100.0)
    assert reference.preview(legs, at_the_end, 40.0) == ([0.0, 0.0, 40.0], [100.0, 100.0, 120.0])
    legs = reference.legs_of(schedule_of(ramp, dict(to_c=40.0)))
    assert reference.preview(legs, reference.begin(legs, 20.0), 200.0) == ([0.0, 160.0], [20.0, 100.0])
    legs = reference.legs_of(schedule_of(dict(to_c=50.0, in_s=60.0), ramp, dict(to_c=300.0)))
    times, values = reference.preview(legs, reference.begin(legs, 20.0), 200.0)
    assert times == pytest.approx([0.0, 60.0, 160.0, 200.0]) and values == pytest.approx([20.0, 50.0, 100.0, 120.0])


@given(
    st.lists(
        st.tuples(st.floats(30.0, 250.0), st.sampled_from(["rate", "time", "jump"]), st.floats(0.0, 300.0)),
        min_size=1,
        max_size=5,
    ),
    st.floats(1.0, 500.0),
)
def test_preview_is_what_then_comes(steps, ahead):
    """On an oven that follows perfectly, the previewed reference is the later reference (up to the first jump)."""
    if any(kind == "jump" for _, kind, _ in steps):
        steps = [(t, "rate", h) for t, _, h in steps]
    made = [
        dict(to_c=t, hold_s=h, **({"at_k_per_s": 0.2} if kind == "rate" else {"in_s": 200.0})) for t, kind, h in steps
    ]
    legs = reference.legs_of(schedule_of(*made))
    p = reference.begin(legs, 20.0)
    times, values = reference.preview(legs, p, ahead)
    expected = np.interp(ahead, times, values)
    # Each leg loses up to one tick on entering the next; small ticks keep that small.
    count = math.ceil(ahead * 20)
    dt = ahead / count
    for _ in range(count):
        p = reference.advance(legs, p, p.reference_c, dt)
    assert p.reference_c == pytest.approx(expected, abs=0.3)
