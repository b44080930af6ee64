"""Thresholds and delays of the rules: safe defaults, which description and schedule may change within bounds that no
file can move. It imports nothing of `settings`, so that `settings` can take its bounds from here."""

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, TypedDict

from ..errors import KilnctlError
from .coolest import LumpedOven, wrong_ovens
from .model_rates import ThermalModel, fastest_k_per_s, least_rise_k, near_elements_k_per_s
from .possible_loads import Pairs, wrong_loads
from .schedule_trip import schedule_trip_c
from .ventilation import purge_s, vapour_sum, ventilation_of

if TYPE_CHECKING:
    from ..settings.equipment import Sensor
    from ..settings.oven import Oven, Safety
    from ..settings.schedule import Schedule

#: A room warms no faster than this, K/s (3 K in an hour).
WARMS_K_PER_S = 3.0 / 3600.0  # ±30 %: none
#: Full-power seconds, and the rise, K, that they must give an oven that is not slow.
NO_RISE_S, NO_RISE_K = 600.0, 5.0  # ±30 %: none
#: What no configuration may exceed (°C, K, s, shares of full power, as the names say). A policy beyond any of them, or
#: below HARD_FLOORS, cannot be made, so there is no heat with it.
HARD_CEILINGS = {
    "chamber_trip_c": 1360.0,
    "schedule_trip_c": 1360.0,
    "part_trip_c": 1360.0,
    "longest_s": 14 * 86400.0,
    "stall_s": 2.5,
    "over_confirm_s": 5.0,
    "sensor_coast_s": 10.0,
    "wild_jump_k": 40.0,
    "disagreement_share": 0.10,
    "disagreement_k": 60.0,
    "disagreement_s": 180.0,
    "frozen_s": 20.0,
    "identical_s": 120.0,
    "cold_junction_high_c": 85.0,
    "cold_junction_jump_k": 10.0,
    "noise_k": 10.0,
    "noise_rejects": 8.0,
    "no_rise_s": 1200.0,
    "unasked_rise_s": 300.0,
    "unasked_rise_k": 15.0,
    "unexplained_share": 0.5,
    "second_lag_s": 660.0,
    "excess_share_s": 60.0,
    "warms_k_per_s": 0.5,
    "rise_k_per_s": 40.0,
    "fall_k_per_s": 20.0,
    "fall_s": 600.0,
    "airflow_s": 10.0,
    "contactor_s": 3.0,
    "unasked_on_s": 10.0,
    "outage_s": 1800.0,
    "clock_step_s": 60.0,
    "wild_k_per_s": 200.0,
    "explained_per_fired": 0.6,
    "missing_share_s": 600.0,
    "board_ceiling_c": 1400.0,
}
#: Least values, where less is less safe: a purge that does not purge, jumps forgotten before they are counted, a rise
#: so small that the room's warming counts as one, terminals colder than any workshop.
HARD_FLOORS = {
    "purge_s": 30.0,
    "noise_window_s": 15.0,
    "no_rise_k": 2.0,
    "cold_junction_low_c": -40.0,
    "second_lag_s": -660.0,
}
#: What the `safety:` section of an oven file may set, and nothing else, with the least and the most that it takes.
SETTABLE = {
    "sensor_coast_s": (1.0, HARD_CEILINGS["sensor_coast_s"]),
    "disagreement_k": (5.0, HARD_CEILINGS["disagreement_k"]),
    "disagreement_s": (10.0, HARD_CEILINGS["disagreement_s"]),
    "no_rise_s": (60.0, HARD_CEILINGS["no_rise_s"]),
    "unasked_rise_k": (3.0, HARD_CEILINGS["unasked_rise_k"]),
    "stall_s": (0.3, HARD_CEILINGS["stall_s"]),
    "airflow_s": (0.5, HARD_CEILINGS["airflow_s"]),
    "purge_s": (HARD_FLOORS["purge_s"], 7200.0),
}
#: These are no numbers but ovens in lumps.
OVENS = ("coolest", "envelope", "loads", "placed")
#: These may be infinite: there is no such limit.
UNLIMITED = ("part_trip_c", "identical_s")
#: These may be 0 or below.
SIGNED = ("cold_junction_low_c", "second_lag_s")
#: Converter → step of its result, K, and the shortest wait for a bit to move, s.
STEPS = {"max31855": (0.25, 120.0), "max31856": (2.0**-7, 15.0)}
#: Highest probability of a false alarm by identical answers, for each tick.
REPEATED_BY_CHANCE = 1e-9  # ±30 %: none
#: Answers further apart than this, s, come from different conversions: every converter converts at least this often.
CONVERSION_S = 0.25  # ±30 %: none
#: The heat is cut when a part is this far above its limit, K, because a schedule may go up to the limit itself.
PART_MARGIN_K = 10.0  # ±30 %: none
#: A gap between two ticks longer than this many ticks counts as a stall.
GAP_TICKS = 1.2  # ±30 %: none
#: The longest supply outage of a run that resumes after a power cut, without heat, s.
RESUME_OUTAGE_S = 900.0  # ±30 %: none


