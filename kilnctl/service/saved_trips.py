"""Latched trips from one process to the next, each with what was believed of the chamber before it (on the wall
clock, the one that both know), and the limits of the run that tripped."""

import math

from ..record.folder import plain
from ..safety import Policy, SafetyState, Trip

#: Trip → what was believed, °C, and how many seconds ago.
Believed = dict[str, tuple[float, float]]
#: Limits of a policy by which a cause may stand that the oven alone would call gone.
NUMBERS, WHETHER = ("schedule_trip_c", "part_trip_c"), ("airflow_required",)


def believed(state: SafetyState, now_s: float) -> Believed:
    """What was believed of the chamber before each trip that doubts its reading."""
    return {fault: (then_c, now_s - then_s) for fault, (then_c, then_s) in state.believed.items()}


def to_saved(trips: tuple[Trip, ...], believed: Believed, wall_s: float) -> list[dict]:
    saved = []
    for trip in trips:
        then_c, ago_s = believed.get(trip.fault, (None, 0.0))
        saved.append({**plain(trip), "then_c": then_c, "then_wall_s": None if then_c is None else wall_s - ago_s})
    return saved


def from_saved(saved, wall_s: float) -> tuple[tuple[Trip, ...], Believed]:
    """The trips that stood when the last process ended; a damaged one stands too, in general words. What was believed
    is not known where it cannot be read. A wall clock that went back counts as no time passed."""
    trips, believed = [], {}
    for told in saved if isinstance(saved, list) else ():
        words = {k: str(told.get(k, "")) for k in ("fault", "seen", "done", "check")} if isinstance(told, dict) else {}
        fault = words.get("fault") or "unknown"
        at_s = told.get("time_s") if isinstance(told, dict) else None
        at_s = float(at_s) if type(at_s) in (int, float) and math.isfinite(at_s) else math.nan
        trips.append(
            Trip(
                fault,
                at_s,
                words.get("seen") or "a trip of the last run",
                words.get("done", ""),
                words.get("check", ""),
            )
        )
        then = [told.get(k) for k in ("then_c", "then_wall_s")] if isinstance(told, dict) else [None]
        if all(type(v) in (int, float) and math.isfinite(v) for v in then):
            believed[fault] = float(then[0]), max(0.0, wall_s - then[1])
    return tuple(trips), believed


def limits_to_saved(policy: Policy) -> dict:
    return {name: value for name in (*NUMBERS, *WHETHER) if math.isfinite(value := getattr(policy, name))}


def limits_from_saved(saved) -> dict:
    """For `dataclasses.replace` of the oven's policy; what cannot be read is left out."""
    told = saved if isinstance(saved, dict) else {}
    limits = {
        name: float(told[name])
        for name in NUMBERS
        if type(told.get(name)) in (int, float) and math.isfinite(told[name])
    }
    return limits | {name: told[name] for name in WHETHER if type(told.get(name)) is bool}
