"""Is this the oven that ran last time? If limits differ from the last run's, a person must confirm; the text says what
changed.

It compares `policy_for(oven)` without a schedule, because the limits of schedules differ from run to run. So a mistyped
limit (1200 for 120, °F for °C), another oven's file, or a damaged file is found before there is any heat.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from .limits import OVENS, Policy
from .state import finite

#: Thresholds whose change matters: their name in words, their unit, and the largest change that counts as none.
WATCHED = {
    "chamber_trip_c": ("the oven's trip", "°C", 1.0),
    "part_trip_c": ("the part's limit", "°C", 1.0),
    "longest_s": ("the longest run", "s", 60.0),
    "most_energy_j": ("the most energy of a run", "J", 1e4),
    "sensor_coast_s": ("the wait for a bad sensor", "s", 0.5),
    "disagreement_k": ("the allowed difference of the sensors", "K", 1.0),
    "rise_k_per_s": ("the fastest believable rise", "K/s", 1.0),
    "unexplained_share": ("the allowance for unexplained heat", "of full power", 0.01),
    "nominal_v": ("the nominal supply", "V", 1.0),
    "board_ceiling_c": ("the board's ceiling", "°C", 1.0),
    "stall_s": ("the allowed gap", "s", 0.1),
    "disagreement_s": ("the time that the sensors may disagree", "s", 1.0),
    "no_rise_s": ("the time without a rise", "s", 10.0),
    "unasked_rise_k": ("the allowed rise that nobody asked for", "K", 0.5),
    "wild_k_per_s": ("the fastest believable jump", "K/s", 5.0),
    "airflow_s": ("the time without ventilation", "s", 0.5),
    "purge_s": ("the purge", "s", 1.0),
}
#: The same for things that are there or not.
SWITCHES = {
    "airflow_required": "proved ventilation is required",
    "door_switch": "there is a door switch",
    "has_limit_sensor": "there is a second sensor",
    "has_part_sensor": "there is a sensor on the part",
}

#: What turns a voltage into a reading: another thermocouple type or calibration shifts every limit, and no limit shows
#: it.
TEXTS = {
    "control_sensor": "the control sensor",
    "limit_sensor": "the second sensor",
    "part_sensor": "the part's sensor",
}


def to_mapping(policy: Policy) -> dict[str, float | bool | str | None]:
    """The limits of this run, for the state file; infinity is kept as None."""
    values = {f.name: getattr(policy, f.name) for f in fields(policy) if f.name not in OVENS}
    return {k: None if isinstance(v, float) and math.isinf(v) else v for k, v in values.items()}


#: What `unlike` says where there is no earlier run.
FIRST_RUN = "there is no earlier run of this oven to compare its limits with"


def to_confirm(unlike: Sequence[str]) -> str:
    """What a person is asked before a start whose limits need confirmation; `unlike` as the function of that name gives
    it."""
    if tuple(unlike) == (FIRST_RUN,):
        return (
            "this is the first run of this oven: look at the limits that `kilnctl check OVEN SCHEDULE` prints; if they "
            "are right, say --confirm"
        )
    return "these limits are unlike the last run's:\n  " + "\n  ".join(unlike) + "\nif that is right, say --confirm"


def unlike(policy: Policy, last: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Each thing that needs confirmation, in words; empty when the limits are as in the last run (`last` from
    `to_mapping`). No last run, or a damaged record of it, needs confirmation too."""
    if not last:
        return (FIRST_RUN,)
    found = []
    for name, (words, unit, same) in WATCHED.items():
        now, then = getattr(policy, name), last.get(name)
        if name not in last or not (then is None or finite(then)):
            found.append(f"{words} is not in the record of the last run")
            continue
        before = math.inf if then is None else then
        after = math.inf if now is None else now
        if before != after and not abs(before - after) <= same:
            found.append(f"{words} is {_say(after, unit)}; in the last run it was {_say(before, unit)}")
    for name, words in SWITCHES.items():
        now, then = getattr(policy, name), last.get(name)
        if then is not now:
            found.append(f"that {words}: {'yes' if now else 'no'} now, {'yes' if then else 'no'} in the last run")
    for name, words in TEXTS.items():
        now, then = getattr(policy, name), last.get(name)
        if not isinstance(then, str):
            found.append(f"{words} is not in the record of the last run")
        elif then != now:
            found.append(f"{words} is {now}; in the last run it was {then}")
    return tuple(found)


def _say(value: float, unit: str) -> str:
    return "not set" if math.isinf(value) else f"{value:g} {unit}"
