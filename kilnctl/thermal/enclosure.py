"""Radiation inside the chamber as a star, and the temperature that a small sensor shows in it.

Source: J. A. Carroll, "An 'MRT method' of computing radiant energy exchange in rooms", Proc. 2nd Systems Simulation and
Economic Analysis Conference, San Diego 1980 (the equations from memory; the tests check them against exact two-surface
exchange). Each surface exchanges with one fictitious node, the mean radiant temperature, instead of with every other
surface: n conductances instead of n²/2, energy conserved and reciprocal by construction.
"""

import numpy as np

from .constants import STEFAN_BOLTZMANN, ZERO_C
from .surfaces import cylinder_film

#: The ideal small sensor that defines the chamber temperature: an oxidised sheath.
SENSOR_EMISSIVITY = 0.8
SENSOR_DIAMETER_M = 0.003


def star_factors(areas_m2, counts=None) -> np.ndarray:
    """Factor F of each flat or convex surface towards the star, F_i = 1 / (1 − A_i F_i / sum of A F), dimensionless.

    `areas_m2` of one piece each, `counts` how many equal pieces there are (four side walls see each other, so the four
    of them are four pieces and not one). Last axis runs over surfaces. Raises ValueError when one flat piece is more
    than half of all surface, which no closed chamber can have.
    """
    area = np.asarray(areas_m2, dtype=float)
    count = np.ones_like(area) if counts is None else np.broadcast_to(np.asarray(counts, dtype=float), area.shape)
    if np.any(area <= 0.0) or np.any(count < 1.0):
        raise ValueError("areas_m2 must be above zero and counts at least one")
    total = np.sum(area * count, axis=-1, keepdims=True)
    if np.any(area > 0.5 * total * (1.0 + 1e-9)):
        raise ValueError("areas_m2: one surface is larger than all the others together, so the chamber is not closed")
    factor = np.ones_like(area)
    for _ in range(3000):
        # Half steps: the plain iteration oscillates where one surface is nearly as large as all others together.
        wanted = 1.0 / (1.0 - area * factor / np.sum(count * area * factor, axis=-1, keepdims=True))
        change = np.max(np.abs(wanted - factor))
        factor = 0.5 * (factor + wanted)
        if change < 1e-12:
            return factor
    raise ValueError("areas_m2: one surface is so large that the others hardly close the chamber")


def star_conductances_m2(areas_m2, emissivities, counts=None) -> np.ndarray:
    """G in m² of all pieces of each surface: heat flow into the star is G σ (T_surface⁴ − T_star⁴), T in K.

    G = n A / ((1 − e)/e + 1/F): the surface resistance of a grey diffuse surface in series with the space resistance.
    Raises ValueError for an emissivity outside 0 < e ≤ 1.
    """
    emissivity = np.asarray(emissivities, dtype=float)
    if np.any(emissivity <= 0.0) or np.any(emissivity > 1.0):
        raise ValueError("emissivities must lie above 0 and not above 1")
    area = np.asarray(areas_m2, dtype=float)
    count = np.ones_like(area) if counts is None else np.asarray(counts, dtype=float)
    return count * area / ((1.0 - emissivity) / emissivity + 1.0 / star_factors(area, count))


def ideal_sensor_c(radiant_c, air_c, film_w_per_m2k, emissivity: float = SENSOR_EMISSIVITY):
    """Temperature, °C, of a small body in balance between radiation to the star and convection to the air.

    Solves e σ (T_radiant⁴ − T⁴) + h (T_air − T) = 0 by Newton's method from the linearised answer; arrays or floats,
    °C. `film_w_per_m2k` is the convective film of the body, W/(m²·K), and must not be negative.
    """
    radiant, air = radiant_c + ZERO_C, air_c + ZERO_C
    if film_w_per_m2k < 0.0 if isinstance(film_w_per_m2k, float) else np.any(np.asarray(film_w_per_m2k) < 0.0):
        raise ValueError("film_w_per_m2k must not be negative")
    strength = emissivity * STEFAN_BOLTZMANN
    received = strength * radiant**4
    slope = strength * (radiant + air) * (radiant * radiant + air * air)
    body = (slope * radiant + film_w_per_m2k * air) / (slope + film_w_per_m2k)
    for _ in range(5):
        cube = body * body * body
        residual = strength * cube * body - received + film_w_per_m2k * (body - air)
        body = body - residual / (4.0 * strength * cube + film_w_per_m2k)
    return body - ZERO_C


def sensor_film(body_c: float, air_c: float, air_speed_m_per_s: float = 0.0) -> float:
    """Film of the ideal small sensor, W/(m²·K): a cylinder of SENSOR_DIAMETER_M across the chamber's air stream."""
    return cylinder_film(body_c, air_c, SENSOR_DIAMETER_M, air_speed_m_per_s)


def chamber_temperature_c(radiant_c: float, air_c: float, air_speed_m_per_s: float = 0.0) -> float:
    """The chamber temperature, °C, as sizing and virtual oven define it: the ideal small sensor between star and
    air."""
    body = 0.5 * (radiant_c + air_c)
    for _ in range(6):
        before, body = (
            body,
            float(ideal_sensor_c(radiant_c, air_c, sensor_film(body, air_c, air_speed_m_per_s))),
        )
        if abs(body - before) < 1e-10:
            break
    return body
