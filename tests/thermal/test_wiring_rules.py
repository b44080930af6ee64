"""Tables of cables, bundles and earth against each other and against the standards they are from (from memory)."""

from itertools import pairwise

import pytest

from kilnctl.thermal import wiring_rules as rules

MM2 = 1e-6


def test_capacities_grow_with_copper_and_with_cooling():
    for two, three in rules.CAPACITY_A.values():
        assert len(two) == len(three) == len(rules.AREAS_MM2)
        assert list(two) == sorted(two) and list(three) == sorted(three)
        assert all(a > b for a, b in zip(two, three))
    ways = list(rules.CAPACITY_A.values())
    for worse, better in pairwise(ways):
        assert all(a < b for a, b in zip(worse[0], better[0])) and all(a < b for a, b in zip(worse[1], better[1]))


@pytest.mark.parametrize(
    ("country", "air", "rated", "factor"),
    [
        ("IEC 60364", 20.0, 70.0, 1.0),
        ("IEC 60364", 40.0, 70.0, 0.87),
        ("IEC 60364", 40.0, 90.0, 0.91),
        ("IEC 60364", 40.1, 70.0, 0.79),
        ("IEC 60364", 65.0, 70.0, 0.0),
        ("NFPA 70", 40.0, 60.0, 0.82),
        ("NFPA 70", 40.0, 75.0, 0.88),
        ("NFPA 70", 40.0, 90.0, 0.91),
    ],
)
def test_warm_surroundings_against_the_tables(country, air, rated, factor):
    """IEC 60364-5-52 table B.52.14, NFPA 70 table 310.15(B)(1)(1)."""
    assert rules.surroundings_factor(country, air, rated) == factor


@pytest.mark.parametrize(
    ("country", "circuits", "factor"),
    [("IEC 60364", 2, 0.80), ("IEC 60364", 10, 0.45), ("NFPA 70", 1, 1.0), ("NFPA 70", 2, 0.80), ("NFPA 70", 4, 0.70)],
)
def test_bundles_against_the_tables(country, circuits, factor):
    """IEC 60364-5-52 table B.52.17; NFPA 70 table 310.15(C)(1) counts conductors, two a circuit."""
    assert rules.together_factor(country, circuits, 2) == factor
    with pytest.raises(ValueError, match="circuits"):
        rules.together_factor(country, 40, 2)


def test_gauges_are_told_by_the_copper_they_have():
    assert rules.awg_of(2.08 * MM2) == 14 and rules.awg_of(2.5 * MM2) == 14 and rules.awg_of(3.3 * MM2) == 12
    assert rules.awg_of(1.5 * MM2) is None
    with pytest.raises(ValueError, match="ends at 1 AWG"):
        rules.awg_of(70.0 * MM2)
    with pytest.raises(ValueError, match="ends at 50 mm²"):
        rules.capacity_a("IEC 60364", 70.0 * MM2, "in conduit", 2, 70.0)


@pytest.mark.parametrize(
    ("area", "breaker", "least"),
    [(2.5, 16.0, 2.5), (25.0, 80.0, 16.0), (50.0, 125.0, 25.0)],
)
def test_the_earth_conductor_against_table_54_2(area, breaker, least):
    """S up to 16 mm²: S; up to 35: 16; above: half (IEC 60364-5-54)."""
    assert rules.earth_m2("IEC 60364", area * MM2, breaker) == pytest.approx(least * MM2)


@pytest.mark.parametrize(("breaker", "gauge"), [(15.0, 14), (20.0, 12), (30.0, 10), (60.0, 10), (100.0, 8)])
def test_the_earth_conductor_against_table_250_122(breaker, gauge):
    """NFPA 70."""
    assert rules.earth_m2("NFPA 70", 33.6 * MM2, breaker) == pytest.approx(rules.AWG_A[gauge][0] * MM2)
