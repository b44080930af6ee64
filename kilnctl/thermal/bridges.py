"""Ways for heat past the insulation: bars, leaking doors, vents and openings."""

import math

from .air import air
from .constants import GRAVITY
from .material_data import Material
from .surfaces import radiation_w_m2


def bar_conductance_w_per_k(
    material: Material, area_m2: float, length_m: float, hot_c: float, cold_c: float, count: int = 1
) -> float:
    """Conductance of `count` bars from hot to cold with insulated flanks, W/K: n·k·A/L with the mean k (Fourier's law).
    Film resistances at the ends are left out, so it errs on the side of more loss."""
    if area_m2 <= 0.0 or length_m <= 0.0 or count < 1:
        raise ValueError("area_m2 and length_m must be above zero and count at least one")
    return count * material.mean_conductivity(cold_c, hot_c) * area_m2 / length_m


def air_flow_w(flow_m3_s: float, chamber_air_c: float, ambient_c: float) -> float:
    """Heat carried off by room air drawn through the chamber, W; flow_m3_s at room conditions, sensible heat only."""
    if flow_m3_s < 0.0:
        raise ValueError("flow_m3_s must not be below zero")
    mean = air(0.5 * (chamber_air_c + ambient_c))
    return flow_m3_s * air(ambient_c).density_kg_m3 * mean.heat_capacity_j_kgk * (chamber_air_c - ambient_c)


def door_leak_kg_s(
    gap_m: float, width_m: float, height_m: float, chamber_air_c: float, ambient_c: float, top: bool = False
) -> float:
    """Air exchanged through the crack round a door by its own buoyancy, kg/s.

    A vertical door has its neutral level at mid-height; the lower half of the crack draws in and the upper half blows
    out. Integrating the orifice law over the half height (as for large openings, ASHRAE Fundamentals, stack effect; W.
    G. Brown and K. R. Solvason, Int. J. Heat Mass Transfer 5 (1962) 859): m = ρ Cd gap [ w·√(2gΔρ/ρ·H/2) +
    2·(2/3)·(H/2)·√(…) ] with Cd = 0.6 and one horizontal edge and two half verticals drawing in. A lid on top has no
    height between its edges: its crack is taken to pass a quarter of what a door of 0.1 m height would (an estimate,
    common practice). The flow in a crack below about 1 mm is laminar and smaller: the estimate errs on the side of more
    loss.
    """
    if gap_m < 0.0 or width_m <= 0.0 or height_m <= 0.0:
        raise ValueError("gap_m must not be below zero, width_m and height_m must be above zero")
    if gap_m == 0.0 or chamber_air_c <= ambient_c:
        return 0.0
    cold, hot = air(ambient_c).density_kg_m3, air(chamber_air_c).density_kg_m3
    mean = 0.5 * (cold + hot)
    if top:
        speed = math.sqrt(2.0 * GRAVITY * (cold - hot) / mean * 0.05)
        return 0.25 * 0.6 * mean * gap_m * (width_m + height_m) * speed
    half = 0.5 * height_m
    speed = math.sqrt(2.0 * GRAVITY * (cold - hot) / mean * half)
    return 0.6 * mean * gap_m * speed * (width_m + 2.0 * (2.0 / 3.0) * half)


def open_door_kg_s(width_m: float, height_m: float, chamber_air_c: float, ambient_c: float) -> float:
    """Air exchanged through a wide open vertical door, kg/s: m = (Cd/3)·W·H^1.5·√(g Δρ ρ) (Brown and Solvason 1962), Cd
    = 0.6."""
    if chamber_air_c <= ambient_c:
        return 0.0
    cold, hot = air(ambient_c).density_kg_m3, air(chamber_air_c).density_kg_m3
    return 0.6 / 3.0 * width_m * height_m**1.5 * math.sqrt(GRAVITY * (cold - hot) * 0.5 * (cold + hot))


def opening_w(diameter_m: float, chamber_c: float, ambient_c: float, depth_m: float = 0.1) -> float:
    """Radiation through a round hole of that depth in the wall, W: a black opening seen through a tube whose sides
    re-emit all they absorb (`tube_transmission`)."""
    if diameter_m <= 0.0 or depth_m < 0.0:
        raise ValueError("diameter_m must be above zero and depth_m not below")
    share = tube_transmission(2.0 * depth_m / diameter_m)
    return share * math.pi / 4.0 * diameter_m**2 * radiation_w_m2(chamber_c, ambient_c)


def tube_transmission(length_per_radius: float) -> float:
    """Share of diffuse radiation that passes a round tube with diffuse, reradiating sides, dimensionless.

    The same problem as free molecules in a tube (P. Clausing, Ann. Physik 12 (1932) 961); closed form of A. S. Berman,
    J. Appl. Phys. 36 (1965) 3356 (from memory), within 0.1 % of the integral equation up to length_per_radius = 50, and
    tending to the long tube's 8/(3L). Raises ValueError below zero.
    """
    x = length_per_radius
    if not 0.0 <= x < math.inf:
        raise ValueError(f"length_per_radius = {x:g}: must not be below zero")
    if x < 0.01:
        return 1.0 - 0.5 * x  # the closed form loses its digits here, and the next term is below 1e-4
    s = math.sqrt(x * x + 4.0)
    top = (8.0 - x * x) * s + x**3 - 16.0
    return 1.0 + 0.25 * x * (x - s) - top * top / (72.0 * x * s - 288.0 * math.log(0.5 * (x + s)))
