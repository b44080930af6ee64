"""Can the readings be believed, and are they below their limits? Heat goes at the first doubt; a trip follows if it
lasts."""

import math

from ..reading import SENSOR_FAULTS, Reading
from .policy import Policy
from .rule import Look, Rule
from .state import SafetyState, finite, number

#: What a thermocouple can show, °C; anything else is nonsense of the converter.
LOWEST_C, HIGHEST_C = -60.0, 1820.0
#: A limit must be undercut by so much before its trip can be acknowledged, K.
BELOW_K = 2.0
#: How fast an oven may have cooled while its reading was not believed, K/s.
COOLED_K_PER_S = 0.1
#: A reading that lands this near the terminals' temperature in one jump, from well above it: the two wires touch.
NEAR_TERMINALS_K, WELL_ABOVE_K = 8.0, 30.0
#: A drop to the terminals' temperature at more than this is a short and not a door, however quick the sensor, K/s.
SHORT_K_PER_S = 25.0
#: A reading that stays away, or was lost for long, is taken for healed only if it moved on no faster, K/s.
HEAL_K_PER_S = 1.0
#: Share of full power in the last minute from which on answers must change: an oven at rest, or one that cools in its
#: last kelvins, may show one figure for hours.
MOVES_FROM = 0.02
#: Time constant of the noise, s, and how long too much of it must last, s.
NOISE_S, NOISE_CONFIRM_S = 10.0, 5.0
#: Mean |second difference| of white noise of unit standard deviation, counted only where its sign turns:
#: √6 · √(2/π) · (1 − r)/2 with the correlation r = −2/3 of neighbouring second differences (E|x| of a normal pair over
#: the quadrants where the signs differ).
SECOND_DIFFERENCE = math.sqrt(6.0) * math.sqrt(2.0 / math.pi) * (1.0 + 2.0 / 3.0) / 2.0
#: A loose contact, or noise that the rig's median hides: the share of conversions that could not be used is forgotten
#: with this time constant, s, and warns and trips at these shares. One gap of 10 s, after which a lasting fault trips,
#: leaves 0.08, which warns for two minutes and does no more. A wire that is open 8 s of every 10 trips in the fourth
#: gap, one wild conversion in three after 110 s, and a loss of less than a fifth of the time never.
UNSTEADY_S, UNSTEADY_WARN, UNSTEADY_TRIP = 120.0, 0.03, 0.2
#: Sensors must come this near, as a share of what they may be apart, before their trip can be acknowledged; from the
#: same share on it is said that they part.
NEAR_SHARE = 0.8
#: Time constant with which the terminals' usual temperature follows them, s: a box warms in minutes.
BOX_S = 50.0
#: How long the terminals must be out of range, or away from where they were, s; a warning comes so much earlier, K.
COLD_CONFIRM_S, COLD_WARN_K = 3.0, 15.0


def control_shows(look: Look) -> bool:
    """Whether the control sensor shows a possible temperature now."""
    reading = look.reading
    faulty = any(word in SENSOR_FAULTS for word in reading.faults)
    return not faulty and possible(reading.chamber_c)


def possible(value: object) -> bool:
    """Whether a thermocouple can show this, °C."""
    return finite(value) and LOWEST_C <= value <= HIGHEST_C


def shown_c(name: str, value: float | None, reading: Reading) -> float | None:
    """What the "limit" or "part" sensor shows, °C; None when it shows no temperature. One too hot for any sensor
    counts: it is above every limit."""
    faulty = any(word.startswith(f"{name}-") for word in reading.faults)
    return value if finite(value) and value >= LOWEST_C and not faulty else None


# ---- over-oven, over-schedule, over-part, part-sensor ----------------------------------------------------------------


def below_limits(look: Look) -> bool:
    """Over-temperature of control, part and limit sensor, and their disagreement. False: no heat this tick."""
    chamber_is_below = not look.usable or below_chamber_limits(look)
    part_is_below = below_part_limit(look)
    second_is_below = second_sensor(look)
    return chamber_is_below and part_is_below and second_is_below


def below(look: Look, rule: str, name: str, value_c: float, limit_c: float) -> bool:
    """Whether one sensor is below one limit; above it for long enough it trips. Each sensor has a timer of its own."""
    over = value_c > limit_c
    if look.lasting(rule + name, over, look.policy.over_confirm_s):
        look.trip(rule, value=value_c, limit=limit_c)
    return not over


def well_below(limit_c: float, *values_c: float | None) -> bool:
    """Whether every sensor that there is shows so much less that the trip can be acknowledged."""
    return all(value is None or (finite(value) and value <= limit_c - BELOW_K) for value in values_c)


