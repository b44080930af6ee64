"""Compares a day-zero model with the finely divided walls of the virtual oven: one heat-up at full power by both.

The lumps of `lining` are fitted to small swings about one state. A heat-up from cold passes through all states: the
insulation conducts far worse at first, and the heat passes through layers that the swings do not distinguish. So the
virtual oven, whose walls have some thirty nodes each, heats up empty and in long steps: once at full power, and once at
a power that takes far longer. (Full power may reach the end before the lining has taken up much heat, and then its time
shows elements and films only.) Each ends with a landing: the power falls, and the heat stored in elements and lining
carries the chamber on. Then the lumps' capacities, the film before them and the elements' link are changed, as little
as possible, until the model heats up in the same times and lands alike. The remaining error comes from the model's
structure and is stated (`uncertainty`)."""

import copy
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from ..errors import KilnctlError
from ..settings.oven import Oven
from ..thermal.enclosure import chamber_temperature_c
from .energy import CHAMBER, EnergyModel
from .least_squares import minimise

if TYPE_CHECKING:
    from ..plants.virtual_oven import VirtualOven

#: The first step, s, and the factor from each step to the next: with these both heat-ups are right to 1 %.
FIRST_S, GROWTH = 0.5, 1.02
#: The same factor of the landing, of which fewer points tell enough.
LANDING_GROWTH = 1.05
#: A longer heat-up than this, s, is cut off.
LONGEST_S = 3e5
#: The slow heat-up takes at least the square root of this share of full power.
LEAST_SHARE = 0.01
#: A trim looks up to this share of the working temperature's rise, because full power may hardly hold the whole rise.
NEARLY = 0.97
#: Beyond it a heat-up goes on to the whole rise while the chamber still gains this share of it for each unit of the
#: logarithm of time; else the time of the last kelvin means nothing.
STILL_RISES = 0.1
#: Prior spread of the logarithms of the factors on capacities, film and link, and the error of the logarithm of time
#: that weighs as much. With more, the capacities exchange heat for no better landing, and models of one oven at two
#: working temperatures differ by a factor of two in single lumps.
SPREAD, ERROR = np.array([0.15, 0.15, 0.15, 0.15, 0.15, 0.25, 0.25]), 0.05
#: The least rise per unit of the logarithm of time that is counted, as a share of the whole rise: where the chamber
#: hardly rises, its time is not defined.
LEAST_SLOPE = 0.05
#: The heat-up counts from this share of its rise: before it the step of the march is coarse against air and elements.
#: What is left out much later than that is learnt on the way as a wrong share, and a soak then begins with it.
FROM_RISE = 0.15
#: Shares of the heat-up's rise at which a model's time is compared.
STAGES = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
#: The least effect of the landing that is counted, K.
LEAST_EFFECT_K = 0.5
#: The landing: after the heat-up the power falls to this share of it, for this share of the heat-up's time: what the
#: heat stored in elements and first lump then does to the chamber decides how a controller meets a soak.
LANDING_SHARE, LANDING = 0.5, 0.15


@dataclass(frozen=True)
class Trim:
    """Factors on the capacities of the four lumps, on the convective and the radiative part of the film before them,
    and on the link from the elements to the chamber."""

    capacity: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)
    film: float = 1.0
    film_m2: float = 1.0
    elements: float = 1.0


AS_FITTED = Trim()


@dataclass(frozen=True)
class Heating:
    """The chamber's temperatures, °C, at these times, s, of a heat-up from the room at this share of full power; and
    of the landing after it, at `LANDING_SHARE` of that power, at these times, s, since the heat-up's end; and at the
    same times if the power went on instead."""

    time_s: np.ndarray
    chamber_c: np.ndarray
    share: float = 1.0
    landing_s: np.ndarray = field(default_factory=lambda: np.zeros(0))
    landing_c: np.ndarray = field(default_factory=lambda: np.zeros(0))
    onward_c: np.ndarray = field(default_factory=lambda: np.zeros(0))

    @property
    def effect_k(self) -> np.ndarray:
        """What the smaller power does to the chamber at `landing_s`, K. (The same two marches show it without what
        differs at the start of any march: new films, short steps.)"""
        return self.landing_c - self.onward_c

    def reaches_s(self, t_c: float) -> float:
        """When the chamber first reaches t_c, s; NaN if it does not."""
        above = np.flatnonzero(self.chamber_c >= t_c)
        if len(above) == 0 or above[0] == 0:
            return math.nan
        i = above[0]
        share = (t_c - self.chamber_c[i - 1]) / (self.chamber_c[i] - self.chamber_c[i - 1])
        return float(self.time_s[i - 1] + share * (self.time_s[i] - self.time_s[i - 1]))


