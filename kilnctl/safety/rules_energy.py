"""What the energy shows about the temperature, independent of any sensor.

The coolest oven that the model's uncertainty allows (`coolest`) gets the energy that was measured, or else commanded,
from a start with a believed reading. When even that oven is above the trip, or hotter than the reading by more than the
sensor's error, heat ends. This rule never permits heat."""

import math

from . import possible_loads
from .coolest import LumpedOven, as_late_c, step
from .extremes import greater, lesser
from .rule import Look, Rule
from .rules_sensor import control_shows
from .state import SafetyState, finite

#: Hotter than the reading can mean must last this long, s: longer than a sensor needs to recover after a door was open.
HOTTER_S = 60.0  # ±30 %: none
#: A reading that falls faster than this, K/s, may show an open door that no switch reports.
FALLS_K_PER_S = 0.1  # ±30 %: none
#: The elements take at most this many times the rated power: a meter that shows more is broken.
MOST_POWER = 2.0  # ±30 %: none
#: A five-minute mean below this share of full power counts as no heat.
UNFIRED = 0.02  # ±30 %: none
#: Below this rise above the room, K, the sensor is not judged by energy: errors are as large as the rise.
SEEN_K = 20.0  # ±30 %: none


def energy_says_hotter(look: Look) -> None:
    """Advance the coolest oven by one tick, and compare it with the trip and the reading."""
    oven, state = look.policy.coolest, look.state
    if oven is None:
        return
    if state.lumps is None:
        if not look.usable:
            return
        state.lumps = oven.from_chamber(look.reading.chamber_c)
        state.lumps_c = state.lumps[1]
        state.loads = possible_loads.begun(look.policy.loads, look.reading.chamber_c)
    if look.dt_s > 0.0:
        state.lumps = step(oven, state.lumps, power_w_of(look, oven), look.dt_s, may_be_open(look))
        state.lumps_c = as_late_c(oven, state.lumps_c, state.lumps[1], look.dt_s)
        judge_loads(look, oven)
    late_c, reads_c = late_bound_c(state), look.reading.chamber_c
    above, far = is_above(look), look.usable and is_far(oven, late_c, reads_c)
    # Above the trip is judged as soon as a reading above it would be: no sensor has to recover first.
    sure = look.lasting("energy-above", above, look.policy.over_confirm_s)
    if look.lasting("energy-hotter", far, HOTTER_S) or sure:
        look.trip("energy-says-hotter", least=bound_c(state), value=reads_c)
    elif above or (look.usable and late_c > greater(reads_c, oven.room_c + SEEN_K)):
        look.warn(
            f"compare the control sensor with another: by the energy given, the chamber is at {bound_c(state):.0f} °C "
            "at least, and the sensor reads less or hardly more"
        )


def judge_loads(look: Look, oven: LumpedOven) -> None:
    """Advance the ovens with each load that may be in; see `kilnctl.safety.possible_loads`."""
    if not look.state.loads.ranges:
        return
    least_w, reads_c = power_w_of(look, oven), look.reading.chamber_c
    # The supply may be above its nominal voltage by as much as below it.
    power_w = least_w, least_w / _share(look, oven) ** 2
    state, pairs, believed_c = look.state, look.policy.loads, reads_c if look.usable else None
    least = least_c(oven, reads_c)
    state.loads = possible_loads.later(state.loads, pairs, power_w, look.dt_s, may_be_open(look), believed_c, least)


def bound_c(state: SafetyState) -> float:
    """The coldest that the chamber can be by the energy, °C; minus infinity where nothing is known."""
    return greater(state.lumps[1] if state.lumps is not None else -math.inf, state.loads.least_c)


def late_bound_c(state: SafetyState) -> float:
    """The same, as late as a reading."""
    return greater(state.lumps_c, state.loads.late_c)


def may_be_open(look: Look) -> bool:
    """Whether a door may let heat out. A door without a switch shows as a falling reading, and no reading falls for
    ever. Without heat an oven may be opened to cool, and then no reading can do harm."""
    state = look.state
    cools = state.fired_300 < UNFIRED and look.usable and look.reading.chamber_c < state.lumps_c
    falls = look.reading.door_open is None and state.slope_k_per_s < -FALLS_K_PER_S
    return look.door_is_open or state.fall is not None or falls or cools


def power_w_of(look: Look, oven: LumpedOven) -> float:
    """The electric power that heated such an oven since the last look, W; the least where that is not certain."""
    told_w = _told_w(look)
    power_w = look.fired * oven.full_w if told_w is None else told_w
    return _share(look, oven) * lesser(power_w, MOST_POWER * oven.full_w)


def _told_w(look: Look) -> float | None:
    """The power as it was told, W; None where that is no power."""
    power_w = look.tick.power_w
    return power_w if finite(power_w) and power_w >= 0.0 else None


def _share(look: Look, oven: LumpedOven) -> float:
    """The least share of the power that heats such an oven."""
    reading = look.reading
    metered = finite(reading.supply_v) or finite(reading.current_a) or finite(reading.mean_current_a)
    return oven.power_share if metered and _told_w(look) is not None else oven.unmetered_share


def is_above(look: Look) -> bool:
    """Whether even the coolest oven is above the trip."""
    return bound_c(look.state) > lesser(look.policy.chamber_trip_c, look.policy.schedule_trip_c)


def is_far(oven: LumpedOven, late_c: float, reads_c: float) -> bool:
    """Whether even the coolest oven is above what a believed reading can mean, °C."""
    return late_c > oven.room_c + SEEN_K and late_c > most_c(oven, reads_c)


def most_c(oven: LumpedOven, reads_c: float) -> float:
    """The hottest that the chamber can be when a sound sensor shows this reading, °C."""
    return reads_c + _apart_k(oven, reads_c)


def least_c(oven: LumpedOven, reads_c: float) -> float:
    """The coldest that the chamber can be at this reading, °C: a sensor that lies shows too little."""
    return reads_c - _apart_k(oven, reads_c)


def _apart_k(oven: LumpedOven, reads_c: float) -> float:
    """The error of a sound sensor at this reading, K."""
    return oven.apart_k + oven.apart_share * greater(0.0, reads_c - oven.room_c)


def energy_agrees(look: Look) -> bool:
    """Whether the sensor shows what the energy explains; a person's confirmation is enough where the energy is unknown
    (after a restart, or without a model)."""
    oven = look.policy.coolest
    if oven is None or look.state.lumps is None:
        return True
    reads_c = look.reading.chamber_c
    return control_shows(look) and not is_above(look) and late_bound_c(look.state) <= most_c(oven, reads_c)


RULES = (Rule("energy-says-hotter", energy_says_hotter, energy_agrees),)
