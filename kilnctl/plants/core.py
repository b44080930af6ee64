"""The heat balance of one oven and its step in time.

Unknowns: the nodes of every strip (walls, shelf, load), the element groups, the chamber air; the radiant star is
algebraic. Time integration is the two-stage, stiffly accurate, L-stable singly diagonally implicit Runge–Kutta method
of R. Alexander (SIAM J. Numer. Anal. 14, 1977), order two; both stages are one small matrix (`stage`). A step in which
a temperature jumps, or overshoots its surroundings, is halved (`guards`).

Two sets of frozen coefficients keep a step cheap. *Deep*: conductivities and heat capacities of the strips and the
outer films hold for a block of steps, taken at the temperatures expected in its middle; the strips' interiors are
eliminated once per block (`elimination`). *Quick*: films inside, tangents of the radiation, and the capacities of
elements and air; a step that ends too far from where they were taken is computed again with new ones. Steps change
enthalpy, not temperature: what leaves one node enters another, and at the end of a block temperatures come from the
enthalpies. So energy is conserved to rounding."""

from collections.abc import Callable

import numpy as np

from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.psychrometrics import WATER_J_PER_KGK
from .balance import Body, EnergyLedger, Surroundings
from .elimination import Elimination
from .guards import FAR_K, SHORTEST_S, TOP_K, coldest_k, enclosed, hottest_k, must_halve
from .moisture import Moisture
from .property_tables import KNOTS, LOWEST_K, STEP_K, extend, locate
from .stage import Air, Star, stage_matrix, start_of, step_matrix

#: Alexander's coefficient of the two-stage L-stable method, 1 − 1/√2.
GAMMA = 1.0 - 0.5**0.5
#: A block ends after this many steps, or when a node's temperature has changed by the tolerance; in its first two steps
#: by YOUNG times that, or fast heating would close a block every step. The air may change AIR times as much.
MOST_STEPS, YOUNG, AIR = 240, 4.0, 3.0
#: The quick coefficients hold while no surface is further from where they were taken than either of these: K, and a
#: share of its difference to the air (films), or of its absolute temperature (radiation: at the limit a surface emits
#: 6 · SHARE² less than it should, 0.02 %). Together the surfaces may use up one such limit.
FILM_MOVED_K, FILM_MOVED_SHARE, EMITS_MOVED_K, EMITS_MOVED_SHARE = 0.5, 0.05, 0.5, 0.005
#: A step is computed again so often at most; after one that went by this much of the limits (as a square) the next is
#: expected to go as far.
AGAIN, FAST = 4, 0.5
_AHEAD, _BEHIND = (1.0 - GAMMA) / GAMMA, 2.0 - 1.0 / GAMMA


