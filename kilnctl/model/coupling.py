"""The couplings of chamber, lining, contents and elements during heating: the two temperatures inside, of the air and
of the radiant star (mean radiant temperature node), are reduced to the model's single chamber temperature.

The model's chamber is what the ideal small sensor shows. At one power and known temperatures of the surfaces, star and
air are solved exactly. The heat that each surface then gets, divided by its temperature difference to the sensor, is
the model's conductance at that moment. Several moments of a heat-up separate it into a convective and a radiative part.
So the model is right at the sensor even where a fan makes the sensor show the air, and the natural films are those of
the temperature differences during heating."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..body import Openings, star_m2, surfaces_of
from ..body.steady import root
from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import chamber_temperature_c
from ..thermal.surfaces import cylinder_film, inner_film

#: An element hotter than this, °C, has failed, and the tables of air end not far above.
HOTTEST_C = 1550.0
#: The least share of the convective and of the radiative part.
_LEAST = 0.01


@dataclass(frozen=True)
class HeatLink:
    """Watts from a to b: w_per_k (Ta − Tb) + σ m2 (Ta⁴ − Tb⁴)."""

    w_per_k: float
    m2: float


@dataclass(frozen=True)
class Coupling:
    """Links: elements → chamber, chamber → faces of the lining, chamber → each body inside, by name; and the elements'
    temperature at that power, °C, at the hottest of the temperatures. colder_k_per_w, warmer_k_per_w: how far a place
    in the chamber can be from the chamber's temperature for each watt in the elements, K/W: a surface is heated by air
    and by radiation, and the chamber is between those two."""

    elements: HeatLink
    faces: HeatLink
    bodies: dict[str, HeatLink]
    element_c: float
    colder_k_per_w: float
    warmer_k_per_w: float


class Moment(NamedTuple):
    """One moment of a heat-up: the heat that leaves the elements, W (at first they keep most of what goes in), and the
    temperatures of the faces, and of shelf and load, °C."""

    power_w: float
    faces_c: float
    bodies_c: float


def coupling_of(oven: Oven, load: Load | None, moments: list[Moment]) -> Coupling:
    """The links that fit these moments best."""
    surfaces = surfaces_of(oven, load)
    star = [float(g) for g in star_m2(oven, surfaces)]
    openings = Openings(oven)
    n = len(oven.faces)
    found = [
        _state(oven, surfaces, star, openings, m.power_w, [m.faces_c] * n + [m.bodies_c] * (len(surfaces) - n - 1))
        for m in moments
    ]
    names = ["elements", "faces", *(s.name for s in surfaces[n:-1])]
    links = {name: _divided([state.links[name] for state in found]) for name in names}
    colder, warmer = (max(0.0, *found_k) for found_k in zip(*((s.colder_k_per_w, s.warmer_k_per_w) for s in found)))
    return Coupling(links.pop("elements"), links.pop("faces"), links, found[-1].links["elements"][0], colder, warmer)


class _State(NamedTuple):
    """One moment: (hot °C, cold °C, W) of each link, and how far a place can be from the chamber, K/W."""

    links: dict[str, tuple[float, float, float]]
    colder_k_per_w: float
    warmer_k_per_w: float


def _divided(states: list[tuple[float, float, float]]) -> HeatLink:
    """The link that fits the watts of (hot °C, cold °C, W) best, by least squares. A state counts by its watts: near
    equilibrium air and radiation are further apart than the chamber and the body, and their ratio says nothing. States
    with almost no heat flow, or with a flow from cold to hot, are left out."""
    most = max(s[2] for s in states)
    told = [s for s in states if s[0] - s[1] > 0.05 and s[2] > 0.02 * most] or [(1.0, 0.0, max(most, 1.0))]
    hot, cold, watts = (np.array(v) for v in zip(*told))
    emission = STEFAN_BOLTZMANN * ((hot + ZERO_C) ** 4 - (cold + ZERO_C) ** 4)
    a = np.stack([hot - cold, emission], axis=1)
    # Scaled, as the two columns differ by orders of magnitude.
    scale = np.abs(a).max(axis=0)
    w, m = np.linalg.lstsq(a / scale, watts, rcond=None)[0] / scale
    alone = a.T @ watts / (a * a).sum(axis=0)  # each part if it were the only one
    if w < _LEAST * alone[0] or m < _LEAST * alone[1]:
        first = w / alone[0] > m / alone[1]
        w, m = alone * ([1.0 - _LEAST, _LEAST] if first else [_LEAST, 1.0 - _LEAST])
    return HeatLink(float(w), float(m))


def _state(oven: Oven, surfaces, star, openings: Openings, power_w: float, plates_c: list[float]) -> _State:
    """With every surface except the elements at its temperature in plates_c, and with that power in the elements (less
    where they would melt)."""
    inside = _Inside(oven, surfaces, star, openings, plates_c)
    power = power_w
    for _ in range(40):
        try:
            air_c, radiant, element = inside.solve(power)
            break
        except (_TooHot, ValueError):
            power *= 0.7
    else:
        raise KilnctlError(
            f"{oven.name}: with its inside at {min(plates_c):.0f} °C no power can be found at which its elements stay "
            f"below {HOTTEST_C:.0f} °C; look at the elements' surface and at the openings"
        )
    chamber = chamber_temperature_c(radiant, air_c, inside.speed)
    taken = [
        inside.convected(s, t, air_c) + g * STEFAN_BOLTZMANN * ((radiant + ZERO_C) ** 4 - (t + ZERO_C) ** 4)
        for s, g, t in inside.plates
    ]
    n = len(oven.faces)
    out = {"elements": (element, chamber, power), "faces": (chamber, plates_c[0], sum(taken[:n]))}
    out |= {s.name: (chamber, t, watts) for (s, _, t), watts in zip(inside.plates[n:], taken[n:])}
    return _State(out, (chamber - min(air_c, radiant)) / power, (max(air_c, radiant) - chamber) / power)


class _Inside:
    """Air and radiant star between elements and surfaces at given temperatures. `plates`: (surface, its conductance to
    the star in m², °C) of all surfaces except the elements."""

    def __init__(self, oven: Oven, surfaces, star: list[float], openings: Openings, plates_c: list[float]):
        self.ambient_c = oven.site.ambient_c
        self.speed, self.fan_w = (oven.fan.air_speed_m_per_s, oven.fan.power_w) if oven.fan else (0.0, 0.0)
        self.heater, self.heater_m2, self.openings = surfaces[-1], star[-1], openings
        self.plates = list(zip(surfaces[:-1], star, plates_c))
        self.plates_m2 = sum(star[:-1])
        self.emitted = sum(g * (t + ZERO_C) ** 4 for g, t in zip(star, plates_c))
        self.coldest_c, self.hottest_c = min(plates_c), max(plates_c)

    def convected(self, surface, at_c: float, air_c: float) -> float:
        """Watts from the air to a surface."""
        film = inner_film(at_c, air_c, surface.length_m, surface.orientation, self.speed)
        return film * surface.area_m2 * (air_c - at_c)

    def solve(self, power: float) -> tuple[float, float, float]:
        """Air, star and elements, °C, at this power of the elements. Raises _TooHot."""
        step, low, high = 1.0, self.coldest_c, self.coldest_c
        while self._balance(high, power)[0] > 0.0:
            low, high, step = high, high + step, 2.0 * step
        while self._balance(low, power)[0] < 0.0:
            low, step = low - step, 2.0 * step
        air_c = root(lambda t: self._balance(t, power)[0], low, high, 1e-6)
        _, radiant, element = self._balance(air_c, power)
        return air_c, radiant, element

    def _balance(self, air_c: float, power: float) -> tuple[float, float, float]:
        """Net heat into the air, W, with the temperatures of star and elements, °C."""
        # What the elements have to give to the air; the rest comes from the fan.
        given = sum(self.convected(s, t, air_c) for s, _, t in self.plates)
        out_of = self.openings.vent_w_per_k(air_c, self.ambient_c) + self.openings.leak_w_per_k(air_c, self.ambient_c)
        given += out_of * (air_c - self.ambient_c) - self.fan_w
        if given >= power:
            # In this trial the air is too hot: no power would be left for radiation.
            return -given, self.coldest_c, self.coldest_c
        radiant = self._radiant_for(power - given)
        fourth = (radiant + ZERO_C) ** 4 + (power - given) / (self.heater_m2 * STEFAN_BOLTZMANN)
        element = max(fourth, 1.0) ** 0.25 - ZERO_C
        if element > HOTTEST_C:
            raise _TooHot
        film = cylinder_film(element, air_c, self.heater.length_m, self.speed) * self.heater.area_m2
        return film * (element - air_c) - given, radiant, element

    def _radiant_for(self, watts: float) -> float:
        """The star's temperature at which all surfaces except the elements take this much radiation, °C."""
        ambient, openings = self.ambient_c, self.openings

        def missing(t: float) -> float:
            taken = self.plates_m2 * (t + ZERO_C) ** 4 - self.emitted
            taken += openings.port_m2 * ((t + ZERO_C) ** 4 - (ambient + ZERO_C) ** 4)
            return STEFAN_BOLTZMANN * taken + openings.bridges_w_per_k(t, ambient) * (t - ambient) - watts

        if missing(-ZERO_C + 1.0) >= 0.0:
            return -ZERO_C + 1.0  # a trial with air so hot that no star could be cold enough
        high = self.hottest_c + 10.0
        while missing(high) < 0.0:
            high += 2.0 * (high - self.coldest_c)
        return root(missing, -ZERO_C + 1.0, high, 1e-6)


class _TooHot(Exception):
    """The elements would be hotter than HOTTEST_C."""