def below_chamber_limits(look: Look) -> bool:
    chamber_c, policy = look.reading.chamber_c, look.policy
    below_oven = below(look, "over-oven", "control", chamber_c, policy.chamber_trip_c)
    below_schedule = below(look, "over-schedule", "control", chamber_c, policy.schedule_trip_c)
    return below_oven and below_schedule


def well_below_oven(look: Look) -> bool:
    reading = look.reading
    return control_shows(look) and well_below(look.policy.chamber_trip_c, reading.chamber_c, reading.limit_c)


def well_below_schedule(look: Look) -> bool:
    return control_shows(look) and well_below(look.policy.schedule_trip_c, look.reading.chamber_c)


def below_part_limit(look: Look) -> bool:
    """A part with a limit of its own must be seen, and be below it."""
    policy, watched, is_below = look.policy, True, True
    part_c = shown_c("part", look.reading.part_c, look.reading)
    if part_c is not None:
        is_below = below(look, "over-part", "part", part_c, policy.part_trip_c)
    elif policy.has_part_sensor and policy.part_trip_c < math.inf:
        watched = False
    if look.lasting("part-lost", not watched, policy.sensor_coast_s):
        look.trip("part-sensor")
    return is_below and watched


def part_shows(look: Look) -> bool:
    return shown_c("part", look.reading.part_c, look.reading) is not None


def part_well_below(look: Look) -> bool:
    return part_shows(look) and well_below(look.policy.part_trip_c, look.reading.part_c)


# ---- sensor-open and the other fault words, sensor-jump, sensor-shorted ----------------------------------------------


def control_reading(look: Look) -> bool:
    """Whether the control reading can be believed this tick. Keeps the last good one, and trips when it stays bad."""
    state, now_s, value_c = look.state, look.now_s, look.reading.chamber_c
    fault = next((word for word in look.reading.faults if word in SENSOR_FAULTS), "")
    if fault:
        bad = fault
    elif not possible(value_c):
        bad = "not-a-number"
    else:
        bad = jumped(look)
    count_jumps(look, wild=bad in ("jump", "shorted"))
    if not fault:
        frozen(look)
    if state.rejects > look.policy.noise_rejects:
        look.trip("sensor-noisy", noise=f"the control reading jumped {state.rejects:.0f} times within seconds")
    cold_junction(look)
    since_s = state.good_s if state.good_c is not None else state.over.setdefault("never-good", now_s)
    lost = bool(bad) and now_s - since_s >= look.policy.sensor_coast_s
    unsteady(look, bool(bad), lost)
    if bad:
        if lost:
            last = "the start" if state.good_c is None else f"{state.good_c:.0f} °C"
            look.trip(f"sensor-{bad}", last=last, time=now_s - since_s)
        return False
    state.over.pop("never-good", None)
    noisy(look)
    state.before_c, state.good_c, state.good_s = state.good_c, value_c, now_s
    # The very first reading has nothing to be compared with.
    return state.before_c is not None


def jumped(look: Look) -> str:
    """ "", "jump" or "shorted": further from the last good reading than a sheath can go."""
    state, policy, value_c, cold_c = look.state, look.policy, look.reading.chamber_c, look.reading.cold_junction_c
    if state.good_c is None:
        return ""
    gap_s = look.now_s - state.good_s
    at_terminals = finite(cold_c) and abs(value_c - cold_c) < NEAR_TERMINALS_K and state.good_c > cold_c + WELL_ABOVE_K
    if not state.was_wild:
        rate = min(policy.wild_k_per_s, SHORT_K_PER_S) if at_terminals else policy.wild_k_per_s
        state.reach_k = policy.wild_jump_k + rate * min(gap_s, policy.stall_s)
    # While it stays away in plain sight it does not move. It becomes credible only slowly, and not after the trip.
    healing_s = max(0.0, min(gap_s, policy.sensor_coast_s) - policy.stall_s)
    if abs(value_c - state.good_c) <= state.reach_k + HEAL_K_PER_S * healing_s:
        return ""
    if at_terminals:
        return "shorted"
    if state.before_c is None:
        state.good_c = None  # the first two disagree: start again
    return "jump"


def came_back(look: Look, rule: str) -> bool:
    """Whether the reading is where it was before that trip, or as far below as the oven may have cooled since. False
    where it is unknown where it was."""
    believed = look.state.believed.get(rule)
    if believed is None or not control_shows(look):
        return False
    before_c, before_s = believed
    cooled_k = COOLED_K_PER_S * max(0.0, look.now_s - before_s)
    jump_k = look.policy.wild_jump_k
    return before_c - jump_k - cooled_k <= look.reading.chamber_c <= before_c + jump_k


def came_back_from_jump(look: Look) -> bool:
    return came_back(look, "sensor-jump")


def came_back_from_short(look: Look) -> bool:
    return came_back(look, "sensor-shorted")


# ---- sensor-frozen ---------------------------------------------------------------------------------------------------


