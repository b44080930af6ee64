"""The model before any run, derived from the description alone with the physics of `kilnctl.thermal`.

`coupling` reduces air and radiant star to the model's single chamber temperature, `lining` the walls to four lumps. The
holding power is then fitted to the steady body (`body.steady`) at several temperatures, so that the largest relative
error is least. The loss of vents, leaks and openings is one conductance here, exact at the lowest and the highest of
these temperatures; its error between them is added to the lining."""

from functools import lru_cache

from ..body import bodies_in, heater_of, plate_of
from ..body.sensor import STILL_FILM
from ..body.steady import SteadyOven
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.elements import resistance_factor
from ..thermal.enclosure import sensor_film
from ..thermal.material_data import Material
from ..thermal.psychrometrics import WATER_J_PER_KGK
from .coupling import Coupling, Moment, coupling_of
from .energy import CHAMBER, CONTENTS, LINING, EnergyModel
from .heating import AS_FITTED, NEARLY, Trim, fine_heating, slow_share, trim_of
from .lining import STEEPEST_PER_K, lining_of

#: Heat capacity of the thin skin of all surfaces that follows the air within a tick, J/(m²·K) of the faces (an
#: estimate: enough to keep the air's node numerically stable).
SKIN_J_PER_M2K = 20.0
#: Where the holding power is fitted to the steady body, as shares of the working temperature's rise over the room. The
#: last is limited to the oven's highest temperature and to what its power can hold.
HELD = (0.4, 0.7, 1.0, 1.42)

#: The least heat of the elements with which links are computed, as a share of full power: at the start heavy elements
#: give almost nothing, and the difference to the chamber is then that of the fan's heat alone.
LEAST_GIVEN = 0.05


def day_zero(oven: Oven, load: Load | None = None, working_c: float | None = None) -> EnergyModel:
    """The model of an oven with a load (None: empty), best around `working_c` (two thirds of its highest if
    not given). It is kept: asked again, it costs nothing."""
    return _day_zero(oven, load, working_c)


@lru_cache(maxsize=64)  # without defaults: the cache would keep what is left out apart from what is given as None
def _day_zero(oven: Oven, load: Load | None, working_c: float | None) -> EnergyModel:
    steady, working = working_of(oven, working_c)
    return _coupled(oven, load, working, _losses(oven, steady, working), _trim(oven, working))


def untrimmed(oven: Oven, load: Load | None, working_c: float) -> EnergyModel:
    """`day_zero` without the last adjustment of its lumps to the virtual oven's heat-up, which takes most of its time:
    enough to compare one such model with another."""
    steady, working = working_of(oven, working_c)
    return _coupled(oven, load, working, _losses(oven, steady, working), AS_FITTED)


@lru_cache(maxsize=64)
def working_of(oven: Oven, working_c: float | None = None) -> tuple[SteadyOven, float]:
    """The steady body, and the working temperature of the model, °C, within the range of the formulas."""
    ambient = oven.site.ambient_c
    working = working_c if working_c is not None else ambient + 0.67 * (oven.limits.highest_c - ambient)
    steady = SteadyOven(oven, highest_c=max(working, oven.limits.highest_c, ambient + 5.0) + 1.0)
    # If the range of the formulas ends earlier, no power can hold that temperature either.
    return steady, min(max(working, ambient + 5.0), steady.valid_c)


@lru_cache(maxsize=64)
def _trim(oven: Oven, working: float) -> Trim:
    """Factors that make the lumps heat up as fast as the fine walls, for the empty oven: the lining is the same with
    any load."""
    bare = _coupled(oven, None, working, _losses(oven, working_of(oven, working)[0], working), AS_FITTED)
    room = oven.site.ambient_c
    shares, nearly_c = (1.0, slow_share(bare, working)), room + NEARLY * (working - room)
    return trim_of(bare, *(fine_heating(oven, working, share) for share in shares), until_c=nearly_c)


