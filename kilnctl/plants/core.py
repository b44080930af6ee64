"""The heat balance of one oven and its step in time.

Unknowns: the nodes of every strip (walls, shelf, load), the element groups, the chamber air; the radiant star is
algebraic. Time integration is the two-stage, stiffly accurate, L-stable singly diagonally implicit Runge–Kutta method
of R. Alexander (SIAM J. Numer. Anal. 14, 1977), order two. Radiation to the star is linearised again in every stage. A
step in which a temperature jumps, or overshoots its surroundings, is halved (`guards`).

Two sets of frozen coefficients keep a step cheap. *Deep*: conductivities and heat capacities of the strips and the
outer films hold for a block of steps, taken at the temperatures expected in its middle; the strips' interiors are
eliminated once per block (`elimination`). *Quick*: films inside and the capacities of elements and air, taken half a
step ahead and renewed as soon as they matter. Steps change enthalpy, not temperature: what leaves one node enters
another, and at the end of a block temperatures come from the enthalpies. So energy is conserved to rounding."""

from collections.abc import Callable

import numpy as np

from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.psychrometrics import WATER_J_PER_KGK
from .balance import Body, EnergyLedger, Surroundings
from .elimination import Elimination
from .guards import FAR_K, SHORTEST_S, TOP_K, bridged_star, coldest_k, enclosed, hottest_k, must_halve
from .moisture import Moisture
from .property_tables import KNOTS, LOWEST_K, STEP_K, extend, locate

#: Alexander's coefficient of the two-stage L-stable method, 1 − 1/√2.
GAMMA = 1.0 - 0.5**0.5
#: A block ends after this many steps, or when a node's temperature has changed by the tolerance; in its first two steps
#: by YOUNG times that, or fast heating would close a block every step. The air may change AIR times as much.
MOST_STEPS, YOUNG, AIR = 60, 4.0, 3.0
#: The quick coefficients are renewed when a surface's difference to the air has changed so much: K, and a share.
QUICK_MOVED_K, QUICK_MOVED_SHARE = 0.5, 0.05
_AHEAD, _BEHIND = (1.0 - GAMMA) / GAMMA, 2.0 - 1.0 / GAMMA


