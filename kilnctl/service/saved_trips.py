"""Latched trips from one process to the next, and the limits of the run that tripped. Each trip has the chamber
temperature believed before it, with its time on the wall clock, which both processes have."""

import math
from dataclasses import asdict, replace

from ..errors import KilnctlError
from ..record.folder import plain
from ..safety import Policy, SafetyState, Trip
from ..safety.messages import OFF

#: No number of a state of ours is larger.
LARGEST = 1e15
#: Trip → what was believed, °C, and how many seconds ago.
Believed = dict[str, tuple[float, float]]
#: Limits of a run that may be narrower than the oven's: by them a cause may still be there.
NUMBERS, WHETHER = ("schedule_trip_c", "part_trip_c"), ("airflow_required",)


def believed(state: SafetyState, now_s: float) -> Believed:
    """What was believed of the chamber before each trip that doubts its reading."""
    return {fault: (then_c, now_s - then_s) for fault, (then_c, then_s) in state.believed.items()}


def to_saved(trips: tuple[Trip, ...], believed: Believed, wall_s: float) -> list[dict]:
    saved = []
    for trip in trips:
        then = believed.get(trip.fault)
        then_c, then_wall_s = (then[0], wall_s - then[1]) if then is not None else (None, None)
        told = {name: plain(value) for name, value in asdict(trip).items()}
        saved.append({**told, "then_c": then_c, "then_wall_s": then_wall_s})
    return saved


def from_saved(saved, wall_s: float) -> tuple[tuple[Trip, ...], Believed]:
    """The trips that stood when the last process ended; a damaged one remains too, with a general message. What was
    believed is unknown if it cannot be read. If the wall clock went back, no time counts as passed."""
    trips, believed = [], {}
    # Anything but a list or nothing may have held a trip.
    for item in saved if isinstance(saved, list) else [{}] if saved else ():
        told = item if isinstance(item, dict) else {}
        words = {k: str(told.get(k, "")) for k in ("fault", "act", "seen", "check")}
        fault, seen = words["fault"] or "unknown", words["seen"] or "a trip of the last run"
        at_s = number(told.get("time_s"))
        trips.append(Trip(fault, math.nan if at_s is None else at_s, words["act"] or OFF, seen, words["check"]))
        then_c, then_wall_s = number(told.get("then_c")), number(told.get("then_wall_s"))
        if then_c is not None and then_wall_s is not None:
            believed[fault] = then_c, max(0.0, wall_s - then_wall_s)
    return tuple(trips), believed


def number(value) -> float | None:
    """What was saved, if it is a finite number."""
    if type(value) not in (int, float) or not -LARGEST < value < LARGEST:
        return None
    return float(value)


def limits_to_saved(policy: Policy) -> dict:
    return {name: value for name in (*NUMBERS, *WHETHER) if math.isfinite(value := getattr(policy, name))}


def limits_from_saved(saved, policy: Policy | None = None) -> dict:
    """Fields for `dataclasses.replace` of the oven's `policy`; what cannot be read, or is no limit of it, is left
    out."""
    told = saved if isinstance(saved, dict) else {}
    limits = {name: value for name in NUMBERS if (value := number(told.get(name))) is not None}
    limits |= {name: told[name] for name in WHETHER if type(told.get(name)) is bool}
    return limits if policy is None else {n: v for n, v in limits.items() if _fits(policy, {n: v})}


def _fits(policy: Policy, limits: dict) -> bool:
    try:
        replace(policy, **limits)
    except KilnctlError:
        return False
    return True
