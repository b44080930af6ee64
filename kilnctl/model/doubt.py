"""How wrong a model may be, and the coolest real oven that this allows (`kilnctl.safety.coolest`), for the energy
limiter.

All bounds of that limiter are in this file, but those of the load (`load_range`). A factor above 1 means that the
coolest oven takes up or loses more heat than the model, by that factor."""

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from ..body import layers_of
from ..body.openings import Openings
from ..safety.coolest import MOST, LumpedOven
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.bridges import open_door_kg_s
from .energy import CHAMBER, EnergyModel
from .load_range import energy_range
from .parameters import PARAMETERS, scaled
from .trained_file import TrainedModel
from .uncertainty import true_holding_w, uncertainty_of, unlisted_in

#: The bound from a fit's covariance, in standard deviations (dimensionless).
SPREADS = 2.0
#: Safety factor on the description's stated uncertainty, for a description that is a little further off.
MORE = 1.25
#: The least uncertainty of a fit's losses and of its capacities, as shares: records cannot show every error.
LEAST_LOSSES, LEAST_CAPACITY = 0.06, 0.06
#: Above the highest temperature of the records, the relative uncertainty of the losses grows by this much times the
#: relative rise beyond it: nothing was measured there.
BEYOND = 0.1
#: The load may hold this many times the water that the files say.
WATER_TIMES = 1.3
#: Heat of evaporation of cold water, J/kg (2.50e6 at 0 °C, steam tables), rounded up.
STEAM_J_PER_KG = 2.6e6
#: The elements of a description may be this many times as heavy: a file gives the wire at best, and tubes, plates and
#: holders that warm up with it may weigh more than the wire (an estimate). A part of the lining may carry the wire:
#: this share of the lining's capacity may warm up before the chamber does (an estimate: one of the inner layers).
ELEMENTS_TIMES, CARRIER_SHARE = 3.0, 0.1
#: This share of each lump of a description's lining may lie one lump further in, with the same capacity and loss in
#: all: a denser inner layer, a liner or a muffle warms sooner than the layers of the file (an estimate). It matters for
#: hours: an oven with a heavy inner shell was at 593 °C where the lining of the file gave 644 °C at the least.
INWARD = 0.7
#: A chamber of a description may have a liner of 1 mm of steel that follows it, J/(m²·K) of its faces (7,850 kg/m³ and
#: 500 J/(kg·K)); and a sensor in a zone of its own behind one, with some 20 W/(m²·K), follows later by this, s.
LINER_J_PER_M2K, ZONE_S = 3900.0, 200.0
#: Shares of the elements' and walls' temperature that a reading may contain (`kilnctl.safety.misplaced`).
NEAR_ELEMENTS, NEAR_WALLS = 0.25, 0.6
#: The most standard deviation of the lateness's logarithm: beyond it the filter's tangent does not hold.
MOST_LATE = 1.0
#: A fit that misses its records by more than this, K, cannot be worse.
MOST_MISS_K = 1000.0
#: A reading is not taken to be surer than this, K (the estimator's least noise too).
LEAST_NOISE_K = 0.05
#: A sensor is not taken to be quicker than this, s: no thermocouple in a sheath is.
LEAST_LATE_S = 1.0
#: Conductivity of a first layer from which on it is metal, W/(m·K): no refractory of the library reaches it.
METAL_W_PER_MK = 10.0
#: The share of a capacity that cools is taken as at least this, so that a step stays defined.
LEAST_BACK = 0.01
#: The elements of a description may be lighter by this factor (half of a guessed mass is what may be wrong).
LIGHTEST = 2.0
#: An open door loses this many times the heat of the formulas, which are estimates.
DOOR_TIMES = 1.5
#: The room may be this much colder than the description says, K.
ROOM_K = 10.0
#: By how much the control sensor itself may read too low: K, and share of its °C above the room (0.75 % is the
#: tolerance of class 2 wire; the rest is for its place in the chamber and ageing. Common practice).
APART_K, APART_SHARE = 12.0, 0.025


