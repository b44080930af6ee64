"""The model before any run: derived from the description alone, with the physics of `kilnctl.thermal`.

The lining is the part that needs thought. Each face is a stack of layers in which heat diffuses; the model
has four lumps for all faces together. The lumps are chosen so that the four-lump ladder takes the same heat
as the real stacks when the hot face swings with periods from a minute to a day: their complex admittances
Y(ω) agree in the least-squares sense, and their steady conductances exactly. (Transmission matrix of a
homogeneous slab: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 1959, section 3.7.)"""

import cmath
import math

import numpy as np

from ..body import Openings, bodies_in, geometry_of, heater_of, layers_of, plate_of, star_m2, surfaces_of
from ..body.sensor import STILL_FILM
from ..settings.body import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.elements import resistance_factor
from ..thermal.enclosure import sensor_film
from ..thermal.surfaces import cylinder_film, inner_film, outer_film
from ..thermal.walls import solve_wall
from .energy import EnergyModel
from .estimate import minimise


def day_zero(oven: Oven, load: Load | None = None, working_c: float | None = None) -> EnergyModel:
    """The model of an oven with a load (None: empty), best around `working_c` (two thirds of its highest if
    not given)."""
    ambient = oven.site.ambient_c
    working = working_c if working_c is not None else ambient + 0.67 * (oven.limits.highest_c - ambient)
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    faces = oven.faces
    geometry = [geometry_of(f) for f in faces]
    surfaces, heater = surfaces_of(oven, load), heater_of(oven)
    star = star_m2(oven, surfaces)
    n = len(faces)
    films = [inner_film(working - 10.0, working, s.length_m, s.orientation, speed) * s.area_m2 for s in surfaces[:n]]
    film_w, film_m2 = sum(films), float(sum(star[:n]))
    rise, warming, lumps, conductances, share = _lining(
        oven, faces, geometry, ambient, working, film_w, film_m2
    )
    element_film = cylinder_film(working + 150.0, working, heater.diameter_m, speed)
    capacity, coupling_w, coupling_m2 = _contents(oven, load, surfaces[n:-1], star[n:-1], working, speed)
    volume = oven.chamber.width_m * oven.chamber.depth_m * oven.chamber.height_m
    inner = sum(g.inner_m2 for g in geometry)
    return EnergyModel(
        power_w=oven.elements.power_w,
        voltage_v=oven.supply.voltage_v,
        ambient_c=ambient,
        element_j_per_k=heater.mass_kg * heater.material.heat_capacity(working),
        element_w_per_k=element_film * heater.surface_m2,
        element_m2=float(star[-1]),
        # Air, and the thin skin of everything that follows within a tick: enough to keep the node
        # well-behaved.
        chamber_j_per_k=1.2 * 1006.0 * volume * (293.0 / (working + ZERO_C)) + 60.0 * inner,
        film_w_per_k=film_w * share,
        film_m2=film_m2 * share,
        lining_j_per_k=lumps,
        lining_w_per_k=conductances,
        rise_per_k=rise,
        capacity_rise_per_k=warming,
        leak_w_per_k=_leak_w_per_k(oven, working, ambient),
        contents_j_per_k=capacity,
        contents_w_per_k=coupling_w,
        contents_m2=coupling_m2,
        extra_w=oven.fan.power_w if oven.fan else 0.0,
        lag_s=oven.sensors.control.lag_s,
        sensor_wind=sensor_film(working + 5.0, working, speed) / STILL_FILM,
        dead_s=oven.sensors.control.dead_time_s,
        resistance_rise_per_k=_resistance_rise(oven),
        rated_c=oven.limits.highest_c,
    )


def _resistance_rise(oven: Oven) -> float:
    """Relative rise of the elements' resistance per °C, between 100 °C and the oven's highest, over the value
    there."""
    alloy, top = oven.elements.alloy, oven.limits.highest_c
    hot = resistance_factor(alloy, top)
    return max(0.0, (1.0 - resistance_factor(alloy, 100.0) / hot) / max(top - 100.0, 50.0))


def _leak_w_per_k(oven: Oven, working: float, ambient: float) -> float:
    """Vent, door crack, bridges and open ports as one conductance at the working temperature, W/K."""
    openings, span = Openings(oven), max(working - ambient, 1.0)
    port = openings.port_m2 * STEFAN_BOLTZMANN * ((working + ZERO_C) ** 4 - (ambient + ZERO_C) ** 4) / span
    return (openings.vent_w_per_k(working, ambient) + openings.leak_w_per_k(working, ambient)
            + openings.bridges_w_per_k(working, ambient) + port)  # fmt: skip


