"""The model before any run: derived from the description alone, with the physics of `kilnctl.thermal`.

The lining is the part that needs thought. Each face is a stack of layers in which heat diffuses; the model
has four lumps for all faces together. The lumps are chosen so that the four-lump ladder takes the same heat
as the real stacks when the hot face swings with periods from a minute to a day: their complex admittances
Y(ω) agree in the least-squares sense, and their steady conductances exactly. (Transmission matrix of a
homogeneous slab: H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids, 1959, section 3.7.)"""

import cmath
import math

import numpy as np

from ..build import geometry_of, layers_of, load_material
from ..settings.body import Load
from ..settings.oven import Oven
from ..thermal.bridges import air_flow_w, bar_conductance_w_per_k, door_leak_kg_s, opening_w
from ..thermal.elements import resistance_factor
from ..thermal.enclosure import star_conductances_m2
from ..thermal.surfaces import cylinder_film, inner_film, outer_film
from ..thermal.walls import solve_wall
from .energy import SIGMA, STILL_FILM, ZERO_C, EnergyModel
from .estimate import minimise

#: Element mass where the file gives none: heating alloy and its support weigh about this much per kilowatt
#: (common practice).
ELEMENT_KG_PER_KW = {"sheathed": 0.8, "iron-chromium-aluminium": 0.12, "nickel-chromium": 0.15}
ELEMENT_M2_PER_KW = {"sheathed": 0.06, "iron-chromium-aluminium": 0.03, "nickel-chromium": 0.035}
WIRE_DENSITY_KG_M3 = {"sheathed": 6500.0, "iron-chromium-aluminium": 7150.0, "nickel-chromium": 8300.0}
ELEMENT_J_PER_KGK = 620.0


def day_zero(oven: Oven, load: Load | None = None, working_c: float | None = None) -> EnergyModel:
    """The model of an oven with a load (None: empty), best around `working_c` (two thirds of its highest if
    not given)."""
    ambient = oven.site.ambient_c
    working = working_c if working_c is not None else ambient + 0.67 * (oven.limits.highest_c - ambient)
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    faces = oven.faces
    geometry = [geometry_of(f) for f in faces]
    inner = sum(g.inner_m2 for g in geometry)

    element_m2 = element_surface_m2(oven)
    bodies = [b for b in (oven.shelf, load) if b is not None and b.mass_kg > 0.0]
    areas = [f.width_m * f.height_m for f in faces] + [element_m2] + [b.area_m2 for b in bodies]
    counts = [f.count for f in faces] + [1.0] + [1.0] * len(bodies)
    emissivities = (
        [oven.chamber.emissivity] * len(faces) + [oven.elements.emissivity] + [b.emissivity for b in bodies]
    )
    star = _star(areas, emissivities, counts)
    n = len(faces)

    def film_at(face_index: int) -> float:
        f, g = faces[face_index], geometry[face_index]
        turned = {"vertical": "vertical", "up": "down", "down": "up"}[f.orientation]  # seen from inside
        return inner_film(working - 10.0, working, g.inner_length_m, turned, speed) * g.inner_m2

    film_w, film_m2 = sum(film_at(i) for i in range(n)), float(sum(star[:n]))
    rise, warming, lumps, conductances, share = _lining(
        oven, faces, geometry, ambient, working, film_w, film_m2
    )
    leak = _leaks(oven, working, ambient)
    fan_w = oven.fan.power_w if oven.fan else 0.0
    size = math.sqrt(element_m2 / 10.0)
    element_film = cylinder_film(working + 150.0, working, max(0.002, min(0.02, size)), speed)
    capacity, coupling_w, coupling_m2 = _contents(oven, bodies, star[n + 1 :], working, speed)
    volume = oven.chamber.width_m * oven.chamber.depth_m * oven.chamber.height_m
    return EnergyModel(
        power_w=oven.elements.power_w,
        voltage_v=oven.supply.voltage_v,
        ambient_c=ambient,
        element_j_per_k=element_mass_kg(oven) * ELEMENT_J_PER_KGK,
        element_w_per_k=element_film * element_m2,
        element_m2=float(star[n]),
        # Air, and the thin skin of everything that follows within a tick: enough to keep the node
        # well-behaved.
        chamber_j_per_k=1.2 * 1006.0 * volume * (293.0 / (working + ZERO_C)) + 60.0 * inner,
        film_w_per_k=film_w * share,
        film_m2=film_m2 * share,
        lining_j_per_k=lumps,
        lining_w_per_k=conductances,
        rise_per_k=rise,
        capacity_rise_per_k=warming,
        leak_w_per_k=leak,
        contents_j_per_k=capacity,
        contents_w_per_k=coupling_w,
        contents_m2=coupling_m2,
        extra_w=fan_w,
        lag_s=oven.sensors.control.lag_s,
        sensor_wind=cylinder_film(working + 5.0, working, 0.003, speed) / STILL_FILM,
        dead_s=oven.sensors.control.dead_time_s,
        resistance_rise_per_k=_resistance_rise(oven),
        rated_c=oven.limits.highest_c,
    )