@dataclass(frozen=True)
class Doubt:
    """Factors of the losses past and through the lining, of the capacities of lining and chamber, and of films; words
    that say where they come from; the least share of the power that counts; whether records were used; factor of the
    elements' capacity, and the share of the lining's capacity that may warm up with them; share of the lining's
    capacity that may lie further in; share of `unlisted_in` that may be in; how much later a reading may come, s;
    shares of the elements' and walls' temperature in a reading; by how much the model itself may miss one, K."""

    losses: float
    leak: float
    capacity: float
    films: float
    words: str
    power: float = 1.0
    learnt: bool = False
    elements: float = 1.0
    carriers: float = 0.0
    inward: float = 0.0
    unlisted: float = 0.0
    zone_s: float = 0.0
    near_elements: float = 0.0
    near_walls: float = 0.0
    misses_k: float = 0.0


#: For a model without any other information: twice the standard deviations of `kilnctl.model.parameters` before any
#: data.
DAY_ZERO = Doubt(
    1.5,
    2.0,
    1.35,
    1.6,
    "with a model from the description alone",
    elements=ELEMENTS_TIMES,
    carriers=CARRIER_SHARE,
    inward=INWARD,
    unlisted=1.0,
    zone_s=ZONE_S,
    near_elements=NEAR_ELEMENTS,
    near_walls=NEAR_WALLS,
)


@dataclass(frozen=True)
class Unsure:
    """How wrong a model may be, as far as control and its refusals go by it (dimensionless). `power`: by which share
    the oven may do with less power, or have more. `late`: standard deviation of the logarithm of how late a reading is,
    beside what the model has of lag and dead time."""

    power: float = 0.0
    late: float = 0.0


#: A model that is the oven.
SURE = Unsure()
#: Without any: the model is the oven.
NO_DOUBT = Doubt(1.0, 1.0, 1.0, 1.0, "")


@lru_cache(maxsize=32)
def day_zero_doubt(oven: Oven, load: Load | None) -> Doubt:
    """The uncertainty of the description's model, from `kilnctl.model.uncertainty`."""
    known = uncertainty_of(oven, load)
    losses = 1.0 + MORE * known.loss  # leaks are in it
    return replace(
        DAY_ZERO,
        losses=losses,
        leak=losses,
        capacity=1.0 + MORE * known.capacity,
        power=max(0.5, 1.0 - MORE * known.power),
    )


def unsure_of(oven: Oven, load: Load | None, model: EnergyModel, trained: TrainedModel | None) -> Unsure:
    """How wrong `model` may be: the description's where `trained` is None or has no covariance. A description does not
    know in which zone the sensor sits: `ZONE_S` are two standard deviations."""
    if trained is None or not trained.covariance:
        known = uncertainty_of(oven, load)
        return Unsure(math.hypot(known.power, known.loss), unsure_late(model))
    held_c = max(trained.high_c, model.ambient_c + 20.0)
    power = SPREADS * log_spread(trained, lambda m: m.steady(held_c)[1])
    # What the fit leaves in the readings besides their noise is structure, which its covariance does not count.
    left = trained.rms_k / max(LEAST_NOISE_K, oven.sensors.control.noise_k)
    late = log_spread(trained, lambda m: m.delay_s) * max(1.0, left if math.isfinite(left) else 1.0)
    return Unsure(max(LEAST_LOSSES, power), min(unsure_late(model), late))


def unsure_late(model: EnergyModel) -> float:
    """`Unsure.late` of a model from a description: `ZONE_S` are two standard deviations, within `MOST_LATE`."""
    return min(MOST_LATE, math.log1p(ZONE_S / max(LEAST_LATE_S, model.delay_s)) / SPREADS)


