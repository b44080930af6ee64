"""Quantities as people read them: one choice of units, times with their units, sentences turned without losing what a
file says."""

import math
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.output import IMPERIAL, Units, about, clock
from kilnctl.units import parse

F = Units(IMPERIAL)


@pytest.mark.parametrize(
    ("seconds", "exact", "rough"),
    [
        (0, "0 s", "0 s"),
        (45, "45 s", "45 s"),
        (100, "1 min 40 s", "2 min"),
        (800, "13 min 20 s", "13 min"),
        (900, "15 min", "15 min"),
        (3600, "1 h", "1 h"),
        (3723, "1 h 02 min 03 s", "1 h 2 min"),
        (9386, "2 h 36 min 26 s", "2 h 36 min"),
        (7199, "1 h 59 min 59 s", "2 h"),
        (-90, "-1 min 30 s", "-90 s"),
        (86400 * 3 + 3600 * 4, "76 h", "3 d 4 h"),
        (math.nan, "–", "–"),
        (math.inf, "–", "–"),
    ],
)
def test_times_carry_their_units(seconds, exact, rough):
    assert (clock(seconds), about(seconds)) == (exact, rough)


@given(st.integers(0, 40 * 86400))
def test_a_time_can_be_read_back_as_it_was_said(seconds):
    assert parse(clock(seconds), "time") == seconds
    assert abs(parse(about(seconds), "time") - seconds) <= (1800.5 if seconds > 47 * 3600 else 30.0)


@pytest.mark.parametrize(
    ("metric", "imperial"),
    [
        ("the heat is cut above 241 °C", "the heat is cut above 466 °F"),
        ("falls at 180 K/h", "falls at 324 °F/h"),
        ("20 to 190 °C", "68 to 374 °F"),
        ("50 K or 5 % above", "90 °F or 5 % above"),
        ("-1.2 … +0.8 K, mean -0.5 K", "-2.2 … +1.4 °F, mean -0.9 °F"),
        ("thermostat ±3 °C", "thermostat ±5 °F"),
        ("1.5 W/cm² is advised", "9.68 W/in² is advised"),
        ("a 3 mm sheathed junction", "a 0.118 in sheathed junction"),
        ("-40 °C", "-40 °F"),
        ("a heat sink of 2.9 K/W", "a heat sink of 2.9 K/W"),
        ("type K", "type K"),
        ("3.00 kW and 12 kWh", "3.00 kW and 12 kWh"),
        ("45 min", "45 min"),
        ("(48 °C for 10 min, 51 °C for 1 min)", "(118 °F for 10 min, 124 °F for 1 min)"),
        ("a 2.1 mm² cable", "a 2.1 mm² (about 14 AWG) cable"),
        ("3 K to 60 K above (1000 °C)", "5 °F to 108 °F above (1832 °F)"),
        ("500 °F stays", "500 °F stays"),
    ],
)
def test_sentences_are_turned(metric, imperial):
    assert F.words(metric) == imperial and Units().words(metric) == metric


@given(st.integers(100, 2300))
def test_a_limit_in_round_fahrenheit_comes_back_as_it_was_written(limit_f):
    """465 °F is "241 °C" in a sentence, which alone would come back as 466 °F."""
    limit_c = parse(f"{limit_f} °F", "temperature")
    assert F.knowing(limit_c).words(f"cut at {limit_c:.0f} °C") == f"cut at {limit_f} °F"


def test_an_ovens_own_temperatures_are_known(oven):
    units = F.knowing(oven("bench-muffle"))
    assert units.words("1024 °C, 1000 °C, 1038 °C and 20 °C") == "1875 °F, 1832 °F, 1900 °F and 68 °F"


@given(st.integers(40, 2000))
def test_a_rate_in_round_fahrenheit_comes_back_as_it_was_written(f_per_h):
    """300 °F/h is "167 K/h" in a refusal, which alone would come back as 301 °F/h."""
    steps = [SimpleNamespace(at_k_per_s=parse(f"{f_per_h} °F/h", "rate")), SimpleNamespace(at_k_per_s=None)]
    said = f"falls at {3600.0 * steps[0].at_k_per_s:.0f} K/h"
    assert F.knowing(SimpleNamespace(steps=steps)).words(said) == f"falls at {f_per_h} °F/h"


@given(st.floats(-200.0, 1500.0), st.sampled_from(["temperature", "difference", "rate", "length"]))
def test_figures_are_shown_in_a_unit_that_reads_back_to_the_same(value, kind):
    value = value / 3600.0 if kind == "rate" else abs(value) / 1000.0 if kind == "length" else value
    if kind == "temperature" and value < -200.0:
        return
    rounding = {"temperature": 0.5, "difference": 0.005, "rate": 0.5 / 3600.0, "length": 0.13e-3}[kind]
    for units in (Units(), F):
        shown = getattr(units, kind)(value)
        assert abs(parse(shown, kind) - value) <= rounding * 1.01, shown


@given(st.floats(-273.0, 2000.0))
def test_the_readers_scale_and_back(value_c):
    """NIST SP 811, appendix B.8: t/°F = 1.8 t/°C + 32; a difference has the factor alone."""
    assert F.degrees(value_c) == pytest.approx(1.8 * value_c + 32.0) and Units().degrees(value_c) == value_c
    assert F.celsius(F.degrees(value_c)) == pytest.approx(value_c, abs=1e-9)
    assert F.kelvins(value_c) == pytest.approx(1.8 * value_c) and Units().kelvins(value_c) == value_c
    assert (F.degree, F.kelvin, Units().degree, Units().kelvin) == ("°F", "°F", "°C", "K")


@pytest.mark.parametrize(("kelvin", "metric", "imperial"), [(1.0, "1 K", "1.8 °F"), (5.0, "5 K", "9 °F")])
def test_round_differences_have_no_needless_decimals(kelvin, metric, imperial):
    assert (Units().plain_difference(kelvin), F.plain_difference(kelvin)) == (metric, imperial)
