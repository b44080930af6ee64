"""Does the temperature do what the heat explains? Rises and falls, heat without rise, rise without heat, unexplained watts."""

import math
from dataclasses import replace

from ..reading import Reading
from . import cusum
from .limits import Policy
from .messages import LOAD_FIRST
from .state import SafetyState, Tick, endanger, finite, lasting, trip

#: Time constant of the smoothed level and slope of a reading, s.
SMOOTH_S = 5.0
#: The level above which a rise without heat is unasked begins where the chamber has lately been and may sink only so fast, so that coming
#: back from a door's dip is no rise, K/s.
LEVEL_SINKS_K_PER_S = 0.02
#: It creeps up with a chamber that warms no faster than a room does, K/s.
LEVEL_CREEPS_K_PER_S = 3.0 / 3600.0
#: A recovery is a rise below what the chamber had been; what it had been is forgotten this fast, K/s.
TOP_SINKS_K_PER_S = 0.02
#: After a fall, a rise above the lowest reading of so much, and of this share of the fall, shows that the sensor is in the oven and the door
#: shut: one that hangs in a draught wavers by a few kelvin too.
ANSWER_K, ANSWER_SHARE = 3.0, 0.25
#: Shares of full power fired lately: below the first no heat to speak of; above the second a relay that is stuck could not add much.
NONE_FIRED, MUCH_FIRED = 0.02, 0.6
#: Rest of the missing-heat sum after a fall or an open door: the estimator needs it to unlearn the loss, s.
SETTLING_S = 180.0
#: Swapped wires: a fall of so much after so many full-power seconds; without terminals to compare, from a cool oven only.
SINK_K, SINK_FIRED_S, COOL_C = 3.0, 20.0, 60.0
#: What the chamber was before a fall fades so fast while no heat is wanted, K/s.
FADES_K_PER_S = 0.1
#: After a trip the elements give off what they hold; what is unexplained later comes past relay and contactor, s.
GLOW_S = 30.0
#: A cold junction that stepped took the reading with it; it has come to rest, smoothed, so long after its trip, s.
COLD_STEP_S = 30.0
#: In a fall, the second sensor must follow the control sensor at least so far.
FOLLOW_SHARE, FOLLOW_AFTER_S, FOLLOW_FALL_K = 0.2, 20.0, 30.0


def behaviour(
    s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, fired: float, warnings: list[str]
) -> float:
    """Judge a believed reading against the heat that went in; dt > 0, for a first reading is not believed yet. Returns the most
    that the duty may be."""
    now, value = tick.time_s, reading.chamber_c
    if s.slow_c is None:
        s.slow_c = s.top_c = value
    s.slow_c, s.slope_k_per_s = _smoothed(s.slow_c, s.slope_k_per_s, value, dt)
    if not finite(reading.limit_c):
        s.second_c, s.second_slope = None, 0.0
    else:
        s.second_c, s.second_slope = _smoothed(
            reading.limit_c if s.second_c is None else s.second_c, s.second_slope, reading.limit_c, dt
        )
    door = reading.door_open is True
    if door:
        s.fall, s.window, s.settled_s = None, None, now + SETTLING_S

    if s.fall is not None and not tick.heating:
        # Without heat a door may stand open for as long as it likes; what the chamber had been fades as it would by cooling.
        s.fall = (now, max(s.slow_c, s.fall[1] - FADES_K_PER_S * dt), *s.fall[2:])

    _rise(s, policy, now, dt)
    limit = _fall(s, policy, reading, tick, door)
    _no_rise(s, policy, tick, fired, dt)
    _sinking(s, reading, tick, fired, dt)
    # What flows although nobody asked is no heat that explains a rise: a leak of a twentieth is below the relay's own rule.
    asked = min(fired, tick.commanded) if finite(tick.commanded) else fired
    _unasked_rise(s, policy, reading.cold_junction_c, now, asked, dt, door)
    _unexplained(s, policy, tick, dt, warnings)
    return limit


def _smoothed(level: float, slope: float, value: float, dt: float) -> tuple[float, float]:
    """Level, °C, and slope, K/s, of a reading, over SMOOTH_S."""
    share = 1.0 - math.exp(-dt / SMOOTH_S)
    new = level + (value - level) * share
    return new, slope + ((new - level) / dt - slope) * share


