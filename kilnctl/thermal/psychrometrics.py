"""Moist air at the pressure of the standard atmosphere: saturation, dew point, wet bulb, and evaporation from a wet
surface.

Equations of the ASHRAE Handbook of Fundamentals, chapter "Psychrometrics" (from memory), with the saturation pressure
of Buck (1981). `share` is the share of water vapour in the moist air by volume, so its pressure over the whole.
"""

import math

import numpy as np

from .constants import ZERO_C

#: Pressure of the standard atmosphere, Pa.
PRESSURE_PA = 101325.0
#: Molar masses, kg/mol, and their ratio.
WATER_KG_PER_MOL, AIR_KG_PER_MOL = 0.018015, 0.028966
RATIO = WATER_KG_PER_MOL / AIR_KG_PER_MOL
#: Molar heat capacities, J/(mol·K), of dry air and water vapour round 100 °C (from memory).
AIR_J_PER_MOLK, VAPOUR_J_PER_MOLK = 29.3, 34.0
#: Heat capacity of vapour, J/(kg·K).
VAPOUR_J_PER_KGK = VAPOUR_J_PER_MOLK / WATER_KG_PER_MOL
#: Heat capacity of liquid water, J/(kg·K): 1 kcal at 15 °C, within 0.6 % from 0 to 100 °C.
WATER_J_PER_KGK = 4186.0
#: Boiling point at that pressure (ITS-90).
BOILING_K = 99.97 + ZERO_C
#: Thermal over mass diffusivity of water vapour in air, to the power of the analogy of heat and mass transfer.
_LEWIS = 0.87 ** (2.0 / 3.0)
#: The share of vapour is kept below this, where the air left would be too little to speak of a wet bulb.
MOST_SHARE = 0.998


def latent_j_per_kg(temperature_k):
    """Heat of evaporation of water, J/kg; linear fit to steam tables (2501 kJ/kg at 0 °C, 2256 kJ/kg at 100 °C), from
    memory."""
    return 2.501e6 - 2.445e3 * (temperature_k - ZERO_C)


def saturation_pa(temperature_k):
    """Saturation pressure of water, Pa; above the boiling point that of the boiling point. Buck's equation (A. L. Buck,
    J. Appl. Meteorol. 20, 1981), from 0 °C."""
    t = np.minimum(temperature_k, BOILING_K) - ZERO_C
    return 611.21 * np.exp((18.678 - t / 234.5) * (t / (257.14 + t)))


def humidity_ratio(share: float) -> float:
    """kg of vapour per kg of dry air. Raises ValueError outside 0 ≤ share < 1."""
    if not 0.0 <= share < 1.0:
        raise ValueError(f"share = {share:g}: from 0 to below 1")
    return RATIO * share / (1.0 - share)


def share_of(ratio: float) -> float:
    """The share by volume that belongs to a humidity ratio in kg/kg. Raises ValueError below zero."""
    if not 0.0 <= ratio < math.inf:
        raise ValueError(f"ratio = {ratio:g}: must not be below zero")
    return ratio / (RATIO + ratio)


def dew_point_c(share: float) -> float:
    """Dew point, °C, of moist air, from 0 °C (less vapour counts as 0 °C) to the boiling point."""
    low, high = ZERO_C, BOILING_K
    for _ in range(50):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if saturation_pa(middle) < share * PRESSURE_PA else (low, middle)
    return 0.5 * (low + high) - ZERO_C


def wet_bulb_c(dry_c: float, share: float) -> float:
    """Thermodynamic wet-bulb temperature, °C: that at which air of dry_c °C becomes saturated by water which it
    evaporates itself. Raises ValueError where the air is below 0 °C, above 400 °C, or holds more vapour than it can."""
    ratio = humidity_ratio(share)
    if not 0.0 <= dry_c <= 400.0 or share * PRESSURE_PA > saturation_pa(dry_c + ZERO_C) * (1.0 + 1e-6):
        raise ValueError(
            f"air of {dry_c:g} °C with a share of {share:g}: from 0 °C to 400 °C, and not above saturation"
        )
    low, high = 0.0, min(dry_c, BOILING_K - ZERO_C - 0.01)
    for _ in range(50):
        wet = 0.5 * (low + high)
        saturated = humidity_ratio(float(saturation_pa(wet + ZERO_C)) / PRESSURE_PA)
        there = ((2501.0 - 2.326 * wet) * saturated - 1.006 * (dry_c - wet)) / (2501.0 + 1.86 * dry_c - 4.186 * wet)
        low, high = (wet, high) if there < ratio else (low, wet)
    return 0.5 * (low + high)


def evaporation_mol_per_m2s(surface_k: float, share: float, film_w_per_m2k: float) -> float:
    """Vapour that leaves a wet surface, mol/(m²·s); below zero where the surface is colder than the dew point and takes
    up water.

    Analogy of heat and mass transfer with Stefan's flow: h / (Cp Le^(2/3)) · ln((1 − share)/(1 − share at the
    surface)), Cp of the mean of both (Bird, Stewart and Lightfoot, chapter 22, from memory). The film's own change by
    the vapour's flow is left out: 3 % at the rates of an oven."""
    here = min(float(saturation_pa(surface_k)) / PRESSURE_PA, MOST_SHARE)
    share = min(share, MOST_SHARE)
    mean = 0.5 * (here + share)
    molar = AIR_J_PER_MOLK + (VAPOUR_J_PER_MOLK - AIR_J_PER_MOLK) * mean
    return film_w_per_m2k / (molar * _LEWIS) * math.log((1.0 - share) / (1.0 - here))
