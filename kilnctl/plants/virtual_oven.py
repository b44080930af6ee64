"""The virtual oven: heat balance, electrics, sensors and faults behind the plant protocol."""

import math
from collections.abc import Sequence

import numpy as np

from ..body import Heater, lag_share
from ..errors import KilnctlError
from ..reading import Reading
from ..settings.construction import Load
from ..settings.oven import Oven
from ..thermal.constants import ZERO_C
from ..thermal.enclosure import SENSOR_EMISSIVITY, sensor_film
from ..thermal.surfaces import radiation_film
from .assembly import assemble
from .balance import EnergyLedger, Surroundings
from .chamber import Environment, OpeningFlows, check_contents, check_fan, ideal_sensor, moisture_at_start
from .conditions import AS_DESCRIBED, USUAL_DAY, Conditions, Variation
from .core import Core
from .electrics import Electrics
from .guards import MELTING_STEP_K, beyond_range, parts_to_melt
from .injection import PlantFault, check_faults
from .moisture import Drying
from .plant import check_command
from .probes import Probe, emf_table
from .settling import settle

#: An I/O board without requests switches the heat off after this time, s.
BOARD_LEASE_S = 0.5
#: Largest power over its rating: high voltage, low resistance (an estimate).
MOST_POWER = 1.3
#: The thermocouples' terminals are warmer than the room by this much, K, plus this share of the shell's rise above the
#: room (estimates for terminals in a box on the shell).
TERMINALS_ABOVE_K, TERMINALS_SHARE = 3.0, 0.15

#: The ideal sensor's film is computed again when its difference to the air has changed by this much, K, and by this
#: share: the film depends on the fourth root of it.
FILM_MOVED_K, FILM_MOVED_SHARE = 0.3, 0.1

#: Shares of load and chamber in the reading of a sensor that touches the load (an estimate).
TOUCHING = (0.9, 0.1)

_LOOP_STALL, _CLOCK_JUMP, _BOARD_LOST = "loop stalled", "clock jump", "board lost"


