"""Ovens that differ from their description: another structure, or one value that is far off.

Each is made from an oven's description, which the control gets unchanged. `truth_c` is the true temperature at the
control thermocouple's place, without lag, dead time and noise: control is judged by it. A value wrong by a factor is
the virtual oven with that factor; other structures are separate lumps (`Lumps`)."""

import random
from collections import deque
from collections.abc import Callable
from dataclasses import replace

from kilnctl import VirtualOven
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import EnergyModel
from kilnctl.plants.conditions import AS_DESCRIBED, Conditions, Variation
from kilnctl.reading import Reading
from kilnctl.settings.construction import Load
from kilnctl.settings.oven import Oven
from kilnctl.thermal.constants import STEFAN_BOLTZMANN, ZERO_C

#: Sub-step of the lumps, s, and slabs of one wall.
STEP_S, SLABS = 0.1, 8


class Strange(VirtualOven):
    """The virtual oven with its control thermocouple where `near` says: shares of the chamber, of the hottest element
    and of the walls."""

    near = (1.0, 0.0, 0.0)

    @property
    def truth_c(self) -> float:
        chamber, element, walls = self.near
        return chamber * self.chamber_c + element * self.element_c + walls * self.radiant_c

    def _around(self, name: str, active=()) -> float:
        return self.truth_c if name == "control" else super()._around(name, active)


class Lumps:
    """Wire, air, and a wall of slabs, with the totals of the description's day-zero model and a different structure.

    carrier   heat capacity of the part that the wire is wound on, as a share of the wire's; it gets half of the wire's
              heat
    shield    share of the wall's heat capacity in an inner shell that the air and the second wall see
    falling   how much the films lose on the way from the room to the working temperature, a share
    """

    def __init__(self, oven: Oven, top_c: float, seed: int, *, carrier=0.0, shield=0.0, falling=0.0):
        m = day_zero(oven, oven.usual_load, top_c)
        self.oven, self.m, self.top_c = oven, m, top_c
        self.carrier, self.shield, self.falling = carrier, shield, falling
        self.random, room = random.Random(seed), m.ambient_c
        self.wire = self.held = self.air = self.shell = self.inside = self.junction = self.second = room
        self.slabs = [room] * SLABS
        self.energy_j = 0.0
        self._line = deque([room] * max(1, round(oven.sensors.control.dead_time_s / STEP_S)))
        self._of_wall = _even(m)

    @property
    def truth_c(self) -> float:
        return self.air

    def advance(self, dt_s: float, duty, contactor_closed: bool) -> Reading:
        share = duty if isinstance(duty, (int, float)) else sum(duty) / len(duty)
        watts = share * self.m.power_w if contactor_closed else 0.0
        for _ in range(max(1, round(dt_s / STEP_S))):
            self._step(watts)
        self.energy_j += watts * dt_s
        sensors, meters = self.oven.sensors, self.oven.meters
        shown = self._line[0] + self.random.gauss(0.0, sensors.control.noise_k)
        volts = self.m.voltage_v
        return Reading(
            chamber_c=shown,
            limit_c=self.second if sensors.limit else None,
            part_c=self.inside if sensors.part else None,
            cold_junction_c=self.m.ambient_c + 3.0,
            fired=share if contactor_closed else 0.0,
            supply_v=volts if meters.supply else None,
            current_a=self.m.power_w / volts if meters.current and watts > 0.0 else None,
            contactor_closed=contactor_closed if meters.contactor else None,
            door_open=False if self.oven.door.switch else None,
            airflow_proved=True,
        )

    def _step(self, watts: float) -> None:
        m, h = self.m, STEP_S
        room = m.ambient_c
        gone = min(1.0, max(0.0, (self.air - room) / (self.top_c - room)))
        film = 1.0 - self.falling * gone
        from_wire = film * _link(self.wire, self.air, m.element_w_per_k, m.element_m2)
        if self.carrier > 0.0:
            to_carrier = m.element_w_per_k * (self.wire - self.held)
            from_carrier = film * 0.5 * _link(self.held, self.air, m.element_w_per_k, m.element_m2)
            self.held += h * (to_carrier - from_carrier) / (self.carrier * m.element_j_per_k)
            from_wire *= 0.5
        else:
            to_carrier = from_carrier = 0.0
        self.wire += h * (watts - from_wire - to_carrier) / m.element_j_per_k
        face = self.shell if self.shield > 0.0 else self.slabs[0]
        to_wall = film * _link(self.air, face, m.film_w_per_k, m.film_m2)
        inside = _link(self.air, self.inside, m.contents_w_per_k, m.contents_m2) if m.contents_j_per_k > 0.0 else 0.0
        lost = m.leaking(self.air, room)[0]
        net = from_wire + from_carrier + m.extra_w - to_wall - inside - lost
        # The air is light: limit its change so that it does not oscillate within a step.
        self.air += h * net / max(m.chamber_j_per_k, 3.0 * h * m.around_w_per_k((self.air,) * 8))
        if m.contents_j_per_k > 0.0:
            self.inside += h * inside / m.contents_j_per_k
        self._wall(to_wall)
        lag = m.lag_at_s(self.air)
        self.junction += h * (self.air - self.junction) / max(lag, h)
        if self.oven.sensors.limit is not None:
            self.second += h * (self.air - self.second) / max(self.oven.sensors.limit.lag_s, h)
        self._line.append(self.junction)
        self._line.popleft()

    def _wall(self, into: float) -> None:
        m, h = self.m, STEP_S
        capacity, conductance = self._of_wall
        if self.shield > 0.0:
            # Behind the shell heat crosses a gap with half the conductance of the film.
            across = 0.5 * _link(self.shell, self.slabs[0], m.film_w_per_k, m.film_m2)
            self.shell += h * (into - across) / (self.shield * sum(capacity))
            into = across
        flows = [into]
        for i, g in enumerate(conductance):
            after = self.slabs[i + 1] if i + 1 < SLABS else m.ambient_c
            flows.append(g * (self.slabs[i] - after))
        for i in range(SLABS):
            self.slabs[i] += h * (flows[i] - flows[i + 1]) / ((1.0 - self.shield) * capacity[i])


