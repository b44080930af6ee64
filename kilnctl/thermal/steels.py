"""Specific heat and conductivity of carbon and stainless steel as EN 1993-1-2:2005 gives them (equations from memory;
`tests/authorities/` compares them with printed tables).

Carbon steel takes up much more heat round 735 °C, where ferrite becomes austenite: 5000 J/(kg·K) at the peak. Cooling
gives that heat back at lower temperatures, with undercooling; like the standard, one curve serves both ways here.
"""

from collections.abc import Callable

#: Range of the equations, °C.
COLDEST_C, HOTTEST_C = 20.0, 1200.0
#: Where the equations are tabulated, °C: close together where the curve is steep.
_CARBON_C = (
    *range(20, 600, 20),
    *range(600, 700, 10),
    *range(700, 724, 4),
    *(724 + 0.5 * i for i in range(52)),
    *range(750, 770, 4),
    *range(770, 900, 10),
    899.999,
    900,
    1200,
)
_EVERY_100_C = (20, *range(100, 1201, 100))


def _checked(t_c: float) -> float:
    if not COLDEST_C <= t_c <= HOTTEST_C:
        raise ValueError(f"t_c = {t_c:g} °C: EN 1993-1-2 gives steel from {COLDEST_C:g} °C to {HOTTEST_C:g} °C")
    return t_c


def carbon_capacity(t_c: float) -> float:
    """Specific heat of carbon steel, J/(kg·K), EN 1993-1-2 3.4.1.2. Raises ValueError outside 20 °C to 1200 °C."""
    t = _checked(t_c)
    if t < 600.0:
        return 425.0 + 0.773 * t - 1.69e-3 * t**2 + 2.22e-6 * t**3
    if t < 735.0:
        return 666.0 + 13002.0 / (738.0 - t)
    if t < 900.0:
        return 545.0 + 17820.0 / (t - 731.0)
    return 650.0


def carbon_conductivity(t_c: float) -> float:
    """Conductivity of carbon steel, W/(m·K), EN 1993-1-2 3.4.1.3. Raises ValueError outside 20 °C to 1200 °C."""
    t = _checked(t_c)
    return 54.0 - 0.0333 * t if t < 800.0 else 27.3


def stainless_capacity(t_c: float) -> float:
    """Specific heat of stainless steel, J/(kg·K), EN 1993-1-2 C.3.2. Raises ValueError outside 20 °C to 1200 °C."""
    t = _checked(t_c)
    return 450.0 + 0.280 * t - 2.91e-4 * t**2 + 1.34e-7 * t**3


def stainless_conductivity(t_c: float) -> float:
    """Conductivity of stainless steel, W/(m·K), EN 1993-1-2 C.3.3. Raises ValueError outside 20 °C to 1200 °C."""
    return 14.6 + 0.0127 * _checked(t_c)


def _table(formula: Callable[[float], float], at_c: tuple[float, ...]) -> tuple[tuple[float, float], ...]:
    return tuple((float(t), formula(float(t))) for t in at_c)


#: Points for the library, (°C, J/(kg·K)) and (°C, W/(m·K)), within 1 % of the equations.
CARBON_CAPACITY = _table(carbon_capacity, _CARBON_C)
CARBON_CONDUCTIVITY = ((20.0, carbon_conductivity(20.0)), (800.0, 27.3), (1200.0, 27.3))
STAINLESS_CAPACITY = _table(stainless_capacity, _EVERY_100_C)
STAINLESS_CONDUCTIVITY = ((20.0, stainless_conductivity(20.0)), (1200.0, stainless_conductivity(1200.0)))