def doubt_of(trained: TrainedModel, top_c: float) -> Doubt:
    """The uncertainty of a trained model, at temperatures up to top_c, °C. Files without a covariance count as the
    description alone."""
    if not trained.covariance:
        return DAY_ZERO
    model = trained.model
    held_c = min(top_c, max(trained.high_c, model.ambient_c + 20.0))
    room_c = model.ambient_c
    # A fit of high temperatures knows the losses of low ones less well.
    levels_c = [room_c + share * (held_c - room_c) for share in (0.25, 0.5, 1.0)]
    losses = math.exp(SPREADS * max(log_spread(trained, lambda m, c=c: m.steady(c)[1]) for c in levels_c))
    heated_s = (300.0, 1200.0, 4800.0)
    capacity = math.exp(2.0 * SPREADS * max(log_spread(trained, lambda m, s=s: _risen_k(m, s)) for s in heated_s))
    beyond = BEYOND * max(0.0, top_c - trained.high_c) / max(20.0, trained.high_c - model.ambient_c)
    losses = min(DAY_ZERO.losses, max(losses, 1.0 + LEAST_LOSSES) + beyond)
    capacity = min(DAY_ZERO.capacity, max(capacity, 1.0 + LEAST_CAPACITY))
    return Doubt(
        losses,
        losses,
        capacity,
        1.0 + LEAST_CAPACITY,
        "with a model learnt from records",
        learnt=True,
        misses_k=SPREADS * min(MOST_MISS_K, trained.rms_k),
    )


def _risen_k(model: EnergyModel, heated_s: float) -> float:
    """Rise of the chamber in that time at full power from cold, K. (It falls by about 0.5 % when the capacity grows by
    1 %.)"""
    x, steps = model.rest(model.ambient_c), 60
    for _ in range(steps):
        x = model.step(x, model.power_w, heated_s / steps, model.ambient_c)
    return x[CHAMBER] - model.ambient_c


def log_spread(trained: TrainedModel, quantity) -> float:
    """Standard deviation of the logarithm of a positive quantity, by the delta method."""
    of = {p.name: p for p in PARAMETERS}
    h, slopes = 1e-3, []
    for name in trained.covariance_of:
        up, down = (quantity(scaled(trained.model, (of[name],), (s,))) for s in (h, -h))
        slopes.append(math.log(max(up, 1e-9) / max(down, 1e-9)) / (2.0 * h))
    row = np.array(slopes)
    return math.sqrt(max(0.0, float(row @ np.array(trained.covariance) @ row)))


@dataclass(frozen=True)
class Together:
    """How wrong independent causes may be at once: factors of the losses through and past the lining and of the
    capacities; the least share of an unmetered power; the sensor's error, K and share of its °C above the room."""

    losses: float
    leak: float
    capacity: float
    unmetered: float
    apart_k: float
    apart_share: float


def together_of(oven: Oven, model: EnergyModel, doubt: Doubt) -> Together:
    """Room, sensor, losses, capacities and supply of a fitted oven are independent, and each bound is two standard
    deviations: so is the root of their sum of squares (the GUM, JCGM 100, 5.1.2). The room has all of its own bound,
    and each further cause what it adds to that root: first the sensor, with what the fit left in the readings
    (structure, which its covariance does not count), then, each beside these alone, the others. So the bound holds
    whichever of them matter, in a cold oven and in a soak (x → √(m² + x) − m is subadditive). A description's bounds
    are estimates, and add up."""
    share = min(doubt.power, (1.0 - oven.supply.tolerance) ** 2)
    if not doubt.learnt:
        return Together(doubt.losses, doubt.leak, doubt.capacity, share, APART_K, APART_SHARE)
    top_c = oven.limits.trip_at_c
    rise_k = max(20.0, top_c - model.ambient_c)
    w_per_k = 0.5 * (true_holding_w(model, top_c + 1.0) - true_holding_w(model, top_c - 1.0))
    # What the chamber falls, K, by a share of the heat that holds it; by a share of what it stores it is at most all.
    by_heat_k = (true_holding_w(model, top_c) + model.extra_w) / w_per_k
    cold_k = math.hypot(ROOM_K, APART_K, doubt.misses_k)
    hot_k = math.hypot(ROOM_K, APART_K + APART_SHARE * rise_k, doubt.misses_k)

    def adds(bound: float, by_share_k: float = by_heat_k) -> float:
        return (math.hypot(hot_k, by_share_k * bound) - hot_k) / by_share_k

    return Together(
        1.0 + adds(doubt.losses - 1.0),
        1.0 + adds(doubt.leak - 1.0),
        1.0 + adds(doubt.capacity - 1.0, rise_k),
        1.0 / (1.0 + adds(1.0 / share - 1.0)),
        cold_k - ROOM_K,
        (hot_k - cold_k) / rise_k,
    )


