"""Are chamber and part below their limits, and do their sensors show a temperature and agree?"""

import math

from ..reading import Reading
from . import misplaced
from .extremes import greater, lesser
from .limits import Policy
from .rule import Look, Rule
from .rules_sensor import LOWEST_C, control_shows
from .state import SafetyState, finite

#: The reading must be this far below a limit, K, before its trip can be acknowledged.
BELOW_K = 2.0  # ±30 %: none
#: The sensors' difference must be below this share of the allowed difference before their trip can be acknowledged;
#: from the same share on there is a warning.
NEAR_SHARE = 0.8  # ±30 %: none


def shown_c(name: str, value: float | None, reading: Reading) -> float | None:
    """What the "limit" or "part" sensor shows, °C; None when it shows no temperature. A reading too hot for any sensor
    also counts: it is above every limit."""
    faulty = bool(reading.faults) and any(word.startswith(f"{name}-") for word in reading.faults)
    return value if finite(value) and value >= LOWEST_C and not faulty else None


# ---- over-oven, over-schedule, over-part, part-sensor ----------------------------------------------------------------


def below_limits(look: Look) -> bool:
    """Over-temperature of control, part and limit sensor, and their disagreement. False: no heat this tick."""
    chamber_is_below = not look.usable or below_chamber_limits(look, "control", look.reading.chamber_c)
    part_is_below = below_part_limit(look)
    second_is_below = second_sensor(look)
    return chamber_is_below and part_is_below and second_is_below


def below(look: Look, rule: str, name: str, value_c: float, limit_c: float) -> bool:
    """Whether one sensor is below one limit; it trips when above for long enough. Each sensor has its own timer."""
    over = value_c > limit_c
    if look.lasting(rule + name, over, look.policy.over_confirm_s):
        look.trip(rule, value=value_c, limit=limit_c)
    return not over


def well_below(limit_c: float, *values_c: float | None) -> bool:
    """Whether every existing sensor shows so much less than the limit that the trip can be acknowledged."""
    return all(value is None or (finite(value) and value <= limit_c - BELOW_K) for value in values_c)


def below_chamber_limits(look: Look, name: str, value_c: float) -> bool:
    """Limits of oven and schedule, for one sensor. Every sensor in the chamber is judged by them. The part's too: it is
    no warmer than the chamber, and if two sensors are swapped, it measures the chamber."""
    below_oven = below(look, "over-oven", name, value_c, look.policy.chamber_trip_c)
    below_schedule = below(look, "over-schedule", name, value_c, look.policy.schedule_trip_c)
    return below_oven and below_schedule


def well_below_chamber_limit(look: Look, limit_c: float) -> bool:
    reading = look.reading
    part_c = shown_c("part", reading.part_c, reading)
    return control_shows(look) and well_below(limit_c, reading.chamber_c, reading.limit_c, part_c)


def well_below_oven(look: Look) -> bool:
    return well_below_chamber_limit(look, look.policy.chamber_trip_c)


def well_below_schedule(look: Look) -> bool:
    return well_below_chamber_limit(look, look.policy.schedule_trip_c)


def below_part_limit(look: Look) -> bool:
    """A part with its own limit must have a working sensor and be below the limit."""
    policy, watched, is_below = look.policy, True, True
    part_c = shown_c("part", look.reading.part_c, look.reading)
    if part_c is not None:
        part_is_below = below(look, "over-part", "part", part_c, policy.part_trip_c)
        is_below = below_chamber_limits(look, "part", part_c) and part_is_below
    elif policy.has_part_sensor and policy.part_trip_c < math.inf:
        watched = False
    if look.lasting("part-lost", not watched, policy.sensor_coast_s):
        look.trip("part-sensor")
    return is_below and watched


def part_shows(look: Look) -> bool:
    return shown_c("part", look.reading.part_c, look.reading) is not None


def part_well_below(look: Look) -> bool:
    return part_shows(look) and well_below(look.policy.part_trip_c, look.reading.part_c)


# ---- limit-sensor, sensors-disagree ----------------------------------------------------------------------------------


def second_sensor(look: Look) -> bool:
    """The limit sensor must be there, be below the trips of oven and schedule, and agree with the control sensor."""
    if not look.policy.has_limit_sensor:
        return True
    second_c = shown_c("limit", look.reading.limit_c, look.reading)
    if look.lasting("second", second_c is None, look.policy.sensor_coast_s):
        look.trip("limit-sensor")
    if second_c is None:
        return False
    is_below = below_chamber_limits(look, "second", second_c)
    if look.usable:
        sensors_disagree(look, second_c)
    return is_below


def second_shows(look: Look) -> bool:
    """Also true without a limit sensor: then none is missing."""
    return not look.policy.has_limit_sensor or shown_c("limit", look.reading.limit_c, look.reading) is not None


def sensors_disagree(look: Look, second_c: float) -> None:
    policy, chamber_c = look.policy, look.reading.chamber_c
    allowed_k = greater(policy.disagreement_k, policy.disagreement_share * greater(chamber_c, second_c))
    if policy.envelope is not None:
        placed = policy.placed or policy.envelope[2]
        allowed_k += misplaced.apart_k(look.state, placed, chamber_c, second_c)
    apart = apart_k(look.state, policy, chamber_c, second_c, look.dt_s)
    if look.lasting("apart", apart > allowed_k, policy.disagreement_s):
        look.trip("sensors-disagree", first=chamber_c, second=second_c)
    elif apart > NEAR_SHARE * allowed_k:
        look.warn(f"the two sensors are {apart:.0f} K apart")


def apart_k(state: SafetyState, policy: Policy, chamber_c: float, second_c: float, dt_s: float) -> float:
    """Difference of the sensors, K, beyond what the greater lag of the slower one explains. The quicker one's reading
    is delayed by that lag; the slower one may lie anywhere between the quicker reading and the delayed one."""
    quick_c, slow_c = (chamber_c, second_c) if policy.second_lag_s >= 0.0 else (second_c, chamber_c)
    if state.delayed_c is None:
        state.delayed_c = slow_c
    lag_s = abs(policy.second_lag_s)
    state.delayed_c += (quick_c - state.delayed_c) * (1.0 - math.exp(-dt_s / lag_s) if lag_s > 0.0 else 1.0)
    return max(0.0, lesser(quick_c, state.delayed_c) - slow_c, slow_c - greater(quick_c, state.delayed_c))


def sensors_agree(look: Look) -> bool:
    policy, chamber_c, second_c = look.policy, look.reading.chamber_c, look.reading.limit_c
    if not control_shows(look) or not second_shows(look):
        return False
    if second_c is None:
        return True
    return not abs(second_c - chamber_c) > NEAR_SHARE * max(
        policy.disagreement_k, policy.disagreement_share * chamber_c
    )


RULES = (
    Rule("over-oven", below_chamber_limits, well_below_oven),
    Rule("over-schedule", below_chamber_limits, well_below_schedule),
    Rule("over-part", below_part_limit, part_well_below),
    Rule("part-sensor", below_part_limit, part_shows),
    Rule("limit-sensor", second_sensor, second_shows),
    Rule("sensors-disagree", sensors_disagree, sensors_agree),
)
