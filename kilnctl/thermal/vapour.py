"""Flammable vapour in a ventilated chamber: lower explosive limits, and the air that keeps a release below a share of
them. No numpy: the rules read it. Amounts of air and vapour per m³ are at room conditions (20 °C, 1013 hPa)."""

import math
from dataclasses import dataclass

ROOM_C, ZERO_C = 20.0, 273.15
MOLAR_L = 24.06  # litres of an ideal gas per mole at ROOM_C and 1013 hPa
#: Relative fall of the lower explosive limit per kelvin above ROOM_C (EN 1539, from memory), and up to where it is used
#: here, °C: hotter, vapours catch fire by themselves and an oven needs another design.
LIMIT_FALLS_PER_K, HOTTEST_C = 0.0014, 400.0
#: Highest share of the lower explosive limit without a meter of vapour (EN 1539 and NFPA 86, from memory).
ALLOWED_SHARE = 0.25
#: Powder without data: this share of its mass counts as xylene (NFPA 86, from memory).
POWDER_SHARE, POWDER_AS = 0.09, "xylene"
#: Clouds of coating powder, and paint vapour, ignite on a surface from some 400 to 530 °C (from memory): the lower end.
POWDER_IGNITION_C = 400.0


@dataclass(frozen=True)
class Solvent:
    """lower_share: lower explosive limit in air, parts by volume; g_per_mol: molar mass; ignition_c: auto-ignition
    temperature, °C. If sources differ, the more dangerous value (NFPA 325 and German safety data, from memory)."""

    lower_share: float
    g_per_mol: float
    ignition_c: float

    @property
    def lower_limit_kg_per_m3(self) -> float:
        """Lower explosive limit at room conditions, kg of vapour per m³ of air."""
        return self.lower_share * self.g_per_mol / MOLAR_L


SOLVENTS = {
    "acetone": Solvent(0.025, 58.08, 465.0),
    "butanol": Solvent(0.014, 74.12, 340.0),
    "butanone": Solvent(0.014, 72.11, 404.0),
    "butyl acetate": Solvent(0.012, 116.16, 390.0),
    "ethanol": Solvent(0.031, 46.07, 363.0),
    "ethyl acetate": Solvent(0.020, 88.11, 426.0),
    "heptane": Solvent(0.0105, 100.20, 204.0),
    "hexane": Solvent(0.010, 86.18, 225.0),
    "isopropanol": Solvent(0.020, 60.10, 399.0),
    "methanol": Solvent(0.055, 32.04, 440.0),
    "methoxypropanol": Solvent(0.015, 90.12, 270.0),
    "naphtha": Solvent(0.009, 100.0, 220.0),
    "styrene": Solvent(0.009, 104.15, 490.0),
    "toluene": Solvent(0.011, 92.14, 480.0),
    "turpentine": Solvent(0.007, 136.23, 220.0),
    "white spirit": Solvent(0.006, 142.0, 230.0),
    "xylene": Solvent(0.010, 106.17, 463.0),
}
#: Not flammable in the usual way, but no ventilation figure makes it safe: hot metal and arcs turn its vapour into
#: phosgene and hydrogen chloride.
CHLORINATED = "chlorinated solvent"


def limit_factor(hottest_c: float) -> float:
    """Ratio of the lower explosive limit at that temperature to that at 20 °C. Raises ValueError above HOTTEST_C and
    for anything but a number."""
    if not hottest_c <= HOTTEST_C:
        raise ValueError(f"hottest_c = {hottest_c:g} °C: explosive limits are known here up to {HOTTEST_C:.0f} °C")
    return 1.0 - LIMIT_FALLS_PER_K * max(0.0, hottest_c - ROOM_C)


def highest_kg_per_m3(mass_kg: float, over_s: float, flow_m3_per_s: float, volume_m3: float, hottest_c: float) -> float:
    """Highest concentration, kg per m³ of room air, while `mass_kg` is released evenly over `over_s` into a well mixed
    chamber with a flow of room air through it.

    The chamber holds less air when hot: its volume times 293 K over its temperature. With n changes of that air in the
    time, the highest is (1 − exp(−n)) times the mass over the air that has gone through, and without a flow the mass
    over the air inside. Raises ValueError for a negative value, and for zero volume or time."""
    if not (mass_kg >= 0.0 and flow_m3_per_s >= 0.0 and over_s > 0.0 and volume_m3 > 0.0):
        raise ValueError("mass and flow from 0, time and volume above 0")
    air_m3 = volume_m3 * (ROOM_C + ZERO_C) / (max(ROOM_C, hottest_c) + ZERO_C)
    changes = flow_m3_per_s * over_s / air_m3
    # (1 − e^−x)/x, which is 1 for no flow.
    return mass_kg / air_m3 * (-math.expm1(-changes) / changes if changes > 0.0 else 1.0)


def needed_m3_per_s(
    mass_kg: float, over_s: float, volume_m3: float, hottest_c: float, allowed_kg_per_m3: float
) -> float:
    """Least flow of room air that keeps the highest concentration at or below what is allowed, m³/s; 0 where the
    chamber's own air is enough. Raises ValueError as `highest_kg_per_m3`, and for an allowed concentration that is not
    above zero."""
    if not allowed_kg_per_m3 > 0.0:
        raise ValueError(f"allowed_kg_per_m3 = {allowed_kg_per_m3:g}: must be above zero")
    if highest_kg_per_m3(mass_kg, over_s, 0.0, volume_m3, hottest_c) <= allowed_kg_per_m3:
        return 0.0
    low, high = 0.0, mass_kg / over_s / allowed_kg_per_m3  # which is enough: c < m/(t·Q)
    for _ in range(60):
        middle = 0.5 * (low + high)
        enough = highest_kg_per_m3(mass_kg, over_s, middle, volume_m3, hottest_c) <= allowed_kg_per_m3
        low, high = (low, middle) if enough else (middle, high)
    return high
