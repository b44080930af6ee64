"""Water in the lining and on the load: it boils off, and below the boiling point it evaporates from wet surfaces.

Boiling: a wet node above the boiling point gives its excess to evaporation, so it stays on a plateau until it is dry.
Below the boiling point the surface of a wet load evaporates into the chamber (`thermal.psychrometrics`), whose humidity
has a balance of its own (`humidity`): a wet load in a closed chamber is warmer and dries more slowly. A wet load colder
than the chamber's dew point takes up water. Inside a lining, water that cannot boil stays.

A load dries in two periods (theory of drying as in handbooks of chemical engineering, from memory). In the first its
whole surface is wet and the rate is constant. It ends at the critical moisture content (`body.contents.CRITICAL`). In
the second, dry places grow and the rate falls in proportion to the water that is left. With a share f of the critical
content left, water evaporates from the share f of the surface, and the surface as a whole is warmer than the wet places
by what the resistance (1 − f)/(f · film) says: so the wet places stay at the wet bulb, the rate is f times that of the
wet surface in the same air, and the surface warms towards the air. (Where radiation heats too, it falls sooner.)
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..body.contents import CRITICAL
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
#: The least share of the critical water that counts: in proportion to what is left the last of it would never go.
LEAST_LEFT = 0.01
#: In the falling period the sinks are chosen again when this share of what was left has gone.
FALLEN = 0.01
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


class _Wet(NamedTuple):
    """A load's surface that dries: film of its wet places, W/K; its mean temperature and that of the wet places, K; the
    resistance between the two, K/W."""

    film_w_per_k: float
    surface_k: float
    front_k: float
    behind_k_per_w: float


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
        self._film: dict[int, _Wet] = {}
        self._critical_kg = CRITICAL * self.water_kg[0]
        self._falling: dict[int, float] = {}
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
        self._falling = {
            s: left for s in self.free_strips if 0.0 < (left := self.water_kg[0, s]) < self._critical_kg[s]
        }
        self._active = self._boils_through(nodes_k)
        self._conductance = np.where(self._active, capacity / RELAXATION_S, 0.0)
        self._zero_k = np.full_like(nodes_k, BOILING_K)
        self._film = {}
        for s in self.free_strips:
            if self.water_kg[0, s] > 0.0 and not self._active[0, s]:
                self._open(s, float(middle_k[0, s]), float(film_w_per_k[s]), float(capacity[0, s]))
        self._share = self.humidity.ahead(dt, self._evaporates)
        flow = heated = 0.0
        for s, wet in self._film.items():
            watts, slope = self._sink(wet)
            self._conductance[0, s] = slope = slope / (1.0 + slope * wet.behind_k_per_w)
            self._zero_k[0, s] = wet.surface_k - watts / slope
            mass = max(0.0, watts) / float(latent_j_per_kg(wet.front_k))
            flow, heated = flow + mass, heated + mass * wet.surface_k
        self.vapour = flow * VAPOUR_J_PER_KGK, heated / flow if flow > 0.0 else BOILING_K

    def _boils_through(self, nodes_k: np.ndarray) -> np.ndarray:
        """Nodes whose excess over the boiling point goes into evaporation: not those of a load in its falling
        period."""
        boils = self.boiling(nodes_k)
        boils[0, list(self._falling)] = False
        return boils

    def _open(self, strip: int, surface_k: float, film_w_per_k: float, capacity: float) -> None:
        """A load's surface from which water evaporates, or boils in places."""
        share = 1.0
        if strip in self._falling:
            share = max(LEAST_LEFT, self._falling[strip] / float(self._critical_kg[strip]))
        film_w_per_k *= share
        behind = (1.0 - share) / film_w_per_k
        front_k = surface_k
        if behind > 0.0:
            front_k = self._front_k(surface_k, film_w_per_k, behind)
            if front_k >= BOILING_K:
                self._active[0, strip] = True
                self._conductance[0, strip] = 1.0 / (behind + RELAXATION_S / capacity)
                return
        self._film[strip] = _Wet(film_w_per_k, surface_k, front_k, behind)

    def _front_k(self, surface_k: float, film_w_per_k: float, behind_k_per_w: float) -> float:
        """The wet places, K: what evaporates there is what the resistance lets through; the boiling point at most."""

        def excess_k(front_k: float) -> float:
            watts, _ = self._sink(_Wet(film_w_per_k, surface_k, front_k, behind_k_per_w))
            return surface_k - front_k - behind_k_per_w * watts

        low, high = min(surface_k, ZERO_C) - 1.0, BOILING_K
        if excess_k(high) >= 0.0:
            return high
        for _ in range(30):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if excess_k(middle) > 0.0 else (low, middle)
        return 0.5 * (low + high)

    def _evaporates(self, share: float) -> float:
        """Vapour from wet surfaces and from what boils, mol/s, at that share of vapour in the chamber."""
        free = sum(evaporation_mol_per_m2s(wet.front_k, share, wet.film_w_per_k) for wet in self._film.values())
        return free + self._boils

    def _sink(self, wet: "_Wet") -> tuple[float, float]:
        """Heat drawn by the evaporation of one surface, W, and its slope, W/K."""

        def watts(t: float) -> float:
            moles = evaporation_mol_per_m2s(t, self._share, wet.film_w_per_k)
            return moles * WATER_KG_PER_MOL * float(latent_j_per_kg(t))

        # Above the boiling point the surface boils instead, so the slope is that below it.
        top = min(wet.front_k + _HALF_K, BOILING_K - _HALF_K)
        return watts(wet.front_k), max((watts(top) - watts(top - 2.0 * _HALF_K)) / (2.0 * _HALF_K), 1e-9)

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
        for s in self._falling:
            latent[0, s] = latent_j_per_kg(self._film[s].front_k if s in self._film else BOILING_K)
        left = self.water_kg - drawn / latent
        correction = None
        if np.any(left < 0.0):
            excess = np.where(left < 0.0, -left * latent, 0.0)
            correction = np.where(excess > 0.0, excess / np.where(capacity > 0.0, capacity, 1.0), 0.0)
            drawn = drawn - excess
            left = np.maximum(left, 0.0)
        changed = correction is not None or self._fallen(left) or self._changes_boiling(late_k)
        self.latent_j = self.latent_j + drawn.sum(axis=(0, 1))
        changed = self._vented(early_s + late_s, self.water_kg - left) or changed
        self.water_kg = left
        self._seconds += early_s + late_s
        if self._dry_s is None and self._load_kg > 0.0:
            self._note(late_k)
        return correction, changed

    def _fallen(self, left_kg: np.ndarray) -> bool:
        """Whether a load has come into its falling period, or on in it, so that the sinks no longer hold."""
        return any(
            left_kg[0, s] < (1.0 - FALLEN) * self._falling.get(s, math.inf)
            for s in self.free_strips
            if left_kg[0, s] < self._critical_kg[s]
        )

    def _changes_boiling(self, nodes_k: np.ndarray) -> bool:
        differs = self._boils_through(nodes_k) != self._active
        differs[0, list(self._falling)] = False
        return bool(np.any(differs))

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
        driving = max(
            abs(math.log((1.0 - self._share) / (1.0 - _saturated(wet.front_k)))) for wet in self._film.values()
        )
        return moved > MOVED_SHARE * driving * (1.0 - self._share)


def _saturated(temperature_k: float) -> float:
    return min(float(saturation_pa(temperature_k)) / PRESSURE_PA, MOST_SHARE)
