"""Thermocouple functions against every printed NIST point and against a reference package."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.thermal.thermocouples import TYPES, emf_mv, range_c, temperature_c

POINTS = Path(__file__).parents[1] / "authorities" / "nist_its90_points.txt"
CHECKED_FROM_C = {"B": 250.0}
#: Where the EMF of each type rises with temperature, °C (type B has a minimum at 21 °C).
RISES_FROM_C = {"B": 50.0, "J": -210.0, "R": -50.0, "S": -50.0}


def rises_from_c(kind):
    return RISES_FROM_C.get(kind, -260.0)


def sensitivity_mv_per_k(kind, t):
    return (emf_mv(kind, t + 0.5) - emf_mv(kind, t - 0.5)) / 1.0


def printed():
    for line in POINTS.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            kind, first, *values = line.split()
            for i, value in enumerate(values):
                yield kind, int(first) + i, float(value)


def test_every_printed_point_against_nist():
    """NIST Monograph 175 prints 12,026 points to 0.001 mV: each within half of the last digit."""
    count = 0
    for kind, t, mv in printed():
        assert abs(emf_mv(kind, t) - mv) <= 0.0005 + 1e-6, (kind, t)
        count += 1
    assert count == 12026


def test_inverse_against_every_printed_point():
    """Back from the printed mV: within half a printed digit in degrees, plus 0.01 °C."""
    for kind, t, mv in printed():
        if t < CHECKED_FROM_C.get(kind, -200.0) or t % 7:
            continue
        assert abs(temperature_c(kind, emf_mv(kind, t)) - t) < 1e-6
        low, high = rises_from_c(kind), range_c(kind)[1]
        if low + 1.0 <= t <= high - 1.0 and emf_mv(kind, low) <= mv <= emf_mv(kind, high):
            assert abs(temperature_c(kind, mv) - t) <= 0.0005 / sensitivity_mv_per_k(kind, t) * 1.05 + 0.01


@pytest.mark.parametrize(
    ("kind", "t", "mv"),
    [
        ("K", 500, 20.6443),
        ("K", 1000, 41.2756),
        ("N", 1000, 36.2555),
        ("S", 1000, 9.5871),
        ("R", 1000, 10.5060),
        ("J", 500, 27.3926),
        ("B", 25, -0.0025),
    ],
)
def test_check_values_against_iec_60584(kind, t, mv):
    # The last digit given here is rounded from the reference function: half of it is allowed.
    assert emf_mv(kind, t) == pytest.approx(mv, abs=0.6e-4)


def test_cold_junction_in_millivolts_against_worked_example():
    """K, 40.000 mV, terminals at 23 °C: 990.870 °C (ITS-90 tables); adding 23 °C would say 990.419 °C."""
    assert temperature_c("K", 40.0 + emf_mv("K", 23.0)) == pytest.approx(990.870, abs=0.002)
    assert temperature_c("K", 40.0) + 23.0 == pytest.approx(990.419, abs=0.002)


@given(st.sampled_from(TYPES), st.floats(0.0, 1.0))
def test_there_and_back(kind, share):
    low = rises_from_c(kind)
    t = low + share * (range_c(kind)[1] - low)
    assert temperature_c(kind, emf_mv(kind, t)) == pytest.approx(t, abs=0.01)


@pytest.mark.parametrize("kind", TYPES)
def test_outside_the_range_is_refused(kind):
    low, high = range_c(kind)
    for t in (low - 1.0, high + 1.0):
        with pytest.raises(ValueError, match="is defined from"):
            emf_mv(kind, t)
    for mv in (-20.0, 200.0):
        with pytest.raises(ValueError, match="can be inverted from"):
            temperature_c(kind, mv)
    with pytest.raises(ValueError, match="type letter"):
        emf_mv("X", 20.0)


def test_against_the_reference_package():
    package = pytest.importorskip("thermocouple_its90", reason="thermocouple-its90 is in the test extra")
    for kind in TYPES:
        low, high = range_c(kind)
        for i in range(0, 101, 4):
            t = low + (high - low) * i / 100.0
            assert emf_mv(kind, t) == pytest.approx(package.TYPES[kind].emf(t), abs=1e-9)
