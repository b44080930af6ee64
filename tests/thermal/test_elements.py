"""Elements against the laws of Ohm and Stefan, and against figures of standards."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.thermal import elements

FE_CR_AL = "iron-chromium-aluminium"
alloys = st.sampled_from(sorted(elements.ALLOYS))


def test_wire_against_makers_formula():
    """R = ρL/A: 1 mm Fe-Cr-Al wire has 1.846 ohm/m (ρ = 1.45 µohm·m, from memory), 4 % more at 1000 °C."""
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 1.0) == pytest.approx(1.846, abs=0.001)
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 1.0, 1000.0) == pytest.approx(1.846 * 1.04, abs=0.001)
    assert elements.wire_resistance_ohm("nickel-chromium", 2e-3, 3.0) == pytest.approx(1.09e-6 * 3.0 / (math.pi * 1e-6))
    # 3 kW on 230 V is 17.63 ohm: 9.55 m of that wire when cold.
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 9.55) == pytest.approx(17.633, rel=1e-3)
    # 3 kW over 9.55 m of 1 mm: 10 W/cm², far too much.
    assert elements.surface_load_w_m2(3000.0, 1e-3, 9.55) == pytest.approx(99990.0, rel=1e-3)


@pytest.mark.parametrize(
    ("t", "factor"), [(20, 1.00), (400, 1.00), (600, 1.02), (800, 1.03), (900, 1.035), (1000, 1.04), (1200, 1.04)]
)
def test_temperature_factor_against_makers_table(t, factor):
    """Ct of Fe-Cr-Al (from memory), and between its points."""
    assert elements.resistance_factor(FE_CR_AL, float(t)) == pytest.approx(factor, abs=1e-9)


@pytest.mark.parametrize(("t", "low", "high"), [(900.0, 5.0, 6.0), (1100.0, 3.0, 4.0), (1300.0, 1.5, 2.0)])
def test_recommended_load_against_makers_figures(t, low, high):
    """Open Fe-Cr-Al coils: 5–6 W/cm² in a furnace of 900 °C, 3–4 at 1100, 1.5–2 at 1300 (from memory)."""
    assert low <= elements.recommended_load_w_m2(FE_CR_AL, t) / 1e4 <= high


@given(alloys, st.floats(-20.0, 1900.0), st.floats(1.0, 500.0))
def test_a_hotter_chamber_never_allows_more_load(alloy, t, more):
    assert elements.recommended_load_w_m2(alloy, t + more) <= elements.recommended_load_w_m2(alloy, t)


def test_beyond_its_table_the_load_falls_to_nothing():
    assert elements.recommended_load_w_m2("sheathed", 500.0) == pytest.approx(12000.0)
    assert elements.recommended_load_w_m2("sheathed", 600.0) == pytest.approx(5500.0)
    assert elements.recommended_load_w_m2("sheathed", 700.0) == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: elements.resistance_factor("unobtainium", 20.0),
        lambda: elements.wire_resistance_ohm("unobtainium", 1e-3, 1.0),
        lambda: elements.recommended_load_w_m2("unobtainium", 20.0),
    ],
)
def test_an_unknown_alloy_is_refused(call):
    with pytest.raises(ValueError, match="alloy = 'unobtainium'"):
        call()


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, 0.0, 1.0), "diameter_m"),
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, 1e-3, -1.0), "length_m"),
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, math.nan, 1.0), "diameter_m"),
        (lambda: elements.surface_load_w_m2(1.0, 1e-3, 0.0), "length_m"),
    ],
)
def test_senseless_figures_are_refused_by_name(call, name):
    with pytest.raises(ValueError, match=name):
        call()