def coolest_of(oven: Oven, load: Load | None, model: EnergyModel, doubt: Doubt = DAY_ZERO) -> LumpedOven:
    """The coolest oven that the uncertainty of `model` allows."""
    at_once = together_of(oven, model, doubt)
    door_w, door_m2 = _door(oven)
    more, hold = at_once.losses, at_once.capacity
    may_be, more_in = energy_range(oven, load, doubt.learnt), unlisted_in(oven)
    contents = may_be.heaviest
    contents_j_per_k = contents * model.contents_j_per_k + doubt.unlisted * more_in.j_per_k
    element_j_per_k = hold * (doubt.elements * model.element_j_per_k + doubt.carriers * sum(model.lining_j_per_k))
    chamber_j_per_k = hold * model.chamber_j_per_k + _liner(oven, doubt)
    lining_j_per_k = _inward(doubt.inward, model.lining_j_per_k)
    in_place = min(file / moved for file, moved in zip(model.lining_j_per_k, lining_j_per_k, strict=True))
    return LumpedOven(
        full_w=model.power_w,
        power_share=doubt.power,
        unmetered_share=at_once.unmetered,
        room_c=model.ambient_c - ROOM_K,
        element_j_per_k=element_j_per_k,
        element_w_per_k=model.element_w_per_k,
        element_m2=model.element_m2,
        element_rise_per_k=model.element_rise_per_k,
        chamber_j_per_k=chamber_j_per_k,
        film_w_per_k=doubt.films * model.film_w_per_k,
        film_m2=doubt.films * model.film_m2,
        lining_j_per_k=_times(hold, lining_j_per_k),
        lining_w_per_k=_times(more, model.lining_w_per_k),
        rise_per_k=model.rise_per_k,
        capacity_rise_per_k=model.capacity_rise_per_k,
        leak_w_per_k=at_once.leak * model.leak_w_per_k,
        leak_rise_per_k=model.leak_rise_per_k,
        contents_j_per_k=contents_j_per_k,
        contents_w_per_k=contents * model.contents_w_per_k + doubt.unlisted * more_in.w_per_k,
        contents_m2=contents * model.contents_m2 + doubt.unlisted * more_in.m2,
        extra_w=0.0,  # the fan may stand still
        door_w_per_k=door_w,
        door_m2=door_m2,
        water_j=WATER_TIMES * STEAM_J_PER_KG * (load.moisture_kg if load is not None else 0.0),
        lag_s=model.lag_s + model.dead_s + doubt.zone_s,
        apart_k=at_once.apart_k,
        apart_share=at_once.apart_share,
        words=doubt.words,
        learnt=doubt.learnt,
        lighter=max(LEAST_BACK, in_place / hold**2),
        lighter_in=gives_back(may_be.lightest * model.contents_j_per_k, contents_j_per_k),
        sure_chamber=gives_back(model.chamber_j_per_k / hold, chamber_j_per_k),
        sure_elements=gives_back(lightest_elements(model, doubt), element_j_per_k),
    )


