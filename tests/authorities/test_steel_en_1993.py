"""Carbon and stainless steel against EN 1993-1-2 as design handbooks print its values (from memory)."""

import math

import pytest

from kilnctl.thermal import steels
from kilnctl.thermal.material_data import find

#: °C: J/(kg·K), as handbooks on fire design tabulate 3.4.1.2 (from memory).
PRINTED = {
    20: 440,
    100: 488,
    200: 530,
    300: 565,
    400: 606,
    500: 667,
    600: 760,
    700: 1008,
    735: 5000,
    800: 803,
    900: 650,
    1000: 650,
    1200: 650,
}
#: °C: W/(m·K), of 3.4.1.3 (from memory).
CONDUCTS = {20: 53.3, 100: 50.7, 200: 47.3, 400: 40.7, 600: 34.0, 800: 27.3, 1200: 27.3}


@pytest.mark.parametrize(("celsius", "printed"), PRINTED.items())
def test_specific_heat_of_carbon_steel(celsius, printed):
    assert steels.carbon_capacity(celsius) == pytest.approx(printed, abs=1.0)
    assert find("steel").heat_capacity(float(celsius)) == pytest.approx(printed, rel=0.01)


@pytest.mark.parametrize(("celsius", "printed"), CONDUCTS.items())
def test_conductivity_of_carbon_steel(celsius, printed):
    assert steels.carbon_conductivity(celsius) == pytest.approx(printed, abs=0.06)
    assert find("steel").conductivity(float(celsius)) == pytest.approx(printed, rel=0.005)


def test_heat_through_the_peak_is_the_integral_of_the_standard():
    """∫ c dθ of 3.4.1.2 by hand: from 600 to 735 °C 666·135 + 13002·ln(138/3), from 735 to 800 °C
    545·65 + 17820·ln(69/4)."""
    below = 666.0 * 135.0 + 13002.0 * math.log(138.0 / 3.0)
    above = 545.0 * 65.0 + 17820.0 * math.log(69.0 / 4.0)
    steel = find("steel")
    assert steel.enthalpy(735.0) - steel.enthalpy(600.0) == pytest.approx(below, rel=2e-3)
    assert steel.enthalpy(800.0) - steel.enthalpy(735.0) == pytest.approx(above, rel=2e-3)


@pytest.mark.parametrize(
    ("celsius", "capacity", "conductivity"),
    [(20, 455.5, 14.9), (400, 524.0, 19.7), (800, 556.4, 24.8), (1200, 598.5, 29.8)],
)
def test_stainless_steel(celsius, capacity, conductivity):
    """C.3.2 and C.3.3, computed by hand from the equations (from memory)."""
    assert find("stainless steel").heat_capacity(float(celsius)) == pytest.approx(capacity, rel=2e-3)
    assert find("stainless steel").conductivity(float(celsius)) == pytest.approx(conductivity, abs=0.06)


@pytest.mark.parametrize(
    "formula",
    [steels.carbon_capacity, steels.carbon_conductivity, steels.stainless_capacity, steels.stainless_conductivity],
)
@pytest.mark.parametrize("celsius", [19.0, 1201.0, math.nan])
def test_outside_its_range_the_standard_says_nothing(formula, celsius):
    with pytest.raises(ValueError, match="20 °C to 1200 °C"):
        formula(celsius)
