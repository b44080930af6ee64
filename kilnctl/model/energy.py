"""The energy balance that control uses: eight temperatures and the heat flows between them.

        power                         disturbance, fan
          │                               │
       element ──(radiation, convection)─ chamber ──(film)── lining 1 ── … ── lining 4 ── room
                                           │   │
                                      contents  leak ── room          sensor follows chamber with a lag

The chamber is the air and what an ideal small sensor shows; its own heat capacity is small. Conduction in the
lining rises linearly with temperature, radiation with the fourth power. One linearly implicit Euler step
(Rosenbrock form, exact tangents) a tick: stable for any step, and cheap because the network is a tree that is
eliminated by hand in plain floats. Temperatures in °C, heat flows in W, capacities in J/K, conductances in
W/K, radiating conductances in m² (times σ T⁴)."""

import math
from dataclasses import dataclass, fields, replace
from typing import TypeVar

import numpy as np

from ..body.sensor import INNER_SHARE, STILL_FILM
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY

STATES = ("element", "chamber", "lining 1", "lining 2", "lining 3", "lining 4", "contents", "sensor")
ELEMENT, CHAMBER, LINING, CONTENTS, SENSOR = 0, 1, 2, 6, 7
N = len(STATES)


def _link(t1: float, t2: float, conductance: float, area: float) -> tuple[float, float, float]:
    """Convection and radiation from t1 to t2, °C: watts, tangent to t1, tangent to t2, W/K."""
    a, b = t1 + ZERO_C, t2 + ZERO_C
    s = STEFAN_BOLTZMANN * area
    a3, b3 = s * (a * a * a), s * (b * b * b)
    return conductance * (t1 - t2) + (a3 * a - b3 * b), conductance + 4.0 * a3, conductance + 4.0 * b3


def _conduct(t1: float, t2: float, conductance: float, r: float) -> tuple[float, float, float]:
    """Conduction with a conductivity that rises by r per kelvin; returns what `_link` does."""
    mean = 1.0 + 0.5 * r * (t1 + t2)
    return conductance * mean * (t1 - t2), conductance * (1.0 + r * t1), conductance * (1.0 + r * t2)


#: How exactly a steady state is found, K.
EXACT_K = 1e-10
#: Radiating film of the ideal small sensor over the cube of its temperature, W/(m²·K⁴).
_SENSOR_RADIATES = 4.0 * SENSOR_EMISSIVITY * STEFAN_BOLTZMANN
#: Prefixes of the parameters that may be zero; the others must be above zero.
_MAY_BE_ZERO = (
    "contents",
    "leak",
    "extra",
    "dead",
    "rise",
    "capacity_rise",
    "resistance_rise",
    "element_w",
    "element_m2",
    "element_rise",
    "lag",
)
#: One temperature, or an array of them.
Temperature = TypeVar("Temperature", float, np.ndarray)


