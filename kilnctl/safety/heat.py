"""Does the temperature do what the heat explains? Rises, falls, heat without rise, rise without heat, unexplained
heat."""

import math
from dataclasses import replace

from . import cusum
from .policy import Policy
from .rule import Look, Rule, at_a_persons_word
from .sensor import came_back, control_shows
from .state import Fall, SafetyState, Span, Tick, endanger, finite, number
from .words import LOAD_FIRST

#: Time constant of the smoothed level and slope of a reading, s.
SMOOTH_S = 5.0
#: A reading rises too fast when it does so for this long, s.
RISE_CONFIRM_S = 5.0
#: The chamber's recent top sinks this fast, K/s. A rise below it is a recovery, from an open door for example.
TOP_SINKS_K_PER_S = 0.02
#: A fall is over after a rise above the lowest reading of so much, and of this share of the fall. The sensor is then in
#: the chamber and the door is shut: a sensor that hangs in a draught wavers by a few kelvin too.
ANSWER_K, ANSWER_SHARE = 3.0, 0.25
#: While no heat is wanted, the remembered temperature from before a fall decays at this rate, K/s.
FADES_K_PER_S = 0.1
#: During a fall of this much, K, the limit sensor must follow the control sensor by this share within this time, s.
FOLLOW_FALL_K, FOLLOW_SHARE, FOLLOW_AFTER_S = 30.0, 0.2, 20.0
#: A fall may last this share of its time where a door switch says that the door is shut: only the sensor is to blame.
SHUT_SHARE = 0.2
#: Swapped wires: a fall of so much, K, after so many full-power seconds, s; without the terminals' temperature only in
#: an oven that is cooler than this, °C.
SINK_K, SINK_FIRED_S, COOL_C = 3.0, 20.0, 60.0
#: Share of full power in the last minute that counts as heating for that rule, with and without the terminals'
#: temperature. Without it only strong heat counts, because a cool oven may follow its schedule down.
SINK_HEATED, SINK_HEATED_BLIND = 0.1, 0.4
#: Full power counts from this share on, and only where holding the temperature takes less than the second share.
FULL, NEAR_THE_TOP = 0.9, 0.7
#: The level from which a rise without heat is measured starts at the recent top. It may sink this fast, K/s, so that
#: coming back from an open door is no rise, and it creeps up with a chamber that warms no faster than a room, K/s.
LEVEL_SINKS_K_PER_S, LEVEL_CREEPS_K_PER_S = 0.02, 3.0 / 3600.0
#: Share of full power that counts as heat asked for.
ASKED = 0.02
#: A cold junction that stepped moves the reading with it. The smoothed reading is at rest this long after its trip, s.
COLD_STEP_S = 30.0
#: After a trip the elements give off stored heat for so long, s. What is unexplained later flows past the contactor.
GLOW_S = 30.0
#: Shares of full power fired lately: below the first there is no heat to miss; above the second a stuck relay could not
#: add much.
NONE_FIRED, MUCH_FIRED = 0.02, 0.6
#: After a fall or an open door the missing-heat sum rests for so long, s: the estimator needs it to unlearn the loss.
SETTLING_S = 180.0
#: A broken element shows as this share of the fired power missing for so long, s, at this share of full power or more.
GAIN_LOST, GAIN_S, GAIN_FIRED = 0.3, 300.0, 0.4


def behaviour(look: Look) -> float:
    """Judge a believed reading against the heat that went in. `look.dt_s` is above 0: a first reading is not believed.
    Returns the most that the duty may be, 0..1."""
    follow(look)
    rise_too_fast(look)
    limit = reading_fell(look)
    heat_no_rise(look)
    falls_when_heated(look)
    rise_no_heat(look)
    unexplained(look)
    return limit


def follow(look: Look) -> None:
    """Smooth the readings, and note an open door."""
    state, reading = look.state, look.reading
    if state.slow_c is None:
        state.slow_c = state.top_c = reading.chamber_c
    state.slow_c, state.slope_k_per_s = smoothed(state.slow_c, state.slope_k_per_s, reading.chamber_c, look.dt_s)
    if finite(reading.limit_c):
        start_c = reading.limit_c if state.second_c is None else state.second_c
        state.second_c, state.second_slope = smoothed(start_c, state.second_slope, reading.limit_c, look.dt_s)
    else:
        state.second_c, state.second_slope = None, 0.0
    if look.door_is_open:
        state.fall, state.window, state.settled_s = None, None, look.now_s + SETTLING_S
    if state.fall is not None and not look.tick.heating:
        # Without heat a door may stand open for any time. The remembered temperature decays as the oven would cool.
        before_c = max(state.slow_c, state.fall.before_c - FADES_K_PER_S * look.dt_s)
        state.fall = state.fall._replace(since_s=look.now_s, before_c=before_c)