def envelope_of(
    oven: Oven, load: Load | None, model: EnergyModel, doubt: Doubt = DAY_ZERO
) -> tuple[LumpedOven, LumpedOven, LumpedOven]:
    """The model's own oven, one with the heaviest elements, lining and load that its uncertainty allows, and one with
    the lightest; their chambers are held (`kilnctl.safety.coolest.held`)."""
    likely = replace(
        coolest_of(oven, None, model, replace(NO_DOUBT, words=doubt.words)),
        learnt=doubt.learnt,
        chamber_j_per_k=MOST,
        unmetered_share=1.0,
        room_c=model.ambient_c,
        contents_j_per_k=model.contents_j_per_k,
        contents_w_per_k=model.contents_w_per_k,
        contents_m2=model.contents_m2,
    )
    # Each cause alone may explain it: all of its own bound counts, as in a description.
    heavy = coolest_of(oven, load, model, replace(doubt, learnt=False))
    lighter = energy_range(oven, load, doubt.learnt).lightest
    return (
        likely,
        replace(
            likely,
            power_share=heavy.power_share,
            unmetered_share=heavy.power_share,
            element_j_per_k=heavy.element_j_per_k,
            film_w_per_k=heavy.film_w_per_k,
            film_m2=heavy.film_m2,
            lining_j_per_k=heavy.lining_j_per_k,
            lining_w_per_k=heavy.lining_w_per_k,
            contents_j_per_k=heavy.contents_j_per_k,
            contents_w_per_k=heavy.contents_w_per_k,
            contents_m2=heavy.contents_m2,
            water_j=heavy.water_j,
            liner_j_per_k=_liner(oven, doubt),
        ),
        replace(
            likely,
            element_j_per_k=lightest_elements(model, doubt),
            film_w_per_k=likely.film_w_per_k / doubt.films,
            film_m2=likely.film_m2 / doubt.films,
            lining_j_per_k=_times(1.0 / doubt.capacity, likely.lining_j_per_k),
            lining_w_per_k=_times(1.0 / doubt.losses, likely.lining_w_per_k),
            contents_j_per_k=lighter * likely.contents_j_per_k,
            contents_w_per_k=lighter * likely.contents_w_per_k,
            contents_m2=lighter * likely.contents_m2,
            near_elements=doubt.near_elements,
            near_walls=doubt.near_walls,
            follows_j_per_k=doubt.capacity * model.chamber_j_per_k,
        ),
    )


def _inward(share: float, capacities: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """A lining's capacities, J/K, from the inside outward, that share of each moved one lump inward."""
    a, b, c, d = capacities
    stays = 1.0 - share
    return a + share * b, stays * b + share * c, stays * c + share * d, stays * d


def lightest_elements(model: EnergyModel, doubt: Doubt) -> float:
    """The least heat capacity of the elements, J/K."""
    return model.element_j_per_k / (doubt.capacity * min(doubt.elements, LIGHTEST))


def gives_back(least_j_per_k: float, most_j_per_k: float) -> float:
    """Share of a capacity that is certainly there, and gives its heat back when it cools."""
    return min(1.0, max(LEAST_BACK, least_j_per_k / most_j_per_k)) if most_j_per_k > 0.0 else 1.0


def _liner(oven: Oven, doubt: Doubt) -> float:
    """Heat capacity of a liner that the file does not name, J/K; a face whose first layer is metal has its own."""
    bare_m2 = sum(
        face.inner_area_m2
        for face in oven.faces
        if layers_of(oven, face.wall)[0].material.conductivity(20.0) < METAL_W_PER_MK
    )
    return doubt.unlisted * LINER_J_PER_M2K * bare_m2


def _times(factor: float, values: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    a, b, c, d = values
    return factor * a, factor * b, factor * c, factor * d


def _door(oven: Oven) -> tuple[float, float]:
    """Conductance, W/K, and black area, m², through which an open door loses heat."""
    openings = Openings(oven)
    top_c, ambient_c = oven.limits.highest_c, oven.site.ambient_c
    most_w = max(
        open_door_kg_s(openings.door_width_m, openings.door_height_m, t, ambient_c)
        * air(0.5 * (t + ambient_c)).heat_capacity_j_kgk
        for t in (min(top_c, ambient_c + 50.0), min(top_c, 300.0), top_c)
    )
    return DOOR_TIMES * (most_w + 10.0 * openings.door_m2), DOOR_TIMES * openings.door_m2
