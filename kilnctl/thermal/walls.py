"""Plane composite walls in steady state, with k(T) solved exactly by the conductivity integral.

In steady state the flux q is the same through every layer, and q·L = ∫ k dT between its faces: no iteration on mean
temperatures and no error from curvature (Kirchhoff's transformation).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from .material_data import Material
from .surfaces import outer_film

#: How exactly a wall's flux is found, as a share of it.
EXACT = 1e-11


@dataclass(frozen=True)
class WallLayer:
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
    """flux_w_m2 into the wall (per m² of its hot face) and faces_c: hot and cold face of every layer in turn, so
    that faces_c[2i] and faces_c[2i+1] belong to layer i (they differ from the neighbours' only across a contact
    resistance)."""

    flux_w_m2: float
    faces_c: tuple[float, ...]

    @property
    def hot_face_c(self) -> float:
        return self.faces_c[0]

    @property
    def cold_face_c(self) -> float:
        return self.faces_c[-1]

    def layer_c(self, index: int) -> tuple[float, float]:
        """Hot and cold face of one layer, °C."""
        return self.faces_c[2 * index], self.faces_c[2 * index + 1]


def _through(layers: Sequence[WallLayer], spreads: Sequence[float], hot_c: float, flux: float) -> list[float]:
    faces, temperature = [], hot_c
    for layer, spread in zip(layers, spreads, strict=True):
        faces.append(temperature)
        here = flux / spread
        temperature = layer.material.cold_face_c(temperature, here * layer.thickness_m)
        faces.append(temperature)
        temperature -= here * layer.contact_m2k_w
    return faces


def most_flux_w_m2(
    layers: Sequence[WallLayer], hot_c: float, cold_c: float, spreads: Sequence[float] | None = None
) -> float:
    """An upper bound of the flux, W/m²: the least conducting layer alone between both temperatures."""
    return min(
        spread * layer.material.conductivity_integral(cold_c, hot_c) / layer.thickness_m
        for layer, spread in zip(layers, spreads or [1.0] * len(layers), strict=True)
    )


def solve_wall(
    layers: Sequence[WallLayer],
    hot_face_c: float,
    ambient_c: float = 20.0,
    height_m: float = 0.5,
    orientation: str = "vertical",
    emissivity: float = 0.9,
    area_ratio: float = 1.0,
    spreads: Sequence[float] | None = None,
    convection: float = 1.0,
    film: Callable[[float], float] | None = None,
    near_w_m2: float | None = None,
) -> WallSolution:
    """Steady wall from a known hot face to a room. `spreads`: area of each layer, and `area_ratio` that of the outer
    film, over the hot face's (1 for a plane wall); `convection` scales the natural film; `film` replaces the outer
    film: face_c → W/(m²·K); `near_w_m2`: about the flux, where it is known. Raises ValueError without
    layers, and for a hot face below ambient.
    """
    if not layers:
        raise ValueError("a wall needs at least one layer")
    if hot_face_c < ambient_c - 1e-9:
        raise ValueError(f"the hot face ({hot_face_c:g} °C) is colder than the room ({ambient_c:g} °C)")
    if hot_face_c - ambient_c < 1e-9:
        return WallSolution(0.0, tuple([hot_face_c] * (2 * len(layers))))
    outside = film or (lambda face: outer_film(face, ambient_c, height_m, orientation, emissivity, convection))

    widths = [1.0] * len(layers) if spreads is None else spreads

    def surplus(flux: float) -> tuple[float, float, list[float]]:
        faces = _through(layers, widths, hot_face_c, flux)
        cold = faces[-1] - flux / widths[-1] * layers[-1].contact_m2k_w
        h = area_ratio * outside(max(cold, ambient_c))
        # A larger flux means a colder outer face, which gives less heat to the room: the function falls with the flux
        # and is zero at the solution. As steeply as with the film and the wall's resistance of this trial.
        return h * (cold - ambient_c) - flux, -1.0 - h * (hot_face_c - cold) / flux, faces

    return _solve(surplus, most_flux_w_m2(layers, hot_face_c, ambient_c, widths), near_w_m2)


def _solve(
    surplus: Callable[[float], tuple[float, float, list[float]]], most: float, near: float | None
) -> WallSolution:
    """Root of a falling function of the flux between 0 and `most`, from `near` on: secant steps kept inside a bracket,
    the first one by the slope that the function returns."""
    low, high = 0.0, most
    flux = near if near is not None and 0.0 < near < most else 0.5 * most
    before, missed, faces = flux, 0.0, list[float]()
    for _ in range(100):
        value, slope, faces = surplus(flux)
        low, high = (flux, high) if value > 0.0 else (low, flux)
        if flux != before:
            slope = min((value - missed) / (flux - before), -1.0)  # it falls at least as its flux rises
        step = -value / slope
        if abs(step) < EXACT * flux or high - low < EXACT * most:
            break
        before, missed = flux, value
        flux = flux + step if low < flux + step < high else 0.5 * (low + high)
    return WallSolution(flux, tuple(faces))


def profile(layers: Sequence[WallLayer], solution: WallSolution, points: int = 25) -> list[tuple[float, float]]:
    """Depth from the hot face, m, and temperature, °C, for a picture; `points` in each layer."""
    line, depth = [], 0.0
    for i, layer in enumerate(layers):
        hot, cold = solution.layer_c(i)
        flux = layer.material.conductivity_integral(cold, hot) / layer.thickness_m
        for j in range(points):
            x = layer.thickness_m * j / (points - 1)
            line.append((depth + x, layer.material.cold_face_c(hot, flux * x)))
        depth += layer.thickness_m
    return line