def holding_share(tick: Tick) -> float:
    """Share of full power that holds this temperature, 0..1; 0 when nobody knows."""
    if not (finite(tick.holding_w) and finite(tick.full_power_w) and tick.full_power_w > 0.0):
        return 0.0
    return min(1.0, max(0.0, tick.holding_w / tick.full_power_w))


def _rise(s: SafetyState, policy: Policy, now: float, dt: float) -> None:
    s.top_c = max(s.slow_c, s.top_c - TOP_SINKS_K_PER_S * dt)
    beyond = s.slope_k_per_s > policy.rise_k_per_s and s.slow_c >= s.top_c
    if lasting(s, "rise", beyond, now, 5.0):
        trip(s, "rise-too-fast", now, rate=s.slope_k_per_s, limit=policy.rise_k_per_s)


def _fall(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, door: bool) -> float:
    """A reading that falls faster than the closed oven can cool (sensor slipped out, or a door that nobody reports) is never
    answered with more heat than before, until it rises again and so shows that it still speaks of the chamber."""
    now = tick.time_s
    if s.fall is None:
        if door or s.slope_k_per_s >= -policy.fall_k_per_s:
            return 1.0
        cap = min(1.0, max(s.fired_60, holding_share(tick), 0.02))
        # Both are remembered as they were before the fall began: the second sensor of an open oven falls from the first second too.
        second = None if s.second_c is None else s.second_c - SMOOTH_S * s.second_slope
        s.fall = (now, s.slow_c - SMOOTH_S * s.slope_k_per_s, s.slow_c, cap, second)
    since, origin, lowest, cap, second = s.fall
    lowest = min(lowest, s.slow_c)
    s.fall = (since, origin, lowest, cap, second)
    s.settled_s, s.window = now + SETTLING_S, None
    if s.slow_c > lowest + max(ANSWER_K, ANSWER_SHARE * (origin - lowest)) and s.slope_k_per_s > 0.0:
        s.fall = None
        return cap
    fallen = origin - s.slow_c
    if (
        second is not None
        and s.second_c is not None
        and now - since > FOLLOW_AFTER_S + max(0.0, policy.second_lag_s)
        and fallen > FOLLOW_FALL_K
    ):
        if second - s.second_c < FOLLOW_SHARE * fallen:
            trip(s, "sensors-disagree", now, first=s.slow_c, second=s.second_c)
    # A door switch that says "shut" leaves only the sensor to blame.
    shut = policy.door_switch and reading.door_open is False
    if now - since > policy.fall_s * (0.2 if shut else 1.0):
        trip(s, "reading-fell", now, fall=origin - lowest, time=now - since)
    return cap


def _no_rise(s: SafetyState, policy: Policy, tick: Tick, fired: float, dt: float) -> None:
    """Full power and no rise: broken element, open relay, dead supply, or a sensor that is not in the chamber. Not near the
    top of what the oven can do, where full power is what holding takes."""
    if (
        s.window is None
        or fired < 0.9
        or s.fall is not None
        or holding_share(tick) > 0.7
        or s.slow_c > s.window[0] + policy.no_rise_k
    ):
        s.window = (s.slow_c, 0.0)
        return
    start, used = s.window
    s.window = (start, used + fired * dt)
    if s.window[1] > policy.no_rise_s:
        trip(s, "heat-no-rise", tick.time_s, time=s.window[1], rise=s.slow_c - start)


def _sinking(s: SafetyState, reading: Reading, tick: Tick, fired: float, dt: float) -> None:
    """A cool oven whose reading goes down, below its terminals, while it is heated: plus and minus are swapped. Without the
    terminals' temperature only strong heat counts, for a cool oven may follow its schedule down."""
    cold = reading.cold_junction_c
    known = finite(cold)
    heated = s.fired_60 > (0.1 if known else 0.4)
    if s.sink is None or not heated or s.fall is not None or s.slow_c >= s.sink[0]:
        s.sink = (s.slow_c, 0.0)
        return
    start, used = s.sink
    s.sink = (start, used + fired * dt)
    below = s.slow_c < cold if known else start < COOL_C
    if s.sink[1] > SINK_FIRED_S and s.slow_c < start - SINK_K and below:
        trip(s, "falls-when-heated", tick.time_s, time=s.sink[1], fall=start - s.slow_c)


