"""Water in the lining and on the load: it boils off, and below the boiling point it evaporates from wet surfaces.

Boiling: a wet node above the boiling point gives its excess to evaporation, so it stays on a plateau until it is dry.
Below the boiling point the surface of a wet load evaporates into the chamber (`thermal.psychrometrics`), whose humidity
has a balance of its own (`humidity`): a wet load in a closed chamber is warmer and dries more slowly. A wet load colder
than the chamber's dew point takes up water. All of a load's water sits on its surface: what has to come out of its
inside first dries more slowly than this. Inside a lining, water that cannot boil stays.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..thermal.constants import ZERO_C
from ..thermal.psychrometrics import (
    BOILING_K,
    MOST_SHARE,
    PRESSURE_PA,
    VAPOUR_J_PER_KGK,
    WATER_KG_PER_MOL,
    evaporation_mol_per_m2s,
    latent_j_per_kg,
    saturation_pa,
)
from .humidity import Humidity

#: Time in which an overheated wet node falls back to the boiling point, s: short compared with the time constants
#: around it.
RELAXATION_S = 2.0
#: The sinks are chosen again when the humidity has moved the evaporation by this share, or itself by this much.
MOVED_SHARE, MOVED = 0.03, 2e-4
#: Half of the interval in which the slope of the evaporation is taken, K.
_HALF_K = 0.05


@dataclass(frozen=True)
class Drying:
    """How a wet load dries: its water at the start and now, kg; when it was dry, s (None: not yet); its surface, °C,
    and the share of vapour in the chamber when half of the water had gone (None: not yet)."""

    water_kg: float
    left_kg: float
    dry_s: float | None
    half_c: float | None
    half_share: float | None


class Moisture:
    """Water of every node, kg, (n, S); `free_strips` are the strips whose surface node is a wet outside (a load)."""

    def __init__(self, water_kg: np.ndarray, free_strips: tuple[int, ...], humidity: Humidity):
        self.water_kg = np.array(water_kg, dtype=float)
        self.free_strips = free_strips
        self.humidity = humidity
        self.latent_j = 0.0
        #: Heat capacity flow of the vapour that the air warms, W/K, and the temperature that it has at first, K.
        self.vapour = 0.0, BOILING_K
        self._load_kg = self._on_load()
        self._seconds = 0.0
        self._dry_s: float | None = None
        self._half: tuple[float, float] | None = None
        self._share = humidity.share
        self._film: dict[int, tuple[float, float]] = {}
        self._boils = 0.0
        self._active = np.zeros(self.water_kg.shape, dtype=bool)
        self._conductance = np.zeros_like(self.water_kg)
        self._zero_k = np.full_like(self.water_kg, BOILING_K)

    @property
    def dry(self) -> bool:
        return not np.any(self.water_kg > 0.0)

    def _on_load(self) -> float:
        return float(sum(self.water_kg[0, s] for s in self.free_strips))

    @property
    def drying(self) -> Drying | None:
        """None for a load that was dry from the start."""
        if self._load_kg <= 0.0:
            return None
        return Drying(self._load_kg, self._on_load(), self._dry_s, *(self._half or (None, None)))

    def boiling(self, nodes_k: np.ndarray) -> np.ndarray:
        return (self.water_kg > 0.0) & (nodes_k > BOILING_K)

    def freeze(self, dt: float, nodes_k, middle_k, capacity, film_w_per_k) -> None:
        """Choose the sinks q = conductance · (T − zero) of a block that begins with a step of dt s, from the
        temperatures now and expected in its middle; `humidity` has been set."""
        self._active = self.boiling(nodes_k)
        self._conductance = np.where(self._active, capacity / RELAXATION_S, 0.0)
        self._zero_k = np.full_like(nodes_k, BOILING_K)
        wet = [s for s in self.free_strips if self.water_kg[0, s] > 0.0 and not self._active[0, s]]
        self._film = {s: (float(film_w_per_k[s]), float(middle_k[0, s])) for s in wet}
        self._share = self.humidity.ahead(dt, self._evaporates)
        flow = heated = 0.0
        for s, (film_w_per_k, here) in self._film.items():
            watts, slope = self._sink(here, film_w_per_k)
            self._conductance[0, s] = slope
            self._zero_k[0, s] = here - watts / slope
            mass = max(0.0, watts) / float(latent_j_per_kg(here))
            flow, heated = flow + mass, heated + mass * here
        self.vapour = flow * VAPOUR_J_PER_KGK, heated / flow if flow > 0.0 else BOILING_K

    def _evaporates(self, share: float) -> float:
        """Vapour from wet surfaces and from what boils, mol/s, at that share of vapour in the chamber."""
        free = sum(evaporation_mol_per_m2s(here, share, film) for film, here in self._film.values())
        return free + self._boils

    def _sink(self, here: float, film_w_per_k: float) -> tuple[float, float]:
        """Heat drawn by the evaporation of one surface, W, and its slope, W/K."""

        def watts(t: float) -> float:
            moles = evaporation_mol_per_m2s(t, self._share, film_w_per_k)
            return moles * WATER_KG_PER_MOL * float(latent_j_per_kg(t))

        # Above the boiling point the surface boils instead, so the slope is that below it.
        top = min(here + _HALF_K, BOILING_K - _HALF_K)
        return watts(here), max((watts(top) - watts(top - 2.0 * _HALF_K)) / (2.0 * _HALF_K), 1e-9)

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
        changed = self._vented(early_s + late_s, self.water_kg - left) or changed
        self.water_kg = left
        self._seconds += early_s + late_s
        if self._dry_s is None and self._load_kg > 0.0:
            self._note(late_k)
        return correction, changed

    def _note(self, nodes_k: np.ndarray) -> None:
        """Remember when half of the load's water has gone, and all of it."""
        here = self._on_load()
        if self._half is None and here < 0.5 * self._load_kg:
            self._half = float(nodes_k[0, self.free_strips[0]]) - ZERO_C, self.humidity.share
        if here <= 0.0:
            self._dry_s = self._seconds

    def _vented(self, seconds: float, lost_kg: np.ndarray) -> bool:
        """Carry the chamber's humidity on; whether it is now too far from the one that the sinks were chosen with."""
        self._boils = float(lost_kg[self._active].sum()) / (WATER_KG_PER_MOL * seconds)
        humidity = self.humidity
        humidity.share = humidity.after(seconds, float(lost_kg.sum()) / (WATER_KG_PER_MOL * seconds))
        moved = abs(humidity.share - self._share)
        if moved <= MOVED or not self._film:
            return False
        driving = max(abs(math.log((1.0 - self._share) / (1.0 - _saturated(here)))) for _, here in self._film.values())
        return moved > MOVED_SHARE * driving * (1.0 - self._share)


def _saturated(temperature_k: float) -> float:
    return min(float(saturation_pa(temperature_k)) / PRESSURE_PA, MOST_SHARE)