def _contents(oven, load, surfaces, star, working: float, speed: float) -> tuple[float, float, float]:
    """Shelf and load as one lump: capacities and conductances added; a thick load takes heat through half its
    depth."""
    capacity = coupling_w = coupling_m2 = 0.0
    radiation = 4.0 * STEFAN_BOLTZMANN * (working + ZERO_C) ** 3
    for (_, body), surface, radiating in zip(bodies_in(oven, load), surfaces, star):
        plate = plate_of(oven, body)
        film = inner_film(working - 10.0, working, surface.length_m, surface.orientation, speed)
        inside = plate.material.conductivity(working) * plate.area_m2 / (0.5 * plate.depth_m)
        share = inside / (inside + film * plate.area_m2 + radiation * radiating)
        capacity += body.mass_kg * plate.material.heat_capacity(working) + 4180.0 * body.moisture_kg
        coupling_w += share * film * body.area_m2
        coupling_m2 += share * float(radiating)
    return float(capacity), float(coupling_w), float(coupling_m2)


def _lining(oven, faces, geometry, ambient: float, working: float, film_w: float, film_m2: float):
    """Rises of conductances and of heat capacities per °C, the ladder (capacities and conductances, both at 0
    °C), and the share of the film that goes with it."""
    stacks = [(layers_of(oven, f.wall), g, f) for f, g in zip(faces, geometry)]

    def solve(hot: float):
        return [
            solve_wall(
                layers,
                hot,
                ambient,
                g.outer_length_m,
                f.orientation,
                f.wall.outer_emissivity,
                g.outer_m2 / g.conduction_m2,
            )
            for layers, g, f in stacks
        ]

    def conductance(hot: float) -> float:
        return sum(s.flux_w_m2 * g.conduction_m2 for s, (_, g, _) in zip(solve(hot), stacks)) / (
            hot - ambient
        )

    # The lumps are found below the working temperature, where most of the heating up happens; the rises carry
    # them up and down.
    middle = ambient + 0.6 * (working - ambient)
    solutions = solve(middle)
    steady = sum(s.flux_w_m2 * g.conduction_m2 for s, (_, g, _) in zip(solutions, stacks)) / (
        middle - ambient
    )
    # Half a minute to two days: faster than that the film hides the wall, slower than that it is steady.
    omega = 2.0 * math.pi / np.geomspace(30.0, 172800.0, 32)
    target = np.array([_admittance(w, stacks, solutions, ambient) for w in omega])
    film = film_w + 4.0 * STEFAN_BOLTZMANN * film_m2 * (middle + ZERO_C) ** 3
    capacities, conductances, share = _ladder(omega, target, steady, film)
    depth = np.cumsum([0.0, *(1.0 / g for g in conductances)]) * steady
    at = middle - depth * (middle - ambient)
    steeper, warming = _rises(stacks, solutions, depth, at)

    def ladder_w(hot: float, factor: float, at_zero: np.ndarray) -> float:
        """Steady flow through the ladder with its rises multiplied by factor, by bisection on the flow."""
        low, high = 0.0, 10.0 * steady * (hot - ambient)
        for _ in range(50):
            flow = t = 0.5 * (low + high)
            t = hot
            for g, r in zip(at_zero, steeper * factor):
                t = EnergyModel._colder(t, flow, float(g), float(r))
            low, high = (flow, high) if t > ambient else (low, flow)
        return flow

    def back(factor: float) -> np.ndarray:
        """Conductances at 0 °C: each goes back from its own temperature, then all together so that the middle
        is met."""
        inner = conductances / (1.0 + 0.5 * factor * steeper * (at[:-1] + at[1:]))
        return inner * (steady * (middle - ambient) / ladder_w(middle, factor, inner))

    # One factor on all rises makes the flow at 1.5 times the rise right too.
    hot = ambient + 1.5 * (middle - ambient)
    wanted = conductance(hot) * (hot - ambient)
    low, high = 0.2, 3.0
    for _ in range(25):
        factor = 0.5 * (low + high)
        low, high = (factor, high) if ladder_w(hot, factor, back(factor)) < wanted else (low, factor)
    rises = tuple(float(r * factor) for r in steeper)
    capacities = tuple(float(c / (1.0 + s * t)) for c, s, t in zip(capacities, warming, at))
    return rises, tuple(float(s) for s in warming), capacities, tuple(float(g) for g in back(factor)), share


