"""Ovens of another structure than any description says: chains of lumps with random sizes, whose totals lie near those
of a description.

Each is drawn from an oven, a name of `STRUCTURES` and a seed. What its file says is only nearly true: walls store and
lose up to a third more or a fifth less, the power is up to a tenth lower, and parts that the file does not name take
heat too. They are fault-free: no rule may end their heat (`tools/bench/invented`)."""

import random
from collections import deque
from dataclasses import replace

from kilnctl.model.day_zero import day_zero
from kilnctl.reading import Reading
from kilnctl.settings.oven import Oven
from kilnctl.thermal.constants import STEFAN_BOLTZMANN, ZERO_C

#: Structure → what differs. two zones: elements below, sensor in the colder zone above. hearth: a slab that the file
#: does not name. shells: two heavy walls without a skin that warms first. door: a third of the walls is a door with a
#: weak link to the chamber. carrier: tubes or grooves that the wire heats first.
STRUCTURES = ("two zones", "hearth", "shells", "door", "carrier", "all")
#: A slab of refractory over the floor, J/(m²·K) for each mm: 2,000 kg/m³ and 1,000 J/(kg·K).
SLAB_J_PER_M2K_MM = 2000.0
#: Longest sub-step, s, and the share of a lump's time constant that it may be.
STEP_S, OF_CONSTANT = 1.0, 0.4
ROOM = -1


