"""How far the load lags behind the chamber, with a range: how walls and load see each other is the least known.

Solved in two pictures with the low-order model of the control (`kilnctl.model`): full power until the chamber arrives,
then the chamber held. Its own contents are one lump of shelf and load, and a heavy load lags behind that; the body of
the load alone (`part_of`) does not know that the walls come later than the chamber. Each leaves a delay out, so the
later one counts. A load of one convex piece sees nothing but the walls, and takes some 15 % more
radiation than the star of half plates gives it; pieces that shade one another take less, down to about 60 % (estimates;
a rack is at neither end).
"""

import math
from dataclasses import dataclass, replace

from ..model.day_zero import untrimmed
from ..model.energy import CHAMBER, CONTENTS, EnergyModel
from ..model.part_body import PartBody, part_of
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from .cabling import volts_share
from .circuit import circuit_of
from .ranges import Range, spread

#: Radiation between walls and load over the star's: pieces that shade one another, and one convex piece.
SEES = (0.6, 1.15)
#: Convection at the load over that of one plate, down and up.
FILM = (0.8, 1.2)
#: The load is as warm as the chamber when it lacks no more than this share of the chamber's rise.
NEARLY = 0.05
_STEP_S, _LONGEST_S = 10.0, 172800.0


@dataclass(frozen=True)
class LoadHeating:
    """`later_s`: how long after the chamber the load arrives, s; `behind_k`: how much colder it is when the chamber
    arrives, K."""

    later_s: Range
    behind_k: Range


def load_heating(oven: Oven, load: Load, to_c: float) -> LoadHeating | None:
    """The lag of a dry load in a heat-up from the room to to_c, °C; None for a wet one, which dries first, and where
    the power does not get there."""
    if load.moisture_kg > 0.0 or load.mass_kg <= 0.0:
        return None
    model, part, u = untrimmed(oven, load, to_c), part_of(oven, load, to_c), oven.uncertainty
    model = model.but(power_w=volts_share(circuit_of(oven)) ** 2 * model.power_w)
    value = _lag(model, part, to_c) if part is not None else None
    if part is None or value is None:
        return None
    pairs = (
        ("contents_m2", "radiant", SEES),
        ("contents_m2", "radiant", (1.0 - u.emissivity, 1.0 + u.emissivity)),
        ("contents_w_per_k", "film_w", FILM),
        ("contents_j_per_k", "j_per_m2k", (1.0 - u.heat_capacity, 1.0 + u.heat_capacity)),
    )
    found = [
        [_lag(_times(model, lump, f), replace(part, **{body: f * getattr(part, body)}), to_c) or value for f in factors]
        for lump, body, factors in pairs
    ]
    later, behind = (spread(value[i], [(one[i], other[i]) for one, other in found]) for i in (0, 1))
    return LoadHeating(_above_zero(later), _above_zero(behind))


def _above_zero(r: Range) -> Range:
    return Range(r.value, max(0.0, r.low), r.high)


def _times(model: EnergyModel, name: str, factor: float) -> EnergyModel:
    return model.but(**{name: factor * getattr(model, name)})


def _lag(model: EnergyModel, part: PartBody, to_c: float) -> tuple[float, float] | None:
    """(seconds from the chamber's arrival to the load's, K that the load lacks at the chamber's), of the lump and of
    the load's own body, whichever is more; None where the power does not get there."""
    room, x, time_s = model.ambient_c, model.rest(model.ambient_c), 0.0
    load_c = room
    while x[CHAMBER] < to_c:
        if time_s > _LONGEST_S:
            return None
        x, time_s = model.step(x, model.power_w, _STEP_S, room), time_s + _STEP_S
        load_c = _warmed(part, load_c, min(x[CHAMBER], to_c))
    behind_k, hold, arrived_s = max(0.0, to_c - min(load_c, x[CONTENTS])), model.holding_w(to_c), time_s
    while to_c - min(load_c, x[CONTENTS]) > NEARLY * (to_c - room) and time_s - arrived_s < _LONGEST_S:
        power = min(max(hold + 0.2 * model.power_w * (to_c - x[CHAMBER]), 0.0), model.power_w)
        x, time_s = model.step(x, power, _STEP_S, room), time_s + _STEP_S
        load_c = _warmed(part, load_c, to_c)
    return time_s - arrived_s, behind_k


def _warmed(part: PartBody, load_c: float, around_c: float) -> float:
    """The load's mean temperature, °C, _STEP_S later in a chamber at around_c; it lies behind a third of the depth's
    resistance, as in a slab that warms steadily."""
    a, b = around_c + ZERO_C, load_c + ZERO_C
    film_w = part.film_w + part.radiant * STEFAN_BOLTZMANN * (a * a + b * b) * (a + b)
    link_w = 1.0 / (1.0 / film_w + 1.0 / (3.0 * part.inside_w))
    return around_c + (load_c - around_c) * math.exp(-_STEP_S * link_w / part.j_per_m2k)
