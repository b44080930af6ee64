"""Records: columns with units, summaries that can be checked by hand, pictures that lose no peak."""

import json
import math
import xml.etree.ElementTree as xml
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl import KilnctlError
from kilnctl.record import columns
from kilnctl.record.folder import SampleWriter, new_folder, plain
from kilnctl.report import svg
from kilnctl.run import summary
from kilnctl.settings.schedule import Cure, Schedule, Step
from kilnctl.units import parse_unit


def test_every_column_names_its_unit_and_the_unit_can_be_read():
    suffixes = {"s": "_s", "°C": "_c", "K": "_k", "W": "_w", "V": "_v", "A": "_a"}
    for column in columns.COLUMNS:
        if column.unit not in ("", "1"):
            parse_unit(column.unit)
            assert column.name.endswith(suffixes[column.unit]), column.name
        assert column.doc and 0 <= column.decimals <= 6


def made_run(time, chamber, schedule, step=None, reference=None, part=None, fired=None):
    n = len(time)
    data = {c.name: np.full(n, math.nan) for c in columns.COLUMNS if c.name != "reason"}
    data |= {
        "time_s": np.asarray(time, float),
        "true_chamber_c": np.asarray(chamber, float),
        "chamber_c": np.asarray(chamber, float),
        "reference_c": np.full(n, schedule.steps[0].to_c) if reference is None else reference,
        "step": np.ones(n) if step is None else step,
        "fired": np.zeros(n) if fired is None else fired,
        "reason": np.array([""] * n, dtype=object),
    }
    if part is not None:
        data["true_part_c"] = np.asarray(part, float)
    return SimpleNamespace(
        schedule=schedule,
        data=data,
        time_s=data["time_s"],
        outcome="finished",
        trips=(),
        energy_j=3.6e6,
        events=(),
    )


def soak(hold=600.0, **more):
    return Schedule(name="s", steps=(Step(name="soak", to_c=200.0, hold_s=hold, within_k=3.0),), **more)


def test_summary_of_a_run_made_by_hand():
    """Up at 1 K/s from 100 to 202 °C, back to 200 at once, then a wobble of ±0.5 K: reached at 97 s,
    settled at 103 s."""
    time = np.arange(0.0, 703.0)
    chamber = np.where(time <= 102, 100.0 + time, 200.0 + 0.5 * np.sin(time / 20.0))
    s = summary.summarise(made_run(time, chamber, soak()))
    only = s.soaks[0]
    assert (only.arrived_s, only.settled_s, only.end_s) == (97.0, 103.0, 702.0)
    assert s.overshoot_k == pytest.approx(2.0)
    assert abs(only.worst_k) == pytest.approx(0.5, abs=0.01) and only.rms_k == pytest.approx(
        0.5 / math.sqrt(2.0), abs=0.03
    )
    assert s.energy_kwh == pytest.approx(1.0) and s.highest_chamber_c == pytest.approx(202.0)
    assert "overshoot            2.00 K" in summary.as_text(s) and "3.60 °F" in summary.as_text(s, "F")


def test_a_soak_never_reached_is_said_so():
    s = summary.summarise(made_run(np.arange(100.0), np.full(100, 150.0), soak()))
    assert math.isnan(s.soaks[0].arrived_s) and s.overshoot_k == 0.0
    assert "–" in summary.as_text(s)


def test_an_empty_run_has_a_summary():
    s = summary.summarise(made_run([], [], soak()))
    assert s.duration_s == 0.0 and summary.as_text(s)


def test_swing_is_of_the_soak_and_not_of_the_landing():
    time = np.arange(0.0, 2000.0)
    chamber = np.where(
        time < 100, 100.0 + time, np.where(time < 300, 190.0, 200.0 + 4.0 * np.sign(np.sin(time / 60.0)))
    )
    assert summary.summarise(made_run(time, np.minimum(chamber, 204.0), soak())).swing_k == pytest.approx(8.0)


def test_cure_equivalence_by_hand():
    """At the reference temperature a full cure takes the reference time; with Ea = 80 kJ/mol the rate at
    190 °C against 200 °C is exp(−80000/8.314462·(1/463.15 − 1/473.15)) = exp(−0.43908) = 0.6446
    (computed by hand)."""
    cure = Cure(at_c=200.0, time_s=600.0)
    time = np.arange(0.0, 601.0)
    assert summary.cure_share(time, np.full(601, 200.0), cure) == pytest.approx(1.0, rel=1e-9)
    assert summary.cure_share(time, np.full(601, 190.0), cure) == pytest.approx(0.6446, abs=1e-4)
    assert summary.cure_share(time, np.full(601, 20.0), cure) < 1e-4