@lru_cache(maxsize=64)
def fine_heating(oven: Oven, working_c: float, share: float) -> Heating:
    """The empty virtual oven at that share of full power, from the room to working_c; it ends earlier if it cannot get
    there, hardly rises any more, or if its elements would leave the range of the tables. (`share` has no default: the
    cache would keep what is left out apart from what is given.)"""
    # The process that heats imports this module, but needs no plant: with it come 9 MB, most of it numpy.random.
    from ..plants.conditions import Conditions  # noqa: PLC0415
    from ..plants.virtual_oven import VirtualOven  # noqa: PLC0415

    plant, room = VirtualOven(oven, conditions=Conditions(supply_drift=0.0)), oven.site.ambient_c
    whole_k = working_c - room
    time_s, chamber_c = _heat(plant, share, GROWTH, lambda t, c: t[-1] < LONGEST_S and _goes_on(t, c, whole_k), room)
    if chamber_c[-1] < room + NEARLY * whole_k:
        return Heating(time_s, chamber_c, share)
    plant.core.refresh()

    def landing(plant: "VirtualOven", share: float) -> tuple[np.ndarray, np.ndarray]:
        return _heat(plant, share, LANDING_GROWTH, lambda t, c: t[-1] < LANDING * time_s[-1], float(chamber_c[-1]))

    onward_c = landing(copy.deepcopy(plant), share)[1]
    landing_s, landing_c = landing(plant, LANDING_SHARE * share)
    both = min(len(landing_c), len(onward_c))
    return Heating(time_s, chamber_c, share, landing_s[1:both], landing_c[1:both], onward_c[1:both])


