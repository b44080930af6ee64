"""Explosive limits and dilution against standards, a rule of combustion, and an integration of the mass balance."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from kilnctl.thermal.vapour import (
    SOLVENTS,
    highest_kg_per_m3,
    limit_factor,
    needed_m3_per_s,
)

#: Atoms of carbon, hydrogen and oxygen; of the mixtures (naphtha as C7, turpentine C10H16, white spirit C10) a typical
#: molecule.
FORMULAS = {
    "acetone": (3, 6, 1), "butanol": (4, 10, 1), "butanone": (4, 8, 1), "butyl acetate": (6, 12, 2),
    "ethanol": (2, 6, 1), "ethyl acetate": (4, 8, 2), "heptane": (7, 16, 0), "hexane": (6, 14, 0),
    "isopropanol": (3, 8, 1), "methanol": (1, 4, 1), "methoxypropanol": (4, 10, 2), "naphtha": (7, 16, 0),
    "styrene": (8, 8, 0), "toluene": (7, 8, 0), "turpentine": (10, 16, 0), "white spirit": (10, 22, 0),
    "xylene": (8, 10, 0),
}  # fmt: skip


@pytest.mark.parametrize("name", SOLVENTS)
def test_lower_limits_against_jones_rule(name):
    """Lower limits lie at about 0.55 of the stoichiometric share in air (Jones 1938, from memory). Tables scatter by a
    third about it; ours take the lower of two figures."""
    carbon, hydrogen, oxygen = FORMULAS[name]
    oxygen_moles = carbon + hydrogen / 4.0 - oxygen / 2.0
    stoichiometric = 1.0 / (1.0 + oxygen_moles / 0.2095)
    assert 0.65 < SOLVENTS[name].lower_share / (0.55 * stoichiometric) < 1.15


@pytest.mark.parametrize("name", SOLVENTS)
def test_molar_masses_against_atomic_weights(name):
    carbon, hydrogen, oxygen = FORMULAS[name]
    assert SOLVENTS[name].g_per_mol == pytest.approx(12.011 * carbon + 1.008 * hydrogen + 15.999 * oxygen, rel=3e-3)


def test_a_gallon_of_common_solvent_against_nfpa_86():
    """One US gallon makes about 2500 ft³ of the leanest explosive mixture (NFPA 86, from memory): xylene of 0.86
    kg/l."""
    kg = 3.785 * 0.86
    assert kg / SOLVENTS["xylene"].lower_limit_kg_per_m3 / 0.3048**3 == pytest.approx(2500.0, rel=0.06)


def test_xylene_against_the_figure_in_tables():
    """1.0 % by volume is 44 g/m³ (German safety data, from memory)."""
    assert 1000.0 * SOLVENTS["xylene"].lower_limit_kg_per_m3 == pytest.approx(44.0, abs=0.2)
    assert 1000.0 * SOLVENTS["acetone"].lower_limit_kg_per_m3 == pytest.approx(60.0, abs=0.5)


def test_the_fall_with_temperature_against_nfpa_86_and_burgess_wheeler():
    """NFPA 86 multiplies the air of batch ovens at 121 to 260 °C by 1.4 (from memory): EN 1539's line goes through it.
    It is never milder than Burgess and Wheeler's law, 1 − 0.75·(T − 25)/ΔHc, with ΔHc of xylene 1030 kcal/mol (from
    memory)."""
    assert 1.0 / limit_factor(121.0) < 1.4 < 1.0 / limit_factor(260.0)
    for t in (60.0, 121.0, 200.0, 260.0, 400.0):
        assert limit_factor(t) <= 1.0 - 0.75 * (t - 25.0) / 1030.0
    assert limit_factor(20.0) == limit_factor(-10.0) == 1.0
    for senseless in (400.1, math.nan):
        with pytest.raises(ValueError, match="up to 400 °C"):
            limit_factor(senseless)


def test_the_whole_cabinet_at_a_quarter_against_the_electricians_hand():
    """0.6 × 0.6 × 0.8 m holds a quarter of the limit with 3.2 g of xylene when cold and some 1.4 g at 200 °C."""
    limit = SOLVENTS["xylene"].lower_limit_kg_per_m3
    assert highest_kg_per_m3(3.2e-3, 600.0, 0.0, 0.288, 20.0) == pytest.approx(0.25 * limit, rel=0.02)
    hot = highest_kg_per_m3(1.4e-3, 600.0, 0.0, 0.288, 200.0) / limit_factor(200.0)
    assert hot == pytest.approx(0.25 * limit, rel=0.06)


@pytest.mark.parametrize(("flow_m3_h", "over_s", "hot_c"), [(3.0, 600.0, 200.0), (0.5, 300.0, 20.0), (40.0, 60.0, 350)])
def test_the_formula_against_an_integration_of_the_mass_balance(flow_m3_h, over_s, hot_c):
    flow, mass, air = flow_m3_h / 3600.0, 2.4e-3, 0.288 * 293.15 / (hot_c + 273.15)
    run = solve_ivp(lambda t, c: (mass / over_s - flow * c) / air, (0.0, over_s), [0.0], rtol=1e-9, atol=1e-14)
    assert highest_kg_per_m3(mass, over_s, flow, 0.288, hot_c) == pytest.approx(run.y[0, -1], rel=1e-6)


def test_a_long_release_is_its_rate_over_the_flow():
    assert highest_kg_per_m3(3.6, 36000.0, 0.01, 0.3, 150.0) == pytest.approx(1e-4 / 0.01, rel=1e-6)


@given(st.floats(1e-6, 10.0), st.floats(10.0, 1e5), st.floats(1e-3, 5.0), st.floats(-20.0, 400.0), st.floats(1e-3, 0.1))
def test_the_needed_flow_is_just_enough(mass, over, volume, hot, allowed):
    needed = needed_m3_per_s(mass, over, volume, hot, allowed)
    assert highest_kg_per_m3(mass, over, needed, volume, hot) <= allowed * (1.0 + 1e-9)
    if needed > 0.0:
        assert highest_kg_per_m3(mass, over, 0.99 * needed, volume, hot) > allowed


@pytest.mark.parametrize(
    "call",
    [
        lambda: highest_kg_per_m3(-1.0, 60.0, 0.1, 0.3, 20.0),
        lambda: highest_kg_per_m3(1.0, 0.0, 0.1, 0.3, 20.0),
        lambda: highest_kg_per_m3(1.0, 60.0, math.nan, 0.3, 20.0),
        lambda: highest_kg_per_m3(1.0, 60.0, 0.1, 0.0, 20.0),
        lambda: needed_m3_per_s(1.0, 60.0, 0.3, 20.0, 0.0),
    ],
)
def test_senseless_figures_are_refused(call):
    with pytest.raises(ValueError):
        call()
