"""Summaries of runs that can be checked by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kilnctl.output import IMPERIAL, Units
from kilnctl.record.columns import NAMES
from kilnctl.record.run_data import RunData, UnknownOven
from kilnctl.report.summary_text import summaries_compared, summary_text
from kilnctl.run.summary import cure_share, judged, smooth, summarise
from kilnctl.settings.schedule import Cure, Schedule, Step
from tests.record.made_runs import TRIP, made


def run_of(schedule: Schedule, time, chamber, energy_j=3.6e6, **given) -> RunData:
    """A finished run of these samples; what is not given is not known, and nothing is fired."""
    n = len(time)
    data = {name: np.full(n, math.nan) for name in NAMES if name != "reason"} | {"fired": np.zeros(n)}
    data |= {"time_s": np.asarray(time, float), "reason": np.array([""] * n, dtype=object)}
    data |= {name: np.asarray(chamber, float) for name in ("chamber_c", "true_chamber_c")}
    return RunData(
        oven=UnknownOven("by hand"),
        schedule=schedule,
        outcome="finished",
        trips=(),
        events=(),
        data=data | given,
        seed=None,
        controller="none",
        energy_j=energy_j,
    )


def made_run(time, chamber, schedule) -> RunData:
    """One step, followed exactly by the reference."""
    n = len(time)
    return run_of(schedule, time, chamber, reference_c=np.full(n, schedule.steps[0].to_c), step=np.ones(n))


def soak(hold=600.0, **more):
    return Schedule(name="s", steps=(Step(name="soak", to_c=200.0, hold_s=hold, within_k=3.0),), **more)


def test_summary_of_a_run_made_by_hand():
    """Up at 1 K/s from 100 to 202 °C, back to 200 at once, then a wobble of ±0.5 K: reached at 97 s,
    settled at 103 s."""
    time = np.arange(0.0, 703.0)
    chamber = np.where(time <= 102, 100.0 + time, 200.0 + 0.5 * np.sin(time / 20.0))
    s = summarise(made_run(time, chamber, soak()))
    only = s.soaks[0]
    assert (only.arrived_s, only.settled_s, only.end_s) == (97.0, 103.0, 702.0)
    assert s.overshoot_k == pytest.approx(2.0)
    assert abs(only.worst_k) == pytest.approx(0.5, abs=0.01) and only.rms_k == pytest.approx(
        0.5 / math.sqrt(2.0), abs=0.03
    )
    assert s.energy_kwh == pytest.approx(1.0) and s.highest_chamber_c == pytest.approx(202.0)
    assert "overshoot            2.00 K" in summary_text(s) and "3.60 °F" in summary_text(s, Units(IMPERIAL))


def test_a_landing_that_leaves_the_band_is_kept():
    """A chamber that came to its soak 24 K too hot was told to have kept to its band, without a word of that."""
    time = np.arange(0.0, 1500.0)
    up = np.minimum(100.0 + time, 224.0)
    chamber = np.where(time < 300, up, np.maximum(200.0, 224.0 - 0.2 * (time - 300.0)))
    s = summarise(made_run(time, chamber, soak()))
    assert s.soaks[0].past_k == pytest.approx(24.0) and abs(s.soaks[0].worst_k) <= 1.0
    below = summarise(made_run(time, np.maximum(300.0 - time, 199.5), soak())).soaks[0]
    assert below.past_k == pytest.approx(-0.5)
    assert summarise(made_run(time, np.minimum(100.0 + time, 200.0), soak())).soaks[0].past_k == 0.0


def test_a_soak_never_reached_is_said_so():
    s = summarise(made_run(np.arange(100.0), np.full(100, 150.0), soak()))
    assert math.isnan(s.soaks[0].arrived_s) and s.overshoot_k == 0.0
    assert "–" in summary_text(s)


def test_an_empty_run_has_a_summary():
    s = summarise(made_run([], [], soak()))
    assert s.duration_s == 0.0 and summary_text(s)


def test_swing_is_of_the_soak_and_not_of_the_landing():
    time = np.arange(0.0, 2000.0)
    chamber = np.where(
        time < 100, 100.0 + time, np.where(time < 300, 190.0, 200.0 + 4.0 * np.sign(np.sin(time / 60.0)))
    )
    assert summarise(made_run(time, np.minimum(chamber, 204.0), soak())).swing_k == pytest.approx(8.0)


def test_a_soak_too_short_for_a_swing_is_not_called_steady():
    """A thermostat that swung by 27 K in a soak of two minutes was printed with a swing of 0.00 K."""
    time = np.arange(0.0, 120.0)
    s = summarise(made_run(time, 200.0 + 4.0 * np.sin(time / 10.0), soak()))
    assert math.isfinite(s.soaks[0].arrived_s) and math.isnan(s.swing_k)
    assert "swing during the soak                          –" in summaries_compared(s, s, "thermostat")


def test_cure_equivalence_by_hand():
    """At the reference temperature a full cure takes the reference time; with Ea = 80 kJ/mol the rate at
    190 °C against 200 °C is exp(−80000/8.314462·(1/463.15 − 1/473.15)) = exp(−0.43908) = 0.6446
    (computed by hand)."""
    cure = Cure(at_c=200.0, time_s=600.0)
    time = np.arange(0.0, 601.0)
    assert cure_share(time, np.full(601, 200.0), cure) == pytest.approx(1.0, rel=1e-9)
    assert cure_share(time, np.full(601, 190.0), cure) == pytest.approx(0.6446, abs=1e-4)
    assert cure_share(time, np.full(601, 20.0), cure) < 1e-4


def test_a_cure_is_added_up_with_the_oldest_numpy_too(monkeypatch):
    """numpy 1.26, the oldest that pyproject.toml declares, has no `trapezoid`; numpy 2 has no `trapz`."""
    for name in ("trapezoid", "trapz"):
        monkeypatch.delattr(np, name, raising=False)
    time = np.array([0.0, 100.0, 400.0, 600.0])
    assert cure_share(time, np.full(4, 200.0), Cure(at_c=200.0, time_s=600.0)) == pytest.approx(1.0, rel=1e-9)


def test_cure_times_against_common_practice():
    """Powder sheets give about 10 min at 200, 15 at 190 and 20 to 25 at 180 °C on the metal (common
    practice). The default activation energy reproduces these times within a third."""
    cure = Cure(at_c=200.0, time_s=600.0)
    for t, minutes in ((190.0, 15.0), (180.0, 22.5)):
        time = np.arange(0.0, minutes * 60.0 + 1.0)
        assert 0.67 < cure_share(time, np.full(len(time), t), cure) < 1.34


def test_a_trip_is_in_the_summary_of_a_run():
    assert summarise(made(trips=(TRIP,))).trips == ((700.0, "over-temperature"),)


def stepped(steps, chamber, step, **columns) -> RunData:
    """One sample a second, each in the step that is given."""
    given = {"step": np.array(step, float)} | columns
    return run_of(Schedule(name="s", steps=steps), np.arange(float(len(chamber))), chamber, 0.0, **given)


def test_lagging_behind_a_falling_ramp_is_no_overshoot():
    """Up to 100 with 1 K too much; then down to 50 with the chamber 20 K behind; then let cool."""
    steps = (Step(to_c=100.0), Step(to_c=50.0, at_k_per_s=0.1), Step(to_c=40.0, let_cool=True))
    run = stepped(steps, [20.0, 101.0, 100.0, 70.0, 70.0, 45.0], [1, 1, 1, 2, 2, 3])
    assert summarise(run).overshoot_k == pytest.approx(1.0)


def test_a_followed_part_is_judged_by_the_best_there_is():
    steps = (Step(to_c=100.0, hold_s=60.0),)
    values = np.full(100, 99.0)
    for column, said in (
        ("part_c", "the sensor, averaged"),
        ("part_estimate_c", "the lower edge of the part's estimate"),
        ("true_part_c", "the virtual oven's own temperature of the part"),
    ):
        run = stepped(steps, np.full(100, 120.0), np.ones(100), **{column: values})
        run.schedule = replace(run.schedule, follows="part")
        value, what = judged(run)
        assert said in what and np.nanmax(value) == pytest.approx(99.0)


def test_smoothing_leaves_gaps_out():
    assert len(smooth(np.array([]), 5)) == 0
    np.testing.assert_allclose(smooth(np.array([1.0, math.nan, 3.0]), 3), [1.0, 2.0, 3.0])


def test_a_mean_over_more_than_there_is_has_one_value_a_sample():
    """A run of 3 s under a mean of a minute: each value is the mean of all that lie within 30 s of it."""
    np.testing.assert_allclose(smooth(np.array([1.0, 2.0, 6.0]), 61), [3.0, 3.0, 3.0])
    np.testing.assert_allclose(smooth(np.array([1.0, 2.0, 6.0, 7.0]), 5), [3.0, 4.0, 4.0, 5.0])
    assert np.isnan(smooth(np.array([math.nan, math.nan]), 3)).all()


def test_soak_ends_where_a_trip_ends_it():
    assert summarise(made(trips=(TRIP,))).soaks[0].end_s == 700.0
    assert summarise(made()).soaks[0].end_s > 2000.0


def test_a_soak_that_waited_for_what_a_part_might_be_says_so():
    """A soak of 600 s: the part as described was in its band for 3000 s before the slowest one had had its time."""
    time = np.arange(0.0, 4000.0)
    part = np.minimum(20.0 + 0.18 * time, 199.0)
    run = made_run(time, np.full(4000, 200.0), soak(follows="part"))
    run.data = {**run.data, "part_estimate_c": part, "part_sd_k": np.full(4000, 0.9)}
    ((name, asked_s, there_s),) = summarise(run).waited
    assert (name, asked_s) == ("soak", 600.0) and there_s == pytest.approx(3000.0, abs=30.0)
    text = summary_text(summarise(run))
    assert "10 min were asked of 'soak'" in text and "sensors: part" in text
    for other in (
        replace(run, data={**run.data, "part_c": part}),
        replace(run, schedule=soak()),
        replace(run, schedule=soak(2900.0, follows="part")),
    ):
        assert summarise(other).waited == () and "sensors: part" not in summary_text(summarise(other))