class Bounds(TypedDict):
    """The least and the most that a field accepts."""

    low: float
    high: float


def bounds(name: str) -> Bounds:
    """The least and the most of a threshold that the oven file may set, as the arguments `low` and `high` of a field.
    Raises KeyError for one that it may not set."""
    low, high = SETTABLE[name]
    return {"low": low, "high": high}


@dataclass(frozen=True, slots=True)
class Policy:
    """One number for each threshold. Times in s, temperatures in °C, differences in K.

    chamber_trip_c, schedule_trip_c, part_trip_c  where heat is cut; trips when above for over_confirm_s
    longest_s, most_energy_j    hard stops of one run
    airflow_required, door_switch, has_limit_sensor, has_part_sensor   what the rig must report
    stall_s                     longest gap between ticks
    clock_step_s                wall clock and tick clock may differ by this much before a warning
    sensor_coast_s              longest wait, without heat, for a bad control reading to heal
    wild_jump_k, wild_k_per_s   a reading further than this from the last good one is not believed (upward with
                                rise_k_per_s, if that is more)
    noise_k, noise_rejects, noise_window_s   noise of good readings; number of jumps within a window
    frozen_s, identical_s       counter stands still; bit-identical answers under heat (infinite: natural for it)
    disagreement_*              control and limit sensor differ by more than the greater of _k and _share × °C, for _s
    second_lag_s                by how much longer the limit sensor lags than the control sensor; below 0: less
    cold_junction_*             range of the terminals, and largest sudden change
    no_rise_s, no_rise_k        full-power seconds, and the least rise that they must give
    unasked_rise_s, unasked_rise_k   time without heat, and the rise after it that trips
    warms_k_per_s               fastest rise without heat of the elements: the room's, and a fan's
    rise_k_per_s, fall_k_per_s  fastest rise that full power could give, and fastest fall of a closed oven, with margin
    fall_s                      longest wait for a fallen reading to answer, heat capped meanwhile
    unexplained_share, explained_per_fired   allowance of the unexplained heat, share of full power: the constant part,
                                and the part that grows with the power fired lately (a wrong model errs in proportion)
    excess_share_s, missing_share_s   thresholds of the two cumulative sums, full-power seconds
    airflow_s, purge_s          time without proved ventilation after which the chamber is purged again, and the length
                                of a purge, also before the first heat
    contactor_s, unasked_on_s   time the contactor's read-back may differ; full-power seconds conducted unasked
    outage_s                    longest supply outage after which the run may go on
    nominal_v                   nominal supply voltage, V; None when unknown
    pulse_timer                 whether a timer that own pins feed with pulses stands in the coil circuit
    board_ceiling_c             where the I/O board cuts the heat by itself, if the file says so; None: the board's
                                default, 5 K above the trip
    control_sensor, limit_sensor, part_sensor   type, converter and calibration in words: no rule uses them, but a
                                person must confirm a change since the last run
    coolest                     the coolest oven that the energy allows: the reading is judged by it; None: not judged
    envelope                    the model's own oven, one with the heaviest elements and load that its uncertainty
                                allows, and one with the lightest: by what they differ, heat is not unexplained
    placed                      the oven by whose sensor's place the two sensors may be apart (None: the lightest one)
    loads                       the coolest and the hottest oven with each load that may be in (`possible_loads.py`)

    ±30 % of each (`tools/bench/sensitivity --only policy.`): none, but for the trips' temperatures, which at −30 % are
    below the soak, and fall_k_per_s (error 0/−0.4 %).
    """

    chamber_trip_c: float
    schedule_trip_c: float
    part_trip_c: float = math.inf
    longest_s: float = 48 * 3600.0
    most_energy_j: float = math.inf
    airflow_required: bool = False
    door_switch: bool = False
    has_limit_sensor: bool = False
    has_part_sensor: bool = False
    stall_s: float = 2.5
    clock_step_s: float = 5.0
    over_confirm_s: float = 2.0
    sensor_coast_s: float = 10.0
    wild_jump_k: float = 10.0
    wild_k_per_s: float = 25.0
    noise_k: float = 3.0
    noise_rejects: float = 4.0
    noise_window_s: float = 30.0
    frozen_s: float = 5.0
    identical_s: float = 60.0
    disagreement_k: float = 40.0
    disagreement_share: float = 0.06
    disagreement_s: float = 60.0
    second_lag_s: float = 0.0
    cold_junction_low_c: float = -20.0
    cold_junction_high_c: float = 80.0
    cold_junction_jump_k: float = 5.0
    no_rise_s: float = NO_RISE_S
    no_rise_k: float = NO_RISE_K
    unasked_rise_s: float = 120.0
    unasked_rise_k: float = 6.0
    warms_k_per_s: float = WARMS_K_PER_S
    rise_k_per_s: float = 15.0
    fall_k_per_s: float = 2.0
    fall_s: float = 300.0
    unexplained_share: float = 0.25
    explained_per_fired: float = 0.35
    excess_share_s: float = 15.0
    missing_share_s: float = 20.0
    airflow_s: float = 2.0
    purge_s: float = 60.0
    contactor_s: float = 1.0
    unasked_on_s: float = 2.5
    outage_s: float = 10.0
    nominal_v: float | None = None
    pulse_timer: bool = False
    board_ceiling_c: float | None = None
    control_sensor: str = ""
    limit_sensor: str = ""
    part_sensor: str = ""
    coolest: LumpedOven | None = None
    envelope: tuple[LumpedOven, LumpedOven, LumpedOven] | None = None
    loads: Pairs = ()
    placed: LumpedOven | None = None

    def __post_init__(self) -> None:
        for threshold in fields(self):
            name, value = threshold.name, getattr(self, threshold.name)
            if name in OVENS or isinstance(value, (bool, str)) or value is None:
                continue
            if math.isnan(value) or (value <= 0.0 and name not in SIGNED):
                raise KilnctlError(f"safety: {name} = {value:g} must be above zero")
            if value < HARD_FLOORS.get(name, -math.inf):
                raise KilnctlError(
                    f"safety: {name} = {value:g} is below {HARD_FLOORS[name]:g}, which no setting may undercut"
                )
            if value > HARD_CEILINGS.get(name, math.inf) and not (name in UNLIMITED and value == math.inf):
                raise KilnctlError(
                    f"safety: {name} = {value:g} is above {HARD_CEILINGS[name]:g}, which no setting may lift"
                )
        if wrong := wrong_ovens(self.coolest, self.envelope, self.placed) or wrong_loads(self.loads):
            raise KilnctlError(f"safety: {wrong}")


