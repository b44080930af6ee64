"""The curve in memory: long runs are thinned evenly, and peaks stay."""

import math

import numpy as np
import pytest

from kilnctl.record.columns import INDEX, NAMES
from kilnctl.service import live_curve
from kilnctl.service.live_curve import LiveCurve


def row(time_s, chamber_c):
    values = [math.nan] * len(NAMES)
    values[INDEX["time_s"]], values[INDEX["chamber_c"]] = time_s, chamber_c
    return tuple(values)


def filled(curve, count, chamber_c=lambda t: 20.0 + 0.001 * t):
    for t in range(count):
        curve.add(row(float(t), chamber_c(t)))
    return np.array(curve.since(0, 10**9)[1]["time_s"]), np.array(curve.since(0, 10**9)[1]["chamber_c"])


def test_every_hour_of_a_long_run_is_drawn_as_finely_as_every_other(monkeypatch):
    """At 39 hours the first hour had 15 rows of 3600, the last 3600."""
    monkeypatch.setattr(live_curve, "MOST_ROWS", 1000)
    curve = LiveCurve()
    times, _ = filled(curve, 20_000)
    assert 500 <= len(times) <= 1000 and curve.thinned == 5
    hours, _ = np.histogram(times, bins=20, range=(0.0, times[-1]))
    assert hours.min() >= 0.8 * hours.max(), hours
    assert np.all(np.diff(times) > 0.0) and times[0] < 64.0 and times[-1] > 20_000 - 65.0


@pytest.mark.parametrize("at", [3, 7777, 19_000])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_peak_of_one_sample_stays_however_often_it_is_thinned(monkeypatch, at, sign):
    monkeypatch.setattr(live_curve, "MOST_ROWS", 1000)
    _, chamber = filled(LiveCurve(), 20_000, lambda t: 100.0 + sign * 50.0 * (t == at))
    assert 100.0 + sign * 50.0 in chamber


def test_a_short_run_is_kept_as_it_is_and_no_reading_is_no_peak():
    curve = LiveCurve()
    times, chamber = filled(curve, 50, lambda t: math.nan if t % 3 else 20.0)
    assert list(times) == list(range(50)) and curve.thinned == 0 and np.isnan(chamber[1])
