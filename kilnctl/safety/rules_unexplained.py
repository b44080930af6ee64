"""Heat that the model cannot explain, in cumulative sums: too much heat, or too little."""

from dataclasses import replace

from . import cusum, misplaced
from .coolest import held
from .extremes import greater, lesser
from .messages import LOAD_FIRST
from .rule import Look, Rule, at_a_persons_word
from .rules_energy import power_w_of
from .state import SafetyState, Tick, endanger, finite, number

#: After a trip the elements give off stored heat for this long, s. Unexplained heat after that flows past the
#: contactor.
GLOW_S = 30.0  # ±30 %: none
#: Recent shares of full power: below the first no heat can be missing; above the second a stuck relay could not add
#: much.
NONE_FIRED, MUCH_FIRED = 0.02, 0.6  # ±30 %: none
#: A broken element shows when this share of the fired power is missing for this long, s, at this share of full power or
#: more.
GAIN_LOST, GAIN_S, GAIN_FIRED = 0.3, 300.0, 0.4  # ±30 %: none
#: The ovens of the envelope advance in steps of this length, s: what they explain changes within the elements' time
#: constant, and a tick has no time for three of them. A sum is late by less than this, and so is its trip.
EXCUSED_EVERY_S = 4.0  # ±30 %: none


def unexplained(look: Look) -> None:
    """Add the heat that the model cannot explain to the sums, where it is known."""
    excuse(look)
    share = unexplained_share(look.tick)
    if share is not None:
        # A relay adds at most full power: what seems to be more is a reading that steps, and that passes.
        most = lesser(lesser(share, 1.0), look.state.needed)
        unexplained_heat(look, most)
        heat_past_contactor(look, most)
        missing_heat(look, share)


def unexplained_share(tick: Tick) -> float | None:
    """Heat that the model cannot explain, as a share of full power; below 0 heat is missing. None when unknown."""
    power_w = tick.full_power_w
    if not finite(tick.unexplained_w) or not finite(power_w) or power_w <= 0.0:
        return None
    return tick.unexplained_w / power_w


def fired_lately(state: SafetyState) -> float:
    """Share of full power: the mean of the last minute or of the last five, the greater."""
    return greater(state.fired_60, state.fired_300)


def excuse(look: Look) -> None:
    """What the uncertain masses explain by now, from the same energy and round the same chamber: the most and the least
    that elements of the three ovens give, and that their linings and contents take, against the model's own oven.
    Heavier elements give less while they warm up and more after the heat ends (`glow`), and walls and loads that are
    not as described take another heat; most of this passes in a soak. Nor does a description know where its sensor
    lies (`kilnctl.safety.misplaced`). An error of the power is allowed for in proportion to the power fired.

    What a described oven round the reading itself lacks (first law) bounds the control's estimate: that follows a
    chamber of its own, which may be later than the reading, and warmer, in an oven that is not as described."""
    state, ovens = look.state, look.policy.envelope
    if ovens is None or look.dt_s <= 0.0:
        return
    state.held_s += look.dt_s
    state.held_j += power_w_of(look, ovens[0]) * look.dt_s
    if state.held and state.held_s < EXCUSED_EVERY_S:
        return
    chamber_c, span_s, power_w = look.reading.chamber_c, state.held_s, state.held_j / state.held_s
    state.held_s = state.held_j = 0.0
    before = state.held or tuple(oven.from_chamber(chamber_c) for oven in ovens)
    likely, heavy, light = (held(o, x, chamber_c, power_w, span_s) for o, x in zip(ovens, before, strict=True))
    state.held = likely[0], heavy[0], light[0]
    full_w, net_w = ovens[0].full_w, likely[1] - likely[2]
    most_given_w, least_given_w = max(likely[1], heavy[1], light[1]), min(likely[1], heavy[1], light[1])
    most_taken_w, least_taken_w = max(likely[2], heavy[2], light[2]), min(likely[2], heavy[2], light[2])
    by_place = misplaced.excused_share(state, ovens[2], chamber_c, power_w, span_s, likely[1], net_w)
    if look.policy.placed is not None:  # of a fit, which knows this heat: only the second sensor may be apart
        misplaced.follow(state, look.policy.placed, chamber_c, power_w, span_s, likely[1])
    liner_w = ovens[1].liner_j_per_k * state.slope_k_per_s  # it takes heat while the chamber warms, and gives it back
    by_mass = (most_given_w - least_taken_w - net_w + greater(0.0, -liner_w)) / full_w
    state.excused_high = greater(by_mass, by_place)
    if not ovens[0].learnt:
        stored_w = ovens[2].follows_j_per_k * state.slope_k_per_s
        leaks_w = ovens[0].leak_w_per_k * (chamber_c - ovens[0].room_c)
        state.needed = (stored_w + leaks_w - net_w) / full_w
    state.excused_low = (net_w - least_given_w + most_taken_w + greater(0.0, liner_w)) / full_w
    state.glow, state.taken = greater(0.0, most_given_w) / full_w, most_taken_w / (ovens[1].power_share * full_w)