class Core:
    """State and step. Public, in K: `nodes_k` (n, S), `surfaces_k` (S + G; the groups last), `air_k`, `radiant_k`."""

    def __init__(
        self, body: Body, around: Surroundings, start_k, tolerance_k: float = 3.0, moisture: Moisture | None = None
    ):
        """All at `start_k`. A block ends when a node has moved by `tolerance_k` (four times that in its first two
        steps), the air by three times as much, or after MOST_STEPS."""
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
        #: The same of surfaces and air; and whether the last step went far.
        self._quick_went, self._fast = (self.surfaces_k, self.air_k, self.surfaces_k, self.air_k, 1.0), False
        self._last_w = np.zeros_like(self.surfaces_k[self.strips :])
        self._carried: tuple[np.ndarray, np.ndarray] | None = None
        self._row_start = body.rows * KNOTS
        self._element_start = body.element_row * KNOTS
        self._start = start_of(self.strips, len(body.star) - self.strips, _BEHIND)
        #: What a step starts from. No views of it are kept: a copy of this core would lose them.
        self._given = np.ones(2 * len(body.star) + 2)
        self._onward = np.full((len(body.star) + 1, 1), _AHEAD)
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
        self._freeze_soon(dt, element_w)
        if moisture is not None:
            moisture.humidity.set(around.vent_w_per_k + around.door_w_per_k, around.leak_w_per_k, self.air_k)
            moisture.freeze(dt, self.nodes_k, middle, self._capacity, self.film_w_per_k)
        self._vapour = (0.0, 0.0) if moisture is None else moisture.vapour
        self._flows = around.vent_w_per_k, around.leak_w_per_k, around.door_w_per_k
        self._openings = around.port_m2, around.doorway_m2
        self._fan, self._bridges = around.fan_w, around.bridges_w_per_k
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

    def _freeze_soon(self, dt: float, element_w) -> None:
        """Freeze the quick coefficients for a step whose end is not known yet: surfaces and air go on as in the last
        step, elements also by the change of their power."""
        s0, a0, s1, a1, step_s = self._quick_went
        half = 0.5 * dt
        moved = (half / step_s) * (s1 - s0)
        moved[self.strips :] += half * (element_w - self._last_w) / self._element_capacity
        moved = np.minimum(np.maximum(moved, -FAR_K), FAR_K)
        air = self.air_k + (half / step_s) * (a1 - a0)
        self._freeze_quick(self.surfaces_k + moved, air, self.surfaces_k + 2.0 * moved, self.star_w)

    def _note_quick(self) -> None:
        """Add up the enthalpy that elements and air have gained, with the capacities used until now."""
        elements = self.surfaces_k[self.strips :]
        self._element_j = self._element_j + self._element_capacity * (elements - self._element_mark)
        self._air_j = self._air_j + self._air_capacity * (self.air_k - self._air_mark)
        self._element_mark, self._air_mark = elements, self.air_k

    def _freeze_quick(self, surfaces, air, after, star_w: float) -> None:
        """Films and capacities in the middle of a step, radiation at its end (`after`), where the last stage is, and
        bridges at the star's emission there, W/m²."""
        b = self.body
        # Extrapolation at a rise of power may leave the tables; the resulting temperature does not (or it melts).
        surfaces, after = (np.minimum(np.maximum(x, LOWEST_K), TOP_K) for x in (surfaces, after))
        air = min(max(air, LOWEST_K), TOP_K)
        self._element_capacity = self._capacity_of(surfaces[self.strips :])
        self._air_capacity = b.air_capacity * 273.15 / air
        self.film_w_per_k = b.surface_area * b.film_scale * b.inner_films(surfaces, air)
        film_limit = FILM_MOVED_K + FILM_MOVED_SHARE * np.abs(surfaces - air)
        self._per_limit = 1.0 / np.minimum(film_limit, EMITS_MOVED_K + EMITS_MOVED_SHARE * after)
        self._frozen_at, self._frozen_air, self._frozen_star = after, air, star_w
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
        self._onward[: self.strips, 0] = self._strips.later
        self._weighed = False

    def _weigh(self) -> None:
        """The matrix of a step; computed again when any coefficients have changed."""
        tau, film, rho = GAMMA * self._dt, self.film_w_per_k, self._star
        weight = np.concatenate((self._strips.top * tau, tau / self._element_capacity))
        self._element_weight = weight[self.strips :]
        flows, (vapour, from_k), base = sum(self._flows), self._vapour, self._air_capacity / tau
        load_w = flows * self._ambient_k + vapour * from_k + self._fan
        air = Air(base, base + float(film.sum()) + flows + vapour, load_w)
        openings, star_k = sum(self._openings), (self._frozen_star / STEFAN_BOLTZMANN) ** 0.25
        star = Star(float(rho.sum()) + openings, openings * self._room_emission, self._bridges, star_k)
        stage = stage_matrix(weight, film, rho, self._frozen_at, self._room_film, self._ambient_k, air, star)
        self._step = step_matrix(stage, self._start, self._onward)
        self._weighed = True

    # ---- one step ------------------------------------------------------------------------------------------

    def step(self, dt: float, element_w) -> None:
        """Advance by `dt` seconds with `element_w` watts in each element group."""
        calm = self._age > 0
        if not calm:
            self._open_block(dt, element_w)
        elif self._fast:
            self._note_quick()
            self._freeze_soon(dt, element_w)
        if dt != self._dt:
            self._factor(dt)
        responses = self._strips.respond_twice(self.nodes_k)
        first, second = self._stages(responses, element_w)
        for _ in range(AGAIN):
            if not self._is_off(second):
                break
            calm = False
            self._note_quick()
            middle, star_w = 0.5 * (self.surfaces_k + second[1]), max(second[3], self._frozen_star / 16.0)
            self._freeze_quick(middle, 0.5 * (self.air_k + second[2]), second[1], star_w)
            first, second = self._stages(responses, element_w)
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
        went = (second[1] - self.surfaces_k) * self._per_limit
        self._fast = float(went.dot(went)) > FAST
        self._quick_went = (self.surfaces_k, self.air_k, second[1], second[2], dt)
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

    def _is_off(self, second: tuple) -> bool:
        """Whether a step ended too far from where the quick coefficients were taken."""
        off = second[1] - self._frozen_at
        off *= self._per_limit
        if float(off.dot(off)) > 1.0 or abs(second[2] - self._frozen_air) > FAR_K:
            return True
        return bool(self._bridges) and abs(second[3] - self._frozen_star) > 4.0 * EMITS_MOVED_SHARE * self._frozen_star

    def _stages(self, responses: np.ndarray, element_w) -> tuple[tuple, tuple]:
        """Both implicit stages. Of the first: last nodes, surfaces, air, star emission, W/m², and what the bridges
        draw, W; of the second: all nodes and the same. `responses` of the strips: `Elimination.respond_twice`."""
        if not self._weighed:
            self._weigh()
        strips, given, n = self._strips, self._given, self.strips
        given[:n], given[n : 2 * n] = responses[1], responses[2]
        old = self.surfaces_k[n:]
        given[2 * n : -len(old) - 2], given[-len(old) - 2 : -2] = self._element_weight * element_w, old
        given[-2] = self.air_k
        both = self._step.dot(given)
        first, second = both[: len(both) // 2], both[len(both) // 2 :]
        warmed = first[:n] - responses[1]
        nodes = strips.inside * warmed
        nodes += responses[2:]
        nodes += strips.ratio * (second[:n] - responses[2])
        return (
            (responses[0] + strips.ratio[-1] * warmed, first[:-3], *first[-3:].tolist()),
            (nodes, second[:-3], *second[-3:].tolist()),
        )
