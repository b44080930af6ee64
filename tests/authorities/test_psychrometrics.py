"""Moist air and drying against handbooks (values from memory) and CoolProp."""

import pytest

from kilnctl.thermal.constants import ZERO_C
from kilnctl.thermal.psychrometrics import (
    PRESSURE_PA,
    WATER_KG_PER_MOL,
    dew_point_c,
    evaporation_mol_per_m2s,
    humidity_ratio,
    latent_j_per_kg,
    saturation_pa,
    share_of,
    wet_bulb_c,
)


def surface_c(dry_c: float, share: float, film: float) -> float:
    """Temperature, °C, of a wet surface that gets heat from the air alone."""
    low, high = 0.0, min(dry_c, 99.9)
    for _ in range(50):
        t = 0.5 * (low + high)
        moles = evaporation_mol_per_m2s(t + ZERO_C, share, film)
        gains = film * (dry_c - t) > moles * WATER_KG_PER_MOL * latent_j_per_kg(t + ZERO_C)
        low, high = (t, high) if gains else (low, t)
    return 0.5 * (low + high)


def test_air_of_40_degrees_with_a_wet_bulb_of_20():
    """ASHRAE Handbook of Fundamentals, "Psychrometrics", example 1: 6.5 g/kg, dew point 7 °C, 14 % (from memory);
    the handbook's enhancement of the saturation pressure by the air, 0.4 %, is left out here."""
    low, high, share = 0.0, 0.05, 0.0
    for _ in range(50):
        share = 0.5 * (low + high)
        low, high = (share, high) if wet_bulb_c(40.0, share) < 20.0 else (low, share)
    assert humidity_ratio(share) == pytest.approx(0.0065, abs=1.5e-4)
    assert dew_point_c(share) == pytest.approx(7.0, abs=1.0)
    assert share * PRESSURE_PA / float(saturation_pa(40.0 + ZERO_C)) == pytest.approx(0.14, abs=0.005)


@pytest.mark.parametrize(
    ("dry_c", "ratio", "wet_c"),
    [(25.0, 0.0099, 17.9), (65.6, 0.010, 28.9), (100.0, 0.030, 42.2), (150.0, 0.100, 59.2), (200.0, 0.0, 45.0)],
)
def test_wet_bulb_of_charts(dry_c, ratio, wet_c):
    """25 °C at 50 % and 65.6 °C with 10 g/kg as psychrometric charts print them (from memory); the others are
    CoolProp's, rounded."""
    assert wet_bulb_c(dry_c, share_of(ratio)) == pytest.approx(wet_c, abs=0.15)


def test_wet_bulb_against_coolprop():
    humid = pytest.importorskip("CoolProp.HumidAirProp", reason="CoolProp is in the test extra")
    for dry_c in (25.0, 65.6, 100.0, 150.0, 200.0, 300.0):
        for ratio in (0.0, 0.01, 0.03, 0.1, 0.3, 1.0):
            share = share_of(ratio)
            if share * PRESSURE_PA > saturation_pa(dry_c + ZERO_C):
                continue
            theirs = humid.HAPropsSI("Twb", "T", dry_c + ZERO_C, "P", PRESSURE_PA, "W", ratio) - ZERO_C
            assert wet_bulb_c(dry_c, share) == pytest.approx(theirs, abs=0.25)
            # A wet surface in a stream of air: the Lewis number of vapour in air is near one, not one.
            assert surface_c(dry_c, share, 20.0) == pytest.approx(theirs, abs=1.0)


def test_a_wet_tray_in_a_stream_of_air():
    """Geankoplis, Transport Processes and Unit Operations, example 9.6-3: air of 65.6 °C with 0.010 kg/kg over a wet
    tray with a film of 62.45 W/(m²·K): 28.9 °C and 3.39 kg/(h·m²) (from memory)."""
    share = share_of(0.010)
    wet_c = surface_c(65.6, share, 62.45)
    assert wet_c == pytest.approx(28.9, abs=0.7)
    dried = 3600.0 * WATER_KG_PER_MOL * evaporation_mol_per_m2s(wet_c + ZERO_C, share, 62.45)
    assert dried == pytest.approx(3.39, rel=0.03)


def test_water_comes_back_below_the_dew_point():
    share = share_of(0.1)
    dew = dew_point_c(share)
    assert evaporation_mol_per_m2s(dew - 1.0 + ZERO_C, share, 10.0) < 0.0
    assert evaporation_mol_per_m2s(dew + 1.0 + ZERO_C, share, 10.0) > 0.0
    assert float(saturation_pa(dew + ZERO_C)) == pytest.approx(share * PRESSURE_PA, rel=1e-6)


@pytest.mark.parametrize("share", [-0.1, 1.0, float("nan")])
def test_what_is_no_moist_air_is_refused(share):
    with pytest.raises(ValueError, match="share"):
        humidity_ratio(share)


def test_beyond_the_charts_is_refused():
    with pytest.raises(ValueError, match="saturation"):
        wet_bulb_c(20.0, 0.05)
    with pytest.raises(ValueError, match="400"):
        wet_bulb_c(500.0, 0.05)
    with pytest.raises(ValueError, match="ratio"):
        share_of(-0.1)