def _coupled(oven: Oven, load: Load | None, working: float, losses, trim: Trim) -> EnergyModel:
    """The model with the couplings that hold during a heat-up."""
    ambient = oven.site.ambient_c
    # First with everything inside at one temperature; then with the temperatures of that first model's heat-up.
    at_c, power_w = (ambient + x * (working - ambient) for x in (0.02, 0.25, 0.5, 0.75, 1.0)), oven.elements.power_w
    coupling = coupling_of(oven, load, [Moment(power_w, t, t) for t in at_c])
    model = _model(oven, load, working, coupling, losses, trim)
    radiation = 4.0 * STEFAN_BOLTZMANN * (working + ZERO_C) ** 3
    film = model.film_w_per_k + radiation * model.film_m2
    share = min(1.0, film / (coupling.faces.w_per_k + radiation * coupling.faces.m2))
    moments = _heating(model, working, share)
    return _model(oven, load, working, coupling_of(oven, load, moments), losses, trim)


def _heating(model: EnergyModel, working: float, film_share: float) -> list[Moment]:
    """Five moments of a heat-up at full power, spread over the chamber's rise. The first lump is behind the faces: the
    film to the lump is film_share of the film to the faces."""
    ambient, found, dt = model.ambient_c, [], 1.0
    x = model.rest(ambient)
    top = min(working, ambient + 0.95 * (model.highest_c() - ambient))
    marks = [ambient + share * (top - ambient) for share in (0.1, 0.3, 0.5, 0.75, 0.98)]
    for _ in range(3000):
        x = model.inside(x, model.power_w, dt, ambient)
        dt = min(1.01 * dt, 60.0)
        while len(found) < len(marks) and x[CHAMBER] >= marks[len(found)]:
            face = x[CHAMBER] - film_share * (x[CHAMBER] - x[LINING])
            given_w = max(LEAST_GIVEN * model.power_w, model.elements_give_w(x))
            found.append(Moment(given_w, face, x[CONTENTS] if model.contents_j_per_k > 0.0 else face))
        if len(found) == len(marks):
            break
    return found or [Moment(model.power_w, ambient, ambient)]


def _model(oven: Oven, load: Load | None, working: float, coupling: Coupling, losses, trim: Trim) -> EnergyModel:
    ambient, (leak, leak_rise, held) = oven.site.ambient_c, losses
    speed = oven.fan.air_speed_m_per_s if oven.fan else 0.0
    # The lumps are fitted below the working temperature, where most of the heat-up happens; the rises per kelvin extend
    # them up and down.
    middle = ambient + 0.6 * (working - ambient)
    lining = lining_of(oven, middle, coupling.faces.w_per_k, coupling.faces.m2, held, trim)
    capacity, coupling_w, coupling_m2 = _contents(oven, load, coupling, ambient, working)
    heater, c = heater_of(oven), oven.chamber
    element_j_per_kgk, element_rise = _rising_capacity(heater.material, ambient, working, coupling.element_c)
    inner, volume = sum(f.inner_area_m2 for f in oven.faces), c.width_m * c.depth_m * c.height_m
    return EnergyModel(
        power_w=oven.elements.power_w,
        voltage_v=oven.supply.voltage_v,
        ambient_c=ambient,
        element_j_per_k=heater.mass_kg * element_j_per_kgk,
        element_w_per_k=trim.elements * coupling.elements.w_per_k,
        element_m2=trim.elements * coupling.elements.m2,
        chamber_j_per_k=1.2 * 1006.0 * volume * (293.0 / (working + ZERO_C)) + SKIN_J_PER_M2K * inner,
        film_w_per_k=lining.film_w_per_k,
        film_m2=lining.film_m2,
        lining_j_per_k=lining.j_per_k,
        lining_w_per_k=lining.w_per_k,
        rise_per_k=lining.rise_per_k,
        capacity_rise_per_k=lining.capacity_rise_per_k,
        leak_w_per_k=leak,
        contents_j_per_k=capacity,
        contents_w_per_k=coupling_w,
        contents_m2=coupling_m2,
        extra_w=oven.fan.power_w if oven.fan else 0.0,
        lag_s=oven.sensors.control.lag_s,
        sensor_wind=sensor_film(working + 5.0, working, speed) / STILL_FILM,
        dead_s=oven.sensors.control.dead_time_s,
        resistance_rise_per_k=_resistance_rise(oven),
        rated_c=oven.limits.highest_c,
        leak_rise_per_k=leak_rise,
        element_rise_per_k=element_rise,
    )


