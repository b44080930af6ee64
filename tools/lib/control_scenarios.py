"""What happens to the workshop's ovens in tools/bench/control: schedules and disturbances for any oven with the
temperatures of `scenarios.py`, and one run of one controller."""

import copy
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scenarios import oven_file

from kilnctl import VirtualOven, control, load_oven
from kilnctl.control import reference
from kilnctl.control.simc import Tuning, by_tangent
from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import SURE, Unsure
from kilnctl.model.energy import EnergyModel
from kilnctl.plants.conditions import Conditions
from kilnctl.settings.construction import Load
from kilnctl.settings.oven import Oven
from kilnctl.settings.schedule import Schedule, Step

#: Seed of the virtual oven, so that supply and sensor noise are the same for all controllers; and of the oven for the
#: learning run.
SEED, LEARNING_SEED = 5, 11
#: The true oven's sensor noise in every scenario, K.
NOISE_K = 0.15


@dataclass(frozen=True)
class Scenario:
    """`group`: "plain" (nothing unforeseen), "disturbed" (the oven does something the controller was not told), "wrong
    model" (it was told wrongly). `disturb(plant, t)` acts on the oven from `event_s` on; `blocked(t)`: safety cuts the
    heat, of the bound too; `blind(t)`: no reading; `ends_s`: when the cause is over; `load`, `start_c`, `plant_oven`
    alter the oven, `model` what the controller believes; `at_low`: PI and PID are tuned at the low working temperature;
    `grid_s`: of the bound's first grid."""

    name: str
    group: str
    steps: tuple[Step, ...]
    seconds: int
    event_s: int | None = None
    ends_s: int | None = None
    disturb: Callable[[VirtualOven, int], None] = lambda plant, t: None
    blocked: Callable[[int], bool] = lambda t: False
    blind: Callable[[int], bool] = lambda t: False
    load: Callable[[Load | None], Load | None] = lambda load: load
    start_c: float | None = None
    supply_drift: float = 0.0
    plant_oven: Callable[[Oven], Oven] = lambda oven: oven
    model: Callable[[EnergyModel], EnergyModel] = lambda m: m
    at_low: bool = False
    grid_s: float = 10.0


def control_scenarios(top: float, low: float, settled_s: int) -> list[Scenario]:
    """All of them for one oven: `top` and `low` are working temperatures, °C; a disturbance comes at settled_s, when
    the soak has long been settled."""
    event, end = settled_s, settled_s + 1800
    soak = (Step(to_c=top, hold_s=12 * 3600.0, within_k=5.0),)
    # A slower oven gets slower ramps: a ramp that it cannot follow would show its power and not its control.
    ramp_s = settled_s * 2 // 3
    ramps = (
        Step(to_c=0.5 * top, at_k_per_s=0.5 * top / ramp_s, hold_s=900.0, within_k=5.0),
        Step(to_c=0.8 * top, at_k_per_s=0.3 * top / ramp_s, hold_s=3600.0, within_k=5.0),
    )
    # A very wide band, so that the steps come by the clock, at the same moment for all controllers. The goal
    # (`goal_of`) jumps where the bound's grid has a new power: otherwise the bound could begin early.
    small = (
        Step(to_c=low, hold_s=settled_s + 1.0, within_k=1e4),
        Step(to_c=low + 10.0, hold_s=1499.0, within_k=1e4),
        Step(to_c=low + 5.0, hold_s=3600.0, within_k=1e4),
    )
    long = (
        Step(to_c=0.4 * top, at_k_per_s=0.4 * top / 7200.0, hold_s=3600.0, within_k=5.0),
        Step(to_c=top, at_k_per_s=0.6 * top / 10800.0, hold_s=7200.0, within_k=5.0),
        Step(to_c=0.9 * top, at_k_per_s=0.1 * top / 3600.0, hold_s=3 * 3600.0, within_k=5.0),
    )

    def door_open(t: int) -> bool:
        return event <= t < event + 30

    def sensor_gone(t: int) -> bool:
        return event <= t < event + 20

    def open_the_door(plant: VirtualOven, t: int) -> None:
        plant.door_opening = 1.0 if door_open(t) else 0.0

    def sag(plant: VirtualOven, t: int) -> None:
        plant.supply_share = 0.94 if t >= event else 1.0

    return [
        Scenario("cold step", "plain", soak, end),
        Scenario("two ramps", "plain", ramps, 2 * ramp_s + 2400, at_low=True),
        Scenario("small steps", "plain", small, settled_s + 3300, at_low=True),
        Scenario("warm start", "plain", soak, end, start_c=0.6 * top),
        Scenario("ten hours", "plain", long, 36000, grid_s=40.0),
        Scenario("door 30 s", "disturbed", soak, end, event, event + 30, open_the_door, door_open),
        Scenario("supply -6 %", "disturbed", soak, end, event, event, sag),
        Scenario("sag, no meter", "disturbed", soak, end, event, event, sag, plant_oven=without_meters),
        Scenario("supply wanders", "disturbed", soak, end, supply_drift=0.01),
        Scenario("sensor gap", "disturbed", soak, end, event, event + 20, blocked=sensor_gone, blind=sensor_gone),
        Scenario("load x4", "disturbed", soak, end + 1800, load=heavier),
        Scenario("no load", "disturbed", soak, end, load=lambda load: None),
        Scenario("model +30 %", "wrong model", soak, end, model=wrong_by(0.3)),
        Scenario("model -30 %", "wrong model", soak, end, model=wrong_by(-0.3)),
        Scenario("dead time x2", "wrong model", soak, end, plant_oven=later),
    ]


