"""Looks at a control reading; shared by the tests of `rules_sensor`."""

from kilnctl import Reading
from kilnctl.safety import Policy, SafetyState, Tick, rules_sensor
from kilnctl.safety.rule import Look

POLICY = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)


def state(**values) -> SafetyState:
    """After good readings of 100 °C, the last at 999 s."""
    return SafetyState(**{**dict(good_c=100.0, before_c=100.0, good_s=999.0), **values})


def look(s, chamber=100.0, now=1000.0, dt=1.0, policy=POLICY, warnings=None, **reading) -> bool:
    return rules_sensor.control_reading(at(s, Reading(chamber, **reading), now, dt, policy, warnings))


def at(s, reading, now=1000.0, dt=1.0, policy=POLICY, warnings=None, usable=True) -> Look:
    return Look(s, policy, reading, Tick(now, 1, 0.3), dt, 0.3, usable, warnings=[] if warnings is None else warnings)
