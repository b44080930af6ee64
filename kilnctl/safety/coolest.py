"""An oven as a few lumps in plain floats: the coolest that the uncertainty of a model allows, driven by energy alone,
or one whose chamber is held at what a sensor reads (`held`):

    power ── element ── chamber ── lining 1 ── … ── lining 4 ── room
                          │  │  └── room, through an open door
                          │  └──── room, past the lining
                          contents, which stay at 100 °C while their water boils off

`kilnctl.model.doubt` makes the numbers from a model and its uncertainty; for the coolest oven the least power, the
largest losses and capacities, the coldest room. This module only checks them. One linearly implicit
Euler step a tick, stable for any step. Temperatures in °C, heat flows in W, capacities in J/K, conductances in W/K,
radiating areas in m² (times σ T⁴)."""

import math
from dataclasses import dataclass, fields

from .extremes import lesser

ZERO_C = 273.15
STEFAN_BOLTZMANN = 5.670374419e-8
#: Every number must be between these, in its own unit: no real oven is outside them.
LEAST, MOST = 0.0, 1e9
BOILS_C = 100.0
#: Range of every lump's temperature, °C: the implicit step keeps lumps inside it for any input, so no sum overflows.
COLDEST_C, HOTTEST_C = -100.0, 5000.0
#: Temperatures of element, chamber, the lining's lumps from the inside outward, and contents, °C; and the heat to boil
#: off the water that is left, J.
Lumps = tuple[float, float, float, float, float, float, float, float]
_ABOVE_ZERO = ("element_j_per_k", "chamber_j_per_k", "lining_j_per_k", "lining_w_per_k", "power_share", "full_w")
_SIGNED = ("room_c", "leak_rise_per_k")


@dataclass(frozen=True, slots=True)
class LumpedOven:
    """full_w          rated power
    power_share        least share of the metered power that heats
    unmetered_share    the same where no meter measures the voltage or the current
    room_c             the coldest room
    element_* … extra_w   as in the model of the oven, with this oven's values
    door_w_per_k, door_m2   conductance, W/K, and area, m², through which an open door loses heat
    water_j            heat that boils off the water in the load
    lag_s              how much later a reading may come
    apart_k, apart_share   error of the sensor itself, K and share of its °C above the room
    words, learnt      where the uncertainty comes from, in words; whether the model was fitted to records
    lighter, lighter_in   shares of the capacities of lining and contents that certainly give heat back: what cools
                       counts with them, because a lighter oven cools sooner
    sure_chamber, sure_elements   shares of the capacities of chamber and elements that are certainly there, and so hold
                       heat at the start
    liner_j_per_k      what follows the chamber itself, besides its own capacity; only `held` ovens have it
    near_elements, near_walls   share of the elements' and of the walls' temperature that a sensor may show by its place
    follows_j_per_k    the chamber's own capacity, for `held` ovens
    element_rise_per_k   of the elements' capacity, over its value at 0 °C
    """

    full_w: float
    power_share: float
    unmetered_share: float
    room_c: float
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
    leak_rise_per_k: float
    contents_j_per_k: float
    contents_w_per_k: float
    contents_m2: float
    extra_w: float
    door_w_per_k: float
    door_m2: float
    water_j: float
    lag_s: float
    apart_k: float
    apart_share: float
    words: str = ""
    learnt: bool = False
    lighter: float = 1.0
    lighter_in: float = 1.0
    sure_chamber: float = 1.0
    sure_elements: float = 1.0
    liner_j_per_k: float = 0.0
    near_elements: float = 0.0
    near_walls: float = 0.0
    follows_j_per_k: float = 0.0
    element_rise_per_k: float = 0.0

    def __post_init__(self) -> None:
        for f in fields(self):
            if f.name in ("words", "learnt"):
                continue
            value = getattr(self, f.name)
            for v in value if isinstance(value, tuple) else (value,):
                low = -300.0 if f.name in _SIGNED else LEAST
                if not (low <= v <= MOST) or (f.name in _ABOVE_ZERO and v == 0.0):
                    raise ValueError(f"oven in lumps: {f.name} = {v!r} cannot be")
        for name in ("lining_j_per_k", "lining_w_per_k", "rise_per_k", "capacity_rise_per_k"):
            if len(getattr(self, name)) != 4:
                raise ValueError(f"oven in lumps: {name} wants 4 numbers")
        shares = (self.lighter, self.lighter_in, self.sure_chamber, self.sure_elements)
        if not all(0.0 < share <= 1.0 for share in shares):
            raise ValueError("oven in lumps: what cools has a share of the capacity, above 0 and at most 1")
        if self.near_elements >= 1.0:
            raise ValueError("oven in lumps: its sensor shows nothing of the chamber")
        if self.power_share > 1.0 or self.unmetered_share > self.power_share:
            raise ValueError("oven in lumps: it gets no more power than is measured, and no more where nothing is")
        if self.element_w_per_k + self.element_m2 == 0.0 or self.film_w_per_k + self.film_m2 == 0.0:
            raise ValueError("oven in lumps: its power or its lining reaches no chamber")
        if self.contents_j_per_k > 0.0 and self.contents_w_per_k + self.contents_m2 == 0.0:
            raise ValueError("oven in lumps: its contents take no heat")

    def from_chamber(self, chamber_c: float) -> Lumps:
        """The start from a believed reading: what certainly is in chamber and elements at that temperature, all else as
        cold as the room (or the chamber, if that is colder), and all the water still there."""
        # No oven is colder than the coldest room: a reading below that, and by more than its error, is wrong.
        chamber_c = max(chamber_c, self.room_c - self.apart_k)
        cold_c = min(chamber_c, self.room_c)
        above_k = chamber_c - cold_c
        element_c, inside_c = cold_c + self.sure_elements * above_k, cold_c + self.sure_chamber * above_k
        return (element_c, inside_c, cold_c, cold_c, cold_c, cold_c, cold_c, self.water_j)


