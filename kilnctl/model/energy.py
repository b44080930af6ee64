"""The energy balance that control thinks with: seven temperatures and the watts between them.

        power                         disturbance, fan
          │                               │
       element ──(radiation, convection)─ chamber ──(film)── lining 1 ── lining 2 ── lining 3 ── room
                                           │   │
                                      contents  leak ── room          sensor follows chamber with a lag

The chamber is the air and what an ideal small sensor shows; its own heat capacity is small. Conduction in the lining
rises linearly with temperature, radiation with the fourth power. One linearly implicit Euler step (Rosenbrock form, exact
tangents) a tick: stable for any step, and cheap because the network is a tree that is eliminated by hand in plain floats.
Temperatures in °C, heat flows in W, capacities in J/K, conductances in W/K, radiating conductances in m² (times σ T⁴).
"""

import math
from dataclasses import dataclass, fields, replace

import numpy as np

SIGMA = 5.670374419e-8  # W/(m²·K⁴), CODATA 2018 (exact)
ZERO_C = 273.15

#: Film on a 3 mm sheath in still room air, W/(m²·K) (Churchill and Chu's cylinder, 40 °C in 20 °C, and radiation), its
#: emissivity, and the share of the lag that sits inside the sheath whatever the film (common practice).
STILL_FILM, SENSOR_EMISSIVITY, INNER_LAG = 17.6, 0.8, 0.25

STATES = ("element", "chamber", "lining 1", "lining 2", "lining 3", "contents", "sensor")
ELEMENT, CHAMBER, LINING, CONTENTS, SENSOR = 0, 1, 2, 5, 6
N = len(STATES)


