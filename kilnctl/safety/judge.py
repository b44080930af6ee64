"""The judge: one pure look a tick. Measured time and readings in; trips, warnings and a permit (or none) out.

Plain floats, no clock, no file. Nothing here trusts that anything else works: a missing, late, repeated or impossible
input ends the permit. A trip latches until its cause is gone and a person acknowledges it.
"""

import math
from collections.abc import Callable

from ..reading import Reading
from . import (
    danger,
    rules_energy,
    rules_heat,
    rules_limits,
    rules_loop,
    rules_sensor,
    rules_supply,
    rules_terminals,
    rules_unasked,
    rules_unexplained,
    start_test,
)
from .extremes import lesser
from .gate import LEASE_S, Permit
from .limits import Policy
from .rule import Look, Rule, at_a_persons_word
from .state import SafetyState, Tick, Verdict, finite

_ROOMS = (
    rules_limits,
    rules_sensor,
    rules_terminals,
    rules_heat,
    rules_energy,
    rules_unasked,
    rules_unexplained,
    rules_supply,
    rules_loop,
    start_test,
)
#: Every rule by its id, in the order of their words.
RULES: dict[str, Rule] = {rule.id: rule for room in _ROOMS for rule in room.RULES}

CONTENT = "all rules are content"
CLOCK = "the control loop's clock cannot be trusted"
FELL = "the reading fell faster than a closed oven can cool: no more heat than before"
NO_READING = "no trustworthy reading at the moment: heat is off, waiting a few seconds for it to come back"
NOT_BELOW = "a temperature is above its limit, or the sensor that watches it is not there"
NO_MAINS = "there is no mains"
NOT_WANTED = "no heat is wanted"


def judge(state: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> tuple[SafetyState, Verdict]:
    """One look. Pure: same arguments, same answer; `state` is not changed."""
    look = Look(state.copied(), policy, reading, tick)
    known = frozenset(look.state.trips)
    if not rules_loop.clock(look):
        # Without a clock nothing else can be judged.
        return look.state, _verdict(look, known, 0.0, CLOCK, contactor=False)
    _pass_time(look)
    rules_loop.wall_clock(look)
    rules_loop.board(look)
    rules_loop.record(look)
    look.usable = rules_sensor.control_reading(look)
    below = rules_limits.below_limits(look)
    limit = 0.0
    if look.usable:
        limit = rules_heat.behaviour(look)
        rules_unasked.rise_no_heat(look)
        rules_unexplained.unexplained(look)
    rules_energy.energy_says_hotter(look)
    look.powered = rules_supply.supply(look)
    blocked = rules_supply.door_and_air(look)
    rules_supply.contactor(look)
    rules_supply.relay(look)
    rules_loop.run_limits(look)
    danger.take_back(look)

    reason = CONTENT if limit == 1.0 else FELL
    if not look.usable:
        reason = NO_READING
    elif not below:
        reason = NOT_BELOW
    elif blocked:
        reason = blocked
    elif not look.powered:
        reason = NO_MAINS
    if not below or blocked or not look.powered:
        limit = 0.0
    # The hardware opens the contactor when the door opens or ventilation or mains fail. Open it here too, or its
    # read-back would look like a fault. A purge also opens it.
    contactor = look.powered and not blocked
    return look.state, _verdict(look, known, limit, reason, contactor)


def _pass_time(look: Look) -> None:
    """Count the time since the last look, and the power fired in it. After a stall every timer has been restarted, and
    no time counts as having passed. A value that cannot be a share counts as full power."""
    state, tick = look.state, look.tick
    gap_s = math.inf if state.time_s is None else tick.time_s - state.time_s
    look.dt_s = gap_s if gap_s <= look.policy.stall_s else 0.0
    state.time_s, state.step = tick.time_s, tick.step
    look.fired = lesser(1.0, tick.fired) if finite(tick.fired) and tick.fired >= 0.0 else 1.0
    state.fired_60 += (look.fired - state.fired_60) * (1.0 - math.exp(-look.dt_s / 60.0))
    state.fired_300 += (look.fired - state.fired_300) * (1.0 - math.exp(-look.dt_s / 300.0))


def _verdict(look: Look, known: frozenset[str], limit: float, reason: str, contactor: bool) -> Verdict:
    """What is allowed: a permit up to `limit`, and the contactor. Any trip forbids both."""
    state, tick = look.state, look.tick
    trips = tuple(state.trips.values())
    new = tuple(trip for trip in trips if trip.fault not in known)
    if trips:
        reason, limit = trips[0].seen, 0.0
    permit = None
    if limit > 0.0 and tick.heating:
        permit = Permit(tick.time_s, tick.time_s + LEASE_S, tick.step, limit)
    elif limit > 0.0:
        reason = NOT_WANTED
    allowed = contactor and not trips and tick.heating
    if allowed != state.coil and finite(tick.time_s):
        state.coil, state.coil_s = allowed, tick.time_s
    return Verdict(
        permit=permit,
        contactor_allowed=allowed,
        trips=trips,
        new_trips=new,
        warnings=tuple(look.warnings),
        reason=state.danger or reason,
        usable=look.usable,
        danger=state.danger,
    )


def acknowledge(
    state: SafetyState, policy: Policy, reading: Reading, tick: Tick, who: str
) -> tuple[SafetyState, tuple[str, ...]]:
    """Clear the latched trips by the explicit order of the person `who`, once every cause is gone. Returns the state
    and the ids that still stand; while any stands, and for an empty name, nothing is cleared. All timers start again,
    so heat returns only after new good readings."""
    if not isinstance(who, str) or not who.strip():
        return state, tuple(state.trips)
    standing = tuple(fault for fault in state.trips if cause_stands(fault, state, policy, reading, tick))
    if state.danger and rules_unasked.still_rising(state, policy):
        standing = tuple(state.trips)
    if standing:
        return state, standing
    cleared = state.copied()
    cleared.trips.clear()
    cleared.believed.clear()
    cleared.restart_timers()
    cleared.danger, cleared.danger_by = "", frozenset()
    return cleared, ()


def cause_stands(fault: str, state: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> bool:
    """Whether the cause of this trip is still there, as far as this reading shows."""
    return not finite(tick.time_s) or not _cause_gone(fault)(Look(state, policy, reading, tick))


def _cause_gone(fault: str) -> Callable[[Look], bool]:
    """The rule's own test. An id that no rule has comes from the saved trips of another version, or from a damaged
    file: if it is a trip of the control sensor, the sensor must show a temperature; else a person's confirmation is
    enough."""
    if fault in RULES:
        return RULES[fault].cause_gone
    return rules_sensor.control_shows if fault.startswith("sensor-") else at_a_persons_word
