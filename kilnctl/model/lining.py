"""The lining as four lumps. Each face is a stack of layers in which heat diffuses; the model has one row of four lumps
for all faces together. The lumps are chosen so that the row takes the same heat as the real stacks when the hot face
swings with periods from half a minute to two days: their complex admittances Y(ω) agree in the least-squares sense.
(Transmission matrix of a homogeneous slab: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 1959, section
3.7.) The row's steady heat flow is then fitted to the steady body at several chamber temperatures."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np

from ..body import Slice, geometry_of, layers_of
from ..body.steady import root
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.material_data import Material
from ..thermal.surfaces import outer_film
from ..thermal.walls import solve_wall
from .energy import EnergyModel
from .heating import AS_FITTED, Trim
from .least_squares import minimise

#: The largest relative rise of a conductance per °C over its value at 0 °C: with more it would be zero in a cold room.
STEEPEST_PER_K = 0.03
#: A heat capacity counts as its mean over this, K, up and down.
SWING_K = 25.0


#: One value for each lump.
Lumps = tuple[float, float, float, float]


@dataclass(frozen=True)
class Lining:
    """Four lumps from the inside outward: capacities in J/K and conductances in W/K, both at 0 °C, their relative rises
    per °C, and the film that leads to the first: W/K, and radiating, m²."""

    j_per_k: Lumps
    w_per_k: Lumps
    rise_per_k: Lumps
    capacity_rise_per_k: Lumps
    film_w_per_k: float
    film_m2: float


def lining_of(oven: Oven, middle_c: float, film_w: float, film_m2: float, held, trim: Trim = AS_FITTED) -> Lining:
    """The lining around a hot face of middle_c, behind a film of film_w W/K and film_m2 m². `held`: pairs of a chamber
    temperature, °C, and the steady heat into the lining there, W. `trim`: factors found from a heat-up of the fine
    walls."""
    ambient = oven.site.ambient_c
    capacities, conductances, share, at, steeper, warming = _swung(oven, middle_c, film_w, film_m2)
    film_w, film_m2 = film_w * share * trim.film, film_m2 * share * trim.film_m2
    points = [(chamber, _face_c(chamber, watts, film_w, film_m2), watts) for chamber, watts in held]
    conductances, rises = _held(conductances, steeper, at, points, ambient)
    return Lining(
        j_per_k=_lumps(f * c / (1.0 + s * t) for f, c, s, t in zip(trim.capacity, capacities, warming, at)),
        w_per_k=_lumps(conductances),
        rise_per_k=_lumps(rises),
        capacity_rise_per_k=_lumps(warming),
        film_w_per_k=film_w,
        film_m2=film_m2,
    )


@lru_cache(maxsize=64)
def _swung(oven: Oven, middle_c: float, film_w: float, film_m2: float):
    """The row that takes the same heat from small swings: capacities and conductances around middle_c, the share of the
    film, the temperatures between its parts, °C, and the rises of conductance and capacity per °C."""
    ambient = oven.site.ambient_c
    stacks = [(layers_of(oven, f.wall), geometry_of(oven, f), f) for f in oven.faces]
    solutions = [
        solve_wall(
            layers,
            middle_c,
            ambient,
            g.outer_length_m,
            f.orientation,
            f.wall.outer_emissivity,
            g.outer_m2 / g.inner_m2,
            g.spreads,
        )
        for layers, g, f in stacks
    ]
    # Periods of half a minute to two days: below that the film hides the wall, above that the wall is steady. The last
    # one is the steady state.
    omega = 2.0 * math.pi / np.append(np.geomspace(30.0, 172800.0, 32), 1e12)
    film = film_w + 4.0 * STEFAN_BOLTZMANN * film_m2 * (middle_c + ZERO_C) ** 3
    inside = sum(g.inner_m2 for _, g, _ in stacks)
    # Each wall has its own part of the film: a bare door stays cold while other walls follow the chamber.
    wanted = np.zeros(len(omega), complex)
    for stack, solution in zip(stacks, solutions):
        part = film * stack[1].inner_m2 / inside
        wanted += 1.0 / (1.0 / part + 1.0 / _admittance(omega, stack, solution, ambient))
    capacities, conductances, share = _ladder(omega[:-1], wanted[:-1], float(wanted[-1].real), film)
    steady = 1.0 / sum(1.0 / g for g in conductances)
    depth = np.cumsum([0.0, *(1.0 / g for g in conductances)]) * steady
    at = middle_c - depth * (middle_c - ambient)
    return capacities, conductances, share, at, *_rises(stacks, solutions, depth, at, ambient)


def _lumps(values: Iterable[float]) -> Lumps:
    first, second, third, fourth = (float(v) for v in values)
    return first, second, third, fourth


def _face_c(chamber_c: float, watts: float, film_w: float, film_m2: float) -> float:
    """Temperature behind the film when it passes that heat, °C (below absolute zero if it cannot)."""
    low, high = -ZERO_C, chamber_c
    if watts <= 0.0:
        return chamber_c
    for _ in range(50):
        t = 0.5 * (low + high)
        given = film_w * (chamber_c - t) + STEFAN_BOLTZMANN * film_m2 * ((chamber_c + ZERO_C) ** 4 - (t + ZERO_C) ** 4)
        low, high = (t, high) if given > watts else (low, t)
    return 0.5 * (low + high)


def _held(conductances, steeper, at, points, ambient: float) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Conductances at 0 °C, and rises, with which the row passes the watts of `points` (chamber °C, face °C, W) to the
    room: one factor on all rises and one on all conductances, so that the largest relative error is least. Conductances
    that rise linearly fit insulation with a more than linear rise at two temperatures at most."""

    def rises_at(factor: float) -> np.ndarray:
        return np.clip(steeper * factor, 1e-6, STEEPEST_PER_K)

    def shape(rises) -> np.ndarray:
        return conductances / (1.0 + 0.5 * rises * (at[:-1] + at[1:]))

    def best_of(log_rise: float) -> tuple[float, float]:
        """Worst relative error in the heat of all points, and the factor on all conductances at which it is least. A
        row that is wrong by 1 % changes the heat by 1 % times its share of the whole temperature difference."""
        rises = rises_at(math.exp(log_rise))
        row = [(float(g), float(r)) for g, r in zip(shape(rises), rises)]
        logs = [math.log(watts / _passed_w(row, face_c, ambient)) for _, face_c, watts in points]
        shares = [max(0.01, (face_c - ambient) / (chamber_c - ambient)) for chamber_c, face_c, _ in points]
        # Every two points have a factor with equal errors; take that of the two points with the largest error.
        return max(
            (a * b / (a + b) * abs(m - n), math.exp((a * m + b * n) / (a + b)))
            for (a, m), (b, n) in combinations_with_replacement(zip(shares, logs), 2)
        )

    low, high = math.log(0.02), math.log(20.0)
    for _ in range(24):
        a, b = low + (high - low) / 3.0, high - (high - low) / 3.0
        low, high = (low, b) if best_of(a)[0] <= best_of(b)[0] else (a, high)
    rises = rises_at(math.exp(0.5 * (low + high)))
    row = shape(rises) * best_of(0.5 * (low + high))[1]
    return tuple(float(g) for g in row), tuple(float(r) for r in rises)


