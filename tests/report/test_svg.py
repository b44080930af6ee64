"""Charts: no peak is lost, marks are round and inside, lines differ by more than colour."""

import math
import xml.etree.ElementTree as xml

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.report.svg import STYLES, Chart, Series, Subplot, svg, thin, ticks


@given(st.integers(1, 20000), st.integers(0, 10**6), st.integers(50, 600))
def test_thinning_loses_no_peak(n, seed, pixels):
    rng = np.random.default_rng(seed)
    y = rng.standard_normal(n).cumsum()
    x = np.arange(float(n))
    tx, ty = thin(x, y, pixels)
    assert ty.max() == y.max() and ty.min() == y.min() and tx[0] == x[0] and tx[-1] == x[-1]
    assert len(tx) <= max(4 * pixels, n if n <= 4 * pixels else 0) and np.all(np.diff(tx) > 0)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 12))
def test_ticks_are_round_and_inside(low, span, wanted):
    marks = ticks(low, low + span, wanted)
    assert len(marks) + 1 >= 1 and len(marks) <= 2.6 * wanted + 2
    slack = 1e-6 * max(abs(low), span)
    assert all(low - slack <= m <= low + span + slack for m in marks)


def test_chart_is_well_formed_and_says_what_it_shows():
    t = np.arange(0.0, 20000.0)
    y = 100.0 + 50.0 * np.sin(t / 3000.0)
    y[500:700] = math.nan
    chart = Chart(
        "A <title> & more",
        (
            Subplot(
                "temperature, °C",
                (Series(t, y, "chamber"), Series(t, y + 5.0, "part", "part", np.full(len(t), 3.0))),
                ((2000.0, 6000.0, "soak"),),
                ((9000.0, "trip"),),
            ),
            Subplot("duty, %", (Series(t, np.zeros(len(t)), "duty", "power"),), low=0.0, high=100.0),
        ),
    )
    text = svg(chart)
    root = xml.fromstring(text)
    words = "".join(root.itertext())
    for word in ("A <title> & more", "chamber", "part", "soak", "trip", "duty, %", "1:00"):
        assert word in words
    assert "nan" not in text and len(text) < 200_000


def test_lines_differ_by_more_than_colour():
    dashes = [dash for _, dash, _ in STYLES.values()]
    assert len(set(dashes)) >= len(dashes) - 1


def test_empty_chart_is_drawn():
    assert svg(Chart("nothing", (Subplot("y", ()),))).endswith("</svg>")


@pytest.mark.parametrize("width", [400, 960])
def test_marks_and_bands_stay_inside_the_picture(width):
    t = np.arange(0.0, 3600.0)
    notes = tuple((1000.0 + 5.0 * i, f"note {i}") for i in range(6))
    panel = Subplot(
        "y",
        (Series(t, t * 0.0 + 5.0, "flat", "part", np.full(len(t), 2.0)),),
        marks=((3590.0, "a long word at the end"),),
        notes=notes,
    )
    root = xml.fromstring(svg(Chart("marks", (panel,), width=width)))
    texts = [e for e in root.iter() if e.tag.endswith("text")]
    assert sum("note" in (e.text or "") for e in texts) == 3  # three rows, and no words on top of each other
    (end,) = (e for e in texts if e.text == "a long word at the end")
    assert end.get("text-anchor") == "end" and float(end.get("x", "nan")) <= width
    (band,) = (e for e in root.iter() if e.tag.endswith("polygon"))
    heights = [float(p.split(",")[1]) for p in band.get("points", "").split()]
    assert min(heights) > 50.0 and max(heights) < 490.0 and max(heights) - min(heights) > 200.0
