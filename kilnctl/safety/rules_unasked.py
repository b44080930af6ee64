"""A rise although no heat is asked for: a relay that stays on."""

from .extremes import greater, lesser
from .limits import Policy
from .rule import Look, Rule
from .rules_heat import level_c
from .rules_sensor import control_shows
from .state import SafetyState, endanger, finite

#: The level from which a rise without heat is measured starts at the recent top. It sinks at most this fast, K/s, so
#: that recovery from an open door is no rise. It goes up with a chamber that warms no faster than room and fan explain
#: (`policy.warms_k_per_s`), and with the little heat that was asked for or that the elements may still hold (`glow`),
#: in proportion to the fastest rise at full power.
LEVEL_SINKS_K_PER_S = 0.02  # ±30 %: none
#: Share of full power from which on heat counts as asked for.
ASKED = 0.02  # ±30 %: none
#: A step of the cold junction moves the reading too. The smoothed reading has settled this long after that trip, s.
COLD_STEP_S = 30.0  # ±30 %: none


def rise_no_heat(look: Look) -> None:
    """A rise although no heat is asked for: a relay that stays on. The elements first get time to give off their stored
    heat. An oven that recovers from an open door only returns to its earlier temperature, and one that is cooler than
    its terminals warms with the room. When the contactor is commanded open the rise is measured again: heat after that
    passes both relay and contactor."""
    state, policy, dt_s = look.state, look.policy, look.dt_s
    state.off_s = 0.0 if _asked(look) > ASKED else state.off_s + dt_s
    off_s = lesser(state.off_s, look.now_s - state.coil_s) if state.coil is False else state.off_s
    cold_trip = state.trips.get("cold-junction")
    stepped = cold_trip is not None and look.now_s - cold_trip.time_s < COLD_STEP_S
    # While a reading is so noisy that it trips, its level moves by some kelvin, and that is no rise.
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
    given = greater(0.0, _asked(look)) + state.glow
    explained_k = (policy.warms_k_per_s + policy.rise_k_per_s * given) * dt_s
    state.quiet_c += lesser(greater(rise_k, -LEVEL_SINKS_K_PER_S * dt_s), explained_k)
    if finite(cold_c := look.reading.cold_junction_c):
        state.quiet_c = greater(state.quiet_c, lesser(level_c(state), cold_c))


def _asked(look: Look) -> float:
    """Share of full power that was asked for. Power beyond it does not excuse a rise: a leak of 5 % is too small for
    the relay's own rule."""
    commanded = look.tick.commanded
    return lesser(look.fired, commanded) if finite(commanded) else look.fired


def still_rising(state: SafetyState, policy: Policy) -> bool:
    """Whether the chamber may be rising without heat: it was not watched for long enough, or it is above its
    temperature when the watch began."""
    if state.off_s < policy.unasked_rise_s or state.quiet_c is None:
        return True
    return level_c(state) - state.quiet_c > 0.5 * policy.unasked_rise_k


def rises_no_more(look: Look) -> bool:
    return control_shows(look) and not still_rising(look.state, look.policy)


RULES = (Rule("rise-no-heat", rise_no_heat, rises_no_more),)