def _losses(oven: Oven, steady: SteadyOven, working: float):
    """Heat that bypasses the walls: conductance at 0 °C, W/K, and its relative rise; and heat into the walls, as pairs
    of a chamber temperature, °C, and W."""
    ambient = oven.site.ambient_c
    rise = working - ambient
    top = min(steady.valid_c, max(working, min(ambient + HELD[-1] * rise, oven.limits.highest_c)))
    if top > working and steady.power_w(top) > oven.elements.power_w:
        top = max(working, steady.highest(oven.elements.power_w))
    faces = {f.name for f in oven.faces} | {"edges and corners"}

    held, others = [], []
    for t in sorted({*(ambient + share * rise for share in HELD[:-1]), top}):
        ledger = steady.at(t).ledger_w
        walls = sum(w for name, w in ledger.items() if name in faces)
        held.append((t, walls))
        others.append((0.5 * (t + ambient), max(0.0, (sum(ledger.values()) - walls) / (t - ambient))))
    (t1, g1), (t2, g2) = others[0], others[-1]
    slope = (g2 - g1) / (t2 - t1)
    at_zero, leak, steeper = g1 - slope * t1, 0.0, 0.0
    if g2 > 1e-9:
        # The rise is limited so that the conductance stays above zero, hot or cold; the rest is added to the walls.
        steeper = min(max(slope / at_zero, -0.0004), STEEPEST_PER_K) if at_zero > 0.0 else STEEPEST_PER_K
        leak = g2 / (1.0 + steeper * t2)
    held = [
        (t, max(0.3 * walls, walls + (g - leak * (1.0 + steeper * mean)) * (t - ambient)))
        for (t, walls), (mean, g) in zip(held, others)
    ]
    # In some chambers the fan alone gives more than this temperature: then no heat flows through the walls.
    least = 0.02 * max(watts for _, watts in held)
    held = [(t, watts) for t, watts in held if watts > least > 0.0] or [(top, 1e-3 * oven.elements.power_w)]
    return leak, steeper, held


def _rising_capacity(material: Material, room_c: float, working_c: float, hot_c: float) -> tuple[float, float]:
    """Heat capacity at 0 °C, J/(kg·K), and its relative rise per °C, of the straight line whose means up to the working
    temperature, and from there to hot_c, are right: the second is the heat that the elements give back when a soak
    begins."""
    hot_c = max(hot_c, working_c + 1.0)
    below, above = material.mean_heat_capacity(room_c, working_c), material.mean_heat_capacity(working_c, hot_c)
    slope = max(0.0, (above - below) / (0.5 * (hot_c - room_c)))
    at_zero = below - slope * 0.5 * (room_c + working_c)
    return at_zero, slope / at_zero


def _resistance_rise(oven: Oven) -> float:
    """Relative rise of the elements' resistance per °C, between 100 °C and the oven's highest, over the value
    there."""
    alloy, top = oven.elements.alloy, oven.limits.highest_c
    hot = resistance_factor(alloy, top)
    return max(0.0, (1.0 - resistance_factor(alloy, 100.0) / hot) / max(top - 100.0, 50.0))


def _contents(
    oven: Oven, load: Load | None, coupling: Coupling, ambient: float, working: float
) -> tuple[float, float, float]:
    """Shelf and load as one lump: capacities and conductances added; a thick one takes heat through a third of its
    depth, because the face of a steadily warming slab is warmer than its mean by that resistance (Carslaw and Jaeger
    1959, section 3.8)."""
    capacity = coupling_w = coupling_m2 = 0.0
    radiation = 4.0 * STEFAN_BOLTZMANN * (working + ZERO_C) ** 3
    for name, body in bodies_in(oven, load):
        plate, link = plate_of(oven, body), coupling.bodies[name]
        inside = plate.material.conductivity(working) * plate.area_m2 / (plate.depth_m / 3.0)
        share = inside / (inside + link.w_per_k + radiation * link.m2)
        water_j_per_k = WATER_J_PER_KGK * body.moisture_kg
        capacity += body.mass_kg * plate.material.mean_heat_capacity(ambient, working) + water_j_per_k
        coupling_w += share * link.w_per_k
        coupling_m2 += share * link.m2
    return capacity, coupling_w, coupling_m2