def _passed_w(row: list[tuple[float, float]], face_c: float, ambient: float) -> float:
    """Watts that a row of (conductance at 0 °C, rise) passes from a face to the room; a face that is hardly warmer than
    the room counts as warmer by 0.1 K."""
    face_c = max(face_c, ambient + 0.1)
    mean = 0.5 * (face_c + ambient)
    most = min(g * (1.0 + r * mean) for g, r in row) * (face_c - ambient)

    def above_k(watts: float) -> float:
        t = face_c
        for g, r in row:
            t = EnergyModel.colder_c(t, watts, g, r)
            if t < ambient:
                break
        return t - ambient

    return root(above_k, 0.0, most, 1e-9 * most)


def _rises(stacks, solutions, depth: np.ndarray, at: np.ndarray, ambient: float) -> tuple[np.ndarray, np.ndarray]:
    """Relative rise per °C over the value at 0 °C of conductance and capacity of each lump's part of the
    walls: the materials that lie at its depth (share of the fall of temperature), each at its temperature there, walls
    weighted by the heat that they pass."""
    slope_k, slope_c, weight = np.zeros(4), np.zeros(4), 1e-12
    for (layers, g, face), solution in zip(stacks, solutions):
        hot, cold = solution.faces_c[0], solution.faces_c[-1]
        heat = solution.flux_w_m2 * g.inner_m2
        rise = max(0.05 * (cold - ambient), 0.1)
        near, far = (
            outer_film(cold + x, ambient, g.outer_length_m, face.orientation, face.wall.outer_emissivity)
            for x in (-rise, rise)
        )
        film_slope = 2.0 * (far - near) / (rise * (far + near))
        weight += 5.0 * heat
        for lump in range(4):
            for share in (0.1, 0.3, 0.5, 0.7, 0.9):
                t = hot - (depth[lump] + share * (depth[lump + 1] - depth[lump])) / depth[-1] * (hot - ambient)
                i = next((i for i in range(len(layers)) if solution.layer_c(i)[1] <= t), len(layers) - 1)
                k, c = layers[i].material.conductivity, layers[i].material
                rise = _swung_capacity(c, t + 5.0) - _swung_capacity(c, t - 5.0)
                slope_c[lump] += heat * rise / (10.0 * _swung_capacity(c, t))
                # The row ends in the room: its last part is the outer film, whose own mean lies half way to the room.
                slope_k[lump] += heat * ((k(t + 5.0) - k(t - 5.0)) / (10.0 * k(t)) if t >= cold else film_slope)
    middle = 0.5 * (at[:-1] + at[1:])

    def at_zero(slope: np.ndarray, t: np.ndarray) -> np.ndarray:
        relative = np.clip(slope / weight, 1e-6, 0.6 / np.maximum(t, 1.0))
        return relative / (1.0 - relative * t)

    return at_zero(slope_k, middle), at_zero(slope_c, at[:-1])