def smoothed(level: float, slope: float, value: float, dt_s: float) -> tuple[float, float]:
    """Level, °C, and slope, K/s, of a reading after one more value, over SMOOTH_S."""
    share = 1.0 - math.exp(-dt_s / SMOOTH_S)
    new = level + (value - level) * share
    return new, slope + ((new - level) / dt_s - slope) * share


def level_c(state: SafetyState) -> float:
    """The smoothed control reading, °C; NaN before the first believed one."""
    return math.nan if state.slow_c is None else state.slow_c


def holding_share(tick: Tick) -> float:
    """Share of full power that holds this temperature, 0..1; 0 when it is unknown."""
    if not (finite(tick.holding_w) and finite(tick.full_power_w) and tick.full_power_w > 0.0):
        return 0.0
    return min(1.0, max(0.0, tick.holding_w / tick.full_power_w))


# ---- rise-too-fast ---------------------------------------------------------------------------------------------------


def rise_too_fast(look: Look) -> None:
    """The chamber rises faster than full power could, above where it has lately been."""
    state, limit = look.state, look.policy.rise_k_per_s
    state.top_c = max(level_c(state), state.top_c - TOP_SINKS_K_PER_S * look.dt_s)
    beyond = state.slope_k_per_s > limit and level_c(state) >= state.top_c
    if look.lasting("rise", beyond, RISE_CONFIRM_S):
        look.trip("rise-too-fast", rate=state.slope_k_per_s, limit=limit)


def rises_slowly(look: Look) -> bool:
    return control_shows(look) and look.state.slope_k_per_s <= 0.5 * look.policy.rise_k_per_s


# ---- reading-fell ----------------------------------------------------------------------------------------------------


def reading_fell(look: Look) -> float:
    """A reading that falls faster than the closed oven can cool: the sensor slipped out, or a door is open that no
    switch reports. Until the reading rises again there is no more heat than before. Returns the most that the duty may
    be, 0..1."""
    state, policy, now_s = look.state, look.policy, look.now_s
    if state.fall is None:
        if look.door_is_open or state.slope_k_per_s >= -policy.fall_k_per_s:
            return 1.0
        state.fall = _begun_fall(look)
    fall = state.fall = state.fall._replace(lowest_c=min(state.fall.lowest_c, level_c(state)))
    state.settled_s, state.window = now_s + SETTLING_S, None
    answer_k = max(ANSWER_K, ANSWER_SHARE * (fall.before_c - fall.lowest_c))
    if level_c(state) > fall.lowest_c + answer_k and state.slope_k_per_s > 0.0:
        state.fall = None
        return fall.duty_cap
    second_does_not_follow(look, fall)
    shut = policy.door_switch and look.reading.door_open is False
    if now_s - fall.since_s > policy.fall_s * (SHUT_SHARE if shut else 1.0):
        look.trip("reading-fell", fall=fall.before_c - fall.lowest_c, time=now_s - fall.since_s)
    return fall.duty_cap


def _begun_fall(look: Look) -> Fall:
    """Both temperatures are remembered from before the fall: the limit sensor of an open oven falls at once too."""
    state = look.state
    duty_cap = min(1.0, max(state.fired_60, holding_share(look.tick), 0.02))
    second_c = None if state.second_c is None else state.second_c - SMOOTH_S * state.second_slope
    before_c = level_c(state) - SMOOTH_S * state.slope_k_per_s
    return Fall(look.now_s, before_c, level_c(state), duty_cap, second_c)


def second_does_not_follow(look: Look, fall: Fall) -> None:
    """Trips `sensors-disagree` at once when the limit sensor stays while the control sensor falls far."""
    second_c, after_s = look.state.second_c, FOLLOW_AFTER_S + max(0.0, look.policy.second_lag_s)
    fallen_k = fall.before_c - level_c(look.state)
    if fall.second_c is None or second_c is None or look.now_s - fall.since_s <= after_s or fallen_k <= FOLLOW_FALL_K:
        return
    if fall.second_c - second_c < FOLLOW_SHARE * fallen_k:
        look.trip("sensors-disagree", first=level_c(look.state), second=second_c)