def policy_for(
    oven: "Oven",
    schedule: "Schedule | None" = None,
    model: ThermalModel | None = None,
    start_c: float | None = None,
    coolest: LumpedOven | None = None,
    envelope: tuple[LumpedOven, LumpedOven, LumpedOven] | None = None,
    loads: Pairs = (),
    placed: LumpedOven | None = None,
    described: bool = False,
    bursts_k: float = 0.0,
) -> Policy:
    """The rules' numbers for one oven and, if given, one schedule and a model (for the oven's own fastest rise and
    fall); `start_c`: the chamber when that schedule starts, °C; `coolest`, `envelope`, `loads`, `placed`: what it may
    be; `described`: that model is from a description alone; `bursts_k`: what bursts may show as noise, K.

    The oven's `safety:` replaces single numbers, within HARD_CEILINGS and HARD_FLOORS. Raises KilnctlError where the
    load needs ventilation that is not proved or not enough, where a part has a limit and no sensor, where the tick is
    too slow for the lease, and for a number beyond its bounds.
    """
    values = _of_oven(oven) | _of_sensors(oven)
    values["noise_k"] = min(HARD_CEILINGS["noise_k"], max(values["noise_k"], bursts_k))
    values["part_trip_c"] = _part_highest_c(oven, schedule) + PART_MARGIN_K
    load = schedule.load if schedule is not None and schedule.load is not None else oven.usual_load
    if load is not None and load.moisture_kg > 0.0:
        # Boiling water takes up heat near 100 °C, which a model of the dry oven cannot explain.
        values["no_rise_s"] = HARD_CEILINGS["no_rise_s"]
        values["missing_share_s"] = HARD_CEILINGS["missing_share_s"]
    if described:
        # Walls with a heavy inner shell take most of the heat for hours: a sound oven rose by 3.6 K in twenty minutes.
        values["no_rise_s"], values["no_rise_k"] = HARD_CEILINGS["no_rise_s"], HARD_FLOORS["no_rise_k"]
    elif model is not None:
        values.update(_of_rise(oven, model, oven.safety.no_rise_s or values.get("no_rise_s", NO_RISE_S)))
    if schedule is not None:
        values.update(_of_schedule(oven, schedule, values, start_c))
    if model is not None:
        rise, fall = fastest_k_per_s(model, oven.limits.highest_c)
        near = 0.0 if envelope is None else near_elements_k_per_s(envelope[2], oven.sensors.control.lag_s)
        values["rise_k_per_s"] = min(HARD_CEILINGS["rise_k_per_s"], rise + near)
        values["fall_k_per_s"] = min(HARD_CEILINGS["fall_k_per_s"], fall)
        fan_w = oven.fan.power_w if oven.fan else 0.0
        warms = WARMS_K_PER_S + min(HARD_CEILINGS["rise_k_per_s"], rise) * fan_w / oven.elements.power_w
        values["warms_k_per_s"] = min(HARD_CEILINGS["warms_k_per_s"], warms)
    values.update(_of_file(oven.safety, values))
    values |= {"coolest": coolest, "envelope": envelope, "loads": loads, "placed": placed}
    policy = Policy(**values)
    if oven.control.tick_s * GAP_TICKS > policy.stall_s:
        raise KilnctlError(
            f"{oven.file or oven.name}: control: tick {oven.control.tick_s:g} s is too slow: heat is given for 2 s at "
            f"most, and the rules take a pause of {policy.stall_s:g} s for a stalled program; "
            f"use {min(2.0, policy.stall_s / GAP_TICKS):.2g} s or less"
        )
    return policy


