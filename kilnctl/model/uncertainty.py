"""How far a day-zero model may be off: what the description leaves open, and what eight temperatures cannot
represent."""

import math
from dataclasses import dataclass
from functools import lru_cache

from ..body import bodies_in, heater_of, plate_of
from ..body.steady import SteadyOven
from ..settings.construction import Load
from ..settings.oven import Oven
from .day_zero import day_zero, working_of
from .energy import ELEMENT, EnergyModel
from .heating import STAGES, fine_heating, late_by

#: Electric power of heating appliances as marked: −10 % to +5 % (IEC 60335-1, clause 10, from memory); and of one whose
#: voltage and current are measured (relative).
RATED, METERED = 0.10, 0.03
#: Relative uncertainty of the elements' mass if it is guessed, and if it is given (estimates).
GUESSED_MASS, GIVEN_MASS = 0.5, 0.1
#: Heat that bypasses the walls: leaks may be half or twice as much, a vent's flow and a bridge's conductance are known
#: to a fifth (estimates).
LEAK, KNOWN_WAY = 1.0, 0.2
#: Effect of films and emissivities together on the heat through the walls, relative (an estimate; it is small because
#: the insulation dominates).
SURFACES = 0.03
#: Where the model's steady power is compared with the body's, as shares of the working temperature's rise.
COMPARED = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
#: Factor for points between those: the error may be a little larger there.
MARGIN, LEAST = 1.25, 0.005
#: What may stand in an oven whose file names no shelf: a hearth of refractory over the whole floor, J/(m²·K) (25 mm of
#: 2,000 kg/m³ and 1,000 J/(kg·K); common practice: such plates have 10 to 25 mm), with air and radiation on both faces,
#: W/(m²·K) of the floor and a black share.
HEARTH_J_PER_M2K, HEARTH_W_PER_M2K, HEARTH_BLACK = 50_000.0, 10.0, 1.0


@dataclass(frozen=True, slots=True)
class Unlisted:
    """What stands in an oven and its file does not name: J/K, and how it takes heat from the chamber, W/K and black
    m²."""

    j_per_k: float = 0.0
    w_per_k: float = 0.0
    m2: float = 0.0


def unlisted_in(oven: Oven) -> Unlisted:
    """The most that an oven may hold besides what its file names; nothing where it names a shelf."""
    if oven.shelf is not None:
        return Unlisted()
    floor_m2 = oven.chamber.width_m * oven.chamber.depth_m
    return Unlisted(HEARTH_J_PER_M2K * floor_m2, HEARTH_W_PER_M2K * floor_m2, HEARTH_BLACK * floor_m2)


@dataclass(frozen=True, slots=True)
class ModelUncertainty:
    """Relative, up or down alike, dimensionless: 0.1 is a tenth. "May be off" means: it should lie within.

    power              of the electric power at a given duty
    capacity           of the heat that lining, elements and contents take up (contents count with one mean heat
                       capacity; what that leaves out is part of it)
    unlisted           heat that parts may take up which the file does not name (`unlisted_in`): only upward
    loss               of the steady heat that leaves at a temperature
    structure_loss     the part of `loss` that comes from the low order of the model: worst difference of its holding
                       power to the steady body's from 40 % of the way to the working temperature up
    structure_time     likewise of the time that full power takes, against the body's fine walls, from half of the way
                       up; it counts in `capacity`
    """

    power: float
    capacity: float
    loss: float
    structure_loss: float
    structure_time: float
    unlisted: float = 0.0


@lru_cache(maxsize=64)
def uncertainty_of(oven: Oven, load: Load | None = None, working_c: float | None = None) -> ModelUncertainty:
    """The uncertainty of the model that `day_zero` makes from the same arguments. A value from the file counts with the
    file's `uncertainty`, a guessed one with more."""
    steady, working = working_of(oven, working_c)
    model = day_zero(oven, load, working_c)
    bare = model if load is None else day_zero(oven, None, working_c)
    lost = _structure_loss(bare, steady, working)
    late = MARGIN * late_by(bare, fine_heating(oven, working, 1.0), (*STAGES, 1.0)) + LEAST
    return ModelUncertainty(
        power=_power(oven),
        capacity=math.hypot(_capacity(oven, model), late, _contents_mean(oven, load, model, working)),
        loss=math.hypot(_loss(oven, steady, working), lost),
        structure_loss=lost,
        structure_time=late,
        unlisted=unlisted_in(oven).j_per_k / _stored_j_per_k(model),
    )


def true_holding_w(model: EnergyModel, chamber_c: float) -> float:
    """Electric power that holds chamber_c for ever, W: `holding_w` is rated power, and elements colder than at their
    rating draw more."""
    state, rated_w = model.steady(chamber_c)
    return rated_w / (1.0 + model.resistance_rise_per_k * (state[ELEMENT] - model.rated_c))


def _structure_loss(model: EnergyModel, steady: SteadyOven, working: float) -> float:
    """Worst relative difference of the steady loss, the fan's heat included."""
    worst, room = 0.0, steady.ambient_c
    for share in COMPARED:
        t = room + share * (working - room)
        there = steady.at(t)
        leaves = there.power_w + there.fan_w
        worst = max(worst, abs(true_holding_w(model, t) - there.power_w) / max(leaves, 1e-3))
    return MARGIN * worst + LEAST


def _power(oven: Oven) -> float:
    """Voltage times current is measured power; with one of the two alone the resistance must come from the marked
    rating."""
    meters = oven.meters
    if meters.supply and meters.current:
        return METERED
    if meters.supply or meters.current:
        return math.hypot(RATED, METERED)
    return math.hypot(RATED, (1.0 + oven.supply.tolerance) ** 2 - 1.0)


def _capacity(oven: Oven, model: EnergyModel) -> float:
    elements = model.element_j_per_k / _stored_j_per_k(model)
    mass = GUESSED_MASS if "mass" in heater_of(oven).guessed else GIVEN_MASS
    return math.hypot(oven.uncertainty.heat_capacity * (1.0 - elements), mass * elements)


def _stored_j_per_k(model: EnergyModel) -> float:
    return model.element_j_per_k + sum(model.lining_j_per_k) + model.contents_j_per_k


def _contents_mean(oven: Oven, load: Load | None, model: EnergyModel, working: float) -> float:
    """Worst relative difference of the stored heat because the model's contents hold one mean heat capacity up to the
    working temperature: steel takes up far more round 735 °C than before."""
    room, worst = oven.site.ambient_c, 0.0
    bodies = [(body.mass_kg, plate_of(oven, body).material) for _, body in bodies_in(oven, load)]
    if not bodies or working <= room:
        return 0.0
    whole = sum(mass * (m.enthalpy(working) - m.enthalpy(room)) for mass, m in bodies)
    share = model.contents_j_per_k / _stored_j_per_k(model)
    for part in COMPARED:
        true = sum(mass * (m.enthalpy(room + part * (working - room)) - m.enthalpy(room)) for mass, m in bodies)
        worst = max(worst, abs(true / (part * whole) - 1.0))
    return worst * share


def _loss(oven: Oven, steady: SteadyOven, working: float) -> float:
    ledger = steady.at(working).ledger_w
    whole = max(sum(abs(w) for w in ledger.values()), 1e-9)
    walls = sum(w for name, w in ledger.items() if name in {f.name for f in oven.faces} | {"edges and corners"}) / whole
    leak = ledger.get("door leak", 0.0) / whole
    others = max(0.0, 1.0 - walls - leak)
    return math.hypot(oven.uncertainty.conductivity * walls, SURFACES * walls, LEAK * leak, KNOWN_WAY * others)