def came_back_from_fall(look: Look) -> bool:
    return came_back(look, "reading-fell")


# ---- falls-when-heated -----------------------------------------------------------------------------------------------


def falls_when_heated(look: Look) -> None:
    """A cool oven whose reading goes down, below its terminals, while it is heated: plus and minus are swapped."""
    state, cold_c = look.state, look.reading.cold_junction_c
    heated = state.fired_60 > (SINK_HEATED if finite(cold_c) else SINK_HEATED_BLIND)
    if state.sink is None or not heated or state.fall is not None or level_c(state) >= state.sink.start_c:
        state.sink = Span(level_c(state), 0.0)
        return
    sink = state.sink = Span(state.sink.start_c, state.sink.full_power_s + look.fired * look.dt_s)
    below = level_c(state) < cold_c if finite(cold_c) else sink.start_c < COOL_C
    if sink.full_power_s > SINK_FIRED_S and level_c(state) < sink.start_c - SINK_K and below:
        look.trip("falls-when-heated", time=sink.full_power_s, fall=sink.start_c - level_c(state))


# ---- heat-no-rise ----------------------------------------------------------------------------------------------------


def heat_no_rise(look: Look) -> None:
    """Full power and no rise: broken element, open relay, dead supply, or a sensor outside the chamber. Not near the
    top of what the oven can do, where holding the temperature takes full power."""
    state, window = look.state, look.state.window
    elsewhere = look.fired < FULL or state.fall is not None or holding_share(look.tick) > NEAR_THE_TOP
    if window is None or elsewhere or level_c(state) > window.start_c + look.policy.no_rise_k:
        state.window = Span(level_c(state), 0.0)
        return
    window = state.window = Span(window.start_c, window.full_power_s + look.fired * look.dt_s)
    if window.full_power_s > look.policy.no_rise_s:
        look.trip("heat-no-rise", time=window.full_power_s, rise=level_c(state) - window.start_c)


# ---- rise-no-heat ----------------------------------------------------------------------------------------------------


def rise_no_heat(look: Look) -> None:
    """A rise although no heat is asked for: a relay that stays on. The elements first get time to give off their stored
    heat. An oven that recovers from an open door only comes back to where it was, and one that is cooler than its
    terminals warms with the room. The rise is measured again from when the contactor is told to open: what rises
    after that gets past both relay and contactor."""
    state, policy, dt_s = look.state, look.policy, look.dt_s
    state.off_s = 0.0 if _asked(look) > ASKED else state.off_s + dt_s
    off_s = min(state.off_s, look.now_s - state.coil_s) if state.coil is False else state.off_s
    cold_trip = state.trips.get("cold-junction")
    stepped = cold_trip is not None and look.now_s - cold_trip.time_s < COLD_STEP_S
    # The level of a reading that jitters beyond its trip wanders by kelvins, and that is no rise.
    unsound = look.door_is_open or stepped or state.noise_k > policy.noise_k
    if off_s < policy.unasked_rise_s or unsound:
        state.quiet_c = max(level_c(state), state.top_c) if unsound else None
        return
    if state.quiet_c is None:
        state.quiet_c = max(level_c(state), state.top_c)
    rise_k = level_c(state) - state.quiet_c
    if rise_k > policy.unasked_rise_k:
        look.trip("rise-no-heat", rise=rise_k, time=state.off_s)
        if state.coil is False:
            endanger(state)
        return
    state.quiet_c += min(max(rise_k, -LEVEL_SINKS_K_PER_S * dt_s), LEVEL_CREEPS_K_PER_S * dt_s)
    if finite(cold_c := look.reading.cold_junction_c):
        state.quiet_c = max(state.quiet_c, min(level_c(state), cold_c))


def _asked(look: Look) -> float:
    """Share of full power that was asked for. What flows beyond it explains no rise: a leak of a twentieth is too small
    for the rule of the relay."""
    commanded = look.tick.commanded
    return min(look.fired, commanded) if finite(commanded) else look.fired


def still_rising(state: SafetyState, policy: Policy) -> bool:
    """Whether the chamber may be rising without heat: it was not watched for long enough, or it is above where the
    watch began."""
    if state.off_s < policy.unasked_rise_s or state.quiet_c is None:
        return True
    return level_c(state) - state.quiet_c > 0.5 * policy.unasked_rise_k


