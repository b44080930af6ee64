"""What is around the oven: relay, contactor, supply, door, ventilation, board, record, clock, and the run's own ceilings."""

import math

from ..reading import Reading
from .limits import Policy
from .state import SafetyState, Tick, endanger, finite, lasting, number, trip

#: Tolerated difference between commanded and conducted share (tick boundaries, contactor delay), share of full power.
UNASKED_ALLOWANCE = 0.05
#: Current that is certainly more than a relay's leakage, A.
CURRENT_A = 0.2
#: Share of full power that counts as something flowing.
FLOWING = 0.02


def flowing(reading: Reading) -> bool | None:
    """Whether power reaches the elements; None where the rig cannot tell."""
    if finite(reading.fired):
        return reading.fired > FLOWING
    if reading.current_a is None:
        return None
    return not (finite(reading.current_a) and reading.current_a < CURRENT_A)


def clock(s: SafetyState, policy: Policy, tick: Tick) -> bool:
    """Whether this tick's time can be used at all. A jump back or a standing counter trips and everything timed starts anew."""
    if not finite(tick.time_s) or type(tick.step) is not int:
        trip(s, "clock", 0.0 if s.time_s is None else s.time_s, what="the time of the control loop is not a number")
        return False
    if s.time_s is None:
        return True
    gap = tick.time_s - s.time_s
    if gap > 0.0 and tick.step > s.step:
        if gap > policy.stall_s:
            trip(s, "loop-stalled", tick.time_s, gap=gap)
            s.restart_timers()
        return True
    trip(s, "clock", tick.time_s, what="the control loop's time or step counter did not advance")
    s.restart_timers()
    s.time_s, s.step = tick.time_s, tick.step
    return False


def wall_clock(s: SafetyState, policy: Policy, tick: Tick, warnings: list[str]) -> None:
    if not finite(tick.wall_s):
        return
    ahead = tick.wall_s - tick.time_s
    if s.wall_ahead_s is not None and abs(ahead - s.wall_ahead_s) > policy.clock_step_s:
        warnings.append(
            f"the wall clock was set by {ahead - s.wall_ahead_s:+.0f} s; control goes by its own clock and is not affected"
        )
    s.wall_ahead_s = ahead


def board(s: SafetyState, reading: Reading, tick: Tick, warnings: list[str]) -> None:
    if "board-lost" in reading.faults:
        trip(s, "board-lost", tick.time_s)
    if "board-fault" in reading.faults:
        trip(s, "board-fault", tick.time_s)
    if lasting(s, "record", tick.recording is False, tick.time_s, 10.0):
        warnings.append("the record is not being written: disk full or broken; no new run can be started")


def supply(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, warnings: list[str]) -> bool:
    """False while there is no mains; a longer outage trips, and the run goes on only by a person's word."""
    volts, nominal = reading.supply_v, policy.nominal_v
    lost = volts is not None and nominal is not None and not (finite(volts) and volts > 0.3 * nominal)
    if lasting(s, "supply", lost, tick.time_s, policy.outage_s):
        trip(s, "supply-lost", tick.time_s, time=tick.time_s - s.over["supply"])
    if not lost and volts is not None and nominal is not None and abs(volts - nominal) > 0.15 * nominal:
        warnings.append(f"the supply is at {volts:.0f} V instead of {nominal:.0f} V")
    return not lost


def door_and_air(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, warnings: list[str]) -> str:
    """Why there must be no heat just now, or an empty text."""
    now, told = tick.time_s, s.door_told
    s.door_told |= reading.door_open is not None
    if policy.airflow_required:
        blocked = reading.airflow_proved is not True
        if lasting(s, "airflow", blocked and tick.heating, now, 30.0):
            trip(s, "ventilation", now)
        s.airless_s = s.airless_s + dt if blocked else 0.0
        if s.airless_s > policy.airflow_s or s.purge_until_s == math.inf:
            s.purge_until_s = now + policy.purge_s
        elif blocked:
            s.purge_until_s += dt  # only proved air purges
        if blocked:
            return "the ventilation is not proved"
        if now < s.purge_until_s:
            return f"purging the chamber with fresh air for another {s.purge_until_s - now:.0f} s before there is heat"
    if reading.door_open is True:
        return "the door is open"
    if policy.door_switch and reading.door_open is None:
        # The switch also breaks the coil by itself: a rig that was never wired to it is told of, one that has lost it does not heat.
        if told:
            return "the door switch no longer answers"
        warnings.append("the door switch does not answer")
    return ""


def relay_and_contactor(
    s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, powered: bool, warnings: list[str]
) -> None:
    """Told and done. `s.coil` is what the contactor was told at the end of the last tick (the caller may know better)."""
    now = tick.time_s
    if tick.contactor is not None and tick.contactor != s.coil:
        s.coil, s.coil_s = tick.contactor, now - dt
    settled = now - s.coil_s >= policy.contactor_s
    told_open, told_shut = settled and s.coil is False, settled and s.coil is True
    closed = reading.contactor_closed
    if closed is not None:
        if lasting(s, "welded", told_open and closed, now, policy.contactor_s):
            trip(s, "contactor-welded", now)
            endanger(s)
        if lasting(s, "absent", told_shut and not closed and powered, now, policy.contactor_s):
            trip(s, "contactor-open", now)

    asked = tick.commanded
    given = reading.fired if finite(reading.fired) else None
    flows = flowing(reading)
    if given is None and asked == 0.0 and flows is not None:
        given = 1.0 if flows else 0.0
    if not finite(asked) or given is None:
        return
    s.unasked = max(0.0, s.unasked + (given - asked - UNASKED_ALLOWANCE) * dt)
    if s.unasked > policy.unasked_on_s:
        trip(s, "relay-on-unasked", now, given=100.0 * given, asked=100.0 * asked)
        if told_open:
            endanger(s)
    share = 1.0 - math.exp(-dt / 10.0)
    s.asked += (asked - s.asked) * share
    s.given += (given - s.given) * share
    ready = s.asked > 0.05 and told_shut and closed is not False and powered
    if lasting(s, "no-heat", ready and s.given < 0.1 * s.asked, now, 5.0):
        trip(s, "relay-open", now, asked=100.0 * s.asked)
    elif lasting(s, "part-heat", ready and s.given < 0.85 * s.asked, now, 30.0):
        warnings.append(
            f"only {100.0 * s.given / s.asked:.0f} % of the power asked for reaches the elements: one of them may be broken"
        )


def ceilings(s: SafetyState, policy: Policy, tick: Tick) -> None:
    """Energy and time of one run, as hard stops of their own."""
    if not finite(tick.energy_j) or tick.energy_j > policy.most_energy_j:
        trip(s, "energy", tick.time_s, energy=number(tick.energy_j) / 3.6e6, limit=policy.most_energy_j / 3.6e6)
    if not finite(tick.run_s) or (tick.heating and tick.run_s > policy.longest_s):
        trip(s, "run-time", tick.time_s, hours=number(tick.run_s) / 3600.0, limit=policy.longest_s / 3600.0)
