"""Textbook formulas that the package does not need and its physics is compared with."""

import numpy as np

from kilnctl.thermal.surfaces import radiation_w_m2

ZERO_C = 273.15


def grey_exchange_w_m2(t1_c, t2_c, emissivity_1, emissivity_2, area_ratio=1.0):
    """Flux on surface 1 between two grey surfaces that see only each other: parallel plates (area_ratio = 1) or a
    convex body 1 inside surface 2, area_ratio = A1/A2 (Incropera table 13.3): σ(T1⁴−T2⁴)/(1/ε1 + (A1/A2)(1/ε2 − 1))."""
    return radiation_w_m2(t1_c, t2_c, 1.0 / (1.0 / emissivity_1 + area_ratio * (1.0 / emissivity_2 - 1.0)))


def star_c(conductances_m2, surfaces_c):
    """Temperature of the star, °C, at which what the surfaces give and take sums to zero (Carroll 1980)."""
    weights = np.asarray(conductances_m2, dtype=float)
    fourth = np.sum(weights * (np.asarray(surfaces_c) + ZERO_C) ** 4, axis=-1) / np.sum(weights, axis=-1)
    return fourth**0.25 - ZERO_C
