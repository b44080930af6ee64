"""Dry air at any temperature between −70 °C and 1720 °C.

Conductivity, viscosity and heat capacity are interpolated in a table of the dilute gas at 101.325 kPa after
E. W. Lemmon and R. T. Jacobsen, Int. J. Thermophysics 25 (2004) 21 (transport) and E. W. Lemmon et al., J. Phys. Chem.
Ref. Data 29 (2000) 331 (heat capacity). Density is the ideal gas's. Against that equation of state at 101.325 kPa every
property is within 0.1 % from 20 °C up; below, interpolation and the ideal gas are up to 0.3 % off at −73 °C.
"""

import bisect
from itertools import pairwise
from typing import NamedTuple

from .constants import GAS_CONSTANT, ZERO_C

MOLAR_MASS_KG = 0.0289586  # kg/mol, dry air
STANDARD_PA = 101325.0
LOWEST_C, HIGHEST_C = 200.0 - ZERO_C, 2000.0 - ZERO_C

# K, W/(m·K), Pa·s, J/(kg·K)
_TABLE = (
    (200, 0.018503, 1.33335e-05, 1006.80),
    (250, 0.022564, 1.60381e-05, 1005.54),
    (300, 0.026384, 1.85373e-05, 1006.37),
    (350, 0.030003, 2.08671e-05, 1009.21),
    (400, 0.033453, 2.30554e-05, 1014.14),
    (450, 0.036760, 2.51240e-05, 1021.11),
    (500, 0.039945, 2.70901e-05, 1029.87),
    (550, 0.043024, 2.89679e-05, 1040.04),
    (600, 0.046011, 3.07687e-05, 1051.20),
    (650, 0.048919, 3.25020e-05, 1062.96),
    (700, 0.051755, 3.41757e-05, 1074.97),
    (750, 0.054530, 3.57964e-05, 1086.95),
    (800, 0.057249, 3.73700e-05, 1098.69),
    (850, 0.059918, 3.89011e-05, 1110.04),
    (900, 0.062543, 4.03941e-05, 1120.91),
    (950, 0.065128, 4.18526e-05, 1131.24),
    (1000, 0.067677, 4.32798e-05, 1141.00),
    (1100, 0.072680, 4.60515e-05, 1158.82),
    (1200, 0.077576, 4.87282e-05, 1174.49),
    (1300, 0.082382, 5.13249e-05, 1188.24),
    (1400, 0.087113, 5.38540e-05, 1200.33),
    (1500, 0.091782, 5.63255e-05, 1211.02),
    (1600, 0.096398, 5.87476e-05, 1220.53),
    (1700, 0.100970, 6.11275e-05, 1229.05),
    (1800, 0.105505, 6.34710e-05, 1236.75),
    (1900, 0.110008, 6.57831e-05, 1243.75),
    (2000, 0.114486, 6.80683e-05, 1250.15),
)
# The same on an even grid (the coarser rows above 1000 K halved), as values and steps: one multiplication finds the
# place.
_STEP_K = 50.0


def _even() -> tuple[tuple[float, ...], ...]:
    def at(kelvin: float) -> list[float]:
        i = min(max(bisect.bisect_right([row[0] for row in _TABLE], kelvin) - 1, 0), len(_TABLE) - 2)
        low, high = _TABLE[i], _TABLE[i + 1]
        return [a + (kelvin - low[0]) / (high[0] - low[0]) * (b - a) for a, b in zip(low[1:], high[1:], strict=True)]

    knots = [at(200.0 + _STEP_K * i) for i in range(37)]
    return tuple((*a, *(q - p for p, q in zip(a, b, strict=True))) for a, b in pairwise([*knots, knots[-1]]))


_EVEN = _even()


class Air(NamedTuple):
    """Properties at one temperature (and pressure, for the density and what follows from it)."""

    temperature_k: float
    conductivity_w_mk: float
    viscosity_pa_s: float
    heat_capacity_j_kgk: float
    density_kg_m3: float

    @property
    def prandtl(self) -> float:
        return self.viscosity_pa_s * self.heat_capacity_j_kgk / self.conductivity_w_mk

    @property
    def kinematic_viscosity_m2_s(self) -> float:
        return self.viscosity_pa_s / self.density_kg_m3


def air(t_c: float, pressure_pa: float = STANDARD_PA) -> Air:
    """Dry air at t_c °C. Raises ValueError outside −73 °C to 1727 °C or 50 kPa to 110 kPa."""
    t = t_c + ZERO_C
    place = (t - 200.0) / _STEP_K
    if not -1e-9 <= place <= 36.0 + 1e-9:
        raise ValueError(f"t_c = {t_c:g} °C: air properties are tabulated from {LOWEST_C:.0f} °C to {HIGHEST_C:.0f} °C")
    if not 5e4 <= pressure_pa <= 1.1e5:
        raise ValueError(f"pressure_pa = {pressure_pa:g} Pa: from 50 kPa to 110 kPa only")
    i = min(max(int(place), 0), 35)
    share = place - i
    k, mu, cp, dk, dmu, dcp = _EVEN[i]
    density = pressure_pa * MOLAR_MASS_KG / (GAS_CONSTANT * t)
    # As `Air(…)`, without the call in between: films ask for it hundreds of thousands of times.
    return tuple.__new__(Air, (t, k + share * dk, mu + share * dmu, cp + share * dcp, density))