def element_mass_kg(oven: Oven) -> float:
    e = oven.elements
    if e.mass_kg is not None:
        return e.mass_kg
    if e.wire_diameter_m and e.wire_length_m:
        return WIRE_DENSITY_KG_M3[e.alloy] * math.pi / 4.0 * e.wire_diameter_m**2 * e.wire_length_m
    return ELEMENT_KG_PER_KW[e.alloy] * e.power_w / 1000.0


def element_surface_m2(oven: Oven) -> float:
    e = oven.elements
    if e.surface_m2 is not None:
        return e.surface_m2
    if e.wire_diameter_m and e.wire_length_m:
        return math.pi * e.wire_diameter_m * e.wire_length_m
    return ELEMENT_M2_PER_KW[e.alloy] * e.power_w / 1000.0


def _resistance_rise(oven: Oven) -> float:
    """Relative rise of the elements' resistance per °C, between 100 °C and the oven's highest, over the value
    there."""
    alloy, top = oven.elements.alloy, oven.limits.highest_c
    hot = resistance_factor(alloy, top)
    return max(0.0, (1.0 - resistance_factor(alloy, 100.0) / hot) / max(top - 100.0, 50.0))


def _star(areas, emissivities, counts) -> np.ndarray:
    """Star conductances; where one surface is too large for a closed box (a huge load), plain grey areas
    stand in."""
    try:
        return star_conductances_m2(areas, emissivities, counts)
    except ValueError:
        return np.array(areas) * np.array(counts) * np.array(emissivities)


def _leaks(oven: Oven, working: float, ambient: float) -> float:
    """Vent, door crack, bridges and open ports as one conductance at the working temperature, W/K."""
    from ..build import material_of

    span = max(working - ambient, 1.0)
    watts = 0.0
    if oven.vent:
        watts += air_flow_w(oven.vent.flow_m3_per_s, working, ambient)
    c = oven.chamber
    top = c.opening == "top"
    leak = door_leak_kg_s(oven.door.gap_m, c.width_m, c.depth_m if top else c.height_m, working, ambient, top)
    watts += leak * 1020.0 * span
    for bridge in oven.bridges:
        if bridge.conductance_w_per_k is not None:
            watts += bridge.conductance_w_per_k * span
        else:
            material = material_of(oven, bridge.material)
            watts += span * bar_conductance_w_per_k(
                material, bridge.area_m2, bridge.length_m, working, ambient, bridge.count
            )
    for port in oven.ports:
        if not port.closed:
            watts += opening_w(port.diameter_m, working, ambient)
    return watts / span


def _contents(oven, bodies, star, working: float, speed: float) -> tuple[float, float, float]:
    """Shelf and load as one lump: capacities and conductances added; a thick load takes heat through half its
    thickness."""
    capacity = coupling_w = coupling_m2 = 0.0
    radiation = 4.0 * SIGMA * (working + ZERO_C) ** 3
    for body, radiating in zip(bodies, star):
        material = load_material(oven, body)
        film = inner_film(
            working - 10.0, working, max(0.05, math.sqrt(body.area_m2 / 2.0)), "vertical", speed
        )
        surface = film * body.area_m2 + radiation * radiating
        share = 1.0
        if body.thickness_m:
            inside = material.conductivity(working) * body.area_m2 / (body.thickness_m / 4.0)
            share = inside / (inside + surface)
        capacity += body.mass_kg * material.heat_capacity(working) + 4180.0 * body.moisture_kg
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
    film = film_w + 4.0 * SIGMA * film_m2 * (middle + ZERO_C) ** 3
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