def frozen(look: Look) -> None:
    """A reading that is not renewed: the counter stands; or it runs, and not one bit of the answers changes although
    there is heat. A counter alone proves nothing: some rigs count how often they asked."""
    state, reading, now_s = look.state, look.reading, look.now_s
    if reading.sample is not None:
        if reading.sample != state.sample:
            state.sample, state.sample_since_s = reading.sample, now_s
        elif now_s - state.sample_since_s >= look.policy.frozen_s:
            look.trip("sensor-frozen", time=now_s - state.sample_since_s)
    raw = (reading.chamber_c, reading.cold_junction_c) if reading.bits is None else (reading.bits,)
    if raw != state.raw or state.fired_60 < MOVES_FROM:
        state.raw, state.raw_since_s = raw, now_s
    elif now_s - state.raw_since_s >= look.policy.identical_s:
        look.trip("sensor-frozen", time=now_s - state.raw_since_s)


def counter_runs(look: Look) -> bool:
    """`judge` has just stored this sample, so its age is compared and not its number."""
    state, sample = look.state, look.reading.sample
    stands = sample is not None and sample == state.sample and look.now_s - state.sample_since_s >= look.policy.frozen_s
    return control_shows(look) and not stands


# ---- sensor-noisy ----------------------------------------------------------------------------------------------------


def count_jumps(look: Look, wild: bool) -> None:
    """Separate jumps, forgotten exponentially: a reading that stays away has jumped once."""
    state = look.state
    state.rejects *= math.exp(-look.dt_s / look.policy.noise_window_s)
    if wild and not state.was_wild:
        state.rejects += 1.0
    state.was_wild = wild


def noisy(look: Look) -> None:
    """Standard deviation of the noise from second differences of believed readings, which no ramp moves. Noise goes to
    and fro, and a quick sensor behind an opened door bends one way for long: only where the sign turns does it
    count."""
    state, limit_k = look.state, look.policy.noise_k
    if state.before_c is None or state.good_c is None:
        return
    second_k = look.reading.chamber_c - 2.0 * state.good_c + state.before_c
    turned, state.second_k = second_k * state.second_k < 0.0, second_k
    noise_k = min(abs(second_k) / SECOND_DIFFERENCE, 4.0 * limit_k) if turned else 0.0
    state.noise_k += (noise_k - state.noise_k) * (look.dt_s / NOISE_S)
    if look.lasting("noise", state.noise_k > limit_k, NOISE_CONFIRM_S):
        look.trip("sensor-noisy", noise=f"the control reading jitters by ±{state.noise_k:.1f} K")
    elif state.noise_k > 0.5 * limit_k:
        look.warn(f"the control reading jitters by ±{state.noise_k:.1f} K")


def is_quiet(look: Look) -> bool:
    return control_shows(look) and look.state.noise_k <= look.policy.noise_k and look.state.rejects <= 1.0


# ---- sensor-unsteady -------------------------------------------------------------------------------------------------


def unsteady(look: Look, bad: bool, lost: bool) -> None:
    """A sensor that comes and goes: no gap is long enough to trip, and the rig's median hides wild conversions."""
    state, rejects = look.state, look.reading.rejects
    hidden = state.rejected is not None and rejects is not None and rejects != state.rejected
    state.rejected = rejects
    # What is lost for good has a trip of its own. Counted here too, it would delay the acknowledgement of that trip
    # once the wire is mended.
    if not lost:
        unusable = 1.0 if bad or hidden else 0.0
        state.unsteady += (unusable - state.unsteady) * (1.0 - math.exp(-look.dt_s / UNSTEADY_S))
    if state.unsteady > UNSTEADY_TRIP:
        look.trip("sensor-unsteady", share=100.0 * state.unsteady)
    elif state.unsteady > UNSTEADY_WARN:
        share = 100.0 * state.unsteady
        look.warn(
            f"the control sensor comes and goes: {share:.0f} % of its answers of the last minutes could not be used"
        )


def is_steady(look: Look) -> bool:
    return control_shows(look) and look.state.unsteady <= 0.5 * UNSTEADY_TRIP


# ---- limit-sensor, sensors-disagree ----------------------------------------------------------------------------------


def second_sensor(look: Look) -> bool:
    """The limit sensor must be there, be below the oven's trip, and agree with the control sensor."""
    if not look.policy.has_limit_sensor:
        return True
    second_c = shown_c("limit", look.reading.limit_c, look.reading)
    if look.lasting("second", second_c is None, look.policy.sensor_coast_s):
        look.trip("limit-sensor")
    if second_c is None:
        return False
    is_below = below(look, "over-oven", "second", second_c, look.policy.chamber_trip_c)
    if look.usable:
        sensors_disagree(look, second_c)
    return is_below