class Invented:
    """A plant: `advance`, and `truth_c` and `chamber_c` at the sensor's place. `nodes`: J/K by name; `links`: pairs of
    nodes with W/K and black m²."""

    def __init__(self, oven: Oven, structure: str, seed: int) -> None:
        self.oven, self.structure, self.seed = oven, structure, seed
        self.random = random.Random(f"{oven.name}/{structure}/{seed}")
        self.model = day_zero(oven, oven.usual_load)
        self.room_c = self.model.ambient_c
        self.nodes: dict[str, float] = {}
        self.links: list[tuple[str, str, float, float]] = []
        self.facts: dict[str, float] = {}
        self.sensed = "air"
        self._build()
        self.names = list(self.nodes)
        self.t = dict.fromkeys(self.names, self.room_c)
        self.junction_c, self.energy_j, self.time_s = self.room_c, 0.0, 0.0
        self.second_c = self.room_c
        self._line = deque([self.room_c] * max(1, round(oven.sensors.control.dead_time_s / STEP_S)))

    @property
    def truth_c(self) -> float:
        return self.t[self.sensed]

    chamber_c = truth_c

    def _draw(self, name: str, low: float, high: float) -> float:
        self.facts[name] = value = self.random.uniform(low, high)
        return value

    def _has(self, part: str) -> bool:
        return self.structure in (part, "all")

    def _build(self) -> None:
        m = self.model
        self.power_w = m.power_w * self._draw("power", 0.92, 1.04)
        stores, loses = self._draw("stores", 0.8, 1.33), self._draw("loses", 0.85, 1.2)
        air = ["air"]
        self.nodes["air"] = 5.0 * m.chamber_j_per_k
        if self._has("two zones"):
            # Liners of sheet metal, or muffles, between the element and the sensor.
            liner = sum(f.inner_area_m2 for f in self.oven.faces) * self._draw("liner mm", 0.1, 0.8) * 3900.0
            self.nodes["air"] = 0.5 * liner + 5.0 * m.chamber_j_per_k
            self.nodes["below"] = 0.5 * liner + 5.0 * m.chamber_j_per_k
            mixing = m.film_w_per_k * self._draw("mixing", 2.0, 8.0)
            self.links.append(("below", "air", mixing, 0.3 * m.film_m2))
            air = ["below", "air"]
        self._heat(air[0])
        self._wall(air, stores, loses)
        self._contents(air[0])
        self.links.append((air[-1], "room", loses * m.leak_w_per_k, 0.0))

    def _heat(self, to: str) -> None:
        m = self.model
        heavier = self._draw("elements", 0.7, 1.5)
        self.nodes["wire"] = heavier * max(m.element_j_per_k, 20.0)
        self.links.append(("wire", to, m.element_w_per_k, m.element_m2))
        if self._has("carrier"):
            self.nodes["carrier"] = self._draw("carrier", 1.0, 4.0) * m.element_j_per_k
            self.links.append(("wire", "carrier", 2.0 * m.element_w_per_k, m.element_m2))
            self.links.append(("carrier", to, 0.7 * m.element_w_per_k, 0.5 * m.element_m2))

    def _wall(self, air: list[str], stores: float, loses: float) -> None:
        m = self.model
        middle = 0.3 * self.oven.limits.highest_c
        held = [stores * c * (1.0 + s * middle) for c, s in zip(m.lining_j_per_k, m.capacity_rise_per_k, strict=True)]
        passes = [loses * g * (1.0 + r * middle) for g, r in zip(m.lining_w_per_k, m.rise_per_k, strict=True)]
        if self._has("shells"):
            # What the file has behind its insulation stays there.
            whole, resistance = sum(held), sum(1.0 / g for g in passes)
            inner, first = self._draw("inner shell", 1.0, 2.0), self._draw("inner resistance", 0.3, 0.5)
            shell = min(inner * sum(held[:3]), 0.6 * whole)
            held = [shell, whole - shell]
            passes = [1.0 / (first * resistance), 1.0 / ((1.0 - first) * resistance)]
        door = self._draw("door", 0.2, 0.4) if self._has("door") else 0.0
        before = None
        for i, (capacity, onward) in enumerate(zip(held, passes, strict=True)):
            name = f"wall {i}"
            self.nodes[name] = (1.0 - door) * capacity
            if before is None:
                for zone in air:
                    share = (1.0 - door) / len(air)
                    self.links.append((zone, name, share * m.film_w_per_k, share * m.film_m2))
            else:
                self.links.append((before, name, (1.0 - door) * passes[i - 1], 0.0))
            before = name
            if i == len(held) - 1:
                self.links.append((name, "room", (1.0 - door) * onward, 0.0))
        if door:
            self.nodes["door"] = 2.0 * door * sum(held[:-1])
            self.links.append((air[-1], "door", 0.5 * door * m.film_w_per_k, 0.5 * door * m.film_m2))
            self.links.append(("door", "room", door / sum(1.0 / g for g in passes), 0.0))

    def _contents(self, zone: str) -> None:
        m = self.model
        if m.contents_j_per_k > 0.0:
            self.nodes["load"] = self._draw("load", 0.5, 2.0) * m.contents_j_per_k
            self.links.append((zone, "load", m.contents_w_per_k, m.contents_m2))
        if self._has("hearth"):
            floor_m2 = self.oven.chamber.width_m * self.oven.chamber.depth_m
            self.nodes["hearth"] = floor_m2 * self._draw("hearth mm", 8.0, 22.0) * SLAB_J_PER_M2K_MM
            self.links.append((zone, "hearth", 5.0 * floor_m2, 0.3 * floor_m2))

    def advance(self, dt_s: float, duty, contactor_closed: bool) -> Reading:
        """See `kilnctl.plants.plant.Plant`."""
        share = duty if isinstance(duty, (int, float)) else sum(duty) / len(duty)
        watts = self.power_w * share if contactor_closed else 0.0
        left = dt_s
        while left > 1e-9:
            left -= self._step(watts, min(left, STEP_S))
        self.energy_j += watts * dt_s
        self.time_s += dt_s
        self._line.append(self.junction_c)
        control, meters = self.oven.sensors.control, self.oven.meters
        while len(self._line) > max(1, round(control.dead_time_s / dt_s)):
            self._line.popleft()
        volts = self.model.voltage_v
        truth = self.truth_c
        return Reading(
            chamber_c=self._line[0] + self.random.gauss(0.0, control.noise_k),
            limit_c=self.second_c if self.oven.sensors.limit else None,
            part_c=self.t.get("load", truth) if self.oven.sensors.part else None,
            cold_junction_c=self.room_c + 3.0,
            fired=share if contactor_closed else 0.0,
            supply_v=volts if meters.supply else None,
            current_a=self.power_w / volts if meters.current and watts > 0.0 else None,
            contactor_closed=contactor_closed if meters.contactor else None,
            door_open=False if self.oven.door.switch else None,
            airflow_proved=True,
        )

    def _step(self, watts: float, at_most_s: float) -> float:
        """One explicit sub-step; how long it is, s."""
        flow, gain = dict.fromkeys(self.names, 0.0), dict.fromkeys(self.names, 1e-9)
        flow["wire"] = watts
        flow["air"] += self.model.extra_w
        for one, other, conductance, area in self.links:
            a, b = self.t[one], self.room_c if other == "room" else self.t[other]
            q = conductance * (a - b)
            slope = conductance
            if area:
                ka, kb = a + ZERO_C, b + ZERO_C
                q += STEFAN_BOLTZMANN * area * (ka**4 - kb**4)
                slope += 4.0 * STEFAN_BOLTZMANN * area * max(ka, kb) ** 3
            flow[one] -= q
            gain[one] += slope
            if other != "room":
                flow[other] += q
                gain[other] += slope
        h = min(at_most_s, *(OF_CONSTANT * self.nodes[n] / gain[n] for n in self.names))
        for n in self.names:
            self.t[n] += h * flow[n] / self.nodes[n]
        control, limit = self.oven.sensors.control, self.oven.sensors.limit
        self.junction_c += (self.truth_c - self.junction_c) * h / (h + max(control.lag_s, 0.1))
        if limit is not None:
            self.second_c += (self.truth_c - self.second_c) * h / (h + max(limit.lag_s + limit.dead_time_s, 0.1))
        return h


def told(oven: Oven, seed: int) -> Oven:
    """The description as a builder writes it: without what stands on the floor, without meters in one of two."""
    bare = random.Random(f"{oven.name}/told/{seed}").random() < 0.5
    meters = replace(oven.meters, supply=False, current=False) if bare else oven.meters
    return replace(oven, shelf=None, meters=meters)