@dataclass(frozen=True, slots=True)
class EnergyModel:
    """Every parameter is positive (contents and leak may be 0). `rise_per_k`: relative rise of the lining's conductance per
    °C; `lag_s`: of the sensor in still room air; `sensor_wind`: convective film on it at work over its whole film there."""

    power_w: float
    voltage_v: float
    ambient_c: float
    element_j_per_k: float
    element_w_per_k: float
    element_m2: float
    chamber_j_per_k: float
    film_w_per_k: float
    film_m2: float
    lining_j_per_k: tuple[float, float, float]
    lining_w_per_k: tuple[float, float, float]
    rise_per_k: float
    leak_w_per_k: float
    contents_j_per_k: float
    contents_w_per_k: float
    contents_m2: float
    extra_w: float
    lag_s: float
    sensor_wind: float
    dead_s: float

    def __post_init__(self):
        for f in fields(self):
            value = getattr(self, f.name)
            for v in value if isinstance(value, tuple) else (value,):
                zero_is_fine = f.name.startswith(("contents", "leak", "extra", "dead", "rise", "element_w", "element_m2", "lag"))
                if f.name != "ambient_c" and not (math.isfinite(v) and (v > 0.0 or (zero_is_fine and v == 0.0))):
                    raise ValueError(f"model: {f.name} = {v!r} must be {'at least' if zero_is_fine else 'above'} zero")
        if self.element_w_per_k + self.element_m2 <= 0.0:
            raise ValueError("model: the elements give no heat to the chamber")

    # ---- the balance -----------------------------------------------------------------------------------------------

    def flows(self, x, ambient_c: float) -> tuple[tuple[float, float, float], ...]:
        """(watts, tangent to the hot side, tangent to the cold side) of each link at x: element→chamber, chamber→lining 1,
        1→2, 2→3, 3→room, chamber→contents."""
        e, c, l1, l2, l3, k, _ = x

        def link(t1: float, t2: float, conductance: float, area: float) -> tuple[float, float, float]:
            a, b = t1 + ZERO_C, t2 + ZERO_C
            a3, b3 = a * a * a, b * b * b
            s = SIGMA * area
            return conductance * (t1 - t2) + s * (a3 * a - b3 * b), conductance + 4.0 * s * a3, conductance + 4.0 * s * b3

        def conduct(t1: float, t2: float, conductance: float) -> tuple[float, float, float]:
            r = self.rise_per_k
            return (conductance * (1.0 + 0.5 * r * (t1 + t2)) * (t1 - t2), conductance * (1.0 + r * t1), conductance * (1.0 + r * t2))

        g1, g2, g3 = self.lining_w_per_k
        out = g3 * (l3 - ambient_c)
        return (link(e, c, self.element_w_per_k, self.element_m2), link(c, l1, self.film_w_per_k, self.film_m2), conduct(l1, l2, g1),
                conduct(l2, l3, g2), (out, g3, g3), link(c, k, self.contents_w_per_k, self.contents_m2))  # fmt: skip

    def step(self, x, power_w: float, dt_s: float, ambient_c: float, disturbance_w: float = 0.0) -> tuple[float, ...]:
        """The state dt_s later under constant element power and a heat flow of unknown origin into the chamber."""
        (qe, ae, be), (q1, a1, b1), (q2, a2, b2), (q3, a3, b3), (q4, a4, _), (qk, ak, bk) = self.flows(x, ambient_c)
        c1, c2, c3 = self.lining_j_per_k
        # Increments, eliminated from the tree's leaves towards the chamber: δ_leaf = alpha + beta · δ_towards.
        de = self.element_j_per_k / dt_s + ae
        alpha_e, beta_e = (power_w - qe) / de, be / de
        d3 = c3 / dt_s + b3 + a4
        alpha_3, beta_3 = (q3 - q4) / d3, a3 / d3
        d2 = c2 / dt_s + b2 + a3 - b3 * beta_3
        alpha_2, beta_2 = (q2 - q3 + b3 * alpha_3) / d2, a2 / d2
        d1 = c1 / dt_s + b1 + a2 - b2 * beta_2
        alpha_1, beta_1 = (q1 - q2 + b2 * alpha_2) / d1, a1 / d1
        contents = self.contents_j_per_k
        if contents > 0.0:
            dk = contents / dt_s + bk
            alpha_k, beta_k = qk / dk, ak / dk
        else:
            qk = alpha_k = beta_k = ak = bk = 0.0
        leak = self.leak_w_per_k
        net = qe - q1 - qk - leak * (x[1] - ambient_c) + disturbance_w + self.extra_w
        dc = (self.chamber_j_per_k / dt_s + be + a1 + ak + leak - ae * beta_e - b1 * beta_1 - bk * beta_k)
        up = (net + ae * alpha_e + b1 * alpha_1 + bk * alpha_k) / dc
        down_1 = alpha_1 + beta_1 * up
        down_2 = alpha_2 + beta_2 * down_1
        chamber = x[1] + up
        share = 1.0 - math.exp(-dt_s / self.lag_at_s(chamber)) if self.lag_s > 0.0 else 1.0
        return (x[0] + alpha_e + beta_e * up, chamber, x[2] + down_1, x[3] + down_2, x[4] + alpha_3 + beta_3 * down_2,
                x[5] + alpha_k + beta_k * up if contents > 0.0 else chamber, x[6] + share * (chamber - x[6]))  # fmt: skip

    def lag_at_s(self, chamber_c: float) -> float:
        """The sensor's lag in the chamber: radiation (and a fan) quicken the outer part of it, INNER_LAG stays, s."""
        t = chamber_c + ZERO_C
        film = self.sensor_wind + 4.0 * SENSOR_EMISSIVITY * SIGMA * t * t * t / STILL_FILM
        return self.lag_s * (INNER_LAG + (1.0 - INNER_LAG) / film)

    def linearise(self, x, dt_s: float, ambient_c: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """A (7×7) of the step's increment response, and its columns for 1 W of element power and of disturbance (each (7,))."""
        (_, ae, be), (_, a1, b1), (_, a2, b2), (_, a3, b3), (_, a4, _), (_, ak, bk) = self.flows(x, ambient_c)
        has_contents = self.contents_j_per_k > 0.0
        if not has_contents:
            ak = bk = 0.0
        capacity = (self.element_j_per_k, self.chamber_j_per_k, *self.lining_j_per_k, self.contents_j_per_k or 1.0)
        m = np.zeros((6, 6))
        m[0, 0], m[0, 1] = ae, -be
        m[1, 0], m[1, 1], m[1, 2], m[1, 5] = -ae, be + a1 + ak + self.leak_w_per_k, -b1, -bk
        m[2, 1], m[2, 2], m[2, 3] = -a1, b1 + a2, -b2
        m[3, 2], m[3, 3], m[3, 4] = -a2, b2 + a3, -b3
        m[4, 3], m[4, 4] = -a3, b3 + a4
        m[5, 1], m[5, 5] = -ak, bk
        rate = np.array(capacity) / dt_s
        m[np.arange(6), np.arange(6)] += rate
        inverse = np.linalg.inv(m)
        share = 1.0 - math.exp(-dt_s / self.lag_at_s(x[1])) if self.lag_s > 0.0 else 1.0
        a = np.zeros((N, N))
        a[:6, :6] = inverse * rate
        if not has_contents:
            a[5, :6] = a[1, :6]
        a[6, :6] = share * a[1, :6]
        a[6, 6] = 1.0 - share
        power, disturbance = np.zeros(N), np.zeros(N)
        power[:6], disturbance[:6] = inverse[:, 0], inverse[:, 1]
        if not has_contents:
            power[5], disturbance[5] = power[1], disturbance[1]
        power[6], disturbance[6] = share * power[1], share * disturbance[1]
        return a, power, disturbance

    # ---- what follows from it --------------------------------------------------------------------------------------

    def rest(self, temperature_c: float) -> tuple[float, ...]:
        """Everything at one temperature."""
        return (temperature_c,) * N

    def steady(self, chamber_c: float, ambient_c: float | None = None) -> tuple[tuple[float, ...], float]:
        """The state that holds chamber_c for ever, and the power it takes (negative below what fan and room give), W."""
        ambient = self.ambient_c if ambient_c is None else ambient_c
        # Bracket the flow into the lining: the outer face rises and the inner falls with it.
        low, high = min(ambient, chamber_c), max(ambient, chamber_c)
        l1 = l2 = l3 = chamber_c
        for _ in range(60):
            l1 = 0.5 * (low + high)
            x = (chamber_c, chamber_c, l1, l2, l3, chamber_c, chamber_c)
            flow = self.flows(x, ambient)[1][0]
            l2 = self._colder(l1, flow, self.lining_w_per_k[0])
            l3 = self._colder(l2, flow, self.lining_w_per_k[1])
            surplus = flow - self.lining_w_per_k[2] * (l3 - ambient)
            if surplus > 0.0:
                low = l1
            else:
                high = l1
        power = flow + self.leak_w_per_k * (chamber_c - ambient) - self.extra_w
        element = chamber_c
        for _ in range(40):
            x = (element, chamber_c, l1, l2, l3, chamber_c, chamber_c)
            q, a, _ = self.flows(x, ambient)[0]
            element += (max(power, 0.0) - q) / a
        return (element, chamber_c, l1, l2, l3, chamber_c, chamber_c), power

    def _colder(self, hot_c: float, flow_w: float, conductance: float) -> float:
        r, potential = self.rise_per_k, hot_c + 0.5 * self.rise_per_k * hot_c * hot_c - flow_w / conductance
        if r < 1e-12:
            return potential
        return (-1.0 + math.sqrt(max(0.0, 1.0 + 2.0 * r * potential))) / r

    def holding_w(self, chamber_c: float, ambient_c: float | None = None) -> float:
        """Power that holds chamber_c for ever, W, not below 0."""
        return max(0.0, self.steady(chamber_c, ambient_c)[1])

    def full_power_w(self, supply_v: float | None = None) -> float:
        """Full power at that supply voltage (nominal when unknown), W: P ∝ V²."""
        return self.power_w if supply_v is None else self.power_w * (supply_v / self.voltage_v) ** 2

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