def _rises(stacks, solutions, depth: np.ndarray, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Relative rise per °C over the value at 0 °C of conductance and capacity of each lump's part of the
    walls: the materials that lie at its depth (share of the resistance), each at its temperature there, walls
    weighted by the heat that they pass."""
    slope_k, slope_c, weight = np.zeros(4), np.zeros(4), np.full(4, 1e-12)
    for (layers, g, _), solution in zip(stacks, solutions):
        hot = solution.layer_c(0)[0]
        cold = solution.layer_c(len(layers) - 1)[1]
        for i, layer in enumerate(layers):
            near, far = solution.layer_c(i)
            if near - far < 1e-9:
                continue
            for share in (0.1, 0.3, 0.5, 0.7, 0.9):
                t = near + share * (far - near)
                lump = min(
                    3,
                    int(
                        np.searchsorted(
                            depth, (hot - t) / max(hot - cold, 1e-9) * depth[-1] * 0.999, side="right"
                        )
                    )
                    - 1,
                )
                heat = solution.flux_w_m2 * g.conduction_m2 * (near - far)
                k, c = layer.material.conductivity, layer.material.heat_capacity
                weight[lump] += heat
                slope_k[lump] += heat * (k(t + 5.0) - k(t - 5.0)) / (10.0 * k(t))
                slope_c[lump] += heat * (c(t + 5.0) - c(t - 5.0)) / (10.0 * c(t))
    middle = 0.5 * (at[:-1] + at[1:])

    def at_zero(slope: np.ndarray, t: np.ndarray) -> np.ndarray:
        relative = np.clip(slope / weight, 1e-6, 0.6 / np.maximum(t, 1.0))
        return relative / (1.0 - relative * t)

    return at_zero(slope_k, middle), at_zero(slope_c, at[:-1])


def _admittance(omega: float, stacks, solutions, ambient: float) -> complex:
    """Heat into all hot faces per kelvin of swing at angular frequency omega, W/K."""
    total = 0.0 + 0.0j
    for (layers, g, face), solution in zip(stacks, solutions):
        film = outer_film(
            max(solution.cold_face_c, ambient + 0.5),
            ambient,
            g.outer_length_m,
            face.orientation,
            face.wall.outer_emissivity,
        )
        y = complex(film * g.outer_m2 / g.conduction_m2)
        for i in range(len(layers) - 1, -1, -1):
            layer = layers[i]
            if layer.contact_m2k_w:
                y = y / (1.0 + y * layer.contact_m2k_w)
            middle = 0.5 * sum(solution.layer_c(i))
            k, rho_c = (
                layer.material.conductivity(middle),
                layer.material.density_kg_m3 * layer.material.heat_capacity(middle),
            )
            gamma = cmath.sqrt(1j * omega * rho_c / k)
            t = cmath.tanh(gamma * layer.thickness_m)
            y = (y + k * gamma * t) / (1.0 + y * t / (k * gamma))
        # The conduction area at every depth, as the virtual oven has it; what diffuses only an inch deep sees
        # less of the edges.
        total += y * g.conduction_m2
    return total


def _ladder(omega: np.ndarray, target: np.ndarray, steady: float, film: float, lumps: int = 4):
    """(capacities, conductances, share) of a row behind share × film whose admittance fits that of the wall
    behind the film.

    The row's series conductance is exactly `steady`. Its first lump has a depth of its own, which the film
    then carries too."""
    wanted = 1.0 / (1.0 / film + 1.0 / target)

    def unpack(p: np.ndarray):
        shares = np.exp(np.append(p[lumps : 2 * lumps - 1], 0.0))
        return np.exp(p[:lumps]), shares.sum() / shares * steady, math.exp(p[-1])

    def misfit(p: np.ndarray) -> np.ndarray:
        capacity, conductance, share = unpack(p)
        y = conductance[-1] + 1j * omega * capacity[-1]
        for c, g in zip(capacity[-2::-1], conductance[-2::-1]):
            y = y * g / (y + g) + 1j * omega * c
        error = (y / (1.0 + y / (film * share)) - wanted) / np.abs(wanted)
        # A gentle pull towards lumps that grow outward keeps a thin wall, which needs fewer, from making
        # empty ones.
        grow = np.concatenate((np.diff(p[:lumps]) - 1.0, np.diff(np.log(conductance)) + 1.0))
        return np.concatenate((error.real, error.imag, 0.02 * grow, 0.01 * p[-1:]))

    def evaluate(p: np.ndarray, with_jacobian: bool) -> tuple[np.ndarray, np.ndarray | None]:
        here = misfit(p)
        if not with_jacobian:
            return here, None
        # Sixteen lines of closed formulas: differences are exact enough and cost nothing.
        steps = 1e-6 * np.eye(len(p))
        return here, -np.column_stack([(misfit(p + h) - misfit(p - h)) / 2e-6 for h in steps])

    total, best = float(np.abs(target[0]) / omega[0]), None
    for ratio in (2.5, 5.0):
        start = np.concatenate(
            (np.log(total * ratio ** np.arange(lumps)), np.linspace(-1.2 * lumps, -1.0, lumps - 1), [-0.3])
        )
        found = minimise(
            evaluate, start, np.full(len(start), np.inf), 1.0, most=200, tolerance=1e-4, enough=1e-9
        )
        best = found if best is None or found.cost < best.cost else best
    capacity, conductance, share = unpack(best.unknowns)
    return capacity, conductance, share
