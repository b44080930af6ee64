"""Heat at surfaces: natural and forced convection, radiation. Films h in W/(m²·K), fluxes in W/m², temperatures in °C.

Air properties are taken at the film temperature, the mean of surface and air. Each correlation states the range of its
Rayleigh or Reynolds number and raises ValueError above it; below it the conduction limit given with it holds. A face of
several metres exceeds the measured Rayleigh numbers: the turbulent law is extended up to `EXTENDED_RA`, and
`extrapolated` says so.
"""

import math

from .air import Air, air
from .constants import GRAVITY, STEFAN_BOLTZMANN, ZERO_C

#: Highest Rayleigh numbers that the laws were made for: a vertical plate (Churchill and Chu), a horizontal one with its
#: buoyant side free, and one with it confined (McAdams).
VERTICAL_RA, FREE_RA, CONFINED_RA = 1e12, 1e11, 3e10
#: How far the same laws are extended, for vertical and for horizontal plates. In the turbulent range Nu goes with Ra^⅓,
#: and a film no longer depends on the length (common practice; tens of per cent may be off there). The confined side's
#: Ra^¼ has no such reason for being extended, but that film is small.
EXTENDED_RA, EXTENDED_HORIZONTAL_RA = 3e13, 1e12

#: Emissivity of outsides near room temperature (handbook tables, from memory). Paint and dust bring any of them near
#: 0.9; galvanised sheet gets dull with the years.
OUTSIDES = {"painted": 0.9, "bare steel": 0.6, "stainless steel": 0.3, "galvanised": 0.25, "aluminium": 0.1}


def rayleigh(surface_c: float, air_c: float, length_m: float) -> float:
    """Rayleigh number, dimensionless, of a surface of that length in still air; length_m > 0."""
    return _rayleigh(air(0.5 * (surface_c + air_c)), surface_c - air_c, length_m)


def _rayleigh(film: Air, difference_k: float, length_m: float) -> float:
    """The same with the air of the film known: g β ΔT L³ / (ν a), with β = 1/T."""
    if not length_m > 0.0:
        raise ValueError(f"length_m = {length_m:g}: height, diameter or area/perimeter must be above zero")
    density = film.density_kg_m3
    return (
        GRAVITY
        / film.temperature_k
        * abs(difference_k)
        * length_m**3
        * density
        * density
        * film.heat_capacity_j_kgk
        / (film.viscosity_pa_s * film.conductivity_w_mk)
    )


def _above(name: str, number: float, limit: float) -> None:
    if number > limit:
        raise ValueError(f"{name} = {number:.2e} is above {limit:.0e}, the range of the correlation")


def vertical_film(surface_c: float, air_c: float, height_m: float) -> float:
    """Natural convection at a vertical plate, W/(m²·K). S. W. Churchill and H. H. S. Chu, Int. J. Heat Mass Transfer 18
    (1975) 1323, eq. 9, for all Ra up to 1e12, carried on to EXTENDED_RA; Nu = 0.68 is its conduction limit."""
    return _vertical(air(0.5 * (surface_c + air_c)), surface_c - air_c, height_m)


