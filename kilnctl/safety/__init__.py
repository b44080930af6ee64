"""Safety: may there be heat in this tick? No numpy, no clock, no file; everything is pure except the gate's memory.

One tick of the loop:

    policy = policy_for(oven, schedule, model)        once; raises KilnctlError
    state, verdict = judge(state, policy, reading, Tick(now_s, step, fired, …))
    duty = gate.pass_duty(wanted, verdict.permit, now_s, step)     gate = Gate(), one a run
    rig.contactor(verdict.contactor_allowed)          judged separately from the heat, and sent to the rig first
    rig.heat(duty)                                    only ever the gate's answer

- A `Permit` is a lease of one healthy tick, LEASE_S long; without one the gate answers 0.0. Its `duty_limit` is below 1
  when a reading fell faster than physics explains.
- Trips latch. `acknowledge(state, policy, reading, tick, who)` clears them when every cause is gone and the person
  `who` says so; it returns the state and the ids that still stand. `verdict.danger` must be shown at once and repeated.
- `judge.RULES` holds one record for each rule: what trips it, what must be gone before it can be acknowledged, its
  words and its rows of the fault table (`faults`).
- `start_test` is the test before each run, `hot_surface` the notice of hot surfaces, `changed_limits` what changed
  since the last run, `proof` what the read-backs show after heat was switched off, `cusum` the sum behind the rules of
  unexplained and missing heat.
"""

from .gate import LEASE_S, Gate, Permit, pass_duty
from .judge import RULES, acknowledge, judge
from .limits import HARD_CEILINGS, HARD_FLOORS, Policy, policy_for
from .schedule_trip import schedule_trip_c, schedule_trip_words
from .state import SafetyState, Tick, Trip, Verdict
from .ventilation import VapourSum, vapour_sum

__all__ = [
    "HARD_CEILINGS",
    "HARD_FLOORS",
    "LEASE_S",
    "RULES",
    "Gate",
    "Permit",
    "Policy",
    "SafetyState",
    "Tick",
    "Trip",
    "VapourSum",
    "Verdict",
    "acknowledge",
    "judge",
    "pass_duty",
    "policy_for",
    "schedule_trip_c",
    "schedule_trip_words",
    "vapour_sum",
]