def wrong_ovens(coolest: object, envelope: object, placed: object = None) -> str:
    """What is wrong with the ovens of a policy, in words; empty for nothing. An oven has checked its own numbers; the
    three of an envelope are compared as shares of one power."""
    if not (coolest is None or isinstance(coolest, LumpedOven)):
        return "coolest must be an oven in lumps"
    if not (placed is None or isinstance(placed, LumpedOven)):
        return "placed must be an oven in lumps"
    if envelope is None:
        return ""
    ovens = [o for o in envelope if isinstance(o, LumpedOven)] if isinstance(envelope, tuple) else []
    if len(ovens) != 3 or envelope != tuple(ovens):
        return "envelope must be three ovens in lumps: the model's own, a heavy and a light one"
    return "" if len({o.full_w for o in ovens}) == 1 else "the ovens of the envelope must have one rated power"


def step(oven: LumpedOven, x: Lumps, power_w: float, dt_s: float, door: bool, still: bool = False) -> Lumps:
    """The lumps dt_s later (above 0) under constant electric power; `still`: round a chamber that does not move."""
    e, c, l1, l2, l3, l4, k, water_j = x
    qe, ae, be = _link(e, c, oven.element_w_per_k, oven.element_m2)
    q1, a1, b1 = _link(c, l1, oven.film_w_per_k, oven.film_m2)
    ql, al, _ = _conduct(c, oven.room_c, oven.leak_w_per_k, oven.leak_rise_per_k)
    qk, ak, bk = _link(c, k, oven.contents_w_per_k, oven.contents_m2)
    qd, ad, _ = _link(c, oven.room_c, oven.door_w_per_k, oven.door_m2) if door else (0.0, 0.0, 0.0)
    # Increments, eliminated from the ends of the tree towards the chamber: δ_end = alpha + beta · δ_towards.
    de = oven.element_j_per_k * _warmed(oven.element_rise_per_k, e) / dt_s + ae
    alpha_e, beta_e = (power_w - qe) / de, be / de
    (alpha_1, beta_1), (alpha_2, beta_2), (alpha_3, beta_3), (alpha_4, beta_4) = _lining(
        oven, l1, l2, l3, l4, q1, a1, b1, dt_s
    )
    boils = water_j > 0.0 and k >= BOILS_C and qk > 0.0
    if oven.contents_j_per_k <= 0.0:
        qk = ak = bk = alpha_k = beta_k = 0.0
    elif boils:
        alpha_k = beta_k = 0.0  # the contents stay at 100 °C, and the heat leaves with the steam
    else:
        light = oven.lighter_in if qk < 0.0 else 1.0
        dk = light * oven.contents_j_per_k / dt_s + bk
        alpha_k, beta_k = qk / dk, ak / dk
    dc = (
        (MOST if still else oven.chamber_j_per_k) / dt_s
        + be
        + al
        + ad
        - ae * beta_e
        + a1
        - b1 * beta_1
        + ak
        - bk * beta_k
    )
    net = qe - q1 + b1 * alpha_1 - qk + bk * alpha_k - ql - qd + ae * alpha_e + oven.extra_w
    up = net / dc
    up_1 = alpha_1 + beta_1 * up
    up_2 = alpha_2 + beta_2 * up_1
    up_3 = alpha_3 + beta_3 * up_2
    up_4 = alpha_4 + beta_4 * up_3
    if boils:
        water_j = max(0.0, water_j - qk * dt_s)
    chamber_c = _within(c + up)
    contents_c = _within(k + alpha_k + beta_k * up) if oven.contents_j_per_k > 0.0 else chamber_c
    return (
        _within(e + alpha_e + beta_e * up),
        chamber_c,
        _within(l1 + up_1),
        _within(l2 + up_2),
        _within(l3 + up_3),
        _within(l4 + up_4),
        contents_c,
        water_j,
    )


