"""Looks at an oven whose supply, air, contactor and relay are judged; shared by the tests of `rules_supply`."""

import dataclasses
import math

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_supply
from kilnctl.safety.rule import Look

SEEN = Reading(100.0)
BARE = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
POLICY = dataclasses.replace(BARE, nominal_v=200.0)
AIR = dataclasses.replace(POLICY, airflow_required=True, airflow_s=4.0, purge_s=90.0)


def state(**values) -> SafetyState:
    return SafetyState(**{"purge_until_s": -math.inf, **values})


def tick(time_s=1000.0, **values) -> Tick:
    return Tick(time_s, values.pop("step", 11), 0.3, **values)


def at(s, policy=POLICY, reading=SEEN, tick=None, dt=1.0, powered=True, warnings=None) -> Look:
    tick = Tick(1000.0, 11, 0.3) if tick is None else tick
    return Look(s, policy, reading, tick, dt, 0.3, True, powered, [] if warnings is None else warnings)


def told(s, policy=POLICY, now=1000.0, dt=1.0, powered=True, warnings=None, commanded=None, contactor=None, **reading):
    look = Reading(100.0, **reading)
    seen = at(s, policy, look, tick(now, commanded=commanded, contactor=contactor), dt, powered, warnings)
    rules_supply.contactor(seen)
    rules_supply.relay(seen)
    return set(s.trips)