class Core:
    """State and step. Public, in K: `nodes_k` (n, S), `surfaces_k` (S + G; the groups last), `air_k`, `radiant_k`."""

    def __init__(
        self, body: Body, around: Surroundings, start_k, tolerance_k: float = 3.0, moisture: Moisture | None = None
    ):
        """All at `start_k`. A block ends when a node has moved by `tolerance_k` (four times that in its first two
        steps), the air by three times as much, or after 60 steps."""
        self.body, self.around, self.tolerance_k = body, around, tolerance_k
        self.moisture = None if moisture is None or moisture.dry else moisture
        self.strips = body.rows.shape[1]
        nodes = body.rows.shape[0] + 1
        self.nodes_k = np.zeros((nodes, self.strips)) + start_k
        self.surfaces_k = np.zeros(body.star.shape) + start_k
        self.air_k = float(start_k)
        self.star_w = STEFAN_BOLTZMANN * self.air_k**4
        self.ledger = EnergyLedger(walls=np.zeros(self.strips))
        #: Called before each block, to set what in `around` depends on temperatures.
        self.before_block: Callable[[], None] | None = None
        #: The largest change of a node's temperature in this block, K.
        self.moved_k = 0.0
        self._dt = 0.0
        self._age = 0
        self._block_s = 0.0
        #: Nodes before and after the last step, and its length, s: their rate is wanted once a block.
        self._went = self.nodes_k, self.nodes_k, 1.0
        self._surface_rate = np.zeros_like(self.surfaces_k)
        self._air_rate = self.air_k * 0.0
        self._last_w = np.zeros_like(self.surfaces_k[self.strips :])
        self._carried: tuple[np.ndarray, np.ndarray] | None = None
        self._row_start = body.rows * KNOTS
        self._element_start = body.element_row * KNOTS
        self._left, self._right = np.empty((3, len(body.star))), np.empty((4, len(body.star)))
        self._scaled, self._cube, self._mix = np.empty((3, len(body.star))), np.empty(len(body.star)), np.ones(3)
        self._element_capacity = self._capacity_of(self.surfaces_k[self.strips :])
        #: Films inside times area, W/K, as last frozen.
        self.film_w_per_k = np.zeros_like(self.surfaces_k)

    # ---- stored energy -------------------------------------------------------------------------------------

    def enthalpy_j(self, nodes_k: np.ndarray) -> np.ndarray:
        """Enthalpy of every node, J: the dry material above the tables' lowest temperature, its water above 0 °C."""
        p, mass = self.body.properties, self.body.mass
        knot, part = locate(nodes_k)
        low, high = self._row_start + knot[:-1], self._row_start + knot[1:]
        stored = np.zeros_like(nodes_k)
        stored[:-1] = mass * (p.enthalpy[low] + part[:-1] * p.enthalpy_step[low])
        stored[1:] += mass * (p.enthalpy[high] + part[1:] * p.enthalpy_step[high])
        if self.moisture is not None:
            stored += WATER_J_PER_KGK * self._water_start * (nodes_k - ZERO_C)
        return stored

    def element_enthalpy_j(self, elements_k: np.ndarray) -> np.ndarray:
        """Enthalpy of every element group, J; its heat capacity stays the same beyond the tables."""
        p = self.body.properties
        knot, part = extend(elements_k)
        at = self._element_start + knot
        return self.body.element_mass * (p.enthalpy[at] + part * p.enthalpy_step[at])

    def air_enthalpy_j(self, air_k):
        """∫ C dT with C = C0 · 273.15 / T: in this balance the air that leaves as it expands takes no heat with it."""
        return self.body.air_capacity * 273.15 * np.log(air_k)

    def stored_j(self):
        """Everything stored, J, from temperatures and water alone; exact at the end of a block (`refresh`)."""
        if self.moisture is not None:
            self._water_start = self.moisture.water_kg
        elements = self.element_enthalpy_j(self.surfaces_k[self.strips :]).sum(axis=0)
        return self.enthalpy_j(self.nodes_k).sum(axis=(0, 1)) + elements + self.air_enthalpy_j(self.air_k)

    # ---- blocks: frozen coefficients -----------------------------------------------------------------------

    def refresh(self) -> None:
        """Close the block: book its losses, bring temperatures in line with enthalpies. The next step opens a new
        one."""
        if self._age:
            self._close_block()
            self._age = 0

    def _close_block(self) -> None:
        led, span = self.ledger, self._span
        led.walls = led.walls + self._outer * (self._sum_outer - span * self._ambient_k)
        excess = self._sum_air - span * self._ambient_k
        vent, leak, door = self._flows
        led.vent, led.leak, led.door = led.vent + vent * excess, led.leak + leak * excess, led.door + door * excess
        led.fan, led.bridges = led.fan + span * self._fan, led.bridges + self._sum_bridges
        excess = self._sum_star - span * self._room_emission
        led.port, led.door = led.port + self._openings[0] * excess, led.door + self._openings[1] * excess
        if self._room_film is not None:
            led.door = led.door + (self._room_film * (self._sum_surfaces - span * self._ambient_k)).sum(axis=0)
        wanted = self._enthalpy + self._capacity * (self.nodes_k - self._nodes_start)
        # One chord step is enough after a small change: the next block starts from the enthalpy, but not with water.
        for _ in range(1 if self.moved_k < YOUNG * self.tolerance_k and self.moisture is None else 4):
            self.nodes_k = self.nodes_k + (wanted - self.enthalpy_j(self.nodes_k)) / self._capacity
        if self.nodes_k.max() > self.body.properties.steep_from_k - YOUNG * self.tolerance_k:
            self.nodes_k = enclosed(self, wanted, self._capacity)
        self._carried = None if self.moisture is not None else (wanted, self.nodes_k)
        self._note_quick()
        elements = self.surfaces_k[self.strips :]
        for _ in range(2):  # Newton: an element may have moved far within the block
            elements = elements + (self._element_j - self.element_enthalpy_j(elements)) / self._capacity_of(elements)
        self.surfaces_k = np.concatenate((self.nodes_k[0], elements))
        self.air_k = float(np.exp(self._air_j / (self.body.air_capacity * 273.15)))
        self._block_s = span
        if self.moisture is not None:
            gone = self._water_start - self.moisture.water_kg
            led.water = led.water + (WATER_J_PER_KGK * gone * (self.nodes_k - ZERO_C)).sum(axis=(0, 1))
            led.latent = self.moisture.latent_j
            led.vapour = led.vapour + self._vapour[0] * (self._sum_air - span * self._vapour[1])
            if self.moisture.dry:
                self.moisture = None

    def _open_block(self, dt: float, element_w) -> None:
        """Freeze coefficients at the temperatures expected half a block ahead."""
        if self.before_block is not None:
            self.before_block()
        b, around, moisture = self.body, self.around, self.moisture
        ahead = 0.5 * max(self._block_s, dt)
        before, after, step_s = self._went
        shift = (ahead / step_s) * (after - before)
        middle = self.nodes_k + shift
        if not np.abs(shift).max() < FAR_K:
            middle = np.minimum(np.maximum(middle, coldest_k(self)), hottest_k(self))
        self._freeze_solids(middle)
        carried = self._carried
        if carried is not None and carried[1] is self.nodes_k:
            self._enthalpy = carried[0]
        else:
            self._enthalpy = self.enthalpy_j(self.nodes_k)
        self._nodes_start = self.nodes_k
        elements = self.surfaces_k[self.strips :]
        self._element_j, self._element_mark = self.element_enthalpy_j(elements), elements
        self._air_j, self._air_mark = self.air_enthalpy_j(self.air_k), self.air_k
        self._air_start = self.air_k
        ambient = self._ambient_k = around.ambient_k
        last = middle[-1]
        radiation = STEFAN_BOLTZMANN * b.outer_emissivity * (last + ambient) * (last * last + ambient * ambient)
        self._outer = b.outer_area * (b.outer_films(last, ambient) + radiation)
        self._freeze_quick(*self._soon(dt, element_w))
        if moisture is not None:
            moisture.humidity.set(around.vent_w_per_k + around.door_w_per_k, around.leak_w_per_k, self.air_k)
            moisture.freeze(dt, self.nodes_k, middle, self._capacity, self.film_w_per_k)
        self._vapour = (0.0, 0.0) if moisture is None else moisture.vapour
        self._flows = around.vent_w_per_k, around.leak_w_per_k, around.door_w_per_k
        self._openings = around.port_m2, around.doorway_m2
        self._fan, self._bridges = around.fan_w, around.bridges_w_per_k
        self._bridged, self._bridged_k = bool(np.any(self._bridges)), self.radiant_k
        self._room_emission = STEFAN_BOLTZMANN * ambient**4
        self._star = b.star if around.star_factor is None else b.star * around.star_factor
        self._room_film = around.room_film
        self._span = 0.0
        self._sum_outer = np.zeros_like(last)
        self._sum_air = self._sum_star = self._sum_bridges = 0.0
        self._sum_surfaces = np.zeros_like(self.surfaces_k)
        self._dt = 0.0

    def _freeze_solids(self, middle: np.ndarray) -> None:
        """Heat capacities of the strips' nodes, water included, and conductances between them at these temperatures."""
        b, p, moisture = self.body, self.body.properties, self.moisture
        knot, part = locate(middle)
        low, high = self._row_start + knot[:-1], self._row_start + knot[1:]
        slope = 1.0 / STEP_K
        cap = np.empty_like(middle)
        cap[:-1] = b.mass * p.enthalpy_step[low]
        cap[-1] = 0.0
        cap[1:] += b.mass * p.enthalpy_step[high]
        self._capacity = cap * slope
        if moisture is not None:
            self._water_start = moisture.water_kg
            self._capacity += WATER_J_PER_KGK * moisture.water_kg
        difference = middle[:-1] - middle[1:]
        above = p.integral[low] + part[:-1] * p.integral_step[low]
        below = p.integral[high] + part[1:] * p.integral_step[high]
        flat = np.abs(difference) < 1e-3
        mean = np.where(flat, p.integral_step[low] * slope, (above - below) / np.where(flat, 1.0, difference))
        self._link = b.per_length * mean + b.contact

    def _soon(self, dt: float, element_w):
        """Surfaces and air expected half a step ahead: extrapolated at the last rate, elements also by the change of
        their power."""
        half = 0.5 * dt
        surfaces = self.surfaces_k + half * self._surface_rate
        surfaces[self.strips :] += half * (element_w - self._last_w) / self._element_capacity
        return surfaces, self.air_k + half * self._air_rate

    def _note_quick(self) -> None:
        """Add up the enthalpy that elements and air have gained, with the capacities used until now."""
        elements = self.surfaces_k[self.strips :]
        self._element_j = self._element_j + self._element_capacity * (elements - self._element_mark)
        self._air_j = self._air_j + self._air_capacity * (self.air_k - self._air_mark)
        self._element_mark, self._air_mark = elements, self.air_k

    def _freeze_quick(self, surfaces, air) -> None:
        b = self.body
        # Extrapolation at a rise of power may leave the tables; the resulting temperature does not (or it melts).
        surfaces = np.minimum(np.maximum(surfaces, LOWEST_K), TOP_K)
        air = min(max(air, LOWEST_K), TOP_K)
        self._element_capacity = self._capacity_of(surfaces[self.strips :])
        self._air_capacity = b.air_capacity * 273.15 / air
        self.film_w_per_k = b.surface_area * b.film_scale * b.inner_films(surfaces, air)
        self._film_at = surfaces - air
        self._film_limit = QUICK_MOVED_K + QUICK_MOVED_SHARE * np.abs(self._film_at)
        self._weighed = False

    def _capacity_of(self, elements):
        knot, _ = extend(elements)
        return self.body.element_mass * self.body.properties.enthalpy_step[self._element_start + knot] * (1.0 / STEP_K)

    def _factor(self, dt: float) -> None:
        """Eliminate the interiors for stages of length γ·dt."""
        self._dt = dt
        tau = GAMMA * dt
        link = tau * self._link
        diagonal = self._capacity.copy()
        diagonal[:-1] += link
        diagonal[1:] += link
        diagonal[-1] += tau * self._outer
        load = np.zeros_like(diagonal)
        load[-1] = tau * self._outer * self._ambient_k
        if self.moisture is not None:
            self.moisture.add_terms(tau, diagonal, load)
        self._strips = Elimination(self._capacity, link, diagonal, load, _AHEAD)
        self._weighed = False

    def _weigh(self) -> None:
        """What a stage needs of surfaces, films and air; computed again when any coefficients have changed."""
        tau = GAMMA * self._dt
        weight = np.concatenate((self._strips.top * tau, tau / self._element_capacity))
        rho, film = self._star, self.film_w_per_k
        self._left[1], self._left[2] = film, rho
        w_air = self._scaled[2] = weight * film
        self._one_film = 1.0 + (w_air if self._room_film is None else w_air + weight * self._room_film)
        self._room = None if self._room_film is None else weight * self._room_film * self._ambient_k
        w_star = self._scaled[1] = weight * rho
        self._w_star3 = (3.0 * STEFAN_BOLTZMANN) * w_star
        self._w_star4 = (4.0 * STEFAN_BOLTZMANN) * w_star
        self._rho4 = (4.0 * STEFAN_BOLTZMANN) * rho
        self._element_weight = weight[self.strips :]
        flows, (vapour, from_k) = sum(self._flows), self._vapour
        self._air_base = self._air_capacity / tau
        self._air_sum = self._air_base + film.sum(axis=0) + flows + vapour
        self._air_load = flows * self._ambient_k + vapour * from_k + self._fan
        self._star_sum = rho.sum(axis=0) + sum(self._openings)
        self._star_load = sum(self._openings) * self._room_emission
        # Plain floats are several times faster than numpy's scalars.
        self._air_base, self._air_sum, self._air_load = map(float, (self._air_base, self._air_sum, self._air_load))
        self._star_sum, self._star_load = float(self._star_sum), float(self._star_load)
        self._weighed = True

    # ---- one step ------------------------------------------------------------------------------------------

    def step(self, dt: float, element_w) -> None:
        """Advance by `dt` seconds with `element_w` watts in each element group."""
        calm = self._age > 0
        if not calm:
            self._open_block(dt, element_w)
        else:
            surfaces, air = self._soon(dt, element_w)
            moved = surfaces - air
            moved -= self._film_at
            np.abs(moved, out=moved)
            if (moved > self._film_limit).any():
                calm = False
                self._note_quick()
                self._freeze_quick(surfaces, air)
        if dt != self._dt:
            self._factor(dt)
        if not self._weighed:
            self._weigh()
        first, second = self._stages(element_w)
        limit = YOUNG * self.tolerance_k if self._age < 2 else self.tolerance_k
        moved = second[0] - self._nodes_start
        self.moved_k = moved_k = float(np.abs(moved, out=moved).max())
        over = not (moved_k <= limit and abs(second[2] - self._air_start) <= AIR * limit)
        if (over or not calm) and dt > SHORTEST_S and must_halve(self, second):
            self.refresh()
            self.step(0.5 * dt, element_w)
            self.step(0.5 * dt, element_w)
            return
        if self._take(dt, element_w, first, second) or over or self._age >= MOST_STEPS:
            self.refresh()

    def _take(self, dt: float, element_w, first, second) -> bool:
        """Book the step from its two stages and move to its end. Returns whether the sinks of water have changed."""
        cold, surfaces, air, star, early_w = first
        early, late = (1.0 - GAMMA) * dt, GAMMA * dt
        self._span += dt
        self._sum_outer += early * cold + late * second[0][-1]
        self._sum_air += early * air + late * second[2]
        self._sum_star += early * star + late * second[3]
        self._sum_bridges += early * early_w + late * second[4]
        if self._room_film is not None:
            self._sum_surfaces += early * surfaces + late * second[1]
        self._surface_rate = (second[1] - self.surfaces_k) * (1.0 / dt)
        self._air_rate = (second[2] - self.air_k) / dt
        self._last_w = element_w
        base, self._went = self.nodes_k, (self.nodes_k, second[0], dt)
        self.nodes_k, self.surfaces_k, self.air_k, self.star_w, _ = second
        self.ledger.elements += dt * sum(element_w.tolist())
        self._age += 1
        if self.moisture is None:
            return False
        nodes = self._strips.respond(base)
        nodes = nodes + self._strips.ratio * (surfaces[: self.strips] - nodes[0])
        correction, changed = self.moisture.after_step(early, late, nodes, self.nodes_k, self._capacity)
        if correction is not None:
            self.nodes_k = self.nodes_k + correction
            self.surfaces_k[: self.strips] = self.nodes_k[0]
        return changed

    @property
    def radiant_k(self):
        """Temperature of the radiant star, K."""
        return (self.star_w / STEFAN_BOLTZMANN) ** 0.25

    def _stages(self, element_w) -> tuple[tuple, tuple]:
        """Both implicit stages. Of the first: last nodes, surfaces, air, star emission, W/m², and what the bridges
        draw, W; of the second: all nodes and the same."""
        strips, now, air_k = self._strips, self.surfaces_k, self.air_k
        heat = self._element_weight * element_w
        hot, cold, later = strips.respond_twice(self.nodes_k)
        old = now[self.strips :]
        first = self._stage(hot, old + heat, air_k, now)
        surfaces = first[0]
        warmed = surfaces[: self.strips] - hot
        rest = later + strips.later * warmed
        elements = _AHEAD * surfaces[self.strips :] + _BEHIND * old + heat
        second = self._stage(rest[0], elements, _AHEAD * first[1] + _BEHIND * air_k, surfaces)
        nodes = rest + strips.ratio * (second[0][: self.strips] - rest[0])
        return (cold + strips.ratio[-1] * warmed, *first), (nodes, *second)

    def _stage(self, hot, elements, base_air, guess):
        """One implicit stage: surfaces, air, star emission, W/m², and what the bridges draw, W; radiation linearised
        about `guess`. `hot`: the strips' hot faces without heat at them; `elements` with their heat, and nothing
        lost."""
        left, right, scaled, cube = self._left, self._right, self._scaled, self._cube
        offset, fourth = scaled[0], right[3]
        square = guess * guess
        np.multiply(square, guess, out=cube)
        np.multiply(square, square, out=fourth)
        np.multiply(self._rho4, cube, out=left[0])
        np.multiply(self._w_star3, fourth, out=offset)
        offset[: self.strips] += hot
        offset[self.strips :] += elements
        if self._room is not None:
            offset += self._room
        cube *= self._w_star4
        cube += self._one_film
        np.divide(scaled, cube, out=right[:3])
        (b1, a11, a12, _), (b2, a21, a22, _), (_, _, _, fourths) = left.dot(right.T).tolist()
        # Star: star_sum·M − Σ slope·T + 3 Σ ρ σ T*⁴ − aperture = 0;  air: capacity and films.
        a11, a12, a21, a22 = self._star_sum - a11, -a12, -a21, self._air_sum - a22
        b1 += self._star_load - 3.0 * STEFAN_BOLTZMANN * fourths
        b2 += self._air_base * base_air + self._air_load
        alone = a11 - a12 * a21 / a22
        drawing = b1 - a12 * b2 / a22
        if self._bridged:
            star, bridges_w, self._bridged_k = bridged_star(
                alone, drawing, self._bridges, self._ambient_k, self._bridged_k
            )
        else:
            star, bridges_w = drawing / alone, 0.0
        air = (b2 - a21 * star) / a22
        self._mix[1], self._mix[2] = star, air
        return self._mix.dot(right[:3]), air, star, bridges_w
