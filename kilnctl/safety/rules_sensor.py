"""Can the readings be believed, and are they below their limits? Heat goes at the first doubt; a trip follows if it lasts."""

import math

from ..reading import SENSOR_FAULTS, Reading
from .limits import Policy
from .state import SafetyState, Tick, finite, lasting, number, trip

#: What any thermocouple of ours can show, °C; anything else is nonsense of the converter.
LOWEST_C, HIGHEST_C = -60.0, 1820.0
#: A reading that lands so near the terminals' temperature in one jump, from well above it: the two wires touch.
NEAR_TERMINALS_K, WELL_ABOVE_K = 8.0, 30.0
#: A reading that stays away, or was lost for long, may have moved on only so fast to be taken for healed.
HEAL_K_PER_S = 1.0
#: Time constant with which the terminals' usual temperature follows them, s: a box warms in minutes.
BOX_S = 50.0
#: Mean |second difference| of white noise of unit standard deviation, counted only where its sign turns: √6 · √(2/π) · (1 − r)/2 with the
#: correlation r = −2/3 of neighbouring second differences (E|x| of a normal pair over the quadrants where the signs differ).
SECOND_DIFFERENCE = math.sqrt(6.0) * math.sqrt(2.0 / math.pi) * (1.0 + 2.0 / 3.0) / 2.0
#: A loose contact, or noise that the rig's median hides: the share of conversions that could not be used, forgotten with this time constant, s, warns
#: and trips at these. One gap of the 10 s after which a lasting fault trips leaves 0.08, and so warns for two minutes and does no more; a wire
#: that is open 8 s of every 10 trips in the fourth gap, one wild conversion in three after 110 s, and what is lost less than a fifth of the time never.
UNSTEADY_S, UNSTEADY_WARN, UNSTEADY_TRIP = 120.0, 0.03, 0.2
#: Whatever the sensor's own speed, a drop to the terminals' temperature at more than this is a short, not a door, K/s.
SHORT_K_PER_S = 25.0


def control_reading(
    s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, warnings: list[str]
) -> bool:
    """Whether the control reading can be believed this tick. Keeps the last good one, and trips when trust stays away."""
    now, value = tick.time_s, reading.chamber_c
    faults = [f for f in reading.faults if f in SENSOR_FAULTS]
    if faults:
        bad = faults[0]
    elif not finite(value) or not LOWEST_C <= value <= HIGHEST_C:
        bad = "not-a-number"
    else:
        bad = _jumped(s, policy, reading, now)
    wild = bad in ("jump", "shorted")
    s.rejects *= math.exp(-dt / policy.noise_window_s)
    if wild and not s.was_wild:
        s.rejects += 1.0
    s.was_wild = wild
    if not faults:
        _standing(s, policy, reading, tick)
    if s.rejects > policy.noise_rejects:
        trip(s, "sensor-noisy", now, noise=f"the control reading jumped {s.rejects:.0f} times within seconds")
    cold_junction(s, policy, reading.cold_junction_c, now, dt, warnings)
    since = s.good_s if s.good_c is not None else s.over.setdefault("never-good", now)
    lost = bool(bad) and now - since >= policy.sensor_coast_s
    _unsteady(s, reading, bool(bad), lost, now, dt, warnings)
    if bad:
        if lost:
            trip(
                s,
                f"sensor-{bad}",
                now,
                last="the start" if s.good_c is None else f"{s.good_c:.0f} °C",
                time=now - since,
            )
        return False
    s.over.pop("never-good", None)
    _noise(s, policy, value, now, dt / 10.0, warnings)
    s.before_c, s.good_c, s.good_s = s.good_c, value, now
    # The very first reading has nothing to be compared with.
    return s.before_c is not None