def explained_share(look: Look, excused: float) -> float:
    """The allowance of a sum, share of full power. A wrong model errs in proportion to the power fired lately, or by
    what its uncertain masses explain (`excused`), if that is more.

    Fault-free on the virtual ovens, with conductivity, capacity and power wrong by 20 to 25 % and without any fit, the
    evidence stayed at least 0.08 below this allowance and varied by 0.03 with a correlation time of 60 s: more than a
    million hours to a false alarm (calculated in tests/safety/test_cusum.py).
    """
    return look.policy.unexplained_share + greater(look.policy.explained_per_fired * fired_lately(look.state), excused)


def unexplained_heat(look: Look, share: float) -> None:
    """Cumulative sum of too much heat: a relay that conducts all the time. It rests while a door is open, which opens
    the contactor, and while the reading recovers after that."""
    state = look.state
    if look.now_s < state.shut_s:
        return
    state.excess = cusum.grow(state.excess, share, explained_share(look, state.excused_high), look.dt_s)
    if state.excess > look.policy.excess_share_s:
        known = "unexplained-heat" in state.trips
        look.trip("unexplained-heat", watts=number(look.tick.unexplained_w))
        if fired_lately(state) > MUCH_FIRED and not known:
            state.trips["unexplained-heat"] = replace(state.trips["unexplained-heat"], check=LOAD_FIRST)


def heat_past_contactor(look: Look, share: float) -> None:
    """The same sum for heat after a trip switched relay and contactor off. It raises the danger message. A reading so
    noisy that it trips shows nothing about heat: the estimate swings by full power both ways."""
    state = look.state
    open_s = look.now_s - state.coil_s if state.trips and state.coil is False else 0.0
    if open_s <= GLOW_S:
        state.past_open = 0.0
    elif state.noise_k <= look.policy.noise_k:
        allowed = explained_share(look, state.excused_high)
        grown = cusum.grow(state.past_open, share, allowed, look.dt_s)
        # The sum is kept near its threshold, so that it falls soon after the heat is cut.
        state.past_open = min(grown, 2.0 * look.policy.excess_share_s)
    if state.past_open > look.policy.excess_share_s:
        endanger(state)  # `unexplained-heat` has tripped: its sum is never less than this one


def missing_heat(look: Look, share: float) -> None:
    """Cumulative sum of too little heat: broken elements, or a sensor that slipped out. When no heat was given, none is
    missing."""
    state = look.state
    if look.now_s < state.settled_s or not look.tick.heating or fired_lately(state) < NONE_FIRED:
        return
    state.missing = cusum.grow(state.missing, -share, explained_share(look, state.excused_low), look.dt_s)
    if state.missing > look.policy.missing_share_s:
        look.trip("missing-heat", watts=-number(look.tick.unexplained_w))
    lost = state.fired_300 > GAIN_FIRED and share < -GAIN_LOST * state.fired_300
    if look.lasting("gain", lost, GAIN_S):
        less = -100.0 * share / state.fired_300
        look.warn(
            f"compare the control sensor with another: it may read too low, or not sit in the chamber. {less:.0f} % of "
            "the heat is missing; if the sensor is right, an element may be broken"
        )


RULES = (
    Rule("unexplained-heat", unexplained_heat, at_a_persons_word),
    Rule("missing-heat", missing_heat, at_a_persons_word),
)