def _link(hot_c: float, cold_c: float, w_per_k: float, m2: float) -> float:
    return w_per_k * (hot_c - cold_c) + STEFAN_BOLTZMANN * m2 * ((hot_c + ZERO_C) ** 4 - (cold_c + ZERO_C) ** 4)


def _even(m: EnergyModel) -> tuple[list[float], list[float]]:
    """The wall's capacity, J/K, and conductance to the next slab, W/K, of each slab: the model's lumps in halves."""
    capacity, conductance = [], []
    for c, g, r, s in zip(m.lining_j_per_k, m.lining_w_per_k, m.rise_per_k, m.capacity_rise_per_k, strict=True):
        middle = 200.0
        capacity += [0.5 * c * (1.0 + s * middle)] * 2
        conductance += [2.0 * g * (1.0 + r * middle)] * 2
    return capacity, conductance


#: Makes a plant of (oven, top °C, seed); the description that the control gets.
Made = Callable[[Oven, float, int], "Strange | Lumps"]


def _varied(**factors) -> Made:
    variation = Variation(**factors) if factors else AS_DESCRIBED
    return lambda oven, top_c, seed: Strange(oven, oven.usual_load, seed, variation=variation)


def _placed(near: tuple[float, float, float]) -> Made:
    def made(oven, top_c, seed):
        plant = Strange(oven, oven.usual_load, seed)
        plant.near = near
        return plant

    return made


def _sensed(**changes) -> Made:
    def made(oven, top_c, seed):
        control = oven.sensors.control
        more = {k: v(control) if callable(v) else v for k, v in changes.items()}
        other = replace(oven, sensors=replace(oven.sensors, control=replace(control, **more)))
        return Strange(other, oven.usual_load, seed)

    return made


def _wet(kg: float) -> Made:
    def made(oven, top_c, seed):
        load = oven.usual_load or Load(mass_kg=2.0 * kg, area_m2=0.1)
        return Strange(oven, replace(load, moisture_kg=kg), seed)

    return made


def _supply(oven, top_c, seed):
    return Strange(oven, oven.usual_load, seed, conditions=Conditions(supply_drift=0.08))


def _lumps(**structure) -> Made:
    return lambda oven, top_c, seed: Lumps(oven, top_c, seed, **structure)


#: Name → plant.
PLANTS: dict[str, Made] = {
    "as described": _varied(),
    "element half": _varied(element_mass=0.5),
    "element twice": _varied(element_mass=2.0),
    "films 0.6": _varied(film=0.6),
    "sensor twice as slow": _sensed(lag_s=lambda s: 2.0 * s.lag_s),
    "dead time 12 s": _sensed(dead_time_s=12.0),
    "converter 1/4 K": _sensed(front_end="max31855"),
    "sensor near element": _placed((0.75, 0.25, 0.0)),
    "sensor near wall": _placed((0.4, 0.0, 0.6)),
    "wet load": _wet(0.3),
    "supply ±8 %, no meter": _supply,
    "wire on a carrier": _lumps(carrier=2.0),
    "two walls": _lumps(shield=0.3),
    "film falls": _lumps(falling=0.5),
}


def described(name: str, oven: Oven) -> Oven:
    """The description that the control gets: the builder of an oven knows its meters and its converter."""
    if "no meter" in name:
        return replace(oven, meters=replace(oven.meters, supply=False, current=False))
    if "converter" in name:
        control = replace(oven.sensors.control, front_end="max31855")
        return replace(oven, sensors=replace(oven.sensors, control=control))
    return oven