def step_above(oven: LumpedOven, x: Lumps, power_w: float, dt_s: float, door: bool, least_c: float) -> Lumps:
    """The lumps dt_s later, as `step` gives them, for a chamber that is known to be at least at least_c, °C. Heat flows
    only from hot to cold, so lumps that are nowhere hotter than an oven stay so: what is known of one lump may be used
    at any time. What is round such a chamber is warmed by it, not by the cooler one of the free step: a light chamber
    that was only raised afterwards would warm nothing."""
    after = step(oven, x, power_w, dt_s, door)
    if after[1] >= least_c:
        return after
    still = (x[0], min(x[1], _within(least_c)), *x[2:])
    held_up = step(oven, still, power_w, dt_s, door, still=True)
    return (held_up[0], _within(least_c), *held_up[2:])


def as_late_c(oven: LumpedOven, late_c: float, chamber_c: float, dt_s: float) -> float:
    """The chamber as a reading shows it at the least, °C, from what that was dt_s before: a reading may come late, or
    not. While the chamber rises the late one is the lower, while it falls the other."""
    return lesser(late_c + (chamber_c - late_c) * (1.0 - math.exp(-dt_s / (oven.lag_s + 1.0))), chamber_c)


def held(oven: LumpedOven, x: Lumps, chamber_c: float, power_w: float, dt_s: float) -> tuple[Lumps, float, float]:
    """The lumps dt_s later (above 0) round a chamber that is at chamber_c, °C; the heat that the elements then give to
    it, and what lining and contents take from it, W. For an oven whose own chamber is so heavy that dt_s does not move
    it (`MOST`)."""
    after = step(oven, (x[0], _within(chamber_c), *x[2:]), power_w, dt_s, False)
    given_w = _link(after[0], after[1], oven.element_w_per_k, oven.element_m2)[0]
    # An empty oven's contents are as warm as its chamber: nothing flows.
    in_w = _link(after[1], after[6], oven.contents_w_per_k, oven.contents_m2)[0]
    return after, given_w, in_w + _link(after[1], after[2], oven.film_w_per_k, oven.film_m2)[0]