def heavier(load: Load | None) -> Load | None:
    if load is None:
        return None
    return replace(load, mass_kg=4.0 * load.mass_kg, area_m2=2.0 * load.area_m2)


def wrong_by(share: float) -> Callable[[EnergyModel], EnergyModel]:
    """The lining's capacity wrong one way and the power the other: both push the landing the same way."""
    return lambda m: m.but(
        lining_j_per_k=tuple(v * (1.0 + share) for v in m.lining_j_per_k), power_w=m.power_w * (1.0 - share)
    )


def without_meters(oven: Oven) -> Oven:
    return replace(oven, meters=replace(oven.meters, supply=False, current=False))


def later(oven: Oven) -> Oven:
    control_sensor = replace(oven.sensors.control, dead_time_s=2.0 * oven.sensors.control.dead_time_s)
    return replace(oven, sensors=replace(oven.sensors, control=control_sensor))


def oven_named(name: str) -> Oven:
    """The workshop's oven, with the bench's sensor noise."""
    oven = load_oven(oven_file(name))
    return replace(oven, sensors=replace(oven.sensors, control=replace(oven.sensors.control, noise_k=NOISE_K)))


def plant_of(oven: Oven, scenario: Scenario) -> VirtualOven:
    return VirtualOven(
        scenario.plant_oven(oven),
        load=scenario.load(oven.usual_load),
        seed=SEED,
        conditions=Conditions(start_c=scenario.start_c, supply_drift=scenario.supply_drift),
    )


def goal_of(oven: Oven, scenario: Scenario) -> np.ndarray:
    """(seconds,) the reference by which all controllers are judged, °C: the schedule without waiting, from the first
    reading on (all see the same one), at the end of each second of `run`."""
    legs = reference.legs_of(Schedule(name=scenario.name, steps=scenario.steps, soak_counts="from arrival"))
    p, line = reference.begin(legs, plant_of(oven, scenario).advance(1.0, 0.0, True).chamber_c), []
    for _ in range(scenario.seconds + 1):
        p = reference.advance(legs, p, p.reference_c, 1.0, True)
        line.append(p.reference_c if p.reference_c == p.reference_c else line[-1])
    return np.array(line[1:])


def tuned_on_the_oven(oven: Oven, at_c: float) -> tuple[Tuning, Tuning]:
    """SIMC PI and PID of the true oven at a working temperature. A PI tuned on the description's model holds it there
    for an hour; then one copy goes on with the mean duty and another with 5 % of full power more: the same noise in
    both cancels in their difference."""
    model = day_zero(oven, oven.usual_load, at_c)
    plant = VirtualOven(oven, load=oven.usual_load, seed=SEED, conditions=Conditions(start_c=at_c, supply_drift=0.0))
    programme = control.programme_of(
        oven, Schedule(name="step test", steps=(Step(to_c=at_c, hold_s=1e5),)), model, at_c
    )
    pi = control.Plain("pi")
    reading = plant.advance(1.0, 0.0, True)
    state, duties = pi.start(programme, reading), []
    for _ in range(3600):
        state, d = pi.step(programme, state, control.StepInput(reading, 1.0))
        duties.append(d.duty)
        reading = plant.advance(1.0, d.duty, True)
    steady = float(np.mean(duties[-900:]))
    other = copy.deepcopy(plant)
    rise = [
        other.advance(1.0, steady + 0.05, True).chamber_c - plant.advance(1.0, steady, True).chamber_c
        for _ in range(1800)
    ]
    # Every eighth second: conversion steps of the front end are small against the rise between them.
    every = 8
    # The rise after half an hour stands for the static gain: the rule takes the smaller integral time anyway.
    static = rise[-1] / (0.05 * model.power_w)
    pi, pid = (
        by_tangent(
            rise[every - 1 :: every],
            float(every),
            0.05 * model.power_w,
            static,
            oven.sensors.control.dead_time_s,
            0.0,
            d,
        )
        for d in (False, True)
    )
    return pi, pid


def run(
    oven: Oven, scenario: Scenario, controller: control.AnyController, model: EnergyModel, unsure: Unsure = SURE
) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
    """(chamber °C, duty, the step's processor time µs) each second, and kWh, of one controller on one scenario.
    `unsure`: how wrong the control takes its model to be."""
    plant = plant_of(oven, scenario)
    schedule = Schedule(name=scenario.name, steps=scenario.steps, soak_counts="from arrival", too_fast="stretch")
    programme = control.programme_of(oven, schedule, scenario.model(model), plant.chamber_c, unsure=unsure)
    reading = plant.advance(1.0, 0.0, True)
    state = controller.start(programme, reading)
    chamber, duty, cost, asked = [], [], [], 0.0
    for t in range(scenario.seconds):
        blind = scenario.blind(t)
        seen = replace(reading, chamber_c=float("nan"), faults=("open",)) if blind else reading
        given = control.StepInput(seen, 1.0, asked, usable=not blind)
        began = time.thread_time()
        state, d = controller.step(programme, state, given)
        cost.append(time.thread_time() - began)
        scenario.disturb(plant, t)
        asked = 0.0 if scenario.blocked(t) else d.duty
        reading = plant.advance(1.0, asked, True)
        chamber.append(plant.chamber_c)
        duty.append(asked)
    return np.array(chamber), np.array(duty), np.array(cost) * 1e6, plant.energy_j / 3.6e6
