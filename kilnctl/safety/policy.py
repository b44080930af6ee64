"""Thresholds and delays of the rules: safe defaults, from the description and the schedule, under ceilings that no file lifts."""

import math
from dataclasses import dataclass, fields

from ..errors import KilnctlError

#: What no configuration may exceed (or, for the second group, fall short of). Heat is refused outright beyond them.
CEILINGS = {
    "chamber_trip_c": 1360.0, "part_trip_c": 1360.0, "longest_s": 14 * 86400.0, "sensor_coast_s": 10.0, "stall_s": 2.5,
    "disagreement_share": 0.10, "frozen_s": 20.0, "cold_junction_high_c": 85.0, "no_rise_s": 1200.0, "unasked_rise_s": 300.0,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Policy:
    """One number for each threshold. Times in s, temperatures in °C, differences in K."""

    chamber_trip_c: float
    schedule_trip_c: float
    part_trip_c: float = math.inf
    longest_s: float = 48 * 3600.0
    most_energy_j: float = math.inf
    airflow_required: bool = False
    door_switch: bool = False
    has_limit_sensor: bool = False
    stall_s: float = 2.5
    clock_step_s: float = 5.0
    over_confirm_s: float = 2.0
    sensor_coast_s: float = 10.0
    wild_jump_k: float = 20.0
    disagreement_k: float = 40.0
    disagreement_share: float = 0.06
    disagreement_s: float = 60.0
    frozen_s: float = 15.0
    cold_junction_low_c: float = -20.0
    cold_junction_high_c: float = 80.0
    noise_rejects: float = 0.2
    noise_window_s: float = 30.0
    no_rise_s: float = 600.0
    no_rise_k: float = 5.0
    unasked_rise_s: float = 120.0
    unasked_rise_k: float = 6.0
    unexplained_share: float = 0.35
    unexplained_s: float = 240.0
    fall_k_per_s: float = 1.0
    airflow_s: float = 2.0
    contactor_s: float = 1.0

    def __post_init__(self):
        for name, ceiling in CEILINGS.items():
            value = getattr(self, name)
            if not (value <= ceiling or (name == "part_trip_c" and value == math.inf)):
                raise KilnctlError(f"safety: {name} = {value:g} is above {ceiling:g}, which no setting may lift")
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, float) and (math.isnan(value) or (value <= 0.0 and "cold_junction" not in f.name)):
                raise KilnctlError(f"safety: {f.name} = {value:g} must be above zero")


def policy_for(oven, schedule=None) -> Policy:
    """The rules' numbers for one oven and, if given, one schedule. Raises KilnctlError where ventilation cannot be proved."""
    limits = oven.limits
    trip = limits.trip_at_c
    schedule_trip, longest, energy, part, airflow = trip, limits.longest_s, limits.most_energy_j or math.inf, math.inf, False
    if limits.part_highest_c is not None:
        part = limits.part_highest_c
    if schedule is not None:
        if schedule.highest_c is not None:
            # As far above the schedule's own limit as the oven's trip stands above the oven's.
            schedule_trip = min(trip, schedule.highest_c + max(10.0, 0.02 * schedule.highest_c))
        longest = min(longest, schedule.longest_s or longest)
        energy = min(energy, schedule.most_energy_j or energy)
        part = min(part, schedule.part_highest_c + 10.0) if schedule.part_highest_c is not None else part
        airflow = schedule.flammable_vapour
        if airflow and not (oven.vent and oven.vent.proved):
            raise KilnctlError(f"{schedule.file or schedule.name}: the load gives off flammable vapour, and this oven has no proved "
                               "ventilation (vent: {flow: …, proved: yes}); without it such a load must not be heated")  # fmt: skip
    return Policy(chamber_trip_c=trip, schedule_trip_c=schedule_trip, part_trip_c=part, longest_s=longest, most_energy_j=energy,
                  airflow_required=airflow, door_switch=oven.door.switch, has_limit_sensor=oven.sensors.limit is not None)  # fmt: skip
