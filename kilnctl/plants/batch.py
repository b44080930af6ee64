"""Many ovens advanced together: the same heat balance with a batch axis, for studies.

All members need the same strips and element groups (the same kinds of faces, a shelf in all or none, a load
in all or none) and the same fan or none; everything else may differ. Doors stay shut and nothing breaks here:
use `VirtualOven` for that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..body import lag_share
from ..errors import KilnctlError
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.air import air
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C
from ..thermal.enclosure import SENSOR_DIAMETER_M, SENSOR_EMISSIVITY, ideal_sensor_c
from .assembly import WireFilm, assemble
from .balance import Body, Surroundings
from .chamber import Openings, check_contents, lining_water
from .conditions import Conditions, Variation
from .core import Core
from .moisture import Moisture, saturation_pa
from .property_tables import KNOTS, LOWEST_K, Films, Properties

_FLOW_STEP_K = 20.0


@dataclass(frozen=True)
class BatchReading:
    """What the sensors of every member show, °C, arrays over the batch; `part_c` None without a load and
    its sensor."""

    chamber_c: np.ndarray
    limit_c: np.ndarray | None
    part_c: np.ndarray | None


class OvenBatch:
    """`advance(dt_s, duty, contactor_closed)` with arrays over the members (numbers hold for all).

    Truth as arrays over the batch: chamber_c, air_c, radiant_c, element_c, part_c, part_core_c, power_w,
    energy_j, time_s.
    """

    def __init__(
        self,
        ovens: Sequence[Oven],
        loads: Sequence[Load | None] | None = None,
        seeds: Sequence[int] | None = None,
        *,
        conditions: Sequence[Conditions] | None = None,
        variations: Sequence[Variation] | None = None,
        nodes: int = 28,
        tolerance_k: float = 3.0,
    ):
        """One entry per member; `loads`, `conditions` and `variations` default to empty chambers as
        described, `seeds` to 0, 1, 2, …. Raises KilnctlError when the members cannot be advanced together."""
        count = len(ovens)
        self.size = count
        loads = list(loads or [None] * count)
        variations = list(variations or [Variation()] * count)
        self.conditions = list(conditions or [Conditions()] * count)
        seeds = list(range(count) if seeds is None else seeds)
        if not count or any(len(x) != count for x in (loads, variations, self.conditions, seeds)):
            raise KilnctlError("a batch needs at least one oven, and one load, seed, condition and variation for each")
        for o, load in zip(ovens, loads):
            check_contents(o, load)
        made = [assemble(o, load, v, nodes) for o, load, v in zip(ovens, loads, variations)]
        self.layout = made[0][2]
        for i, (_, _, layout, _) in enumerate(made):
            if layout != self.layout or (ovens[i].fan is None) != (ovens[0].fan is None):
                raise KilnctlError(f"member {i} of the batch has other faces, bodies, groups or fan than the first")
        self.ovens = list(ovens)
        ambient_c = np.array(
            [o.site.ambient_c if c.ambient_c is None else c.ambient_c for o, c in zip(ovens, self.conditions)]
        )
        start_c = np.array([a if c.start_c is None else c.start_c for a, c in zip(ambient_c, self.conditions)])
        body = stack([m[0] for m in made])
        water = [
            lining_water(o, m[0], c.lining_moisture, m[2], load)
            for o, m, c, load in zip(ovens, made, self.conditions, loads)
        ]
        vapour = np.array([c.room_humidity for c in self.conditions]) * saturation_pa(ambient_c + ZERO_C)
        free = () if self.layout.load is None else (self.layout.load,)
        self.moisture = Moisture(np.stack(water, axis=-1), free, vapour)
        self.core = Core(body, Surroundings(ambient_c + ZERO_C), start_c + ZERO_C, tolerance_k, self.moisture)
        self._flows = _FlowTables(ovens, variations, ambient_c)
        self._elements = [m[3] for m in made]
        self._factors = np.array(
            [
                [e.factor(t) / e.factor(o.limits.highest_c) for t in np.arange(0.0, 1720.0, 20.0)]
                for e, o in zip(self._elements, ovens)
            ]
        )
        self._melts_c = np.array([e.melts_c for e in self._elements])
        self.burnt = np.zeros((self.layout.groups, count), dtype=bool)
        self._rated_w = np.array([o.elements.power_w * v.power for o, v in zip(ovens, variations)]) / self.layout.groups
        seeds4 = [np.random.SeedSequence(s).spawn(4) for s in seeds]
        self._phases = np.array([np.random.default_rng(s[0]).uniform(0.0, 2.0 * np.pi, 3) for s in seeds4]).T
        self._drift = np.array([c.supply_drift for c in self.conditions])
        self._share = np.array([c.supply_share for c in self.conditions])
        speeds = [o.fan.air_speed_m_per_s if o.fan else 0.0 for o in ovens]
        self._sensor_films = Films([[WireFilm(SENSOR_DIAMETER_M, v) for v in speeds]])
        self.ambient_c, self.time_s = ambient_c, 0.0
        self.power_w = self.energy_j = np.zeros(count)
        self.core.before_block = self._before_block
        self.chamber_c = start_c.copy()
        self._before_block()
        self._probes = {}
        for k, name in ((1, "control"), (2, "limit"), (3, "part")):
            settings = [getattr(o.sensors, name) for o in ovens]
            if all(s is not None for s in settings) and not (name == "part" and self.layout.load is None):
                errors = [getattr(c, name) for c in self.conditions]
                self._probes[name] = _Probes(settings, errors, start_c, [s[k] for s in seeds4])
        self._heights = np.array([c.limit_height for c in self.conditions])

    def _before_block(self) -> None:
        core, around = self.core, self.core.around
        self._look()
        flows = self._flows.at(core.air_k, self._radiant_c)
        around.fan_w, around.vent_w_per_k, around.leak_w_per_k, around.bridges_w_per_k, around.port_m2, mixing = flows
        self._layers_k = (core.film_w_per_k * np.maximum(core.surfaces_k - core.air_k, 0.0)).sum(axis=0) / mixing
        self._lag_share = lag_share(self._film, _radiation_film(self.chamber_c))

    def _look(self) -> None:
        core = self.core
        self._film = self._sensor_films((self.chamber_c + ZERO_C)[None], core.air_k)[0]
        self._radiant_c = core.radiant_k - ZERO_C
        self.chamber_c = ideal_sensor_c(self._radiant_c, self.air_c, self._film)

    def advance(self, dt_s: float, duty, contactor_closed=True) -> BatchReading:
        """`dt_s` up to 5 s; `duty` 0..1 for each member; `contactor_closed` likewise (no delay here)."""
        if not 0.0 < dt_s <= 5.0:
            raise ValueError(f"dt_s must lie above 0 and not above 5, not {dt_s!r}")
        duty = np.broadcast_to(np.asarray(duty, dtype=float), (self.size,))
        if not (np.min(duty) >= 0.0 and np.max(duty) <= 1.0):
            raise ValueError("duty must lie from 0 to 1")
        core, a = self.core, self._phases
        t = self.time_s
        wander = 0.5 * np.sin(t / 97.0 + a[0]) + 0.3 * np.sin(t / 431.0 + a[1]) + 0.2 * np.sin(t / 2203.0 + a[2])
        share = self._share + self._drift * wander
        elements_c = core.surfaces_k[core.strips :] - ZERO_C
        at = np.clip(elements_c / 20.0, 0.0, self._factors.shape[1] - 1.001).astype(np.intp)
        members = np.arange(self.size)
        low = self._factors[members, at]
        factor = low + (elements_c / 20.0 - at) * (self._factors[members, at + 1] - low)
        self.burnt |= elements_c > self._melts_c
        watts = np.where(self.burnt, 0.0, self._rated_w * share**2 * duty * contactor_closed / factor)
        core.step(dt_s, watts)
        self.power_w = watts.sum(axis=0)
        self.energy_j = self.energy_j + dt_s * self.power_w
        self.time_s += dt_s
        self._look()
        room_c = self.ambient_c
        around = {"control": self.chamber_c}
        if "limit" in self._probes:
            around["limit"] = ideal_sensor_c(self._radiant_c, self.air_c + self._layers_k * self._heights, self._film)
        if "part" in self._probes:
            around["part"] = self.part_c
        seen = {
            n: p.advance(dt_s, around[n], self._lag_share if n != "part" else 1.0, room_c)
            for n, p in self._probes.items()
        }
        return BatchReading(seen["control"], seen.get("limit"), seen.get("part"))

    @property
    def air_c(self) -> np.ndarray:
        return self.core.air_k - ZERO_C

    @property
    def radiant_c(self) -> np.ndarray:
        return self._radiant_c

    @property
    def element_c(self) -> np.ndarray:
        return self.core.surfaces_k[self.core.strips :].max(axis=0) - ZERO_C

    @property
    def part_c(self) -> np.ndarray | None:
        return None if self.layout.load is None else self.core.nodes_k[0, self.layout.load] - ZERO_C

    @property
    def part_core_c(self) -> np.ndarray | None:
        return None if self.layout.load is None else self.core.nodes_k[-1, self.layout.load] - ZERO_C


def _radiation_film(t_c: np.ndarray) -> np.ndarray:
    """`thermal.surfaces.radiation_film` of the sheath to surroundings as hot as itself, arrays."""
    return 4.0 * SENSOR_EMISSIVITY * STEFAN_BOLTZMANN * (t_c + ZERO_C) ** 3


def stack(bodies: Sequence[Body]) -> Body:
    """One body with the batch as last axis. All need the same number of strips, nodes and groups."""
    if len({b.rows.shape for b in bodies}) > 1 or len({b.star.shape for b in bodies}) > 1:
        raise KilnctlError(
            "the ovens of a batch differ in their number of faces, layers or groups too much; use equal walls"
        )
    tables, offset = _joined([b.properties for b in bodies])

    def last(name: str) -> np.ndarray:
        return np.stack([np.asarray(getattr(b, name)) for b in bodies], axis=-1)

    element_row = np.array([b.element_row + o for b, o in zip(bodies, offset)])
    return replace(
        bodies[0],
        rows=np.stack([b.rows + o for b, o in zip(bodies, offset)], axis=-1),
        element_row=element_row,
        properties=tables,
        inner_films=_side_by_side([b.inner_films for b in bodies]),
        outer_films=_side_by_side([b.outer_films for b in bodies]),
        **{
            n: last(n)
            for n in (
                "per_length",
                "contact",
                "mass",
                "outer_area",
                "outer_emissivity",
                "element_mass",
                "surface_area",
                "star",
                "film_scale",
                "air_capacity",
            )
        },
    )


def _joined(tables: Sequence[Properties]) -> tuple[Properties, list[int]]:
    """Property tables one below the other (equal objects once) and the row at which each member's begin."""
    unique: dict[int, tuple[Properties, int]] = {}
    rows = 0
    for p in tables:
        if id(p) not in unique:
            unique[id(p)] = (p, rows)
            rows += p.enthalpy.size // KNOTS
    parts = [p for p, _ in unique.values()]
    names = ("enthalpy", "enthalpy_step", "integral", "integral_step")
    return Properties(*(np.concatenate([getattr(p, n) for p in parts]) for n in names)), [
        unique[id(p)][1] for p in tables
    ]


