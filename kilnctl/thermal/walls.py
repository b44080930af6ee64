"""Plane composite walls in steady state, with k(T) solved exactly by the conductivity integral.

In steady state the flux q is the same through every layer, and q·L = ∫ k dT between its faces: no iteration on mean
temperatures and no error from curvature (Kirchhoff's transformation).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from .materials import Material
from .surfaces import outer_film


@dataclass(frozen=True)
class Layer:
    """One layer; contact_m2k_w is the contact resistance towards the next layer outward."""

    material: Material
    thickness_m: float
    contact_m2k_w: float = 0.0

    def __post_init__(self):
        if not self.thickness_m > 0.0:
            raise ValueError(f"{self.material.name}: a layer of {self.thickness_m:g} m has no thickness")
        if not self.contact_m2k_w >= 0.0:
            raise ValueError(f"{self.material.name}: contact resistance below zero")


@dataclass(frozen=True)
class WallSolution:
    """flux_w_m2 through the wall (per m² of conduction area) and faces_c: hot and cold face of every layer in turn, so that
    faces_c[2i] and faces_c[2i+1] belong to layer i (they differ from the neighbours' only across a contact resistance)."""

    flux_w_m2: float
    faces_c: tuple[float, ...]
    film_w_m2k: float

    @property
    def hot_face_c(self) -> float:
        return self.faces_c[0]

    @property
    def cold_face_c(self) -> float:
        return self.faces_c[-1]

    def layer_c(self, index: int) -> tuple[float, float]:
        """Hot and cold face of one layer, °C."""
        return self.faces_c[2 * index], self.faces_c[2 * index + 1]


def _through(layers: Sequence[Layer], hot_c: float, flux: float, hot_film: float | None = None) -> list[float]:
    faces, temperature = [], hot_c if hot_film is None else hot_c - flux / hot_film
    for layer in layers:
        faces.append(temperature)
        temperature = layer.material.cold_face_c(temperature, flux * layer.thickness_m)
        faces.append(temperature)
        temperature -= flux * layer.contact_m2k_w
    return faces


def most_flux_w_m2(layers: Sequence[Layer], hot_c: float, cold_c: float) -> float:
    """An upper bound of the flux, W/m²: the least conducting layer alone between both temperatures."""
    return min(layer.material.conductivity_integral(cold_c, hot_c) / layer.thickness_m for layer in layers)


def solve_wall(
    layers: Sequence[Layer],
    hot_face_c: float,
    ambient_c: float = 20.0,
    height_m: float = 0.5,
    orientation: str = "vertical",
    emissivity: float = 0.9,
    area_ratio: float = 1.0,
    film: Callable[[float], float] | None = None,
    hot_film_w_m2k: float | None = None,
) -> WallSolution:
    """Steady wall from a known hot face to a room. `area_ratio` = outer film area / conduction area (1 for a plane wall);
    `film` replaces the natural film: face_c → W/(m²·K). With `hot_film_w_m2k`, in W/(m²·K), hot_face_c is the temperature of
    the chamber on the other side of that film. Raises ValueError without layers, for a hot face below ambient or a hot film
    that is not above zero.
    """
    _check(layers, hot_film_w_m2k)
    if hot_face_c < ambient_c - 1e-9:
        raise ValueError(f"the hot face ({hot_face_c:g} °C) is colder than the room ({ambient_c:g} °C)")
    outside = film or (lambda face: outer_film(face, ambient_c, height_m, orientation, emissivity))
    if hot_face_c - ambient_c < 1e-9:
        return WallSolution(0.0, tuple([hot_face_c] * (2 * len(layers))), outside(ambient_c + 1e-6))

    def surplus(flux: float) -> tuple[float, list[float], float]:
        faces = _through(layers, hot_face_c, flux, hot_film_w_m2k)
        cold = faces[-1] - flux * layers[-1].contact_m2k_w
        h = outside(max(cold, ambient_c))
        # A larger flux leaves a colder outer face, which gives less to the room: falls with the flux, zero at the answer.
        return area_ratio * h * (cold - ambient_c) - flux, faces, h

    return _solve(surplus, most_flux_w_m2(layers, hot_face_c, ambient_c))


def solve_between(
    layers: Sequence[Layer], hot_face_c: float, cold_face_c: float, hot_film_w_m2k: float | None = None
) -> WallSolution:
    """Steady wall between two known faces, °C; with `hot_film_w_m2k`, in W/(m²·K), hot_face_c lies beyond that film, as in
    `solve_wall`. Raises ValueError as `solve_wall` does."""
    _check(layers, hot_film_w_m2k)

    def surplus(flux: float) -> tuple[float, list[float], float]:
        faces = _through(layers, hot_face_c, flux, hot_film_w_m2k)
        return faces[-1] - cold_face_c, faces, 0.0

    if hot_face_c < cold_face_c:
        raise ValueError("hot_face_c is below cold_face_c")
    return _solve(surplus, most_flux_w_m2(layers, hot_face_c, cold_face_c))


def _check(layers: Sequence[Layer], hot_film_w_m2k: float | None) -> None:
    if not layers:
        raise ValueError("a wall needs at least one layer")
    if hot_film_w_m2k is not None and not hot_film_w_m2k > 0.0:
        raise ValueError(f"hot_film_w_m2k = {hot_film_w_m2k:g}: must be above zero")


def _solve(surplus: Callable, most: float) -> WallSolution:
    """Root of a falling function of the flux between 0 and `most`: secant steps kept inside a bracket (Illinois rule)."""
    low, high = 0.0, most * (1.0 + 1e-12)
    at_low, at_high = surplus(low)[0], surplus(high)[0]
    if at_high >= 0.0:
        _, faces, h = surplus(high)
        return WallSolution(high, tuple(faces), h)
    side = 0
    flux, faces, h = high, [], 0.0
    for _ in range(100):
        flux = (low * at_high - high * at_low) / (at_high - at_low)
        value, faces, h = surplus(flux)
        if abs(value) < 1e-9 * max(1.0, abs(at_low)) or high - low < 1e-11 * most:
            break
        if value > 0.0:
            low, at_low = flux, value
            if side > 0:
                at_high *= 0.5
            side = 1
        else:
            high, at_high = flux, value
            if side < 0:
                at_low *= 0.5
            side = -1
    return WallSolution(flux, tuple(faces), h)


def profile(layers: Sequence[Layer], solution: WallSolution, points: int = 25) -> list[tuple[float, float]]:
    """Depth from the hot face in m and temperature in °C, for a picture; `points` in each layer."""
    line, depth = [], 0.0
    for i, layer in enumerate(layers):
        hot, _ = solution.layer_c(i)
        for j in range(points):
            x = layer.thickness_m * j / (points - 1)
            line.append((depth + x, layer.material.cold_face_c(hot, solution.flux_w_m2 * x)))
        depth += layer.thickness_m
    return line