def _swung_capacity(material: Material, t_c: float) -> float:
    """Heat capacity over a swing about t_c, J/(kg·K): at a peak, as of steel at 735 °C, one value says little."""
    return material.mean_heat_capacity(t_c - SWING_K, t_c + SWING_K)


def _admittance(omega: np.ndarray, stack, solution, ambient: float) -> np.ndarray:
    """Heat into the hot face of one wall per kelvin of swing at each angular frequency, W/K, complex."""
    layers, g, face = stack
    film = outer_film(
        max(solution.cold_face_c, ambient + 0.5),
        ambient,
        g.outer_length_m,
        face.orientation,
        face.wall.outer_emissivity,
    )
    y = np.full(len(omega), complex(film * g.outer_m2 / g.inner_m2))
    for i in range(len(layers) - 1, -1, -1):
        layer = layers[i]
        if layer.contact_m2k_w:
            y = y / (1.0 + y * layer.contact_m2k_w / g.spreads[i])
        hot, cold = solution.layer_c(i)
        # In slices, each with the properties at its own temperature: insulation conducts far better where it is hot.
        for share, conducts, holds, through in _sliced(g.slices[i]):
            t_c = hot + through * (cold - hot)
            k, rho_c = (
                conducts * layer.material.conductivity(t_c),
                holds * layer.material.density_kg_m3 * _swung_capacity(layer.material, t_c),
            )
            gamma = np.sqrt(1j * omega * rho_c / k)
            t = np.tanh(gamma * share * layer.thickness_m)
            y = (y + k * gamma * t) / (1.0 + y * t / (k * gamma))
    return y * g.inner_m2


@lru_cache(maxsize=256)
def _sliced(slices: tuple[Slice, ...]) -> tuple[tuple[float, float, float, float], ...]:
    """A layer in at least four parts, from its cold side: (share of the thickness, what conducts and what holds heat
    over the hot face, share of the layer's drop of temperature before its middle)."""
    parts = []
    for s in slices:
        n = math.ceil(4.0 * s.share - 1e-9)
        parts += [(s.share / n, s.conducts, s.holds)] * n
    whole, passed, found = sum(share / c for share, c, _ in parts), 0.0, []
    for share, conducts, holds in parts:
        found.append((share, conducts, holds, (passed + 0.5 * share / conducts) / whole))
        passed += share / conducts
    return tuple(reversed(found))


def _ladder(omega: np.ndarray, wanted: np.ndarray, forever: float, film: float, lumps: int = 4):
    """(capacities, conductances, share) of a row that behind share × film has the admittance `wanted`, W/K.

    Film and row in series pass exactly `forever` W/K. The row's first lump has a depth of its own, which the film
    then carries too."""
    least = 1.02 * forever / film

    def unpack(p: np.ndarray):
        shares = np.exp(np.concatenate((p[..., lumps : 2 * lumps - 1], np.zeros((*p.shape[:-1], 1))), axis=-1))
        share = least + np.exp(p[..., -1:])
        steady = 1.0 / (1.0 / forever - 1.0 / (film * share))
        return np.exp(p[..., :lumps]), shares.sum(axis=-1, keepdims=True) / shares * steady, share

    def misfit(p: np.ndarray) -> np.ndarray:
        """Of one set of unknowns, or of one in each row."""
        capacity, conductance, share = unpack(p)
        y = conductance[..., -1:] + 1j * omega * capacity[..., -1:]
        for i in range(lumps - 2, -1, -1):
            g = conductance[..., i : i + 1]
            y = y * g / (y + g) + 1j * omega * capacity[..., i : i + 1]
        error = (y / (1.0 + y / (film * share)) - wanted) / np.abs(wanted)
        # A weak prior towards lumps that grow outward: a thin wall needs fewer than four lumps, and without it some
        # would be empty.
        grow = np.concatenate((np.diff(p[..., :lumps]) - 1.0, np.diff(np.log(conductance)) + 1.0), axis=-1)
        return np.concatenate((error.real, error.imag, 0.02 * grow, 0.01 * p[..., -1:]), axis=-1)

    def evaluate(p: np.ndarray, with_jacobian: bool) -> tuple[np.ndarray, np.ndarray | None]:
        if not with_jacobian:
            return misfit(p), None
        # Finite differences are exact enough for these few closed formulas; all of them take as long as one.
        steps, n = 1e-6 * np.eye(len(p)), len(p)
        found = misfit(np.concatenate((p + steps, p - steps, p[None])))
        return found[-1], (found[n : 2 * n] - found[:n]).T / 2e-6

    total, best = float(np.abs(1.0 / (1.0 / wanted[0] - 0.999 / film)) / omega[0]), None
    for ratio in (2.5, 5.0):
        start = np.concatenate(
            (np.log(total * ratio ** np.arange(lumps)), np.linspace(-1.2 * lumps, -1.0, lumps - 1), [-0.3])
        )
        found = minimise(evaluate, start, np.full(len(start), np.inf), 1.0, most=200, tolerance=1e-4, enough=1e-9)
        best = found if best is None or found.cost < best.cost else best
    capacity, conductance, share = unpack(best.unknowns)
    return capacity, conductance, float(share[0])