def _side_by_side(films: Sequence[Films]) -> Films:
    return Films([list(row) for row in zip(*(f.functions for f in films))])


class _FlowTables:
    """Vent, leak and bridges of every member against temperature, at its own ambient."""

    def __init__(self, ovens: Sequence[Oven], variations: Sequence[Variation], ambient_c: np.ndarray):
        self.first_c = -60.0
        grid = np.arange(self.first_c, 1700.0, _FLOW_STEP_K)
        rows = []
        for oven, variation, ambient in zip(ovens, variations, ambient_c.tolist()):
            openings, around = Openings(oven, variation), Surroundings(0.0)
            floor, speed = openings.floor_m2, openings.mixing_speed(oven.fan is not None)
            row = []
            for t in grid.tolist():
                openings.set_shut(around, t, t, ambient, oven.fan is not None, oven.vent is not None)
                here = air(max(t, LOWEST_K - ZERO_C + 1.0))
                carried = here.density_kg_m3 * here.heat_capacity_j_kgk * floor * speed
                row.append((around.vent_w_per_k, around.leak_w_per_k, around.bridges_w_per_k, carried))
            rows.append(row)
        self.table = np.array(rows)  # member, temperature, quantity
        self.fan_w = np.array([o.fan.power_w if o.fan else 0.0 for o in ovens])
        self.port_m2 = np.array([Openings(o, v).port_m2 for o, v in zip(ovens, variations)])
        self._members = np.arange(len(rows))

    def at(self, air_k: np.ndarray, radiant_c: np.ndarray):
        air = self._read(air_k - ZERO_C)
        return self.fan_w, air[:, 0], air[:, 1], self._read(radiant_c)[:, 2], self.port_m2, air[:, 3]

    def _read(self, t_c: np.ndarray) -> np.ndarray:
        position = (t_c - self.first_c) / _FLOW_STEP_K
        at = position.astype(np.intp)
        low = self.table[self._members, at]
        return low + (position - at)[:, None] * (self.table[self._members, at + 1] - low)