@dataclass(frozen=True, slots=True)
class EnergyModel:
    """Every parameter is positive (contents and leak may be 0). Relative rises per °C over the value at 0 °C:
    `rise_per_k` of the lining's conductances, `capacity_rise_per_k` of its capacities, `element_rise_per_k` of the
    elements' capacity, `leak_rise_per_k` of the heat that bypasses the lining (below zero where most of it is carried
    by air, which gets thinner when hot); `resistance_rise_per_k`: of the elements' resistance over its value at
    `rated_c`, where they have their rated power; `lag_s`: of the sensor in still room air; `sensor_wind`: convective
    film on the sensor in use, over its whole film in still room air."""

    power_w: float
    voltage_v: float
    ambient_c: float
    element_j_per_k: float
    element_w_per_k: float
    element_m2: float
    chamber_j_per_k: float
    film_w_per_k: float
    film_m2: float
    lining_j_per_k: tuple[float, float, float, float]
    lining_w_per_k: tuple[float, float, float, float]
    rise_per_k: tuple[float, float, float, float]
    capacity_rise_per_k: tuple[float, float, float, float]
    leak_w_per_k: float
    contents_j_per_k: float
    contents_w_per_k: float
    contents_m2: float
    extra_w: float
    lag_s: float
    sensor_wind: float
    dead_s: float
    resistance_rise_per_k: float = 0.0
    rated_c: float = 20.0
    leak_rise_per_k: float = 0.0
    element_rise_per_k: float = 0.0

    def __post_init__(self):
        for f in fields(self):
            value = getattr(self, f.name)
            for v in value if isinstance(value, tuple) else (value,):
                zero_is_fine = f.name.startswith(_MAY_BE_ZERO)
                if f.name not in ("ambient_c", "rated_c", "leak_rise_per_k") and not (
                    math.isfinite(v) and (v > 0.0 or (zero_is_fine and v == 0.0))
                ):
                    raise ValueError(f"model: {f.name} = {v!r} must be {'at least' if zero_is_fine else 'above'} zero")
        if self.element_w_per_k + self.element_m2 <= 0.0:
            raise ValueError("model: the elements give no heat to the chamber")

    # ---- the balance -------------------------------------------------------------------------------------------------

    def flows(self, x, ambient_c: float) -> tuple[tuple[float, float, float], ...]:
        """(watts, tangent to the hot side, tangent to the cold side) of each link at x: element→chamber,
        chamber→lining 1, 1→2, 2→3, 3→4, 4→room, chamber→contents."""
        e, c, l1, l2, l3, l4, k, _ = x

        g1, g2, g3, g4 = self.lining_w_per_k
        r1, r2, r3, r4 = self.rise_per_k
        return (
            _link(e, c, self.element_w_per_k, self.element_m2),
            _link(c, l1, self.film_w_per_k, self.film_m2),
            _conduct(l1, l2, g1, r1),
            _conduct(l2, l3, g2, r2),
            _conduct(l3, l4, g3, r3),
            _conduct(l4, ambient_c, g4, r4),
            _link(c, k, self.contents_w_per_k, self.contents_m2),
        )

    def leaking(self, chamber_c: float, ambient_c: float) -> tuple[float, float, float]:
        """Heat that bypasses the lining, W, with its tangents, in the form of `flows`."""
        return _conduct(chamber_c, ambient_c, self.leak_w_per_k, self.leak_rise_per_k)

    def step(
        self,
        x,
        power_w: float,
        dt_s: float,
        ambient_c: float,
        disturbance_w: float = 0.0,
        lining: float = 1.0,
        load: float = 1.0,
        late_s: float = 0.0,
    ) -> tuple[float, ...]:
        """The state dt_s later under constant power (rated power times duty, W) and a heat flow of unknown origin into
        the chamber, W. `lining`, `load`: factors on the heat that lining and contents take from the chamber, as if
        their areas were larger by them; the temperatures of lining and contents stay those of one area. `late_s`: by
        how much the sensor's lag is longer than the model's, s."""
        inside = self.inside(x, power_w, dt_s, ambient_c, disturbance_w, lining, load)
        before, after, shows = x[CHAMBER], inside[CHAMBER], x[SENSOR]
        by_start, by_end = self.sensor_shares(after, dt_s, late_s)
        return (*inside, shows + by_start * (before - shows) + by_end * (after - shows))

    def inside(
        self, x, power_w: float, dt_s: float, ambient_c: float, disturbance_w=0.0, lining=1.0, load=1.0
    ) -> tuple[float, float, float, float, float, float, float]:
        """`step` without the sensor, whose part of `x` is not read and may be left out. Everything is written out, for
        a tick takes up to forty of these."""
        e, c, l1, l2, l3, l4, k = x[:SENSOR]
        power_w = power_w / (1.0 + self.resistance_rise_per_k * (e - self.rated_c))
        # `_link` from elements to chamber and from chamber to lining, which share the chamber's radiation.
        t, own = e + ZERO_C, c + ZERO_C
        own3 = own * own * own
        g, s = self.element_w_per_k, STEFAN_BOLTZMANN * self.element_m2
        up3, down3 = s * (t * t * t), s * own3
        qe, ae, be = g * (e - c) + (up3 * t - down3 * own), g + 4.0 * up3, g + 4.0 * down3
        t, g, s = l1 + ZERO_C, self.film_w_per_k, STEFAN_BOLTZMANN * self.film_m2
        up3, down3 = s * own3, s * (t * t * t)
        q1, a1, b1 = g * (c - l1) + (up3 * own - down3 * t), g + 4.0 * up3, g + 4.0 * down3
        g1, g2, g3, g4 = self.lining_w_per_k
        r1, r2, r3, r4 = self.rise_per_k
        q2, a2, b2 = g1 * (1.0 + 0.5 * r1 * (l1 + l2)) * (l1 - l2), g1 * (1.0 + r1 * l1), g1 * (1.0 + r1 * l2)
        q3, a3, b3 = g2 * (1.0 + 0.5 * r2 * (l2 + l3)) * (l2 - l3), g2 * (1.0 + r2 * l2), g2 * (1.0 + r2 * l3)
        q4, a4, b4 = g3 * (1.0 + 0.5 * r3 * (l3 + l4)) * (l3 - l4), g3 * (1.0 + r3 * l3), g3 * (1.0 + r3 * l4)
        q5, a5 = g4 * (1.0 + 0.5 * r4 * (l4 + ambient_c)) * (l4 - ambient_c), g4 * (1.0 + r4 * l4)
        c1, c2, c3, c4 = self.lining_j_per_k
        s1, s2, s3, s4 = self.capacity_rise_per_k
        # Increments, eliminated from the tree's leaves towards the chamber: δ_leaf = alpha + beta ·
        # δ_towards.
        de = self.element_j_per_k * (1.0 + self.element_rise_per_k * e) / dt_s + ae
        alpha_e, beta_e = (power_w - qe) / de, be / de
        d4 = c4 * (1.0 + s4 * l4) / dt_s + b4 + a5
        alpha_4, beta_4 = (q4 - q5) / d4, a4 / d4
        d3 = c3 * (1.0 + s3 * l3) / dt_s + b3 + a4 - b4 * beta_4
        alpha_3, beta_3 = (q3 - q4 + b4 * alpha_4) / d3, a3 / d3
        d2 = c2 * (1.0 + s2 * l2) / dt_s + b2 + a3 - b3 * beta_3
        alpha_2, beta_2 = (q2 - q3 + b3 * alpha_3) / d2, a2 / d2
        d1 = c1 * (1.0 + s1 * l1) / dt_s + b1 + a2 - b2 * beta_2
        alpha_1, beta_1 = (q1 - q2 + b2 * alpha_2) / d1, a1 / d1
        contents = self.contents_j_per_k
        if contents > 0.0:
            t, g, s = k + ZERO_C, self.contents_w_per_k, STEFAN_BOLTZMANN * self.contents_m2
            up3, down3 = s * own3, s * (t * t * t)
            qk, ak, bk = g * (c - k) + (up3 * own - down3 * t), g + 4.0 * up3, g + 4.0 * down3
            dk = contents / dt_s + bk
            alpha_k, beta_k = qk / dk, ak / dk
        else:
            qk = alpha_k = beta_k = ak = bk = 0.0
        g, r = self.leak_w_per_k, self.leak_rise_per_k
        ql, leak = g * (1.0 + 0.5 * r * (c + ambient_c)) * (c - ambient_c), g * (1.0 + r * c)
        net = qe - lining * (q1 - b1 * alpha_1) - load * (qk - bk * alpha_k) - ql
        dc = self.chamber_j_per_k / dt_s + be + leak - ae * beta_e
        dc += lining * (a1 - b1 * beta_1) + load * (ak - bk * beta_k)
        up = (net + ae * alpha_e + disturbance_w + self.extra_w) / dc
        down_1 = alpha_1 + beta_1 * up
        down_2 = alpha_2 + beta_2 * down_1
        down_3 = alpha_3 + beta_3 * down_2
        chamber = c + up
        contents_c = k + alpha_k + beta_k * up if contents > 0.0 else chamber
        l4 = l4 + alpha_4 + beta_4 * down_3
        return e + alpha_e + beta_e * up, chamber, l1 + down_1, l2 + down_2, l3 + down_3, l4, contents_c

    def sensor_shares(self, chamber_c: float, dt_s: float, late_s: float = 0.0) -> tuple[float, float]:
        """How far the sensor moves in a step towards the chamber's temperature at its start, and towards that at its
        end (shares): exact for a chamber that warms evenly during the step. (With the end alone the sensor would lag
        half a step too little.)"""
        if self.lag_s + late_s <= 0.0:
            return 0.0, 1.0
        # A trial forecast may go below absolute zero within a step; clamp the temperature before computing the lag.
        lag = self.lag_at_s(max(1.0 - ZERO_C, chamber_c), late_s)
        share = -math.expm1(-dt_s / lag)
        by_end = 1.0 - share * lag / dt_s
        return share - by_end, by_end

    @property
    def delay_s(self) -> float:
        """How late a reading comes in still room air, s: lag and dead time."""
        return self.lag_s + self.dead_s

    def lag_at_s(self, chamber_c: Temperature, late_s: float = 0.0) -> Temperature:
        """The sensor's lag in the chamber, s: radiation (and a fan) shorten its outer part; INNER_SHARE of it stays."""
        t = chamber_c + ZERO_C
        film = self.sensor_wind + _SENSOR_RADIATES * t * t * t / STILL_FILM
        return (self.lag_s + late_s) * (INNER_SHARE + (1.0 - INNER_SHARE) / film)

    def linearise(
        self, x, dt_s: float, ambient_c: float, lining: float = 1.0, load: float = 1.0, late_s: float = 0.0
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A (8×8) of the step's increment response, and its columns for 1 W of element power and of
        disturbance (each (8,)); `lining`, `load` as in `step`."""
        (qe, ae, be), (_, a1, b1), (_, a2, b2), (_, a3, b3), (_, a4, b4), (_, a5, _), (_, ak, bk) = self.flows(
            x, ambient_c
        )
        # Warmer elements draw less power. Assume quasi-steady elements here: power in equals heat out.
        share_of_rated = 1.0 / (1.0 + self.resistance_rise_per_k * (x[ELEMENT] - self.rated_c))
        has_contents = self.contents_j_per_k > 0.0
        if not has_contents:
            ak = bk = 0.0
        warmed = [
            c * (1.0 + s * t) for c, s, t in zip(self.lining_j_per_k, self.capacity_rise_per_k, x[LINING:CONTENTS])
        ]
        element = self.element_j_per_k * (1.0 + self.element_rise_per_k * x[ELEMENT])
        capacity = (element, self.chamber_j_per_k, *warmed, self.contents_j_per_k or 1.0)
        m = np.zeros((SENSOR, SENSOR))
        m[0, 0], m[0, 1] = ae + self.resistance_rise_per_k * share_of_rated * max(0.0, qe), -be
        m[1, 0], m[1, 2], m[1, 6] = -ae, -lining * b1, -load * bk
        m[1, 1] = be + lining * a1 + load * ak + self.leaking(x[CHAMBER], ambient_c)[1]
        m[2, 1], m[2, 2], m[2, 3] = -a1, b1 + a2, -b2
        m[3, 2], m[3, 3], m[3, 4] = -a2, b2 + a3, -b3
        m[4, 3], m[4, 4], m[4, 5] = -a3, b3 + a4, -b4
        m[5, 4], m[5, 5] = -a4, b4 + a5
        m[6, 1], m[6, 6] = -ak, bk
        rate = np.array(capacity) / dt_s
        diagonal = m.reshape(-1)[:: SENSOR + 1]  # a view: indices as arrays take four times as long
        diagonal += rate
        inverse = np.linalg.inv(m)
        by_start, by_end = self.sensor_shares(x[1], dt_s, late_s)
        a = np.zeros((N, N))
        a[:SENSOR, :SENSOR] = inverse * rate
        if not has_contents:
            a[CONTENTS, :SENSOR] = a[CHAMBER, :SENSOR]
        a[SENSOR, :SENSOR] = by_end * a[CHAMBER, :SENSOR]
        a[SENSOR, CHAMBER] += by_start
        a[SENSOR, SENSOR] = 1.0 - by_start - by_end
        power, disturbance = np.zeros(N), np.zeros(N)
        power[:SENSOR], disturbance[:SENSOR] = inverse[:, ELEMENT], inverse[:, CHAMBER]
        if not has_contents:
            power[CONTENTS], disturbance[CONTENTS] = power[CHAMBER], disturbance[CHAMBER]
        power[SENSOR], disturbance[SENSOR] = by_end * power[CHAMBER], by_end * disturbance[CHAMBER]
        return a, power * share_of_rated, disturbance

    def around_w_per_k(self, x) -> float:
        """Conductance from the chamber to elements, lining and contents together, W/K."""
        (_, _, elements), (_, lining, _), *_, (_, contents, _) = self.flows(x, self.ambient_c)
        return elements + lining + (contents if self.contents_j_per_k > 0.0 else 0.0)

    def taken_w(self, x) -> tuple[float, float]:
        """Heat that lining and contents take from the chamber, W."""
        lining = _link(x[CHAMBER], x[LINING], self.film_w_per_k, self.film_m2)[0]
        if self.contents_j_per_k <= 0.0:
            return lining, 0.0
        return lining, _link(x[CHAMBER], x[CONTENTS], self.contents_w_per_k, self.contents_m2)[0]

    def elements_give_w(self, x) -> float:
        """Heat that the elements give to the chamber, W."""
        return _link(x[ELEMENT], x[CHAMBER], self.element_w_per_k, self.element_m2)[0]

    # ---- what follows from it ----------------------------------------------------------------------------------------

    def rest(self, temperature_c: float) -> tuple[float, ...]:
        """Everything at one temperature."""
        return (temperature_c,) * N

    def steady(self, chamber_c: float, ambient_c: float | None = None) -> tuple[tuple[float, ...], float]:
        """The state that holds chamber_c for ever, and the power it takes (negative below what fan and room
        give), W."""
        ambient = self.ambient_c if ambient_c is None else ambient_c
        inside, flow = self._through_lining(chamber_c, ambient)
        power = flow + self.leaking(chamber_c, ambient)[0] - self.extra_w
        element = chamber_c
        for _ in range(40):
            q, a, _ = _link(element, chamber_c, self.element_w_per_k, self.element_m2)
            more = (max(power, 0.0) - q) / a
            element += more
            if abs(more) < EXACT_K:
                break
        # Convert to rated power: elements below their rated temperature give more than their rating.
        return (element, chamber_c, *inside, chamber_c, chamber_c), power * (
            1.0 + self.resistance_rise_per_k * (element - self.rated_c)
        )

    def _through_lining(self, chamber_c: float, ambient: float) -> tuple[list[float], float]:
        """The lumps' temperatures, °C, and the flow into the lining, W, in steady state."""
        # The flow through the film falls with the face's temperature, and what the row ends with, which must be the
        # room, rises with it: Newton's steps, kept inside a bracket.
        low, high = min(ambient, chamber_c), max(ambient, chamber_c)
        flow, inside, face, settled = 0.0, [chamber_c] * 4, 0.5 * (low + high), False
        for _ in range(80):
            flow = self._into_lining(chamber_c, face)
            flow_per_k = -self.film_w_per_k - 4.0 * STEFAN_BOLTZMANN * self.film_m2 * (face + ZERO_C) ** 3
            t, per_k, missed = face, 1.0, 0.0
            for i, (g, r) in enumerate(zip(self.lining_w_per_k, self.rise_per_k)):
                inside[i] = t
                per_k = per_k * (1.0 + r * t) - flow_per_k / g
                if i == 3:  # the integral of the conductivity, which stays smooth where no temperature belongs to it
                    missed = t + 0.5 * r * t * t - flow / g - ambient - 0.5 * r * ambient * ambient
                    break
                t = self.colder_c(t, flow, g, r)
                if (t - ambient) * flow < 0.0:
                    missed, per_k = t - ambient, 0.0  # beyond the room too early: no slope, the bracket is halved
                    break
                per_k /= 1.0 + r * t
            if settled:
                break  # once more after the last small step: far lumps move by many times as much as the face
            low, high = (face, high) if missed < 0.0 else (low, face)
            newton = face - missed / per_k if per_k > 0.0 else high
            new = newton if low < newton < high else 0.5 * (low + high)
            settled, face = abs(new - face) < EXACT_K, new
        return inside, flow

    def _into_lining(self, chamber_c: float, face_c: float) -> float:
        a, b = chamber_c + ZERO_C, face_c + ZERO_C
        return self.film_w_per_k * (chamber_c - face_c) + STEFAN_BOLTZMANN * self.film_m2 * (a**4 - b**4)

    @staticmethod
    def colder_c(hot_c: float, flow_w: float, conductance: float, rise: float) -> float:
        """The far end of a conducting link that carries flow_w away from hot_c (below absolute zero if it
        cannot)."""
        potential = hot_c + 0.5 * rise * hot_c * hot_c - flow_w / conductance
        if rise < 1e-12:
            return potential
        inner = 1.0 + 2.0 * rise * potential
        return (-1.0 + math.sqrt(inner)) / rise if inner > 0.0 else -ZERO_C

    def holding_w(self, chamber_c: float, ambient_c: float | None = None) -> float:
        """Power that holds chamber_c for ever, W, not below 0."""
        return max(0.0, self.steady(chamber_c, ambient_c)[1])

    def keeping_w(self, x, ambient_c: float | None = None) -> float:
        """Rated power that keeps the chamber at its temperature now, with everything else as warm as in x, W, not below
        0. A lining that is still cold takes many times its steady heat."""
        ambient = self.ambient_c if ambient_c is None else ambient_c
        taken = sum(self.taken_w(x)) + self.leaking(x[CHAMBER], ambient)[0] - self.extra_w
        return max(0.0, taken * (1.0 + self.resistance_rise_per_k * (x[ELEMENT] - self.rated_c)))

    def believes(self, supply_v: float | None) -> bool:
        """Whether this can be the supply's voltage during heating: a meter that shows less than 0.3 of nominal is not
        there, one that shows more than 1.5 times as much is broken."""
        return supply_v is not None and 0.3 * self.voltage_v < supply_v < 1.5 * self.voltage_v

    def full_power_w(self, supply_v: float | None = None) -> float:
        """Full power at that supply voltage (nominal when unknown or not to be believed), W: P ∝ V²."""
        if supply_v is None or not self.believes(supply_v):
            return self.power_w
        return self.power_w * (supply_v / self.voltage_v) ** 2

    def highest_c(self, ambient_c: float | None = None) -> float:
        """The chamber temperature that full power would hold, °C (searched up to 2000 °C)."""
        low, high = self.ambient_c, 2000.0
        for _ in range(50):
            middle = 0.5 * (low + high)
            if self.steady(middle, ambient_c)[1] > self.power_w:
                high = middle
            else:
                low = middle
        return low

    def but(self, **changes) -> "EnergyModel":
        """The same model with some parameters replaced."""
        return replace(self, **changes)
