"""The heat balance of one oven, or of a batch of ovens, and its step in time.

Unknowns: the nodes of every strip (walls, shelf, load), the element groups, the chamber air; the radiant star is
algebraic. Time integration is the two-stage, stiffly accurate, L-stable singly diagonally implicit Runge–Kutta method
of R. Alexander (SIAM J. Numer. Anal. 14, 1977), order two. Conductivities, heat capacities and films are frozen for a
*block* of steps at the temperatures expected in the middle of the block (second order again); radiation to the star
is linearised anew in every stage. Enthalpy, not temperature, is what a step moves: what leaves one node enters
another, so energy is conserved to rounding whatever the block.

Frozen coefficients make each strip's answer linear: its interior is eliminated once per block (dense inverse for one
oven, one tridiagonal factorisation over all of a batch), and a step only solves for the surfaces, star and air.
"""

from collections.abc import Callable

import numpy as np
from scipy.constants import Stefan_Boltzmann, zero_Celsius

from .balance import Body, Ledger, Surroundings
from .moisture import WATER_J_PER_KGK, Moisture
from .tables import KNOTS, STEP_K, locate

GAMMA = 1.0 - 0.5**0.5
_AHEAD = (1.0 - GAMMA) / GAMMA


class Core:
    """State and step. Public arrays: `nodes_k` (n, S[, B]), `surfaces_k` (S + G[, B]; the groups last), `air_k`, `star_k`."""

    def __init__(self, body: Body, around: Surroundings, start_k, tolerance_k: float = 2.0, moisture: Moisture | None = None):
        """All at `start_k`. A block ends when a surface has moved by `tolerance_k`, or after 60 steps."""
        self.body, self.around, self.tolerance_k = body, around, tolerance_k
        self.moisture = None if moisture is None or moisture.dry else moisture
        self.strips = body.rows.shape[1]
        self.batch = body.rows.shape[2:]
        nodes = body.rows.shape[0] + 1
        self.nodes_k = np.zeros((nodes, self.strips, *self.batch)) + start_k
        self.surfaces_k = np.zeros(body.star.shape) + start_k
        self.air_k = np.zeros(self.batch) + start_k if self.batch else float(start_k)
        self.star_w = Stefan_Boltzmann * self.air_k**4
        self.ledger = Ledger(walls=np.zeros((self.strips, *self.batch)))
        #: Called before each block, to set what in `around` depends on temperatures.
        self.before_block: Callable[[], None] | None = None
        self._dt = 0.0
        self._age = 0
        self._block_s = 0.0
        self._rate = np.zeros_like(self.nodes_k)
        self._air_rate = self.air_k * 0.0
        self._row_start = body.rows * KNOTS
        self._element_start = body.element_row * KNOTS
        self._sums = np.empty((3, *body.star.shape)), np.empty((4, *body.star.shape))

    # ---- stored energy -------------------------------------------------------------------------------------------

    def enthalpy_j(self, nodes_k: np.ndarray) -> np.ndarray:
        """Enthalpy of every node, J: the dry material above the tables' lowest temperature, its water above 0 °C."""
        p, mass = self.body.properties, self.body.mass
        knot, part = locate(nodes_k)
        low, high = self._row_start + knot[:-1], self._row_start + knot[1:]
        stored = np.zeros_like(nodes_k)
        stored[:-1] = mass * (p.enthalpy[low] + part[:-1] * p.enthalpy_step[low])
        stored[1:] += mass * (p.enthalpy[high] + part[1:] * p.enthalpy_step[high])
        if self.moisture is not None:
            stored += WATER_J_PER_KGK * self._water_start * (nodes_k - zero_Celsius)
        return stored

    def element_enthalpy_j(self, elements_k: np.ndarray) -> np.ndarray:
        p = self.body.properties
        knot, part = locate(elements_k)
        at = self._element_start + knot
        return self.body.element_mass * (p.enthalpy[at] + part * p.enthalpy_step[at])

    def air_enthalpy_j(self, air_k):
        """∫ C dT with C = C0 · 273.15 / T: the air that leaves as it expands takes nothing with it in this balance."""
        return self.body.air_capacity * 273.15 * np.log(air_k)

    def stored_j(self):
        """Everything stored, J, from temperatures and water alone; exact at the end of a block (`refresh`)."""
        if self.moisture is not None:
            self._water_start = self.moisture.water_kg
        elements = self.element_enthalpy_j(self.surfaces_k[self.strips :]).sum(axis=0)
        return self.enthalpy_j(self.nodes_k).sum(axis=(0, 1)) + elements + self.air_enthalpy_j(self.air_k)

    # ---- blocks: frozen coefficients -----------------------------------------------------------------------------

    def refresh(self) -> None:
        """Close the block: book its losses, bring temperatures in line with enthalpies. The next step opens a new one."""
        if self._age:
            self._close_block()
            self._age = 0

    def _close_block(self) -> None:
        led, span = self.ledger, self._span
        led.walls = led.walls + self._outer * (self._sum_outer - span * self._ambient_k)
        excess = self._sum_air - span * self._ambient_k
        vent, leak, door = self._flows
        led.vent, led.leak, led.door = led.vent + vent * excess, led.leak + leak * excess, led.door + door * excess
        led.fan, led.bridges = led.fan + span * self._fan, led.bridges + span * self._bridges
        excess = self._sum_star - span * self._room_emission
        led.port, led.door = led.port + self._openings[0] * excess, led.door + self._openings[1] * excess
        if self._room_film is not None:
            led.door = led.door + (self._room_film * (self._sum_surfaces - span * self._ambient_k)).sum(axis=0)
        wanted = self._enthalpy + self._capacity * (self.nodes_k - self._nodes_start)
        self.nodes_k = self._invert(self.nodes_k, wanted, self.enthalpy_j, self._capacity)
        elements = self.surfaces_k[self.strips :]
        wanted = self._element_enthalpy + self._element_capacity * (elements - self._elements_start)
        elements = self._invert(elements, wanted, self.element_enthalpy_j, self._element_capacity)
        self.surfaces_k = np.concatenate((self.nodes_k[0], elements))
        change = self._air_capacity * (self.air_k - self._air_start) / (self.body.air_capacity * 273.15)
        self.air_k = self._air_start * np.exp(change) if self.batch else float(self._air_start * np.exp(change))
        self._block_s = span
        if self.moisture is not None:
            gone = self._water_start - self.moisture.water_kg
            led.water = led.water + (WATER_J_PER_KGK * gone * (self.nodes_k - zero_Celsius)).sum(axis=(0, 1))
            led.latent = self.moisture.latent_j
            if self.moisture.dry:
                self.moisture = None

    @staticmethod
    def _invert(guess, wanted, enthalpy, slope):
        """Temperature with the wanted enthalpy: chord iterations converge fast because the slope was right in mid-block."""
        for _ in range(3):
            guess = guess + (wanted - enthalpy(guess)) / slope
        return guess

    def _open_block(self) -> None:
        """Freeze coefficients at the temperatures expected half a block ahead."""
        if self.before_block is not None:
            self.before_block()
        b, p, around, moisture = self.body, self.body.properties, self.around, self.moisture
        ahead = 0.5 * self._block_s
        middle = self.nodes_k + ahead * self._rate
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
        self._enthalpy, self._nodes_start = self.enthalpy_j(self.nodes_k), self.nodes_k
        elements = self.surfaces_k[self.strips :]
        knot, _ = locate(elements)  # a fired element swings: its rate now says little about the middle of the block
        self._element_capacity = b.element_mass * p.enthalpy_step[self._element_start + knot] * slope
        self._element_enthalpy, self._elements_start = self.element_enthalpy_j(elements), elements
        air = self.air_k + ahead * self._air_rate
        self._air_capacity, self._air_start = b.air_capacity * 273.15 / air, self.air_k
        # Films and the outer face.
        ambient = self._ambient_k = around.ambient_k
        last = middle[-1]
        radiation = Stefan_Boltzmann * b.outer_emissivity * (last + ambient) * (last * last + ambient * ambient)
        self._outer = b.outer_area * (b.outer_films(last, ambient) + radiation)
        surfaces = np.concatenate((middle[0], elements))
        self._film = b.surface_area * b.film_scale * b.inner_films(surfaces, air)
        if moisture is not None:
            moisture.freeze(self.nodes_k, middle, self._capacity, self._film, b.surface_area)
        self._flows = around.vent_w_per_k, around.leak_w_per_k, around.door_w_per_k
        self._openings = around.port_m2, around.doorway_m2
        self._fan, self._bridges = around.fan_w, around.bridges_w
        self._room_emission = Stefan_Boltzmann * ambient**4
        self._star = b.star if around.star_factor is None else b.star * around.star_factor
        self._room_film = around.room_film
        self._span = 0.0
        self._sum_outer = np.zeros_like(last)
        self._sum_air = self._sum_star = 0.0
        self._sum_surfaces = np.zeros_like(surfaces)
        self._dt = 0.0

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
        if self.batch:
            self._factor_batch(link, diagonal, load)
        else:
            self._factor_single(link, diagonal, load)
        weight = np.concatenate((self._ratio_top * tau, tau / self._element_capacity))
        rho = self._star
        film = self._film if self._room_film is None else self._film + self._room_film
        self._w_film = weight * film
        self._w_air = weight * self._film
        self._w_star = weight * rho
        self._w_star3 = 3.0 * Stefan_Boltzmann * weight * rho
        self._rho4 = 4.0 * Stefan_Boltzmann * rho
        self._room = None if self._room_film is None else weight * self._room_film * self._ambient_k
        self._element_weight = weight[self.strips :]
        left, _ = self._sums
        left[1] = self._film
        left[2] = rho
        self._star_sum = rho.sum(axis=0) + sum(self._openings)
        self._air_sum = self._air_capacity / tau + self._film.sum(axis=0) + sum(self._flows)
        self._air_base = self._air_capacity / tau
        self._air_load = sum(self._flows) * self._ambient_k + self._fan - self._bridges
        self._star_load = sum(self._openings) * self._room_emission

    def _factor_single(self, link, diagonal, load) -> None:
        n, s = diagonal.shape
        stack = np.zeros((s, n, n))
        i = np.arange(n)
        stack[:, i, i] = diagonal.T
        stack[:, i[:-1], i[1:]] = stack[:, i[1:], i[:-1]] = -link.T
        inverse = np.linalg.inv(stack)
        self._ratio_top = inverse[:, 0, 0].copy()
        self._ratio = (inverse[:, :, 0] / inverse[:, :1, 0]).T.copy()
        full = np.zeros((n, s, n, s))
        strip = np.arange(s)
        full[:, strip, :, strip] = inverse
        full = full.reshape(n * s, n * s)
        self._constant = (full @ load.ravel()).reshape(n, s)
        self._propagate = full * self._capacity.ravel()

    def _factor_batch(self, link, diagonal, load) -> None:
        """Thomas algorithm over the nodes, vectorised over strips and batch, from the outer face inward."""
        n = diagonal.shape[0]
        pivot = diagonal.copy()
        lower = np.empty_like(link)
        for k in range(n - 1, 0, -1):
            lower[k - 1] = link[k - 1] / pivot[k]
            pivot[k - 1] -= lower[k - 1] * link[k - 1]
        self._lower, self._inverse_pivot, self._load = lower, 1.0 / pivot, load
        ratio = np.empty_like(diagonal)
        ratio[0] = 1.0
        for k in range(1, n):
            ratio[k] = ratio[k - 1] * lower[k - 1]
        self._ratio, self._ratio_top = ratio, 1.0 / pivot[0]

    def _respond(self, base: np.ndarray) -> np.ndarray:
        """Strips after one stage from `base` with no heat at their hot faces."""
        if not self.batch:
            return np.dot(self._propagate, base.ravel()).reshape(base.shape) + self._constant
        lower, inverse = self._lower, self._inverse_pivot
        x = self._capacity * base
        x += self._load
        for k in range(x.shape[0] - 1, 0, -1):
            x[k - 1] += lower[k - 1] * x[k]
        x *= inverse
        for k in range(1, x.shape[0]):
            x[k] += lower[k - 1] * x[k - 1]
        return x

    # ---- one step ------------------------------------------------------------------------------------------------

    def step(self, dt: float, element_w) -> None:
        """Advance by `dt` seconds with `element_w` watts in each element group."""
        if self._age == 0:
            self._open_block()
        if dt != self._dt:
            self._factor(dt)
        self._heat = self._element_weight * element_w
        first = self._stage(self.nodes_k, self.surfaces_k, self.air_k, self.surfaces_k)
        nodes, surfaces, air, star = first
        second = self._stage(
            self.nodes_k + _AHEAD * (nodes - self.nodes_k),
            self.surfaces_k + _AHEAD * (surfaces - self.surfaces_k),
            self.air_k + _AHEAD * (air - self.air_k),
            surfaces,
        )
        early, late = (1.0 - GAMMA) * dt, GAMMA * dt
        self._span += dt
        self._sum_outer += early * nodes[-1] + late * second[0][-1]
        self._sum_air += early * air + late * second[2]
        self._sum_star += early * star + late * second[3]
        if self._room_film is not None:
            self._sum_surfaces += early * surfaces + late * second[1]
        per_s = 1.0 / dt
        self._rate = (second[0] - self.nodes_k) * per_s
        self._air_rate = (second[2] - self.air_k) * per_s
        self.nodes_k, self.surfaces_k, self.air_k, self.star_w = second
        self.ledger.elements = self.ledger.elements + dt * element_w.sum(axis=0)
        self._age += 1
        over = False
        if self.moisture is not None:
            correction, over = self.moisture.after_step(early, late, nodes, self.nodes_k, self._capacity)
            if correction is not None:
                self.nodes_k = self.nodes_k + correction
                self.surfaces_k[: self.strips] = self.nodes_k[0]
        if over or self._age >= 60 or np.abs(self.nodes_k[0] - self._nodes_start[0]).max() > self.tolerance_k:
            self.refresh()

    @property
    def radiant_k(self):
        """Temperature of the radiant star, K."""
        return (self.star_w / Stefan_Boltzmann) ** 0.25

    def _stage(self, base, base_surfaces, base_air, guess):
        """One implicit stage; radiation linearised about `guess`. Returns nodes, surfaces, air and star emission W/m²."""
        strips = self.strips
        rest = self._respond(base)
        ys = base_surfaces.copy()
        ys[:strips] = rest[0]
        ys[strips:] += self._heat
        square = guess * guess
        fourth = square * square
        left, right = self._sums
        slope = np.multiply(self._rho4, square * guess, out=left[0])
        hold = 1.0 / (1.0 + self._w_star * (4.0 * Stefan_Boltzmann) * (square * guess) + self._w_film)
        offset = ys + self._w_star3 * fourth
        if self._room is not None:
            offset += self._room
        np.multiply(offset, hold, out=right[0])
        np.multiply(self._w_star, hold, out=right[1])
        np.multiply(self._w_air, hold, out=right[2])
        right[3] = fourth
        if self.batch:
            sums = np.einsum("ikb,jkb->ijb", left, right)
        else:
            sums = np.dot(left, right.T).tolist()
        # Star: star_sum·M − Σ slope·T + 3 Σ ρ σ T*⁴ − aperture = 0;  air: capacity and films.
        a11 = self._star_sum - sums[0][1]
        a12 = -sums[0][2]
        a21 = -sums[1][1]
        a22 = self._air_sum - sums[1][2]
        b1 = sums[0][0] - 3.0 * Stefan_Boltzmann * sums[2][3] + self._star_load
        b2 = sums[1][0] + self._air_base * base_air + self._air_load
        inverse = 1.0 / (a11 * a22 - a12 * a21)
        star = (b1 * a22 - a12 * b2) * inverse
        air = (a11 * b2 - a21 * b1) * inverse
        surfaces = right[0] + right[1] * star + right[2] * air
        nodes = rest + self._ratio * (surfaces[:strips] - rest[0])
        return nodes, surfaces, air, star