class _Probes:
    """The thermocouples of one kind of all members: lag, dead time, noise, rounding and systematic errors."""

    def __init__(self, settings, errors, start_c: np.ndarray, seeds):
        self.lag_s = np.array([s.lag_s for s in settings])
        self.dead_s = np.array([s.dead_time_s for s in settings])
        self.noise_k = np.array([s.noise_k for s in settings])
        self.step_c = np.array([0.25 if s.front_end == "max31855" else 2.0**-7 for s in settings])
        self.offset_k = np.array([e.offset_k for e in errors])
        self.gain = np.array([e.gain for e in errors])
        self.drift = np.array([e.drift_k_per_h for e in errors])
        self.generators = [np.random.default_rng(s) for s in seeds]
        self.junction_c = start_c.copy()
        self._around_c = start_c.copy()
        self._time_s = 0.0
        self._times, self._line = [0.0], [start_c.copy()]
        self._noise, self._left = np.empty((0, 0)), 0

    def advance(self, dt_s: float, around_c: np.ndarray, lag_share, room_c: np.ndarray) -> np.ndarray:
        lag = np.maximum(self.lag_s * lag_share, 1e-9 * dt_s + 1e-12)
        x = np.minimum(dt_s / lag, 700.0)
        decay = np.exp(-x)
        ramp = (1.0 - decay) / x
        self.junction_c = decay * self.junction_c + (ramp - decay) * self._around_c + (1.0 - ramp) * around_c
        self._around_c = around_c
        self._time_s += dt_s
        seen = self._delayed()
        if not self._left:
            self._noise = np.stack([g.standard_normal(256) for g in self.generators], axis=-1)
            self._left = 256
        self._left -= 1
        seen = (
            seen
            + self.offset_k
            + self.gain * seen
            + self.drift * self._time_s / 3600.0
            + self.noise_k * self._noise[self._left]
        )
        return np.round(seen / self.step_c) * self.step_c

    def _delayed(self) -> np.ndarray:
        self._times.append(self._time_s)
        self._line.append(self.junction_c)
        oldest = self._time_s - float(np.max(self.dead_s))
        while len(self._times) > 2 and self._times[1] <= oldest:
            self._times.pop(0)
            self._line.pop(0)
        wanted = np.maximum(self._time_s - self.dead_s, self._times[0])
        times = np.array(self._times)
        at = np.minimum(np.searchsorted(times, wanted, side="right") - 1, len(times) - 2)
        line = np.stack(self._line)
        members = np.arange(len(wanted))
        a, b = line[at, members], line[at + 1, members]
        return a + (b - a) * (wanted - times[at]) / (times[at + 1] - times[at])
