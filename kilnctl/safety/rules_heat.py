"""Does the temperature follow from the heat? Rises, falls, and heat without a rise."""

import math

from .extremes import greater, lesser
from .rule import Look, Rule, at_a_persons_word
from .rules_sensor import came_back, control_shows
from .state import Fall, SafetyState, Span, Tick, finite

#: Time constant of the smoothed level and slope of a reading, s.
SMOOTH_S = 5.0  # ±30 %: error -0.8/+0.9 %
#: A too fast rise must last this long, s, so that noise does not trip.
RISE_CONFIRM_S = 5.0  # ±30 %: none
#: The chamber's recent top sinks this fast, K/s. A rise below it is a recovery, from an open door for example. That is
#: less than half of what an oven falls by itself in ten minutes without heat (0.05 K/s, the median of 27 models): after
#: a door of five minutes the top is still within 6 K.
TOP_SINKS_K_PER_S = 0.02  # ±30 %: none
#: A fall is over after a rise above the lowest reading of this much, K, and of this share of the fall. Then the sensor
#: is in the chamber and the door is shut. A few kelvin alone prove nothing: a sensor in a draught also varies by that.
ANSWER_K, ANSWER_SHARE = 3.0, 0.25  # ±30 %: none
#: While no heat is wanted, the remembered temperature from before a fall decays at this rate, K/s.
FADES_K_PER_S = 0.1  # ±30 %: none
#: During a fall of the control sensor of this much, K, the limit sensor must fall by this share of it within this time,
#: s.
FOLLOW_FALL_K, FOLLOW_SHARE, FOLLOW_AFTER_S = 30.0, 0.2, 20.0  # ±30 %: none
#: Share of the usual time that a fall may last when a door switch shows a shut door: then the sensor is at fault.
SHUT_SHARE = 0.2  # ±30 %: none
#: Swapped wires show as a fall of this much, K, after this many full-power seconds, s. Without the terminals'
#: temperature the rule works only in an oven cooler than this, °C.
SINK_K, SINK_FIRED_S, COOL_C = 3.0, 20.0, 60.0  # ±30 %: none
#: Share of full power in the last minute that counts as heating for that rule, with and without the terminals'
#: temperature. Without it only strong heat counts, because a cool oven may follow its schedule down.
SINK_HEATED, SINK_HEATED_BLIND = 0.1, 0.4  # ±30 %: none
#: A duty from the first share on counts as full power, but only where less than the second share may be taken by
#: holding the temperature, or by lining and load that still warm up (`SafetyState.taken`).
FULL, NEAR_THE_TOP = 0.9, 0.7  # ±30 %: none
#: After a fall or an open door the missing-heat sum stays unchanged for this long, s: the estimator needs it to unlearn
#: the loss.
SETTLING_S = 180.0  # ±30 %: none


def behaviour(look: Look) -> float:
    """Judge a believed reading by the heat that went in. `look.dt_s` is above 0, because a first reading is not
    believed. Returns the highest duty allowed, 0..1."""
    follow(look)
    rise_too_fast(look)
    limit = reading_fell(look)
    heat_no_rise(look)
    falls_when_heated(look)
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
        state.shut_s = state.settled_s
    if state.fall is not None and not look.tick.heating:
        # Without heat a door may stand open for any time. The remembered temperature decays as the oven would cool.
        before_c = max(state.slow_c, state.fall.before_c - FADES_K_PER_S * look.dt_s)
        state.fall = state.fall._replace(since_s=look.now_s, before_c=before_c)


def smoothed(level: float, slope: float, value: float, dt_s: float) -> tuple[float, float]:
    """Level, °C, and slope, K/s, of a reading after one more value, smoothed over SMOOTH_S."""
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
    return lesser(1.0, greater(0.0, tick.holding_w / tick.full_power_w))


# ---- rise-too-fast ---------------------------------------------------------------------------------------------------


def rise_too_fast(look: Look) -> None:
    """The chamber rises faster than full power could, above its recent temperatures."""
    state, limit = look.state, look.policy.rise_k_per_s
    state.top_c = greater(level_c(state), state.top_c - TOP_SINKS_K_PER_S * look.dt_s)
    beyond = state.slope_k_per_s > limit and level_c(state) >= state.top_c
    if look.lasting("rise", beyond, RISE_CONFIRM_S):
        look.trip("rise-too-fast", rate=state.slope_k_per_s, limit=limit)


def rises_slowly(look: Look) -> bool:
    return control_shows(look) and look.state.slope_k_per_s <= 0.5 * look.policy.rise_k_per_s


# ---- reading-fell ----------------------------------------------------------------------------------------------------


def reading_fell(look: Look) -> float:
    """A reading that falls faster than the closed oven can cool: the sensor slipped out, or a door that no switch
    reports is open. Until the reading rises again there is no more heat than before. Returns the highest duty allowed,
    0..1."""
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
    """Keep both temperatures from before the fall: in an open oven the limit sensor falls at the same time."""
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
    """The reading of a cool oven falls, below its terminals, while it is heated: plus and minus are swapped."""
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
    oven's highest reachable temperature, where holding it takes full power, and not while heavier walls or contents
    than the file's may take it all: such an oven rose by 4.7 K in ten minutes at 418 °C, and could reach 670 °C."""
    state, window = look.state, look.state.window
    takes = greater(holding_share(look.tick), state.taken)
    elsewhere = look.fired < FULL or state.fall is not None or takes > NEAR_THE_TOP
    if window is None or elsewhere or level_c(state) > window.start_c + look.policy.no_rise_k:
        state.window = Span(level_c(state), 0.0)
        return
    window = state.window = Span(window.start_c, window.full_power_s + look.fired * look.dt_s)
    if window.full_power_s > look.policy.no_rise_s:
        look.trip("heat-no-rise", time=window.full_power_s, rise=level_c(state) - window.start_c)


RULES = (
    Rule("rise-too-fast", rise_too_fast, rises_slowly),
    Rule("reading-fell", reading_fell, came_back_from_fall),
    Rule("falls-when-heated", falls_when_heated, at_a_persons_word),
    Rule("heat-no-rise", heat_no_rise, at_a_persons_word),
)
