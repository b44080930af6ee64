"""The rules: one pure `judge` a tick. Measured time and readings in; trips, warnings and a permit (or none) out.

Plain floats, no clock, no file. Nothing here trusts that anything else works: a missing, late, repeated or impossible
input ends the permit. A trip latches until its cause is gone and a person acknowledges it.
"""

import math

from ..reading import SENSOR_FAULTS, Reading
from . import rules_heat, rules_sensor, rules_supply
from .gate import LEASE_S, Permit
from .limits import Policy
from .state import SafetyState, Tick, Verdict, finite

#: A limit must be undercut by so much before its trip can be acknowledged, K.
BELOW_K = 2.0
#: How fast an oven may have cooled while nobody could see, K/s: a reading that jumped or fell is believed again by then.
COOLED_K_PER_S = 0.1


def judge(state: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> tuple[SafetyState, Verdict]:
    """One look. Pure: same arguments, same answer; `state` is not changed."""
    s = state.copied()
    known = set(s.trips)
    warnings: list[str] = []
    if not rules_supply.clock(s, policy, tick):
        # Without a clock nothing else can be judged.
        return s, _verdict(s, tick, known, warnings, 0.0, "the control loop's clock cannot be trusted", False, False)
    # After a stall everything timed has been restarted, and no time counts as having passed.
    dt = tick.time_s - s.time_s if s.time_s is not None and tick.time_s - s.time_s <= policy.stall_s else 0.0
    s.time_s, s.step = tick.time_s, tick.step
    # What cannot be a share counts as full power.
    fired = min(1.0, tick.fired) if finite(tick.fired) and tick.fired >= 0.0 else 1.0
    s.fired_60 += (fired - s.fired_60) * (1.0 - math.exp(-dt / 60.0))
    s.fired_300 += (fired - s.fired_300) * (1.0 - math.exp(-dt / 300.0))

    rules_supply.wall_clock(s, policy, tick, warnings)
    rules_supply.board(s, reading, tick, warnings)
    usable = rules_sensor.control_reading(s, policy, reading, tick, dt, warnings)
    below = rules_sensor.limits(s, policy, reading, tick, dt, usable, warnings)
    limit = rules_heat.behaviour(s, policy, reading, tick, dt, fired, warnings) if usable else 0.0
    powered = rules_supply.supply(s, policy, reading, tick, warnings)
    blocked = rules_supply.door_and_air(s, policy, reading, tick, dt, warnings)
    rules_supply.relay_and_contactor(s, policy, reading, tick, dt, powered, warnings)
    rules_supply.ceilings(s, policy, tick)

    reason = (
        "all rules are content"
        if limit == 1.0
        else "the reading fell faster than a closed oven can cool: no more heat than before"
    )
    if not usable:
        reason = "no trustworthy reading at the moment: heat is off, waiting a few seconds for it to come back"
    elif not below:
        reason = "a temperature is above its limit, or the sensor that watches it is not there"
    elif blocked:
        reason = blocked
    elif not powered:
        reason = "there is no mains"
    if not below or blocked or not powered:
        limit = 0.0
    # The hardware opens the contactor with door, ventilation or mains; so do we, lest its read-back look like a fault. While it purges, too.
    contactor = powered and not blocked
    return s, _verdict(s, tick, known, warnings, limit, reason, contactor, usable)


def _verdict(
    s: SafetyState,
    tick: Tick,
    known: set,
    warnings: list[str],
    limit: float,
    reason: str,
    contactor: bool,
    usable: bool,
) -> Verdict:
    trips = tuple(s.trips.values())
    new = tuple(t for t in trips if t.fault not in known)
    if trips:
        reason, limit = trips[0].seen, 0.0
    permit = None
    if limit > 0.0 and tick.heating:
        permit = Permit(tick.time_s, tick.time_s + LEASE_S, tick.step, limit)
    elif limit > 0.0:
        reason = "no heat is wanted"
    allowed = contactor and not trips and tick.heating
    if allowed != s.coil and finite(tick.time_s):
        s.coil, s.coil_s = allowed, tick.time_s
    return Verdict(permit, allowed, trips, new, tuple(warnings), s.danger or reason, usable, s.danger)


def acknowledge(
    state: SafetyState, policy: Policy, reading: Reading, tick: Tick, who: str
) -> tuple[SafetyState, tuple[str, ...]]:
    """Clear the latched trips, on the explicit word of `who`, once every cause is gone. Returns the state and the ids that still
    stand; while any does, and for an empty name, nothing is cleared. What measured spans of time starts anew, so heat comes back only after readings
    that are good by themselves.
    """
    if not isinstance(who, str) or not who.strip():
        return state, tuple(state.trips)
    standing = tuple(fault for fault in state.trips if cause_stands(fault, state, policy, reading, tick))
    if state.danger and rules_heat.still_rising(state, policy):
        standing = tuple(state.trips)
    if standing:
        return state, standing
    s = state.copied()
    s.trips.clear()
    s.believed.clear()
    s.restart_timers()
    s.danger = ""
    return s, ()


def cause_stands(fault: str, s: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> bool:
    """Whether what caused a trip is, as far as this reading tells, still there. Faults that show only under heat (an element, a relay that does not
    conduct) are gone by the person's word alone: the start test and the rules will find them again."""
    chamber = reading.chamber_c
    sensor_bad = (
        any(f in SENSOR_FAULTS for f in reading.faults)
        or not finite(chamber)
        or not rules_sensor.LOWEST_C <= chamber <= rules_sensor.HIGHEST_C
    )
    cold, second, part = reading.cold_junction_c, reading.limit_c, reading.part_c
    second_bad = policy.has_limit_sensor and not rules_sensor.there("limit", second, reading)

    def above(limit: float, *values: float | None) -> bool:
        return any(v is not None and not (finite(v) and v <= limit - BELOW_K) for v in values)

    if not finite(tick.time_s):
        return True
    match fault:
        case "over-oven":
            return sensor_bad or above(policy.chamber_trip_c, chamber, second)
        case "over-schedule":
            return sensor_bad or above(policy.schedule_trip_c, chamber)
        case "over-part":
            return not rules_sensor.there("part", part, reading) or above(policy.part_trip_c, part)
        case "part-sensor":
            return not rules_sensor.there("part", part, reading)
        case "limit-sensor":
            return second_bad
        case "sensors-disagree":
            if sensor_bad or second_bad or second is None:
                return sensor_bad or second_bad
            return abs(second - chamber) > 0.8 * max(policy.disagreement_k, policy.disagreement_share * chamber)
        case "cold-junction":
            return cold is not None and not (
                finite(cold) and policy.cold_junction_low_c <= cold <= policy.cold_junction_high_c
            )
        case "sensor-frozen":
            # Judged just now, the newest sample is no news: what counts is since when it has been the newest.
            return sensor_bad or (
                reading.sample is not None
                and reading.sample == s.sample
                and tick.time_s - s.sample_since_s >= policy.frozen_s
            )
        case "sensor-noisy":
            return sensor_bad or s.noise_k > policy.noise_k or s.rejects > 1.0
        case "sensor-unsteady":
            return sensor_bad or s.unsteady > 0.5 * rules_sensor.UNSTEADY_TRIP
        case "sensor-jump" | "sensor-shorted" | "reading-fell":
            return sensor_bad or not _came_back(chamber, s.believed.get(fault), tick.time_s, policy)
        case "board-lost" | "board-fault":
            return fault in reading.faults
        case "supply-lost":
            return policy.nominal_v is not None and not (
                finite(reading.supply_v) and reading.supply_v > 0.3 * policy.nominal_v
            )
        case "ventilation":
            return policy.airflow_required and reading.airflow_proved is not True
        case "contactor-welded":
            return reading.contactor_closed is not False
        case "start-contactor":
            # Found by a current, it shows only under heat.
            return reading.contactor_closed is True
        case "relay-on-unasked":
            return rules_supply.flowing(reading) is True
        case "rise-no-heat":
            return sensor_bad or rules_heat.still_rising(s, policy)
        case "rise-too-fast":
            return sensor_bad or s.slope_k_per_s > 0.5 * policy.rise_k_per_s
        case "energy":
            return not finite(tick.energy_j) or tick.energy_j > policy.most_energy_j
        case "run-time":
            return not finite(tick.run_s) or tick.run_s > policy.longest_s
    return fault.startswith("sensor-") and sensor_bad


def _came_back(now_c: float, believed: tuple[float, float] | None, now_s: float, policy: Policy) -> bool:
    """Where it was before it jumped or fell, or as far below as an oven may have cooled meanwhile. Not where nobody knows where it was."""
    if believed is None:
        return False
    then_c, then_s = believed
    return (
        then_c - policy.wild_jump_k - COOLED_K_PER_S * max(0.0, now_s - then_s) <= now_c <= then_c + policy.wild_jump_k
    )