def _of_oven(oven: "Oven") -> dict[str, Any]:
    """The limits of the oven itself, and what its rig has."""
    limits = oven.limits
    return {
        "chamber_trip_c": limits.trip_at_c,
        "schedule_trip_c": limits.trip_at_c,
        "longest_s": limits.longest_s,
        "most_energy_j": limits.most_energy_j or math.inf,
        "door_switch": oven.door.switch,
        "nominal_v": oven.supply.voltage_v,
        "has_limit_sensor": oven.sensors.limit is not None,
        "has_part_sensor": oven.sensors.part is not None,
        "board_ceiling_c": oven.rig.ceiling_c,
        "pulse_timer": oven.rig.kind == "pins" and oven.rig.pins.pulse is not None,
    }


def _of_sensors(oven: "Oven") -> dict[str, Any]:
    """Thresholds that follow from lag, noise and converter of the sensors.

    When a door opens, the air at a bare wire gets colder by a few hundred kelvin and the wire follows within a second
    or two. The bound is not widened beyond that for any smaller lag in the file: a bound that no jump exceeds would
    hide a failing sensor.
    """
    control, second = oven.sensors.control, oven.sensors.limit
    values: dict[str, Any] = {
        "wild_k_per_s": 200.0 / min(8.0, max(1.0, control.lag_s)),
        "wild_jump_k": min(HARD_CEILINGS["wild_jump_k"], max(10.0, 10.0 * control.noise_k)),
        "noise_k": min(HARD_CEILINGS["noise_k"], max(2.0, 6.0 * control.noise_k)),
        "identical_s": identical_s(control, oven.control.tick_s),
        "control_sensor": control.words,
        "limit_sensor": second.words if second else "none",
        "part_sensor": oven.sensors.part.words if oven.sensors.part else "none",
    }
    if second is not None:
        values["second_lag_s"] = second.lag_s + second.dead_time_s - control.lag_s - control.dead_time_s
    return values


