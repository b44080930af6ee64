"""Resistance wire and coils against makers' tables (from memory), American wire gauges and plain geometry."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.thermal import heating_wire as wire
from kilnctl.thermal.constants import STEFAN_BOLTZMANN
from kilnctl.thermal.elements import ALLOYS, wire_resistance_ohm

FE, NI = wire.WIRE_ALLOYS
FOOT, INCH = 0.3048, 0.0254
alloys = st.sampled_from(wire.WIRE_ALLOYS)


@pytest.mark.parametrize(
    ("alloy", "awg", "ohm_per_ft"),
    # American tables of ohms per foot at 68 °F: 875 and 650 ohm·cmil/ft over the area in circular mils, from memory.
    [(FE, 16, 0.3387), (FE, 18, 0.5387), (FE, 14, 0.2130), (NI, 20, 0.6348), (NI, 16, 0.2517)],
)
def test_ohms_per_foot_against_american_tables(alloy, awg, ohm_per_ft):
    (gauge,) = (g for g in wire.gauges() if g.name == f"{awg} AWG")
    # Makers' 1.45 and 1.09 µohm·m against 875 and 650 ohm·cmil/ft: within a per cent of each other.
    assert wire_resistance_ohm(alloy, gauge.diameter_m, FOOT) == pytest.approx(ohm_per_ft, rel=0.012)


@pytest.mark.parametrize(("alloy", "grams"), [(FE, 5.6), (NI, 6.52)])
def test_weight_of_a_metre_of_1_mm_wire_against_makers_tables(alloy, grams):
    """5.6 g/m (7.1 to 7.15 g/cm³) and 6.52 g/m (8.3 g/cm³), from memory."""
    assert 1e3 * ALLOYS[alloy][3] * math.pi / 4.0 * 1e-6 == pytest.approx(grams, rel=0.01)


def test_gauges_are_in_order_and_both_series_are_there():
    found = wire.gauges()
    assert [g.diameter_m for g in found] == sorted(g.diameter_m for g in found)
    assert {"1.0 mm", "0.50 mm", "1 AWG", "32 AWG"} <= {g.name for g in found}
    assert len({g.name for g in found}) == len(found)
    low, high = wire.WIRE_M
    assert all(low * 0.999 <= g.diameter_m <= high for g in found)


@given(alloys, st.floats(2e-4, 8e-3), st.floats(1.0, 1.5))
def test_thicker_wire_bears_no_less_and_never_more_than_its_alloy(alloy, diameter, more):
    thicker = min(more * diameter, 8e-3)
    assert wire.bears_c(alloy, diameter) <= wire.bears_c(alloy, thicker) <= ALLOYS[alloy][2]


@pytest.mark.parametrize("diameter", [1.9e-4, 8.1e-3, 0.0, math.nan])
def test_wire_outside_the_range_is_refused(diameter):
    with pytest.raises(ValueError, match=r"0\.2 mm to 8 mm"):
        wire.bears_c(FE, diameter)
    with pytest.raises(ValueError, match="alloy = 'sheathed'"):
        wire.bears_c("sheathed", 1e-3)


def test_glow_against_stefan():
    """Without air worth a word the flux is ε·σ·(T⁴ − T₀⁴) of the share that sees the chamber; with it the wire is
    cooler."""
    bare = ((1373.15**4 + 30000.0 / (0.8 * 0.5 * STEFAN_BOLTZMANN)) ** 0.25) - 273.15
    assert bare - 25.0 < wire.glow_c(30000.0, 1100.0, 2e-3) < bare
    assert wire.glow_c(30000.0, 1100.0, 2e-3, air_speed_m_per_s=3.0) < wire.glow_c(30000.0, 1100.0, 2e-3)
    assert wire.glow_c(0.0, 700.0, 2e-3) == pytest.approx(700.0, abs=0.01)
    with pytest.raises(ValueError, match="below zero"):
        wire.glow_c(-1.0, 700.0, 2e-3)


def test_a_coil_against_plain_geometry():
    """10 m of 1 mm wire, 6 mm outside: a turn is √((5π)² + 1²) mm = 15.74 mm, so 635 turns, 635 mm when closed."""
    coil = wire.coil_of(1e-3, 10.0, 6e-3)
    assert coil.turns == pytest.approx(10000.0 / math.hypot(5.0 * math.pi, 1.0))
    assert coil.closed_m == pytest.approx(0.635, abs=0.001) and coil.mandrel_m == pytest.approx(4e-3)
    assert coil.stretched_m == pytest.approx(2.5 * coil.closed_m) and coil.stretch == pytest.approx(2.5)
    # Stretching keeps the wire: the turn's length is the same at the new pitch and the narrower middle.
    turn = math.hypot(math.pi * (coil.stretched_outside_m - 1e-3), coil.stretched_m / coil.turns)
    assert turn * coil.turns == pytest.approx(10.0) and coil.stretched_outside_m < coil.outside_m


@pytest.mark.parametrize(
    ("diameter", "length", "outside", "laid", "message"),
    [
        (1e-3, 10.0, 2e-3, None, "cannot be wound"),
        (1e-3, 0.01, 6e-3, None, "less than one turn"),
        (1e-3, 10.0, 6e-3, 9.9, "do not make a coil"),
    ],
)
def test_coils_that_cannot_be_are_refused(diameter, length, outside, laid, message):
    with pytest.raises(ValueError, match=message):
        wire.coil_of(diameter, length, outside, laid)


def test_hot_wire_wants_narrower_coils():
    for alloy in wire.WIRE_ALLOYS:
        widths = [wire.widest_coil(alloy, t) for t in (200.0, 900.0, 1000.0, 1150.0, 1300.0)]
        assert widths == sorted(widths, reverse=True) and widths[-1] >= wire.TIGHTEST