#: (alpha, beta) of an increment; see `step`.
_Followed = tuple[float, float]


def _lining(
    oven: LumpedOven,
    l1: float,
    l2: float,
    l3: float,
    l4: float,
    in_w: float,
    in_up: float,
    in_down: float,
    dt_s: float,
) -> tuple[_Followed, _Followed, _Followed, _Followed]:
    """(alpha, beta) of each lump, from the inside outward; in_*: flow from the chamber, W, and its tangents, W/K.
    Written out: a tick takes several of these, and lists cost more than the numbers."""
    g1, g2, g3, g4 = oven.lining_w_per_k
    r1, r2, r3, r4 = oven.rise_per_k
    c1, c2, c3, c4 = oven.lining_j_per_k
    s1, s2, s3, s4 = oven.capacity_rise_per_k
    q2, a2, b2 = _conduct(l1, l2, g1, r1)
    q3, a3, b3 = _conduct(l2, l3, g2, r2)
    q4, a4, b4 = _conduct(l3, l4, g3, r3)
    q5, a5, _ = _conduct(l4, oven.room_c, g4, r4)
    light = oven.lighter
    if light < 1.0:
        c1, c2 = c1 if in_w >= q2 else light * c1, c2 if q2 >= q3 else light * c2
        c3, c4 = c3 if q3 >= q4 else light * c3, c4 if q4 >= q5 else light * c4
    d4 = c4 * _warmed(s4, l4) / dt_s + b4 + a5
    alpha_4, beta_4 = (q4 - q5) / d4, a4 / d4
    d3 = c3 * _warmed(s3, l3) / dt_s + b3 + a4 - b4 * beta_4
    alpha_3, beta_3 = (q3 - q4 + b4 * alpha_4) / d3, a3 / d3
    d2 = c2 * _warmed(s2, l2) / dt_s + b2 + a3 - b3 * beta_3
    alpha_2, beta_2 = (q2 - q3 + b3 * alpha_3) / d2, a2 / d2
    d1 = c1 * _warmed(s1, l1) / dt_s + in_down + a2 - b2 * beta_2
    alpha_1, beta_1 = (in_w - q2 + b2 * alpha_2) / d1, in_up / d1
    return (alpha_1, beta_1), (alpha_2, beta_2), (alpha_3, beta_3), (alpha_4, beta_4)


def _warmed(rise: float, at_c: float) -> float:
    """Heat capacity at that temperature over its value at 0 °C."""
    share = 1.0 + rise * at_c
    return share if share > 0.2 else 0.2


def _within(t_c: float) -> float:
    # Comparisons, not min and max, which take several times as long: a tick has a hundred of these.
    low_c = t_c if t_c > COLDEST_C else COLDEST_C
    return low_c if low_c < HOTTEST_C else HOTTEST_C


def _link(t1: float, t2: float, conductance: float, area: float) -> tuple[float, float, float]:
    """Convection and radiation from t1 to t2, °C: watts, and tangents to t1 and t2, W/K."""
    a, b = t1 + ZERO_C, t2 + ZERO_C
    s = STEFAN_BOLTZMANN * area
    a3, b3 = s * (a * a * a), s * (b * b * b)
    return conductance * (t1 - t2) + (a3 * a - b3 * b), conductance + 4.0 * a3, conductance + 4.0 * b3


def _conduct(t1: float, t2: float, conductance: float, rise: float) -> tuple[float, float, float]:
    """Conduction with a conductivity that rises by `rise` per kelvin; returns what `_link` does."""
    mean, up, down = 1.0 + 0.5 * rise * (t1 + t2), 1.0 + rise * t1, 1.0 + rise * t2
    mean = mean if mean > 0.1 else 0.1
    return (
        conductance * mean * (t1 - t2),
        conductance * (up if up > 0.1 else 0.1),
        conductance * (down if down > 0.1 else 0.1),
    )