def _of_rise(oven: "Oven", model: ThermalModel, within_s: float) -> dict[str, float]:
    """The rise that a learnt oven must show in those full-power seconds; the longest time where it is too slow."""
    control = oven.sensors.control
    rise_k = least_rise_k(model, control.lag_s, within_s - control.dead_time_s)
    if rise_k < HARD_FLOORS["no_rise_k"]:
        return {"no_rise_s": HARD_CEILINGS["no_rise_s"], "no_rise_k": HARD_FLOORS["no_rise_k"]}
    return {"no_rise_k": min(rise_k, NO_RISE_K)}


def _part_highest_c(oven: "Oven", schedule: "Schedule | None") -> float:
    """The lower of the oven's and the schedule's limit of the part, °C; infinite where there is none. Raises
    KilnctlError for a limit without a sensor on the part."""
    given: list[tuple[float | None, Oven | Schedule]] = [(oven.limits.part_highest_c, oven)]
    if schedule is not None:
        given.append((schedule.part_highest_c, schedule))
    limited = [(limit_c, own) for limit_c, own in given if limit_c is not None]
    highest_c = min((limit_c for limit_c, _ in limited), default=math.inf)
    if highest_c < math.inf and oven.sensors.part is None:
        own = limited[0][1]
        raise KilnctlError(
            f"{own.file or own.name}: 'part highest' is a limit that nobody can guard: {oven.name} has no thermocouple "
            "on the part (sensors: part). Wire one, or leave the limit out and let the chamber's 'highest' protect "
            "the part"
        )
    return highest_c


def identical_s(sensor: "Sensor", tick_s: float) -> float:
    """How long answers may be identical, bit for bit, under heat, s; infinite where the converter's steps hide noise.

    Noise of standard deviation σ about a temperature that stands still and, at worst, on the middle of a step q gives
    that step's figure with the chance p = erf(q / (2·√2·σ)); n more times in a row with p**n. The wait is n conversions
    with p**n at most 1e-9: at one a second less than one false alarm in 30 years of uninterrupted soaking. If the file
    describes more noise than there is, the shortest waits still keep to that chance down to real noise of 0.012 K
    (steps of 1/128 K) and 0.09 K (1/4 K). Steps of 1/4 K may hide all of a noise below 0.09 K: then there is no limit,
    and the second sensor and the missing heat must show the fault. No converter with steps of 1/128 K is that quiet: it
    gets 120 s at most, even if the file describes less noise.
    """
    step_k, shortest_s = STEPS[sensor.front_end]
    longest_s = HARD_CEILINGS["identical_s"]
    same = math.erf(step_k / (2.0 * math.sqrt(2.0) * sensor.noise_k)) if sensor.noise_k > 0.0 else 1.0
    wait_s = max(tick_s, CONVERSION_S) * math.log(REPEATED_BY_CHANCE) / math.log(same) if same < 1.0 else math.inf
    if wait_s > longest_s:
        return math.inf if sensor.front_end == "max31855" else longest_s
    return max(shortest_s, wait_s)


def _of_file(own: "Safety", values: dict[str, Any]) -> dict[str, Any]:
    """Values of the oven's `safety:` section. It may lengthen the computed purge, never shorten it."""
    given = {f.name: value for f in fields(own) if (value := getattr(own, f.name)) is not None}
    if "purge_s" in given:
        given["purge_s"] = max(given["purge_s"], values.get("purge_s", 0.0))
    return given


def _of_schedule(oven: "Oven", schedule: "Schedule", values: dict[str, Any], start_c: float | None) -> dict[str, Any]:
    """Limits that a schedule makes narrower. It widens one: a run that resumes may wait 15 min for the mains, cold."""
    out: dict[str, Any] = {"schedule_trip_c": schedule_trip_c(oven, schedule, start_c)}
    if schedule.longest_s is not None:
        out["longest_s"] = min(values["longest_s"], schedule.longest_s)
    if schedule.most_energy_j is not None:
        out["most_energy_j"] = min(values["most_energy_j"], schedule.most_energy_j)
    if schedule.after_power_loss == "resume":
        out["outage_s"] = RESUME_OUTAGE_S
    if schedule.flammable_vapour:
        vent = ventilation_of(oven, schedule)
        out["airflow_required"] = True
        out["purge_s"] = purge_s(oven, vent)
        vapour_sum(oven, schedule, out["schedule_trip_c"])  # refuses what the air is too little for
    return out