class VirtualOven:
    """A plant made from a description. Everything that happens in it follows from the arguments and the calls: the same
    seed gives the same readings bit for bit; it can be pickled at any moment and continued.

    Truth, for records and tests (a controller sees only the `Reading`): time_s; chamber_c (see `kilnctl.plants`),
    air_c, radiant_c; element_c (hottest group), elements_c; part_c (surface of the load) and part_core_c, None without
    a load; shell_c {face: °C}; power_w; energy_j (electric); ledger_j() {name: J}; water_kg; vapour_share; supply_v;
    contactor_closed; electrics.burnt (an element that melts stays open); loop_stalled and clock_jump_s for the loop
    that drives it.

    Settable at any time: door_opening (0..1), ambient_c, fan_running, vent_running, supply_share, faults (via
    `inject`).
    """

    #: Longer ticks than this are cut into equal parts, s.
    longest_step_s = 5.0

    def __init__(
        self,
        oven: Oven,
        load: Load | None = None,
        seed: int = 0,
        *,
        faults: Sequence[PlantFault] = (),
        conditions: Conditions = USUAL_DAY,
        variation: Variation = AS_DESCRIBED,
        nodes: int = 28,
        split: int = 1,
        tolerance_k: float = 3.0,
        corrected: bool = True,
    ):
        """`load` None: the chamber holds nothing but its shelf. `nodes`, `split` and `tolerance_k` set the
        resolution. `corrected`: readings are as a rig hands them on, with the sensors' calibration; False: as the
        converters give them."""
        self._corrected = corrected
        self.oven, self.load, self.conditions, self.variation = oven, load, conditions, variation
        check_contents(oven, load)
        made = assemble(oven, load, variation, nodes, split)
        self.layout, self.elements = made.layout, made.heater
        self._bodies = (made.still, made.stirred)
        check_fan(oven, made.stirred, oven.site.ambient_c + ZERO_C)
        check_faults(tuple(faults), self.layout.groups)
        self.faults: tuple[PlantFault, ...] = tuple(faults)
        self.time_s = self.energy_j = self.power_w = 0.0
        self.supply_v, self.current_a, self.fired = oven.supply.voltage_v, 0.0, 0.0
        self.ambient_c = oven.site.ambient_c if conditions.ambient_c is None else conditions.ambient_c
        self.door_opening, self.supply_share = 0.0, conditions.supply_share
        self.fan_running, self.vent_running = oven.fan is not None, oven.vent is not None
        self._lost_s = 0.0
        start_c = self.ambient_c if conditions.start_c is None else conditions.start_c
        seeds = np.random.SeedSequence(seed).spawn(4)
        self._phases = np.random.default_rng(seeds[0]).uniform(0.0, 2.0 * math.pi, 3).tolist()
        full_w = oven.elements.power_w * variation.power
        delay_s = oven.switching.contactor_delay_s
        self.electrics = Electrics(oven.supply.voltage_v, full_w, self.layout.groups, delay_s)
        self._element_k_per_s = _fastest_rise_k_per_s(self.elements, full_w, variation.element_mass)
        self._hot_factor = self.elements.factor(oven.limits.highest_c)
        self.openings = OpeningFlows(oven, variation)
        self.moisture = moisture_at_start(oven, load, made.stirred, made.layout, conditions, self.ambient_c)
        self.core = Core(
            self._bodies[self.fan_running],
            Surroundings(self.ambient_c + ZERO_C),
            start_c + ZERO_C,
            tolerance_k,
            self.moisture,
        )
        self.core.before_block = self._before_block
        self.chamber_c = start_c
        self._settings = self._environment()
        self._before_block()
        self._probes = self._thermocouples(start_c, seeds[1:])

    def _thermocouples(self, start_c: float, seeds: Sequence[np.random.SeedSequence]) -> list[tuple[str, Probe]]:
        """The thermocouples of the oven, by name, the control thermocouple first."""
        sensors, errors = self.oven.sensors, self.conditions
        wanted = (
            ("control", sensors.control, errors.control, seeds[0]),
            ("limit", sensors.limit, errors.limit, seeds[1]),
            ("part", sensors.part, errors.part, seeds[2]),
        )
        return [
            (name, Probe(sensor, emf_table(sensor.type), start_c, np.random.default_rng(seed), wrong))
            for name, sensor, wrong, seed in wanted
            if sensor is not None
        ]

    # ---- the plant protocol --------------------------------------------------------------------------------

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """Let `dt_s` s pass; see `Plant.advance`. Raises ValueError for a command that no hardware can carry out."""
        groups = self.layout.groups
        duties = [float(duty)] * groups if isinstance(duty, (int, float)) else [float(d) for d in duty]
        if len(duties) != groups:
            raise ValueError(f"duty: {len(duties)} values for {groups} element group(s)")
        check_command(dt_s, duties)
        if self.faults and any(f.kind == _BOARD_LOST and f.acts_at(self.time_s) for f in self.faults):
            self._lost_s += dt_s
            if self._lost_s > BOARD_LEASE_S:
                duties, contactor_closed = [0.0] * groups, False
        else:
            self._lost_s = 0.0
        parts = 1 if dt_s <= self.longest_step_s else math.ceil(dt_s / self.longest_step_s)
        rise_k = self._element_k_per_s * dt_s * (1.0 if self.faults else max(duties))
        if rise_k > MELTING_STEP_K and not all(self.electrics.burnt or (False,)):
            parts = max(parts, parts_to_melt(rise_k, self.element_c, self.elements.melts_c))
        fired = mean_a = 0.0
        reading = None
        for _ in range(parts):
            active = [f for f in self.faults if f.acts_at(self.time_s)] if self.faults else ()
            try:
                self._heat(dt_s / parts, duties, bool(contactor_closed), active)
            except ValueError as error:
                raise KilnctlError(beyond_range(self, error)) from error
            fired += self.fired / parts
            mean_a += self.power_w / self.supply_v / parts if self.supply_v > 0.0 else 0.0
            reading = self._sense(dt_s / parts, active, fired, mean_a)
        if reading is None or self._lost_s > 0.0:
            return Reading(chamber_c=math.nan, faults=("board-lost",))
        return reading

    def _heat(self, dt: float, duties: list[float], coil: bool, active: Sequence[PlantFault]) -> None:
        core = self.core
        environment = self._environment(active)
        if environment != self._settings:
            self._settings = environment
            core.refresh()
        facts, hot = self.elements, self._hot_factor
        elements_k = core.surfaces_k[core.strips :].tolist()
        factors = [facts.factor(k - ZERO_C) / hot for k in elements_k]
        for group, kelvin in enumerate(elements_k):
            if kelvin - ZERO_C > facts.melts_c:
                self.electrics.burn(group)
        share = self.supply_share + self._drift() if self.conditions.supply_drift else self.supply_share
        watts, self.fired, self.supply_v, self.current_a = self.electrics.advance(
            dt, duties, coil, share, factors, active
        )
        core.step(dt, np.array(watts))
        self.power_w = sum(watts)
        self.energy_j += self.power_w * dt
        self.time_s += dt
        self._radiant_k = core.radiant_k
        self.chamber_c = ideal_sensor(self._radiant_k, core.air_k, self._sensor_film) - ZERO_C
        moved_k = abs(self.chamber_c - self.air_c - self._film_at)
        if moved_k > FILM_MOVED_K + FILM_MOVED_SHARE * abs(self._film_at):
            self._watch_chamber()

    def _drift(self) -> float:
        """Slow variation of the supply voltage: three incommensurate periods, share of nominal."""
        a, b, c = self._phases
        t = self.time_s
        return self.conditions.supply_drift * (
            0.5 * math.sin(t / 97.0 + a) + 0.3 * math.sin(t / 431.0 + b) + 0.2 * math.sin(t / 2203.0 + c)
        )

    def _sense(self, dt: float, active: Sequence[PlantFault], fired: float, mean_a: float) -> Reading:
        room_c = self._settings.ambient_c
        terminals_c = room_c + TERMINALS_ABOVE_K + TERMINALS_SHARE * (self._shell_mean_c - room_c)
        seen: dict[str, float] = {}
        words: tuple[str, ...] = ()
        cold_c = None
        for name, probe in self._probes:
            mine = [f for f in active if f.sensor == name] if active else ()
            lag = 1.0 if name == "part" else self._lag_share
            value, said, cold = probe.advance(dt, self._around(name, active), lag, terminals_c, room_c, mine)
            seen[name] = probe.settings.corrected_c(value) if self._corrected else value
            if name == "control":
                cold_c = cold
                words += said
            else:
                words += tuple([f"{name}-{word}" for word in said]) if said else ()
        oven, meters = self.oven, self.oven.meters
        return Reading(
            chamber_c=seen["control"],
            limit_c=seen.get("limit"),
            part_c=seen.get("part"),
            cold_junction_c=cold_c,
            faults=words,
            fired=fired if meters.current else None,
            supply_v=self.supply_v if meters.supply else None,
            current_a=self.current_a if meters.current else None,
            contactor_closed=self.electrics.closed if meters.contactor else None,
            door_open=self._settings.door > 0.0 if oven.door.switch else None,
            airflow_proved=self._settings.vent if oven.vent is not None and oven.vent.proved else None,
            sample=self._probes[0][1].sample,
            mean_current_a=mean_a if meters.current else None,
        )

    def _around(self, name: str, active: Sequence[PlantFault]) -> float:
        """The surroundings of that thermocouple: the final temperature of its sheath, °C."""
        if active and name != "limit" and any(f.kind == "control and part sensors swapped" for f in active):
            name = "part" if name == "control" else "control"
        if name == "limit":
            layers = self._stratification_k * self.conditions.limit_height
            return ideal_sensor(self._radiant_k, self.core.air_k + layers, self._sensor_film) - ZERO_C
        if name == "control" and not active:
            return self.chamber_c
        part = self.part_c
        if part is None or name == "part":
            return self.chamber_c if part is None else part
        if any(f.kind == "load against the sensor" for f in active):
            return TOUCHING[0] * part + TOUCHING[1] * self.chamber_c
        return self.chamber_c

    # ---- what acts from outside ----------------------------------------------------------------------------

    def _environment(self, active: Sequence[PlantFault] = ()) -> Environment:
        door, fan, vent = self.door_opening, self.fan_running, self.vent_running
        for fault in active:
            if fault.kind == "door open":
                door = max(door, fault.extent)
            elif fault.kind == "fan stopped":
                fan = False
            elif fault.kind == "ventilation lost":
                vent = False
        return Environment(self.ambient_c, door, fan, vent)

    def _before_block(self) -> None:
        """Flows, films of the sensors and layering, at the temperatures now; called by the core before each block."""
        core, now = self.core, self._settings
        core.body = self._bodies[now.fan]
        self._watch_chamber()
        air_c = self.air_c
        self.openings.set(core, self.layout.door, self.radiant_c, air_c, now)
        self._stratification_k = self.openings.stratification_k(core, air_c, now.fan)
        radiation = radiation_film(self.chamber_c, self.chamber_c + 0.1, SENSOR_EMISSIVITY)
        self._lag_share = lag_share(self._sensor_film, radiation)
        self._shell_mean_c = float(core.nodes_k[-1, : len(self.oven.faces)].mean()) - ZERO_C

    def _watch_chamber(self) -> None:
        """The chamber temperature, °C, with the ideal sensor's film at the temperatures now."""
        speed = self.oven.fan.air_speed_m_per_s if self._settings.fan and self.oven.fan else 0.0
        self._radiant_k = self.core.radiant_k
        for _ in range(2):  # the film depends little on the temperature of the sensor itself
            self._sensor_film = sensor_film(self.chamber_c, self.air_c, speed)
            self.chamber_c = ideal_sensor(self._radiant_k, self.core.air_k, self._sensor_film) - ZERO_C
        self._film_at = self.chamber_c - self.air_c

    def inject(self, fault: PlantFault) -> None:
        """Add a fault; its times are on the scale of `time_s`."""
        check_faults((fault,), self.layout.groups)
        self.faults = (*self.faults, fault)

    # ---- a hot start ---------------------------------------------------------------------------------------

    def settle(self, power_w: float) -> float:
        """Put everything into the steady state under a steady `power_w`, as after days of it; returns the chamber
        temperature, °C.

        Time, energy and faults do not advance, nothing wet dries, and the ledger starts from zero.
        """
        core = self.core
        watts = np.full(self.layout.groups, power_w / self.layout.groups)
        moisture, core.moisture = core.moisture, None
        settle(core, watts)
        core.moisture = moisture
        core.ledger = EnergyLedger(walls=np.zeros_like(core.ledger.walls))
        self._watch_chamber()
        self._before_block()
        for name, probe in self._probes:
            probe.settle(self.part_c if name == "part" and self.part_c is not None else self.chamber_c)
        return self.chamber_c

    # ---- the loop's own faults -----------------------------------------------------------------------------

    @property
    def loop_stalled(self) -> bool:
        """A "loop stalled" fault acts now: the loop that drives this plant should skip its decisions."""
        return bool(self.faults) and any(f.kind == _LOOP_STALL and f.acts_at(self.time_s) for f in self.faults)

    @property
    def clock_jump_s(self) -> float:
        """Sum of the clock jumps so far: what the loop should add to its measured time."""
        return (
            sum(f.extent for f in self.faults if f.kind == _CLOCK_JUMP and f.start_s <= self.time_s)
            if self.faults
            else 0.0
        )

    # ---- truth ---------------------------------------------------------------------------------------------

    def _node_c(self, strip: int, depth: int) -> float:
        return float(self.core.nodes_k[depth, strip]) - ZERO_C

    @property
    def air_c(self) -> float:
        return float(self.core.air_k) - ZERO_C

    @property
    def radiant_c(self) -> float:
        return float(self.core.radiant_k) - ZERO_C

    @property
    def elements_c(self) -> tuple[float, ...]:
        return tuple((self.core.surfaces_k[self.core.strips :] - ZERO_C).tolist())

    @property
    def element_c(self) -> float:
        return max(self.elements_c)

    @property
    def part_c(self) -> float | None:
        return None if self.layout.load is None else self._node_c(self.layout.load, 0)

    @property
    def part_core_c(self) -> float | None:
        return None if self.layout.load is None else self._node_c(self.layout.load, -1)

    @property
    def shell_c(self) -> dict[str, float]:
        return {n: self._node_c(i, -1) for i, n in enumerate(self.layout.names) if n not in ("shelf", "load")}

    @property
    def water_kg(self) -> float:
        return float(self.moisture.water_kg.sum())

    @property
    def vapour_share(self) -> float:
        """Share of water vapour in the chamber's air by volume; as it was when the last water left, afterwards."""
        return self.moisture.humidity.share

    @property
    def drying(self) -> Drying | None:
        """How the load has dried so far; None for one that was dry from the start."""
        return self.moisture.drying

    @property
    def contactor_closed(self) -> bool:
        return self.electrics.closed

    def ledger_j(self) -> dict[str, float]:
        """Energy since the start, J, by name: 'elements' and 'fan' came in, the others left. The difference is
        stored."""
        self.core.refresh()
        led = self.core.ledger
        faces = {
            f"{n} wall": float(w)
            for n, w in zip(self.layout.names, led.walls, strict=True)
            if n not in ("shelf", "load")
        }
        others = {
            k: float(getattr(led, k)) for k in ("vent", "leak", "door", "port", "bridges", "latent", "water", "vapour")
        }
        return {"elements": float(led.elements), "fan": float(led.fan), **faces, **others}

    def stored_j(self) -> float:
        """Heat stored in everything, J, from its temperatures alone; differences of it are meaningful."""
        self.core.refresh()
        return float(self.core.stored_j())


def _fastest_rise_k_per_s(heater: Heater, full_w: float, mass_factor: float) -> float:
    """How fast the elements warm up at full power when nothing takes their heat, K/s."""
    capacity = heater.mass_kg * mass_factor * heater.material.heat_capacity(20.0)
    return MOST_POWER * full_w / capacity
