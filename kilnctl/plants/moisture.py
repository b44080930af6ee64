"""Water in the lining and on the load: it boils off, and below the boiling point it evaporates from wet surfaces.

Boiling: a wet node above the boiling point gives its excess to evaporation, so it stays on a plateau until it is dry.
Below the boiling point the surface of a wet load evaporates into the chamber by the analogy of heat and mass transfer
(Lewis; W. K. Lewis 1922, the textbook form h_m = h / (rho·cp·Le^(2/3))), with the saturation pressure of Buck (1981).
The chamber's humidity is the room's, as in a vented oven. Inside a lining, water that cannot boil stays.
"""

import numpy as np

from ..thermal.constants import GAS_CONSTANT, ZERO_C

#: Heat capacity of water, and its boiling point at 101.325 kPa (ITS-90).
WATER_J_PER_KGK = 4186.0
BOILING_K = 99.97 + ZERO_C
#: Time in which an overheated wet node falls back to the boiling point, s: short compared with the time constants
#: around it.
RELAXATION_S = 2.0
#: Molar mass of water, kg/mol; Lewis number of water vapour in air, as used in the analogy; air pressure, Pa.
_MOLAR_KG = 0.018015
_LEWIS = 0.87 ** (2.0 / 3.0)
_PRESSURE_PA = 101325.0


def latent_j_per_kg(temperature_k):
    """Heat of evaporation of water, J/kg; linear fit to steam tables (2501 kJ/kg at 0 °C, 2256 kJ/kg at 100 °C), from
    memory."""
    return 2.501e6 - 2.445e3 * (temperature_k - ZERO_C)


def saturation_pa(temperature_k):
    """Saturation pressure of water, Pa. Buck's equation (A. L. Buck, J. Appl. Meteorol. 20, 1981), used to 100 °C."""
    t = np.minimum(temperature_k, BOILING_K) - ZERO_C
    return 611.21 * np.exp((18.678 - t / 234.5) * (t / (257.14 + t)))


def surface_evaporation_w_per_m2(surface_k, room_vapour_pa: float, film_w_per_m2k):
    """Heat drawn by evaporation from a wet surface, W/m², and its slope, W/(m²·K). Zero where the surface is colder
    than the dew point. Air properties in ρ·cp at the surface temperature, ideal gas."""
    heat_per_m3k = _PRESSURE_PA * 0.02896 / (GAS_CONSTANT * surface_k) * 1007.0
    transfer = film_w_per_m2k / (heat_per_m3k * _LEWIS)

    def flux(t):
        density = (saturation_pa(t) / t - room_vapour_pa / t) * _MOLAR_KG / GAS_CONSTANT
        return transfer * np.maximum(density, 0.0) * latent_j_per_kg(t)

    here = flux(surface_k)
    return here, (flux(surface_k + 0.05) - flux(surface_k - 0.05)) / 0.1


class Moisture:
    """Water of every node, kg, (n, S); `free_strips` are the strips whose surface node is a wet outside (a load)."""

    def __init__(self, water_kg: np.ndarray, free_strips: tuple[int, ...], room_vapour_pa: float = 1170.0):
        self.water_kg = np.array(water_kg, dtype=float)
        self.free_strips = free_strips
        self.room_vapour_pa = room_vapour_pa
        self.latent_j = 0.0
        self._active = np.zeros(self.water_kg.shape, dtype=bool)
        self._conductance = np.zeros_like(self.water_kg)
        self._zero_k = np.full_like(self.water_kg, BOILING_K)

    @property
    def dry(self) -> bool:
        return not np.any(self.water_kg > 0.0)

    def boiling(self, nodes_k: np.ndarray) -> np.ndarray:
        return (self.water_kg > 0.0) & (nodes_k > BOILING_K)

    def freeze(self, nodes_k, middle_k, capacity, film, surface_area) -> None:
        """Choose the sinks q = conductance · (T − zero) of a block, from the temperatures now and expected in its
        middle."""
        self._active = self.boiling(nodes_k)
        self._conductance = np.where(self._active, capacity / RELAXATION_S, 0.0)
        self._zero_k = np.full_like(nodes_k, BOILING_K)
        for s in self.free_strips:
            here = middle_k[0, s]
            flux, slope = surface_evaporation_w_per_m2(here, self.room_vapour_pa, film[s] / surface_area[s])
            wet = (self.water_kg[0, s] > 0.0) & ~self._active[0, s] & (flux > 0.0) & (slope > 0.0)
            safe = np.where(wet, slope, 1.0)
            self._conductance[0, s] = np.where(wet, safe * surface_area[s], self._conductance[0, s])
            self._zero_k[0, s] = np.where(wet, here - flux / safe, self._zero_k[0, s])

    def add_terms(self, tau: float, diagonal: np.ndarray, load: np.ndarray) -> None:
        diagonal += tau * self._conductance
        load += tau * self._conductance * self._zero_k

    def after_step(self, early_s: float, late_s: float, early_k, late_k, capacity) -> tuple[np.ndarray | None, bool]:
        """Book a step. Returns the correction of the node temperatures (for heat drawn after the water was gone), or
        None; and whether the sinks must be chosen again. The sensible heat of the lost water is booked with the
        block."""
        zero, conductance = self._zero_k, self._conductance
        drawn = conductance * (early_s * (early_k - zero) + late_s * (late_k - zero))
        latent = latent_j_per_kg(late_k)
        left = self.water_kg - drawn / latent
        correction = None
        if np.any(left < 0.0):
            excess = np.where(left < 0.0, -left * latent, 0.0)
            correction = np.where(excess > 0.0, excess / np.where(capacity > 0.0, capacity, 1.0), 0.0)
            drawn = drawn - excess
            left = np.maximum(left, 0.0)
        changed = correction is not None or bool(np.any(self.boiling(late_k) != self._active))
        self.latent_j = self.latent_j + drawn.sum(axis=(0, 1))
        self.water_kg = left
        return correction, changed
