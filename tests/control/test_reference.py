"""The reference: what a schedule asks, second by second, and what is foreseen of it."""

import dataclasses
import math

import numpy as np
import pytest
from control_cases import schedule_of
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.control import reference


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


def test_soak_counts_only_inside_its_band_unless_told():
    def late(target, value):
        return min(target, value + 0.1) if not math.isnan(target) else value

    steps = dict(to_c=60.0, at_k_per_s=1.0, hold_s=60.0, within_k=2.0)
    inside, _ = walk(schedule_of(steps), late, 5000)
    always, _ = walk(schedule_of(steps), late, 5000, always=True)
    assert len(inside) - len(always) > 15
    assert inside[-2][3] >= 58.0


def test_ramp_waits_for_an_oven_that_falls_behind():
    line, _ = walk(schedule_of(dict(to_c=200.0, at_k_per_s=1.0)), lambda target, value: value + 0.2, 3000)
    assert any(w for _, _, w, _ in line)
    assert max(r - v for r, _, _, v in line) <= reference.BEHIND_K + 2.0


def test_let_cool_has_no_reference_and_ends_by_temperature():
    line, p = walk(schedule_of(dict(to_c=100.0), dict(to_c=60.0, let_cool=True)), lambda t, v: v - 0.5 if math.isnan(t) else 100.0, 500)
    assert p.done and math.isnan(line[10][0]) and line[-1][3] <= 60.0


def test_requests_hold_go_on_skip_and_soak():
    legs = reference.legs_of(schedule_of(dict(to_c=100.0, at_k_per_s=0.1, hold_s=50.0), dict(to_c=150.0, at_k_per_s=0.1)))
    p = reference.begin(legs, 20.0)
    for _ in range(100):
        p = reference.advance(legs, p, p.reference_c, 1.0)
    held = dataclasses.replace(p, held=True)
    assert reference.advance(legs, held, 30.0, 100.0) == held
    skipped = reference.skip(legs, p, 30.0)
    assert legs[skipped.leg].kind == "hold"
    longer = dataclasses.replace(skipped, added_s=100.0)
    for _ in range(140):
        longer = reference.advance(legs, longer, 100.0, 1.0)
    assert legs[longer.leg].kind == "hold"


@given(st.lists(st.tuples(st.floats(30.0, 250.0), st.sampled_from(["rate", "time", "jump"]), st.floats(0.0, 300.0)), min_size=1, max_size=5),
       st.floats(1.0, 500.0))  # fmt: skip
def test_preview_is_what_then_comes(steps, ahead):
    """On an oven that follows perfectly, the previewed reference is the later reference (up to the first jump)."""
    if any(kind == "jump" for _, kind, _ in steps):
        steps = [(t, "rate", h) for t, _, h in steps]
    made = [dict(to_c=t, hold_s=h, **({"at_k_per_s": 0.2} if kind == "rate" else {"in_s": 200.0})) for t, kind, h in steps]
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
