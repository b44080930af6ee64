"""The terminals of the control thermocouple: an error of 1 K there is an error of 1 K in the chamber's reading."""

import math

from .rule import Look, Rule
from .state import finite, number

#: Time constant of the terminals' usual temperature, s: a terminal box warms in minutes.
BOX_S = 50.0  # ±30 %: none
#: How long the terminals must be out of range, or away from their usual temperature, s; the warning comes this much
#: before the limit, K.
COLD_CONFIRM_S, COLD_WARN_K = 3.0, 15.0  # ±30 %: none


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
        what = f"jumped from {state.cold_c:.0f} °C to {cold_c:.0f} °C; readings err as much"
        look.trip("cold-junction", what=what)
    else:
        state.cold_c += (cold_c - state.cold_c) * (1.0 - math.exp(-look.dt_s / BOX_S))
    if cold_c > policy.cold_junction_high_c - COLD_WARN_K:
        look.warn(f"the terminals of the thermocouple are at {cold_c:.0f} °C: the electronics box is getting too warm")


def terminals_in_range(look: Look) -> bool:
    """Also true where the rig cannot tell their temperature."""
    policy, cold_c = look.policy, look.reading.cold_junction_c
    if cold_c is None:
        return True
    return finite(cold_c) and policy.cold_junction_low_c <= cold_c <= policy.cold_junction_high_c


RULES = (Rule("cold-junction", cold_junction, terminals_in_range),)