def rises_no_more(look: Look) -> bool:
    return control_shows(look) and not still_rising(look.state, look.policy)


# ---- unexplained-heat, missing-heat ----------------------------------------------------------------------------------


def unexplained(look: Look) -> None:
    """Weigh the heat that the model cannot explain, where it is known."""
    share = unexplained_share(look.tick)
    if share is not None:
        unexplained_heat(look, share)
        heat_past_contactor(look, share)
        missing_heat(look, share)


def unexplained_share(tick: Tick) -> float | None:
    """Heat that the model cannot explain, as a share of full power; below 0 heat is missing. None when unknown."""
    power_w = tick.full_power_w
    if not finite(tick.unexplained_w) or not finite(power_w) or power_w <= 0.0:
        return None
    return tick.unexplained_w / power_w


def fired_lately(state: SafetyState) -> float:
    """Share of full power: the mean of the last minute or of the last five, the greater."""
    return max(state.fired_60, state.fired_300)


def explained_share(look: Look) -> float:
    """The allowance of both sums, share of full power. A wrong model errs in proportion to the power fired lately.

    Fault-free on the virtual ovens, with conductivity, capacity and power wrong by 20 to 25 % and without any fit, the
    evidence stayed at least 0.08 below this allowance and wandered by 0.03 with a correlation time of 60 s: more than a
    million hours to a false alarm (tests/safety/test_cusum.py works it out).
    """
    return look.policy.unexplained_share + look.policy.explained_per_fired * fired_lately(look.state)


def unexplained_heat(look: Look, share: float) -> None:
    """Cumulative sum of too much heat: a relay that conducts all the time."""
    state = look.state
    state.excess = cusum.grow(state.excess, share, explained_share(look), look.dt_s)
    if state.excess > look.policy.excess_share_s:
        known = "unexplained-heat" in state.trips
        look.trip("unexplained-heat", watts=number(look.tick.unexplained_w))
        if fired_lately(state) > MUCH_FIRED and not known:
            state.trips["unexplained-heat"] = replace(state.trips["unexplained-heat"], check=LOAD_FIRST)


def heat_past_contactor(look: Look, share: float) -> None:
    """The same sum, of what comes although a trip told relay and contactor to be off. It is shouted.

    No more than full power can get past them: what looks like more is a sensor that changed its mind, and that passes.
    A reading that jitters beyond its trip says nothing about heat: the estimate swings by full power both ways.
    """
    state = look.state
    open_s = look.now_s - state.coil_s if state.trips and state.coil is False else 0.0
    if open_s <= GLOW_S:
        state.past_open = 0.0
    elif state.noise_k <= look.policy.noise_k:
        state.past_open = cusum.grow(state.past_open, min(share, 1.0), explained_share(look), look.dt_s)
    if state.past_open > look.policy.excess_share_s:
        endanger(state)  # `unexplained-heat` has tripped: its sum is never less than this one


def missing_heat(look: Look, share: float) -> None:
    """Cumulative sum of too little heat: broken elements, or a sensor that slipped out. Where no heat has been given,
    none is missing."""
    state = look.state
    if look.now_s < state.settled_s or not look.tick.heating or fired_lately(state) < NONE_FIRED:
        return
    state.missing = cusum.grow(state.missing, -share, explained_share(look), look.dt_s)
    if state.missing > look.policy.missing_share_s:
        look.trip("missing-heat", watts=-number(look.tick.unexplained_w))
    lost = state.fired_300 > GAIN_FIRED and share < -GAIN_LOST * state.fired_300
    if look.lasting("gain", lost, GAIN_S):
        less = -100.0 * share / state.fired_300
        look.warn(f"the elements seem to give {less:.0f} % less heat than they should: one may be broken")


RULES = (
    Rule("rise-too-fast", rise_too_fast, rises_slowly),
    Rule("reading-fell", reading_fell, came_back_from_fall),
    Rule("falls-when-heated", falls_when_heated, at_a_persons_word),
    Rule("heat-no-rise", heat_no_rise, at_a_persons_word),
    Rule("rise-no-heat", rise_no_heat, rises_no_more),
    Rule("unexplained-heat", unexplained_heat, at_a_persons_word),
    Rule("missing-heat", missing_heat, at_a_persons_word),
)