def _jumped(s: SafetyState, policy: Policy, reading: Reading, now: float) -> str:
    """ "", "jump" or "shorted": further from the last good reading than a sheath can go."""
    if s.good_c is None:
        return ""
    value, gap, cold = reading.chamber_c, now - s.good_s, reading.cold_junction_c
    at_terminals = finite(cold) and abs(value - cold) < NEAR_TERMINALS_K and s.good_c > cold + WELL_ABOVE_K
    if not s.was_wild:
        rate = min(policy.wild_k_per_s, SHORT_K_PER_S) if at_terminals else policy.wild_k_per_s
        s.reach_k = policy.wild_jump_k + rate * min(gap, policy.stall_s)
    # While it stays away in plain sight it is not moving: only slowly does it become credible, and not after the trip.
    healing_s = max(0.0, min(gap, policy.sensor_coast_s) - policy.stall_s)
    if abs(value - s.good_c) <= s.reach_k + HEAL_K_PER_S * healing_s:
        return ""
    if at_terminals:
        return "shorted"
    if s.before_c is None:
        s.good_c = None  # the first two disagree: start again
    return "jump"


def _unsteady(
    s: SafetyState, reading: Reading, bad: bool, lost: bool, now: float, dt: float, warnings: list[str]
) -> None:
    """A sensor that comes and goes: no single gap is long enough to trip, nor is any wild conversion seen behind the rig's median."""
    hidden = s.rejected is not None and reading.rejects is not None and reading.rejects != s.rejected
    s.rejected = reading.rejects
    # What is lost for good has its own trip; counted here too, it would keep that one's acknowledgement waiting once the wire is mended.
    if not lost:
        s.unsteady += ((1.0 if bad or hidden else 0.0) - s.unsteady) * (1.0 - math.exp(-dt / UNSTEADY_S))
    if s.unsteady > UNSTEADY_TRIP:
        trip(s, "sensor-unsteady", now, share=100.0 * s.unsteady)
    elif s.unsteady > UNSTEADY_WARN:
        warnings.append(
            f"the control sensor comes and goes: {100.0 * s.unsteady:.0f} % of its answers of the last minutes could not be used"
        )


