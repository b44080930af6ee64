"""Can the control reading be believed? Heat goes off at the first doubt; a trip follows if the doubt lasts."""

import math

from ..reading import SENSOR_FAULTS
from .extremes import greater, lesser
from .rule import Look, Rule
from .rules_terminals import cold_junction
from .state import finite

#: Range that a thermocouple can show, °C; anything else is an error of the converter.
LOWEST_C, HIGHEST_C = -60.0, 1820.0  # ±30 %: none
#: How fast an oven may have cooled while its reading was not believed, K/s: twice the fall in ten minutes without heat
#: from the highest temperature (0.05 K/s, the median of 27 models; the bench muffle 0.16 K/s). A person can say that a
#: lower reading is right.
COOLED_K_PER_S = 0.1  # ±30 %: none
#: A reading that jumps to within this much, K, of the terminals' temperature, from at least this far above it, K: the
#: two wires touch.
NEAR_TERMINALS_K, WELL_ABOVE_K = 8.0, 30.0  # ±30 %: none
#: A drop to the terminals' temperature faster than this, K/s, is a short: no door cools a sensor that fast.
SHORT_K_PER_S = 25.0  # ±30 %: none
#: A reading that stays away, or was lost for long, is believed again only if it moved no faster than this, K/s: about
#: as fast as an oven rises at full power (1.3 K/s at most, the median of 27 models), and far slower than a wild jump.
HEAL_K_PER_S = 1.0  # ±30 %: none
#: From this share of full power in the last minute on, the answers must change: an oven at rest, or near the end of its
#: cooling, may show the same value for hours.
MOVES_FROM = 0.02  # ±30 %: none
#: Time constant of the noise estimate, s, and how long too much noise must last, s.
NOISE_S, NOISE_CONFIRM_S = 10.0, 5.0  # ±30 %: none
#: Mean |second difference| of white noise of unit standard deviation, counted only where its sign turns:
#: √6 · √(2/π) · (1 − r)/2 with the correlation r = −2/3 of neighbouring second differences (E|x| of a normal pair over
#: the quadrants where the signs differ).
SECOND_DIFFERENCE = math.sqrt(6.0) * math.sqrt(2.0 / math.pi) * (1.0 + 2.0 / 3.0) / 2.0
#: A loose contact, or noise that the rig's median hides: the share of unusable conversions is averaged with this time
#: constant, s, and warns and trips at these shares. One gap of 10 s (a longer one trips as a lasting fault) leaves
#: 0.08, which only warns, for two minutes. A wire that is open for 8 s of every 10 s trips in the fourth gap; one wild
#: conversion in three trips after 110 s; a loss for less than a fifth of the time never trips.
UNSTEADY_S, UNSTEADY_WARN, UNSTEADY_TRIP = 120.0, 0.03, 0.2  # ±30 %: none


def control_shows(look: Look) -> bool:
    """Whether the control sensor shows a possible temperature now."""
    reading = look.reading
    faulty = any(word in SENSOR_FAULTS for word in reading.faults)
    return not faulty and possible(reading.chamber_c)


def possible(value: object) -> bool:
    """Whether a thermocouple can show this, °C."""
    return finite(value) and LOWEST_C <= value <= HIGHEST_C


# ---- sensor-open and the other fault words, sensor-jump, sensor-shorted ----------------------------------------------


def control_reading(look: Look) -> bool:
    """Whether the control reading can be believed in this tick. Keeps the last good one, and trips when the reading
    stays bad."""
    state, now_s, value_c = look.state, look.now_s, look.reading.chamber_c
    faults = look.reading.faults
    fault = next((word for word in faults if word in SENSOR_FAULTS), "") if faults else ""
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
    # The first reading cannot be compared with anything.
    return state.before_c is not None


def jumped(look: Look) -> str:
    """Empty, "jump" or "shorted": further from the last good reading than a sheath can move.

    A first-order lag never moves faster than its surroundings did at their fastest. Upward, a reading with any sheath
    may therefore move as fast as full power could heat the chamber."""
    state, policy, value_c, cold_c = look.state, look.policy, look.reading.chamber_c, look.reading.cold_junction_c
    if state.good_c is None:
        return ""
    gap_s = look.now_s - state.good_s
    at_terminals = finite(cold_c) and abs(value_c - cold_c) < NEAR_TERMINALS_K and state.good_c > cold_c + WELL_ABOVE_K
    if not state.was_wild:
        rate = min(policy.wild_k_per_s, SHORT_K_PER_S) if at_terminals else policy.wild_k_per_s
        if value_c > state.good_c:
            rate = greater(rate, policy.rise_k_per_s)
        state.reach_k = policy.wild_jump_k + rate * lesser(gap_s, policy.stall_s)
    # The reading stays away and does not move: the range in which it is believed grows only slowly, and not after the
    # trip.
    healing_s = greater(0.0, lesser(gap_s, policy.sensor_coast_s) - policy.stall_s)
    if abs(value_c - state.good_c) <= state.reach_k + HEAL_K_PER_S * healing_s:
        return ""
    if at_terminals:
        return "shorted"
    if state.before_c is None:
        state.good_c = None  # the first two disagree: start again
    return "jump"


def came_back(look: Look, rule: str) -> bool:
    """Whether the reading is where it was before that trip, or lower by no more than the oven may have cooled since.
    False where the earlier reading is unknown."""
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
    """A reading that is not renewed: the counter stands still; or it runs, but no bit of the answers changes although
    there is heat. The counter alone proves nothing: some rigs count their requests."""
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
    """Number of separate jumps, decaying exponentially: a reading that stays away has jumped once."""
    state = look.state
    state.rejects *= math.exp(-look.dt_s / look.policy.noise_window_s)
    if wild and not state.was_wild:
        state.rejects += 1.0
    state.was_wild = wild


def noisy(look: Look) -> None:
    """Standard deviation of the noise from second differences of believed readings, which are zero on a ramp. Noise
    changes its direction all the time, while a quick sensor at an opened door curves one way for long: only differences
    whose sign changes count."""
    state, limit_k = look.state, look.policy.noise_k
    if state.before_c is None or state.good_c is None:
        return
    second_k = look.reading.chamber_c - 2.0 * state.good_c + state.before_c
    turned, state.second_k = second_k * state.second_k < 0.0, second_k
    noise_k = lesser(abs(second_k) / SECOND_DIFFERENCE, 4.0 * limit_k) if turned else 0.0
    state.noise_k += (noise_k - state.noise_k) * (look.dt_s / NOISE_S)
    if look.lasting("noise", state.noise_k > limit_k, NOISE_CONFIRM_S):
        look.trip("sensor-noisy", noise=f"the control reading jitters by ±{state.noise_k:.1f} K")
    elif state.noise_k > 0.5 * limit_k:
        look.warn(f"the control reading jitters by ±{state.noise_k:.1f} K")


def is_quiet(look: Look) -> bool:
    return control_shows(look) and look.state.noise_k <= look.policy.noise_k and look.state.rejects <= 1.0


# ---- sensor-unsteady -------------------------------------------------------------------------------------------------


def unsteady(look: Look, bad: bool, lost: bool) -> None:
    """A sensor that fails and recovers: no gap is long enough to trip, and the rig's median hides wild conversions."""
    state, rejects = look.state, look.reading.rejects
    hidden = state.rejected is not None and rejects is not None and rejects != state.rejected
    state.rejected = rejects
    # A sensor that is lost for good has its own trip. If it counted here too, the acknowledgement of that trip would be
    # delayed after the wire is repaired.
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


RULES = (
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
)
