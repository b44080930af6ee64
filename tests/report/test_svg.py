"""Charts: no peak is lost, marks are round and inside, lines differ by more than colour."""

import math
import xml.etree.ElementTree as xml

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.report.svg import STYLES, Chart, Flag, Series, Subplot, svg, thin, ticks, time_label, time_ticks


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
                "temperature",
                (Series(t, y, "chamber"), Series(t, y + 5.0, "part", "part", np.full(len(t), 3.0))),
                flags=(Flag(9000.0, "heat cut", "trip"),),
                bands=((2000.0, 6000.0, 147.0, 153.0),),
                phases=((2000.0, 6000.0, "soak"),),
                unit="°C",
            ),
            Subplot("duty, %", (Series(t, np.zeros(len(t)), "duty", "power"),), low=0.0, high=100.0),
        ),
    )
    text = svg(chart)
    root = xml.fromstring(text)
    words = "".join(root.itertext())
    for word in ("A <title> & more", "chamber", "part", "soak", "heat cut", "duty, %", "1 h", "150 °C"):
        assert word in words
    assert "nan" not in text and len(text) < 200_000


def test_lines_differ_by_more_than_colour():
    dashes = [dash for _, dash, _ in STYLES.values()]
    assert len(set(dashes)) >= len(dashes) - 1


def test_empty_chart_is_drawn():
    assert svg(Chart("nothing", (Subplot("y", ()),))).endswith("</svg>")


def test_two_minutes_and_two_hours_never_look_alike():
    said = [time_label(s) for s in (0, 30, 90, 120, 5400, 7200, 93600, 172800)]
    assert said == ["0", "30 s", "1:30 min", "2 min", "1 h 30", "2 h", "1 d 2 h", "2 d"]
    for span in (60.0, 600.0, 7200.0, 50000.0, 260000.0):
        words = [time_label(s) for s in time_ticks(0.0, span)]
        assert len(words) == len(set(words)) and len(words) >= 2
        assert all(word == "0" or not word.replace(":", "").isdigit() for word in words), "each with its unit"


@pytest.mark.parametrize("width", [400, 960])
def test_flags_and_bands_stay_inside_the_picture(width):
    t = np.arange(0.0, 3600.0)
    flags = (
        Flag(3590.0, "heat cut", "trip"),
        *(Flag(1000.0 + 5.0 * i, f"note {i}") for i in range(6)),
        Flag(2000.0, "door open", "door"),
        Flag(200.0, "soak", "step"),
    )
    panel = Subplot("y", (Series(t, t * 0.0 + 5.0, "flat", "part", np.full(len(t), 2.0)),), flags=flags)
    root = xml.fromstring(svg(Chart("flags", (panel,), width=width)))
    texts = [e for e in root.iter() if e.tag.endswith("text")]
    said = [e.text for e in texts]
    assert sum("note" in (e or "") for e in said) == 1, "no words on top of each other"
    assert "door open" in said and "soak" not in said
    (end,) = (e for e in texts if e.text == "heat cut")
    assert end.get("text-anchor") == "end" and float(end.get("x", "nan")) <= width
    (band,) = (e for e in root.iter() if e.tag.endswith("polygon"))
    heights = [float(p.split(",")[1]) for p in band.get("points", "").split()]
    assert min(heights) > 50.0 and max(heights) < 490.0 and max(heights) - min(heights) > 150.0


def test_the_axis_has_few_round_numbers_and_its_unit_once():
    t = np.arange(0.0, 7200.0)
    for top in (37.0, 180.0, 260.0, 1234.0):
        panel = Subplot("temperature", (Series(t, 20.0 + t * (top - 20.0) / 7200.0, "chamber"),), unit="°C")
        root = xml.fromstring(svg(Chart("axis", (panel,), height=600)))
        left = [e.text or "" for e in root.iter() if e.tag.endswith("text") and e.get("text-anchor") == "end"]
        assert 3 <= len(left) <= 12 and sum("°C" in word for word in left) == 1


def test_names_of_lines_that_end_together_do_not_cover_each_other():
    t = np.arange(0.0, 600.0)
    lines = tuple(Series(t, t * 0.0 + 0.01 * k, f"line {k}", style) for k, style in enumerate(list(STYLES)[:3]))
    root = xml.fromstring(svg(Chart("names", (Subplot("power", lines, low=0.0, high=100.0),))))
    places = sorted(
        float(e.get("y", "nan")) for e in root.iter() if e.tag.endswith("text") and (e.text or "").startswith("line ")
    )
    assert len(places) == 3 and min(np.diff(places)) >= 14.0