def _unasked_rise(
    s: SafetyState, policy: Policy, cold: float | None, now: float, asked: float, dt: float, door: bool
) -> None:
    """No heat and yet a rise: a relay that stays on. The elements' own stored heat gets its time first; an oven that recovers
    from an open door only comes back to where it was; one that is cooler than its terminals warms with the room. A rise is measured anew
    once the contactor is told to open: what rises after that comes past relay and contactor both."""
    s.off_s = 0.0 if asked > 0.02 else s.off_s + dt
    off_s = min(s.off_s, now - s.coil_s) if s.coil is False else s.off_s
    cold_trip = s.trips.get("cold-junction")
    stepped = cold_trip is not None and now - cold_trip.time_s < COLD_STEP_S
    # The level of a reading that jitters by more than its trip allows wanders by kelvins; what it does is no rise.
    unsound = door or stepped or s.noise_k > policy.noise_k
    if off_s < policy.unasked_rise_s or unsound:
        s.quiet_c = max(s.slow_c, s.top_c) if unsound else None
        return
    if s.quiet_c is None:
        s.quiet_c = max(s.slow_c, s.top_c)
    rise = s.slow_c - s.quiet_c
    if rise > policy.unasked_rise_k:
        trip(s, "rise-no-heat", now, rise=rise, time=s.off_s)
        if s.coil is False:
            endanger(s)
        return
    s.quiet_c += min(max(rise, -LEVEL_SINKS_K_PER_S * dt), LEVEL_CREEPS_K_PER_S * dt)
    if finite(cold):
        s.quiet_c = max(s.quiet_c, min(s.slow_c, cold))


def still_rising(s: SafetyState, policy: Policy) -> bool:
    """Whether the chamber may be rising without heat: nobody has looked for long enough, or it is above where it began to."""
    return s.off_s < policy.unasked_rise_s or s.quiet_c is None or s.slow_c - s.quiet_c > 0.5 * policy.unasked_rise_k


def _unexplained(s: SafetyState, policy: Policy, tick: Tick, dt: float, warnings: list[str]) -> None:
    """The estimator's unexplained heat as a share of full power, in two cumulative sums: too much (relay shorted), too little
    (elements broken, sensor slipped out). A wrong model errs in proportion to the power fired lately; that is allowed for.

    Fault-free on the virtual ovens, with conductivity, capacity and power wrong by 20 to 25 % and without any fit, the
    evidence stayed at least 0.08 below the allowance and wandered by 0.03 with a correlation time of 60 s:
    `cusum.time_to_alarm_s(0.08, 0.03, 60, 15)` is more than a million hours of operation.
    """
    power = tick.full_power_w
    if not finite(tick.unexplained_w) or not finite(power) or power <= 0.0:
        return
    share = tick.unexplained_w / power
    lately = max(s.fired_60, s.fired_300)
    allowance = policy.unexplained_share + policy.explained_per_fired * lately
    s.excess = cusum.grow(s.excess, share, allowance, dt)
    if s.excess > policy.excess_share_s:
        trip(s, "unexplained-heat", tick.time_s, watts=tick.unexplained_w)
        if lately > MUCH_FIRED and s.trips["unexplained-heat"].time_s == tick.time_s:
            s.trips["unexplained-heat"] = replace(s.trips["unexplained-heat"], check=LOAD_FIRST)
    open_s = tick.time_s - s.coil_s if s.trips and s.coil is False else 0.0
    # More than full power does not come past them: what looks like more is a sensor that changed its mind, and passes. Nor does a reading that jitters
    # by more than its trip allows tell of heat: what the estimate makes of it swings by full power both ways.
    if open_s <= GLOW_S:
        s.past_open = 0.0
    elif s.noise_k <= policy.noise_k:
        s.past_open = cusum.grow(s.past_open, min(share, 1.0), allowance, dt)
    if s.past_open > policy.excess_share_s:
        endanger(s)  # it has tripped: the sum of all is never less than this one
    if tick.time_s < s.settled_s or not tick.heating or lately < NONE_FIRED:
        return  # where no heat has been given, none can be missing
    s.missing = cusum.grow(s.missing, -share, allowance, dt)
    if s.missing > policy.missing_share_s:
        trip(s, "missing-heat", tick.time_s, watts=-tick.unexplained_w)
    if lasting(s, "gain", s.fired_300 > 0.4 and share < -0.3 * s.fired_300, tick.time_s, 300.0):
        warnings.append(
            f"the elements seem to give {-100.0 * share / s.fired_300:.0f} % less heat than they should: one may be broken"
        )