def test_a_cure_is_added_up_with_the_oldest_numpy_too(monkeypatch):
    """numpy 1.26, the oldest that pyproject.toml declares, has no `trapezoid`; numpy 2 has no `trapz`."""
    for name in ("trapezoid", "trapz"):
        monkeypatch.delattr(np, name, raising=False)
    time = np.array([0.0, 100.0, 400.0, 600.0])
    assert summary.cure_share(time, np.full(4, 200.0), Cure(at_c=200.0, time_s=600.0)) == pytest.approx(1.0, rel=1e-9)


def test_cure_times_against_common_practice():
    """Powder sheets give about 10 min at 200, 15 at 190 and 20 to 25 at 180 °C on the metal (common
    practice). The default activation energy reproduces these times within a third."""
    cure = Cure(at_c=200.0, time_s=600.0)
    for t, minutes in ((190.0, 15.0), (180.0, 22.5)):
        time = np.arange(0.0, minutes * 60.0 + 1.0)
        assert 0.67 < summary.cure_share(time, np.full(len(time), t), cure) < 1.34


def test_samples_are_written_as_they_come_with_fixed_decimals(tmp_path):
    folder = new_folder(tmp_path, "Oven ä", "Schedule / 1")
    writer = SampleWriter(folder)
    row = tuple('why, "so"' if c.name == "reason" else 1.0 / 3.0 for c in columns.COLUMNS)
    writer(row)
    writer(tuple("x" if c.name == "reason" else math.nan for c in columns.COLUMNS))
    writer.close()
    header, first, second = (folder / "samples.csv").read_text().splitlines()
    assert header.split(",") == list(columns.NAMES)
    assert first.startswith("0.3,0.33,0.333,") and second.startswith(",,,")


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(KilnctlError, match="no record can be written"):
        new_folder(tmp_path / "file", "a", "b")


def test_json_has_no_nan():
    assert json.dumps(plain({"a": math.nan, "b": (1.0, math.inf), "c": Step(to_c=1.0)}), allow_nan=False)


@given(st.integers(1, 20000), st.integers(0, 10**6), st.integers(50, 600))
def test_thinning_loses_no_peak(n, seed, pixels):
    rng = np.random.default_rng(seed)
    y = rng.standard_normal(n).cumsum()
    x = np.arange(float(n))
    tx, ty = svg.thin(x, y, pixels)
    assert ty.max() == y.max() and ty.min() == y.min() and tx[0] == x[0] and tx[-1] == x[-1]
    assert len(tx) <= max(4 * pixels, n if n <= 4 * pixels else 0) and np.all(np.diff(tx) > 0)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_ticks_are_round_and_inside(low, span, wanted):
    marks = svg.ticks(low, low + span, wanted)
    assert 1 <= len(marks) + 1 and len(marks) <= 2.6 * wanted + 2
    slack = 1e-6 * max(abs(low), span)
    assert all(low - slack <= m <= low + span + slack for m in marks)


def test_chart_is_well_formed_and_says_what_it_shows():
    t = np.arange(0.0, 20000.0)
    y = 100.0 + 50.0 * np.sin(t / 3000.0)
    y[500:700] = math.nan
    chart = svg.Chart(
        "A <title> & more",
        (
            svg.Panel(
                "temperature, °C",
                (svg.Series(t, y, "chamber"), svg.Series(t, y + 5.0, "part", "part", np.full(len(t), 3.0))),
                ((2000.0, 6000.0, "soak"),),
                ((9000.0, "trip"),),
            ),
            svg.Panel("duty, %", (svg.Series(t, np.zeros(len(t)), "duty", "power"),), low=0.0, high=100.0),
        ),
    )
    text = svg.svg(chart)
    root = xml.fromstring(text)
    words = "".join(root.itertext())
    for word in ("A <title> & more", "chamber", "part", "soak", "trip", "duty, %", "1:00"):
        assert word in words
    assert "nan" not in text and len(text) < 200_000


def test_lines_differ_by_more_than_colour():
    dashes = [dash for _, dash, _ in svg.STYLES.values()]
    assert len(set(dashes)) >= len(dashes) - 1


def test_empty_chart_is_drawn():
    assert svg.svg(svg.Chart("nothing", (svg.Panel("y", ()),))).endswith("</svg>")