def _heat(
    plant: "VirtualOven",
    share: float,
    growth: float,
    goes_on: Callable[[list[float], list[float]], bool],
    begins_c: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Times, s, and the chamber, °C, at that share of full power, from begins_c on and while `goes_on` says so, or as
    far as it can go."""
    times, chambers, dt = [0.0], [begins_c], FIRST_S
    while goes_on(times, chambers):
        chamber_c = _heated(plant, dt, share)
        if chamber_c is None:
            break
        times.append(times[-1] + dt)
        chambers.append(chamber_c)
        dt *= growth
    return np.array(times), np.array(chambers)


def _heated(plant: "VirtualOven", dt: float, share: float) -> float | None:
    """The chamber dt s later at that share of full power, °C; None if the step is not possible."""
    oven, core, groups = plant.oven, plant.core, plant.layout.groups
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    rated = plant.elements.factor(oven.limits.highest_c)
    try:
        watts = share * oven.elements.power_w * rated / plant.elements.factor(plant.element_c)
        core.step(dt, np.full(groups, watts / groups))
        return float(chamber_temperature_c(plant.radiant_c, plant.air_c, speed))
    except (ArithmeticError, ValueError, KilnctlError):
        return None


def _goes_on(times: list[float], chambers: list[float], whole_k: float) -> bool:
    """Whether a heat-up is below nearly its whole rise, or below all of it and still rising."""
    risen_k = chambers[-1] - chambers[0]
    if risen_k < NEARLY * whole_k:
        return True
    per_log_k = (chambers[-1] - chambers[-2]) / math.log(times[-1] / times[-2]) if len(times) > 2 else whole_k
    return risen_k < whole_k and per_log_k > STILL_RISES * whole_k


def slow_share(model: EnergyModel, working_c: float) -> float:
    """The share of full power of the slow heat-up, 0..1: as far above the holding power as full power is above it, on
    a logarithmic scale."""
    return math.sqrt(min(1.0, max(LEAST_SHARE, model.steady(working_c)[1] / model.power_w)))


def model_heating(model: EnergyModel, time_s: np.ndarray, share: float = 1.0) -> Heating:
    """The model at that share of full power from room temperature, in the same steps."""
    found, _ = _marched(model, model.rest(model.ambient_c), time_s, share)
    return Heating(time_s, np.append(model.ambient_c, found), share)


def _marched(model: EnergyModel, x, time_s: np.ndarray, share: float) -> tuple[np.ndarray, tuple[float, ...]]:
    """The chamber at each of time_s but the first, °C, and the last state, from state x at the first of them."""
    found = []
    room, power_w = model.ambient_c, share * model.power_w
    for dt in np.diff(time_s).tolist():
        x = model.inside(x, power_w, dt, room)
        found.append(x[CHAMBER])
    return np.array(found), x


def trim_of(model: EnergyModel, *fine: Heating, until_c: float = math.inf) -> Trim:
    """The factors with which the model heats up as fast as the fine walls, up to until_c (°C), and lands alike: errors
    of the chamber's temperature count as errors of the logarithm of time. None if that does not bring it nearer."""
    told = [_Compared.of(heating, until_c) for heating in fine if len(heating.time_s) >= 10]
    if not told:
        return AS_FITTED

    def missed(u: np.ndarray) -> np.ndarray:
        trimmed = _trimmed(model, u)
        return np.concatenate([compared.missed(trimmed) for compared in told])

    def evaluate(u: np.ndarray, with_jacobian: bool) -> tuple[np.ndarray, np.ndarray | None]:
        here = missed(u)
        if not with_jacobian:
            return here, None
        return here, -np.column_stack([(missed(u + h) - here) / 1e-3 for h in 1e-3 * np.eye(len(u))])

    found = minimise(evaluate, np.zeros(len(SPREAD)), SPREAD, ERROR, most=10, tolerance=1e-2)
    # All that is compared counts, not the worst stage alone: the early ones of a quick heat-up are a few seconds.
    after, before = (float(np.sum(missed(u) ** 2)) for u in (found.unknowns, np.zeros(len(SPREAD))))
    if after >= before:
        return AS_FITTED
    c1, c2, c3, c4, film, film_m2, elements = (math.exp(u) for u in found.unknowns.tolist())
    return Trim((c1, c2, c3, c4), film, film_m2, elements)


@dataclass(frozen=True)
class _Compared:
    """A heat-up of the fine walls with its landing, compared with the model's from the index `first` to before `end`;
    `scale_k` and `landing_k`: the kelvin, (times,), that count as much as the whole logarithm of time, or as the whole
    effect of the landing's smaller power."""

    fine: Heating
    first: int
    end: int
    scale_k: np.ndarray
    landing_k: np.ndarray

    @classmethod
    def of(cls, fine: Heating, until_c: float) -> "_Compared":
        time, chamber = fine.time_s, fine.chamber_c
        end = int(np.argmax(chamber >= until_c)) + 1 if chamber.max() >= until_c else len(time)
        rise = max(1.0, chamber[end - 1] - chamber[0])
        slope = np.abs(np.gradient(chamber, np.log(np.maximum(time, 0.5 * FIRST_S)))) + LEAST_SLOPE * rise
        first = max(1, int(np.argmax(chamber > chamber[0] + FROM_RISE * rise)))
        effect = np.abs(fine.effect_k) + LEAST_EFFECT_K
        # Neighbouring points carry the same information: they count as some twenty points for any length of step.
        return cls(fine, first, end, slope * _thinned(end - first), effect * _thinned(len(effect)))

    def missed(self, model: EnergyModel) -> np.ndarray:
        """The fine walls' temperatures above the model's, in errors of the logarithm of time; on the landing, how much
        more the fine walls rise, in errors of its effect."""
        fine = self.fine
        ours, x = _marched(model, model.rest(model.ambient_c), fine.time_s, fine.share)
        late = (fine.chamber_c[1:] - ours)[self.first - 1 : self.end - 1] / self.scale_k[self.first : self.end]
        if not len(fine.landing_s):
            return late
        times = np.append(0.0, fine.landing_s)
        landed, onward = (_marched(model, x, times, share * fine.share)[0] for share in (LANDING_SHARE, 1.0))
        return np.append(late, (fine.effect_k - (landed - onward)) / self.landing_k)


def _thinned(points: int) -> float:
    return math.sqrt(max(1.0, points / 20.0))


def _trimmed(model: EnergyModel, u: np.ndarray) -> EnergyModel:
    *capacity, film, film_m2, elements = np.exp(u).tolist()
    c1, c2, c3, c4 = (j * f for j, f in zip(model.lining_j_per_k, capacity))
    return model.but(
        lining_j_per_k=(c1, c2, c3, c4),
        film_w_per_k=film * model.film_w_per_k,
        film_m2=film_m2 * model.film_m2,
        element_w_per_k=elements * model.element_w_per_k,
        element_m2=elements * model.element_m2,
    )


def late_by(model: EnergyModel, fine: Heating, stages: tuple[float, ...] = STAGES) -> float:
    """The worst relative difference of the model's time to that of the fine walls over `stages`, 0 or more. A stage
    that the model does not reach in that time counts as a difference of one half."""
    worst, room, top = 0.0, float(fine.chamber_c[0]), float(fine.chamber_c[-1])
    last_s = float(fine.time_s[-1])
    longer = [last_s + step for step in np.linspace(0.0, 0.6, 60)[1:] * max(1.0, last_s)]
    ours = model_heating(model, np.append(fine.time_s, longer), fine.share)
    for share in stages:
        goal = room + share * (top - room)
        theirs_s, ours_s = fine.reaches_s(goal), ours.reaches_s(goal)
        if math.isfinite(theirs_s):
            worst = max(worst, abs(ours_s / theirs_s - 1.0) if math.isfinite(ours_s) else 0.5)
    return worst