def _vertical(film: Air, difference_k: float, height_m: float) -> float:
    """The same with the air of the film known."""
    ra = _rayleigh(film, difference_k, height_m)
    _above("Ra", ra, EXTENDED_RA)
    nusselt = (0.825 + 0.387 * ra ** (1 / 6) / (1.0 + (0.492 / film.prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    return nusselt * film.conductivity_w_mk / height_m


def horizontal_film(film: Air, difference_k: float, length_m: float, facing: str) -> float:
    """Natural convection at a horizontal plate that is difference_k warmer than its air, W/(m²·K); `film`: the air at
    the mean of both; `facing` "up" or "down" is the side the air is on, length_m = area/perimeter. W. H. McAdams, Heat
    Transmission (1954), as in Incropera eqs. 9.30–9.32: with the buoyant side free Nu = 0.54 Ra^¼ or 0.15 Ra^⅓, the
    larger (Ra to 1e11); with it confined Nu = 0.27 Ra^¼ (Ra to 3e10). Both are carried on to EXTENDED_HORIZONTAL_RA."""
    if facing not in ("up", "down"):
        raise ValueError(f"facing = {facing!r}: 'up' or 'down'")
    ra = _rayleigh(film, difference_k, length_m)
    free = (facing == "up") == (difference_k >= 0.0)
    _above("Ra", ra, EXTENDED_HORIZONTAL_RA)
    nusselt = max(0.54 * ra**0.25, 0.15 * ra ** (1 / 3)) if free else 0.27 * ra**0.25
    # The conduction limit of a thin plate, Nu about 1 on area/perimeter, keeps the film above zero where the
    # temperature difference vanishes.
    return max(nusselt, 0.5) * film.conductivity_w_mk / length_m


def cylinder_film(surface_c: float, air_c: float, diameter_m: float, speed_m_s: float = 0.0) -> float:
    """Convection at a horizontal cylinder (element, sheath), W/(m²·K): natural after Churchill and Chu (1975) for Ra up
    to 1e12, forced after S. W. Churchill and M. Bernstein, J. Heat Transfer 99 (1977) 300, Re·Pr > 0.2; the larger
    counts."""
    film = air(0.5 * (surface_c + air_c))
    ra = _rayleigh(film, surface_c - air_c, diameter_m)
    _above("Ra", ra, 1e12)
    nusselt = (0.60 + 0.387 * ra ** (1 / 6) / (1.0 + (0.559 / film.prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    if speed_m_s > 0.0:
        reynolds = speed_m_s * diameter_m / film.kinematic_viscosity_m2_s
        _above("Re", reynolds, 1e6)
        pr = film.prandtl
        forced = 0.3 + (
            0.62
            * reynolds**0.5
            * pr ** (1 / 3)
            / (1.0 + (0.4 / pr) ** (2 / 3)) ** 0.25
            * (1.0 + (reynolds / 282000.0) ** (5 / 8)) ** (4 / 5)
        )
        nusselt = max(nusselt, forced)
    return nusselt * film.conductivity_w_mk / diameter_m


def forced_film(surface_c: float, air_c: float, length_m: float, speed_m_s: float) -> float:
    """Forced convection along a flat surface, W/(m²·K). Laminar Nu = 0.664 Re^½ Pr^⅓ up to Re = 5e5, beyond it the
    mixed form Nu = (0.037 Re^⅘ − 871) Pr^⅓ up to 1e8 (Incropera eqs. 7.30, 7.38). A circulation fan makes more
    turbulence than a smooth stream: the true film may be up to 50 % higher."""
    return _forced(air(0.5 * (surface_c + air_c)), length_m, speed_m_s)


def _forced(film: Air, length_m: float, speed_m_s: float) -> float:
    """The same with the air of the film known."""
    if speed_m_s <= 0.0 or length_m <= 0.0:
        raise ValueError("speed_m_s and length_m must be above zero")
    reynolds = speed_m_s * length_m / film.kinematic_viscosity_m2_s
    _above("Re", reynolds, 1e8)
    nusselt = 0.664 * reynolds**0.5 if reynolds <= 5e5 else 0.037 * reynolds**0.8 - 871.0
    return nusselt * film.prandtl ** (1 / 3) * film.conductivity_w_mk / length_m


def natural_film(surface_c: float, air_c: float, height_m: float, orientation: str) -> float:
    """Natural convection for a face: "vertical", "up" (air above it) or "down" (air below it), W/(m²·K).
    height_m is the height of a vertical face, area/perimeter of a horizontal one."""
    return _natural(air(0.5 * (surface_c + air_c)), surface_c - air_c, height_m, orientation)


def _natural(film: Air, difference_k: float, height_m: float, orientation: str) -> float:
    """The same with the air of the film known."""
    if orientation == "vertical":
        return _vertical(film, difference_k, height_m)
    return horizontal_film(film, difference_k, height_m, orientation)


def extrapolated(surface_c: float, air_c: float, height_m: float, orientation: str) -> bool:
    """Whether `natural_film` of these arguments lies beyond the Rayleigh numbers that its law was made for."""
    if orientation == "vertical":
        limit = VERTICAL_RA
    else:
        limit = FREE_RA if (orientation == "up") == (surface_c >= air_c) else CONFINED_RA
    return rayleigh(surface_c, air_c, height_m) > limit


def inner_film(surface_c: float, air_c: float, height_m: float, orientation: str, speed_m_s: float = 0.0) -> float:
    """Convection inside a chamber, W/(m²·K): natural, or forced by a fan where that is more."""
    film = air(0.5 * (surface_c + air_c))
    natural = _natural(film, surface_c - air_c, height_m, orientation)
    return max(natural, _forced(film, height_m, speed_m_s)) if speed_m_s > 0.0 else natural


def _check_radiation(t1_c: float, t2_c: float, emissivity: float) -> None:
    if not 0.0 <= emissivity <= 1.0:
        raise ValueError(f"emissivity = {emissivity:g}: from 0 to 1")
    # Rounding may lead just below absolute zero: that counts as absolute zero.
    if not (t1_c >= -ZERO_C - 1e-9 and t2_c >= -ZERO_C - 1e-9):
        raise ValueError(f"t1_c, t2_c = {t1_c:g}, {t2_c:g} °C: below absolute zero")


def radiation_w_m2(t1_c: float, t2_c: float, emissivity: float = 1.0) -> float:
    """Net flux from t1 to t2, W/m²: ε σ (T1⁴ − T2⁴); a small body in large surroundings, or any exchange factor for
    ε."""
    _check_radiation(t1_c, t2_c, emissivity)
    return emissivity * STEFAN_BOLTZMANN * ((t1_c + ZERO_C) ** 4 - (t2_c + ZERO_C) ** 4)


def radiation_film(t1_c: float, t2_c: float, emissivity: float = 1.0) -> float:
    """The same as a film, W/(m²·K): ε σ (T1² + T2²)(T1 + T2)."""
    _check_radiation(t1_c, t2_c, emissivity)
    a, b = t1_c + ZERO_C, t2_c + ZERO_C
    return emissivity * STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)


def outer_film(
    face_c: float,
    ambient_c: float,
    height_m: float,
    orientation: str = "vertical",
    emissivity: float = 0.9,
    convection: float = 1.0,
) -> float:
    """Whole film from the outside of a wall to a still room at ambient_c, W/(m²·K): natural convection (times
    `convection`, for ranges) and radiation."""
    if math.isclose(face_c, ambient_c, abs_tol=1e-9):
        face_c = ambient_c + 1e-9
    return convection * natural_film(face_c, ambient_c, height_m, orientation) + radiation_film(
        face_c, ambient_c, emissivity
    )
