"""Nobody hurt: `judge` decides each tick whether there may be heat, `pass_duty` is the one door to the heater.

No numpy, no clock, no file. `policy_for(oven, schedule)` gives the thresholds; `judge(state, policy, reading, tick)` returns the
new state and a verdict; `pass_duty(duty, verdict.permit, now, step)` returns what may be fired; `acknowledge` clears trips.
"""

from .gate import LEASE_S, Permit, pass_duty
from .policy import CEILINGS, Policy, policy_for
from .rules import SafetyState, Tick, Trip, Verdict, acknowledge, judge

__all__ = ["CEILINGS", "LEASE_S", "Permit", "Policy", "SafetyState", "Tick", "Trip", "Verdict", "acknowledge", "judge", "pass_duty", "policy_for"]
