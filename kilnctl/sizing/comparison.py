"""The few figures that ovens are compared by: as they are, changed, or two of them side by side; and what a change
costs."""

import math
from dataclasses import dataclass

from ..errors import KilnctlError
from ..plants.conditions import Conditions
from ..plants.virtual_oven import VirtualOven
from ..settings.oven import Oven
from ..thermal.material_data import find
from .buying import MORE_M, Change, savings_of
from .cabling import volts_share
from .circuit import circuit_of
from .sizing import HIGHEST_C, Sizing

#: Time in which an oven has to get to the temperature of a run, s, and the step of the virtual oven, s.
LONGEST_S, STEP_S = 172800.0, 30.0
#: More than so many changes are not worked out in full.
MOST_OFFERS = 12
#: A change that saves less of a run than this share is no reason to buy anything.
LEAST_SAVED = 0.01


@dataclass(frozen=True)
class RunAsked:
    """The run that is paid for: to to_c °C at full power, loaded as usual, and hold_s there; per_kwh: price of a
    kilowatt-hour, or None."""

    to_c: float
    hold_s: float = 3600.0
    per_kwh: float | None = None


@dataclass(frozen=True)
class Figures:
    """highest_c: the highest steady temperature that power and lining allow, °C, `limited_by` one of them; heat_up_s
    to the run's temperature, s (infinite: never); hold_w: element power that holds it, W; shell_c: hottest outside
    face, °C; run_j: energy from the mains for the run, fan included, J; run_cost: its price, or None."""

    highest_c: float
    limited_by: str
    heat_up_s: float
    hold_w: float
    shell_c: float
    run_j: float
    run_cost: float | None


@dataclass(frozen=True)
class Offer:
    """A change with its figures; cost: of its material, or None where no price is known; pays_after: runs after which
    it has saved that, or None."""

    change: Change
    figures: Figures
    saved_j: float
    cost: float | None
    pays_after: float | None


def run_asked(sizing: Sizing, hold_s: float = 3600.0, per_kwh: float | None = None) -> RunAsked:
    """A run to the oven's highest temperature, or nearly to what its power reaches."""
    return RunAsked(min(sizing.top_c, 0.98 * sizing.max_chamber_c), hold_s, per_kwh)


def figures_of(oven: Oven, run: RunAsked) -> Figures:
    """The figures of one oven for that run; beyond what it reaches they are infinite."""
    sizing = Sizing(oven)
    power_c, lining_c = sizing.max_chamber_c, sizing.lining_limit_c
    # Where both lie beyond what sizing looks at, it is neither that ends it.
    by = "" if min(power_c, lining_c) >= HIGHEST_C else "power" if power_c <= lining_c else "lining"
    if power_c <= run.to_c:
        heat_up, energy = math.inf, math.inf
    else:
        heat_up, energy = march(oven, run, sizing.power_w(run.to_c))
    reach = min(run.to_c, sizing.steady.valid_c)
    return Figures(
        highest_c=min(power_c, lining_c),
        limited_by=by,
        heat_up_s=heat_up,
        hold_w=sizing.power_w(reach),
        shell_c=sizing.shell_c(reach),
        run_j=energy,
        run_cost=None if run.per_kwh is None else energy / 3.6e6 * run.per_kwh,
    )


def march(oven: Oven, run: RunAsked, hold_w: float) -> tuple[float, float]:
    """Heat-up time to the run's temperature, s, and energy of the whole run, J: the virtual oven with its usual load,
    at full power, then held by a share of power that follows the temperature. Infinite where it is not reached within
    LONGEST_S."""
    volts = volts_share(circuit_of(oven))
    # The cable's own watts are paid for too.
    full, fan, paid = volts**2 * oven.elements.rated_w, oven.fan.power_w if oven.fan else 0.0, 1.0 / volts
    plant = VirtualOven(
        oven,
        load=oven.usual_load,
        conditions=Conditions(start_c=oven.site.ambient_c, supply_drift=0.0, supply_share=volts),
    )
    time_s, before = 0.0, plant.chamber_c
    while plant.chamber_c < run.to_c:
        if time_s >= LONGEST_S:
            return math.inf, math.inf
        before = plant.chamber_c
        plant.advance(STEP_S, 1.0, True)
        time_s += STEP_S
    heat_up = time_s - STEP_S * (plant.chamber_c - run.to_c) / max(1e-9, plant.chamber_c - before)
    energy, held = heat_up * (paid * full + fan), time_s - heat_up
    while held < run.hold_s:
        # A share that is more by a tenth for each kelvin too little: warm walls take less, so it settles by itself.
        share = min(1.0, max(0.0, hold_w / full + 0.1 * (run.to_c - plant.chamber_c)))
        step = min(STEP_S, run.hold_s - held)
        plant.advance(step, share, True)
        energy, held = energy + step * (share * paid * full + fan), held + step
    return heat_up, energy


def offers_of(sizing: Sizing, run: RunAsked, prices: dict[str, float]) -> tuple[Figures, tuple[Offer, ...]]:
    """The oven as it is, and what could be changed: by the energy saved in a run for each unit of money where a price
    is known, then by the energy saved. prices: material (or "" for any) → price of a square metre of one piece
    (MORE_M) of it."""
    oven = sizing.oven
    now = figures_of(oven, run)
    savings = savings_of(oven, run.to_c, sizing.at(run.to_c), thorough=True)
    offers = []
    for saving in [s for s in savings if s.share > 0.002][:MOST_OFFERS]:
        change = saving.change
        figures = figures_of(change.oven, run)
        saved = 0.0 if not math.isfinite(now.run_j) else now.run_j - figures.run_j
        cost = cost_of(change, prices, oven.units)
        pays = None
        if cost is not None and run.per_kwh and saved > 0.0:
            pays = cost / (saved / 3.6e6 * run.per_kwh)
        offers.append(Offer(change, figures, saved, cost, pays))
    return now, tuple(sorted(offers, key=lambda o: _worth(o, now)))


def _worth(offer: Offer, now: Figures) -> tuple[bool, float, float]:
    """What has a price and saves at least `LEAST_SAVED` of a run comes first, the most for the money; then what saves
    most in a run, to half a per cent, and what is less power to hold."""
    share = offer.saved_j / now.run_j if math.isfinite(now.run_j) else 0.0
    if offer.cost and share >= LEAST_SAVED:
        return False, -offer.saved_j / offer.cost, offer.figures.hold_w
    return True, -round(200.0 * share), offer.figures.hold_w


def cost_of(change: Change, prices: dict[str, float], units: str) -> float | None:
    """Price of a change's material; None where it is not sold by the square metre, or no price is known."""
    if not change.material or change.area_m2 <= 0.0:
        return None
    price = prices.get(known_as(change.material), prices.get(""))
    return None if price is None else price * change.area_m2 * change.thickness_m / MORE_M[units]


def known_as(material: str) -> str:
    """The library's own spelling of a material, or the name as it is for one of the oven's."""
    try:
        return find(material).name
    except KilnctlError:
        return material
