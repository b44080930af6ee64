"""The loads that may be in a fitted oven, as pairs of the coolest and the hottest oven with each range of them
(`kilnctl.safety.possible_loads`)."""

from dataclasses import replace
from itertools import pairwise

from ..safety.coolest import LumpedOven
from ..settings.construction import Load
from ..settings.oven import Oven
from .doubt import ROOM_K, Doubt, coolest_of, gives_back, lightest_elements, together_of
from .energy import EnergyModel
from .load_range import LOAD_TIMES, LoadRange, energy_range

#: Bounds of the ranges of a load's area and of its thickness (mass over area), times those of the files. An oven is
#: hotter with less area at the same thickness and with less thickness at the same area, so that a range has a coolest
#: and a hottest end. No load is more than `LOAD_TIMES` as thick. Only the ranges that a load can be in are simulated
#: (`load_range.energy_range`).
AREAS = (0.0, 0.6, 0.8, 1.0, 1.2, 1.5, 2.0, LOAD_TIMES)
THICKNESSES = (0.0, 1.2, 1.6, 2.0, 2.5, LOAD_TIMES)


def loads_of(
    oven: Oven, load: Load | None, model: EnergyModel, doubt: Doubt
) -> tuple[tuple[LumpedOven, LumpedOven], ...]:
    """A pair for each range of loads, or one for an oven without; none for a description alone, whose other doubts look
    like a load."""
    if not doubt.learnt:
        return ()
    coolest, hottest = coolest_of(oven, load, model, doubt), _hottest(oven, model, doubt)
    may_be, pairs = energy_range(oven, load, doubt.learnt), []
    if may_be.share <= 0.0:
        return ((coolest, _holding(hottest, model, 1.0, 1.0)),)
    lightest, thickest = (may_be.least, may_be.most) if may_be.declared else (0.0, LOAD_TIMES)
    for small, large in pairwise(_within(may_be, AREAS, may_be.most)):
        for thin, thick in pairwise(_within(may_be, THICKNESSES, thickest)):
            least, most = max(lightest, small * thin), min(may_be.most, large * thick)
            if least >= most:
                continue
            least, most = may_be.times(least), may_be.times(most)
            cool = _holding(coolest, model, most, may_be.times(large))
            cool = replace(cool, lighter_in=gives_back(least, most))
            pairs.append((cool, _holding(hottest, model, least, may_be.times(small))))
    return tuple(pairs)


def _within(may_be: LoadRange, bounds: tuple[float, ...], most: float) -> tuple[float, ...]:
    """Those of the bounds of ranges between the least that a load may have and `most`, and these two."""
    least = may_be.least if may_be.declared else bounds[0]
    return (least, *(b for b in bounds if least < b < most), most)


def _holding(oven: LumpedOven, model: EnergyModel, mass: float, area: float) -> LumpedOven:
    """The oven with so many times the mass and the area of the contents."""
    return replace(
        oven,
        contents_j_per_k=mass * model.contents_j_per_k,
        contents_w_per_k=area * model.contents_w_per_k,
        contents_m2=area * model.contents_m2,
    )


def _hottest(oven: Oven, model: EnergyModel, doubt: Doubt) -> LumpedOven:
    """The hottest oven, but for its contents, that the uncertainty of `model` allows."""
    at_once = together_of(oven, model, doubt)
    less, loses = 1.0 / at_once.capacity, 1.0 / at_once.losses
    a, b, c, d = model.lining_j_per_k
    e, f, g, h = model.lining_w_per_k
    return LumpedOven(
        full_w=model.power_w,
        power_share=1.0,
        unmetered_share=1.0,
        room_c=model.ambient_c + ROOM_K,
        element_j_per_k=lightest_elements(model, doubt),
        element_w_per_k=model.element_w_per_k,
        element_m2=model.element_m2,
        element_rise_per_k=model.element_rise_per_k,
        chamber_j_per_k=less * model.chamber_j_per_k,
        film_w_per_k=model.film_w_per_k / doubt.films,
        film_m2=model.film_m2 / doubt.films,
        lining_j_per_k=(less * a, less * b, less * c, less * d),
        lining_w_per_k=(loses * e, loses * f, loses * g, loses * h),
        rise_per_k=model.rise_per_k,
        capacity_rise_per_k=model.capacity_rise_per_k,
        leak_w_per_k=model.leak_w_per_k / at_once.leak,
        leak_rise_per_k=model.leak_rise_per_k,
        contents_j_per_k=0.0,
        contents_w_per_k=0.0,
        contents_m2=0.0,
        extra_w=model.extra_w,
        door_w_per_k=0.0,
        door_m2=0.0,
        water_j=0.0,
        lag_s=0.0,
        apart_k=at_once.apart_k,
        apart_share=at_once.apart_share,
        words=doubt.words,
        learnt=doubt.learnt,
    )