def second_shows(look: Look) -> bool:
    """Also where there is none: then it is not missing."""
    return not look.policy.has_limit_sensor or shown_c("limit", look.reading.limit_c, look.reading) is not None


def sensors_disagree(look: Look, second_c: float) -> None:
    policy, chamber_c = look.policy, look.reading.chamber_c
    allowed_k = max(policy.disagreement_k, policy.disagreement_share * max(chamber_c, second_c))
    apart = apart_k(look.state, policy, chamber_c, second_c, look.dt_s)
    if look.lasting("apart", apart > allowed_k, policy.disagreement_s):
        look.trip("sensors-disagree", first=chamber_c, second=second_c)
    elif apart > NEAR_SHARE * allowed_k:
        look.warn(f"the two sensors are {apart:.0f} K apart")


def apart_k(state: SafetyState, policy: Policy, chamber_c: float, second_c: float, dt_s: float) -> float:
    """How far the sensors are apart, K, beyond what the greater lag of the slower one explains. The quicker one is
    delayed by as much, and the slower one may lie anywhere between it and its delayed self."""
    quick_c, slow_c = (chamber_c, second_c) if policy.second_lag_s >= 0.0 else (second_c, chamber_c)
    if state.delayed_c is None:
        state.delayed_c = slow_c
    lag_s = abs(policy.second_lag_s)
    state.delayed_c += (quick_c - state.delayed_c) * (1.0 - math.exp(-dt_s / lag_s) if lag_s > 0.0 else 1.0)
    return max(0.0, min(quick_c, state.delayed_c) - slow_c, slow_c - max(quick_c, state.delayed_c))


def sensors_agree(look: Look) -> bool:
    policy, chamber_c, second_c = look.policy, look.reading.chamber_c, look.reading.limit_c
    if not control_shows(look) or not second_shows(look):
        return False
    if second_c is None:
        return True
    return not abs(second_c - chamber_c) > NEAR_SHARE * max(
        policy.disagreement_k, policy.disagreement_share * chamber_c
    )


# ---- cold-junction ---------------------------------------------------------------------------------------------------


def cold_junction(look: Look) -> None:
    """The terminals' temperature must be in range, and move no faster than a box can warm."""
    state, policy, cold_c = look.state, look.policy, look.reading.cold_junction_c
    if cold_c is None:
        return
    outside = not terminals_in_range(look)
    if look.lasting("cold", outside, COLD_CONFIRM_S):
        look.trip("cold-junction", what=f"read {number(cold_c):.0f} °C, outside what electronics bear")
    if outside:
        return
    if state.cold_c is None:
        state.cold_c = cold_c
    if look.lasting("cold-jump", abs(cold_c - state.cold_c) > policy.cold_junction_jump_k, COLD_CONFIRM_S):
        what = f"jumped from {state.cold_c:.0f} °C to {cold_c:.0f} °C; every reading is off by as much"
        look.trip("cold-junction", what=what)
    else:
        state.cold_c += (cold_c - state.cold_c) * (1.0 - math.exp(-look.dt_s / BOX_S))
    if cold_c > policy.cold_junction_high_c - COLD_WARN_K:
        look.warn(f"the terminals of the thermocouple are at {cold_c:.0f} °C: the electronics box is getting too warm")


def terminals_in_range(look: Look) -> bool:
    """Also where the rig cannot tell their temperature."""
    policy, cold_c = look.policy, look.reading.cold_junction_c
    if cold_c is None:
        return True
    return finite(cold_c) and policy.cold_junction_low_c <= cold_c <= policy.cold_junction_high_c


RULES = (
    Rule("over-oven", below_chamber_limits, well_below_oven),
    Rule("over-schedule", below_chamber_limits, well_below_schedule),
    Rule("over-part", below_part_limit, part_well_below),
    Rule("part-sensor", below_part_limit, part_shows),
    Rule("sensor-open", control_reading, control_shows),
    Rule("sensor-short-ground", control_reading, control_shows),
    Rule("sensor-short-supply", control_reading, control_shows),
    Rule("sensor-no-chip", control_reading, control_shows),
    Rule("sensor-bus-error", control_reading, control_shows),
    Rule("sensor-cold-junction", control_reading, control_shows),
    Rule("sensor-not-a-number", control_reading, control_shows),
    Rule("sensor-jump", control_reading, came_back_from_jump),
    Rule("sensor-shorted", control_reading, came_back_from_short),
    Rule("sensor-frozen", frozen, counter_runs),
    Rule("sensor-noisy", noisy, is_quiet),
    Rule("sensor-unsteady", unsteady, is_steady),
    Rule("limit-sensor", second_sensor, second_shows),
    Rule("sensors-disagree", sensors_disagree, sensors_agree),
    Rule("cold-junction", cold_junction, terminals_in_range),
)
