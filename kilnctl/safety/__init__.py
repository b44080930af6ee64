"""Nobody hurt: may there be heat, this tick? No numpy, no clock, no file; all of it is pure but the gate's memory.

One tick of the loop:

    policy = policy_for(oven, schedule, model)        once; raises KilnctlError
    state, verdict = judge(state, policy, reading, Tick(now_s, step, fired, …))
    duty = gate.pass_duty(wanted, verdict.permit, now_s, step)     gate = Gate(), one a run
    rig.contactor(verdict.contactor_allowed)          judged apart from the heat, and told to the rig first
    rig.heat(duty)                                    only ever the gate's answer

- A `Permit` is a lease of one healthy tick, LEASE_S long; without one the gate answers 0.0. Its `duty_limit` is below 1
  when a reading fell faster than physics explains.
- Trips latch. `acknowledge(state, policy, reading, tick, who)` clears them when every cause is gone and `who` says so;
  it returns the state and the ids that still stand. `verdict.danger` is to be shouted.
- `rules.RULES` holds one record for each rule: what trips it, what must be gone before it can be acknowledged, its
  words and its rows of the fault table (`faults`).
- `startup` is the test before each run, `notice` the hot-surface notice, `likeness` what changed since the last run,
  `proof` what the read-backs show of a heat that was told off, `cusum` the sum behind the rules of unexplained and
  missing heat.
"""

from .gate import LEASE_S, Gate, Permit, pass_duty
from .judge import RULES, acknowledge, judge
from .limits import HARD_CEILINGS, HARD_FLOORS, Policy, policy_for
from .schedule_trip import schedule_trip_c, schedule_trip_words
from .state import SafetyState, Tick, Trip, Verdict
from .vapour import VapourSum, vapour_sum

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