def _standing(s: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> None:
    """A reading that is not being made any more: the counter stands; or it runs, and not one bit of the answers moves although there is
    heat. A counter alone proves nothing: real rigs count how often they asked."""
    now = tick.time_s
    if reading.sample is not None:
        if reading.sample != s.sample:
            s.sample, s.sample_since_s = reading.sample, now
        elif now - s.sample_since_s >= policy.frozen_s:
            trip(s, "sensor-frozen", now, time=now - s.sample_since_s)
    raw = (reading.chamber_c, reading.cold_junction_c) if reading.bits is None else (reading.bits,)
    # Only while heat has been flowing: an oven at rest, or cooling in its last kelvins, may show one figure for hours.
    if raw != s.raw or s.fired_60 < 0.02:
        s.raw, s.raw_since_s = raw, now
    elif now - s.raw_since_s >= policy.identical_s:
        trip(s, "sensor-frozen", now, time=now - s.raw_since_s)


def _noise(s: SafetyState, policy: Policy, value: float, now: float, share: float, warnings: list[str]) -> None:
    """Standard deviation of the noise from second differences of believed readings, which no ramp moves. Noise goes to and fro; a quick
    sensor behind an opened door bends one way for long, however steep: only where the sign turns does it count."""
    if s.before_c is None:
        return
    second = value - 2.0 * s.good_c + s.before_c
    turned, s.second_k = second * s.second_k < 0.0, second
    noise = min(abs(second) / SECOND_DIFFERENCE, 4.0 * policy.noise_k) if turned else 0.0
    s.noise_k += (noise - s.noise_k) * share
    if lasting(s, "noise", s.noise_k > policy.noise_k, now, 5.0):
        trip(s, "sensor-noisy", now, noise=f"the control reading jitters by ±{s.noise_k:.1f} K")
    elif s.noise_k > 0.5 * policy.noise_k:
        warnings.append(f"the control reading jitters by ±{s.noise_k:.1f} K")


def cold_junction(
    s: SafetyState, policy: Policy, cold: float | None, now: float, dt: float, warnings: list[str]
) -> None:
    """The terminals' temperature: in range, and not moving faster than a box can warm."""
    if cold is None:
        return
    outside = not finite(cold) or not policy.cold_junction_low_c <= cold <= policy.cold_junction_high_c
    if lasting(s, "cold", outside, now, 3.0):
        trip(s, "cold-junction", now, what=f"read {number(cold):.0f} °C, outside what electronics bear")
    if outside:
        return
    if s.cold_c is None:
        s.cold_c = cold
    if lasting(s, "cold-jump", abs(cold - s.cold_c) > policy.cold_junction_jump_k, now, 3.0):
        trip(
            s,
            "cold-junction",
            now,
            what=f"jumped from {s.cold_c:.0f} °C to {cold:.0f} °C; every reading is off by as much",
        )
    else:
        s.cold_c += (cold - s.cold_c) * (1.0 - math.exp(-dt / BOX_S))
    if cold > policy.cold_junction_high_c - 15.0:
        warnings.append(
            f"the terminals of the thermocouple are at {cold:.0f} °C: the electronics box is getting too warm"
        )


def there(name: str, value: float | None, reading: Reading) -> bool:
    """Whether the "limit" or "part" sensor shows a temperature. One too hot for any sensor stays: it is above every limit."""
    return finite(value) and value >= LOWEST_C and not any(f.startswith(f"{name}-") for f in reading.faults)


def limits(
    s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, usable: bool, warnings: list[str]
) -> bool:
    """Over-temperature of control, second and part sensor, and their disagreement. False: no heat this tick."""
    now, chamber, part = tick.time_s, reading.chamber_c, reading.part_c
    cool = watched = True
    if usable:
        cool &= _below(s, "over-oven", "control", chamber, policy.chamber_trip_c, now, policy)
        cool &= _below(s, "over-schedule", "control", chamber, policy.schedule_trip_c, now, policy)
    if there("part", part, reading):
        cool &= _below(s, "over-part", "part", part, policy.part_trip_c, now, policy)
    elif policy.has_part_sensor and policy.part_trip_c < math.inf:
        watched = False  # the part has a limit of its own, and nobody sees whether it is kept
    if lasting(s, "part-lost", not watched, now, policy.sensor_coast_s):
        trip(s, "part-sensor", now)
    return _second(s, policy, reading, now, dt, usable, warnings) and cool and watched


def _below(s: SafetyState, fault: str, name: str, value: float, limit: float, now: float, policy: Policy) -> bool:
    over = value > limit
    if lasting(s, fault + name, over, now, policy.over_confirm_s):
        trip(s, fault, now, value=value, limit=limit)
    return not over


def _apart(s: SafetyState, policy: Policy, chamber: float, second: float, dt: float) -> float:
    """How far the sensors are apart, K, beyond what the slower one's greater lag explains: the quicker is delayed likewise, and the slower
    may lie anywhere between it and its delayed self."""
    quick, slow = (chamber, second) if policy.second_lag_s >= 0.0 else (second, chamber)
    if s.delayed_c is None:
        s.delayed_c = slow
    lag = abs(policy.second_lag_s)
    s.delayed_c += (quick - s.delayed_c) * (1.0 - math.exp(-dt / lag) if lag > 0.0 else 1.0)
    return max(0.0, min(quick, s.delayed_c) - slow, slow - max(quick, s.delayed_c))


def _second(
    s: SafetyState, policy: Policy, reading: Reading, now: float, dt: float, usable: bool, warnings: list[str]
) -> bool:
    if not policy.has_limit_sensor:
        return True
    second, chamber = reading.limit_c, reading.chamber_c
    absent = not there("limit", second, reading)
    if lasting(s, "second", absent, now, policy.sensor_coast_s):
        trip(s, "limit-sensor", now)
    if absent:
        return False
    cool = _below(s, "over-oven", "second", second, policy.chamber_trip_c, now, policy)
    if usable:
        allowed = max(policy.disagreement_k, policy.disagreement_share * max(chamber, second))
        apart = _apart(s, policy, chamber, second, dt)
        if lasting(s, "apart", apart > allowed, now, policy.disagreement_s):
            trip(s, "sensors-disagree", now, first=chamber, second=second)
        elif apart > 0.8 * allowed:
            warnings.append(f"the two sensors are {apart:.0f} K apart")
    return cool
