"""The danger message: there is heat that cannot be cut. It stands while something shows such heat; when nothing does
any more, it is withdrawn and people are informed."""

from dataclasses import replace

from .messages import WORDS
from .rule import Look
from .rules_heat import level_c
from .rules_supply import contactor_reads_open, flowing
from .state import DANGER, WELDED

#: The signs that heat is cut must last this long, s: so that a few lucky readings do not withdraw the danger.
CALM_S = 10.0  # ±30 %: none
#: How long people are informed that heat is cut after all, s.
TOLD_S = 60.0  # ±30 %: none
CUT_AFTER_ALL = (
    "nothing shows heat that cannot be cut any more. Do not trust relay and contactor before they are tested"
)


def take_back(look: Look) -> None:
    """Withdraw the danger once every cause of it has ended; the standing trips show their own words again."""
    state = look.state
    if state.danger:
        if look.usable:
            state.danger_top_c = max(state.danger_top_c, level_c(state))
        ended = {cause for cause in sorted(state.danger_by) if _has_ended(look, cause)}
        state.danger_by -= ended
        if "power" in ended:
            state.unasked_open = 0.0
        if "heat" in ended:
            state.quiet_c = None  # a rise is measured again from here
        if not state.danger_by and ended:
            state.danger, state.danger_top_c, state.cut_s = "", -float("inf"), look.now_s
            said = {fault: WORDS.get(fault, WORDS["over-oven"])[0] for fault in state.trips}
            state.trips = {fault: replace(trip, act=said[fault]) for fault, trip in state.trips.items()}
        elif state.danger_by:
            state.danger = WELDED if state.danger_by == {"contactor"} else DANGER
    if look.now_s - state.cut_s < TOLD_S and not state.danger:
        look.warn(CUT_AFTER_ALL)


def _has_ended(look: Look, cause: str) -> bool:
    if cause == "power":
        return look.lasting("calm-power", flowing(look.reading) is False, CALM_S)
    if cause == "contactor":
        return look.lasting("calm-contactor", contactor_reads_open(look), CALM_S)
    return look.lasting("calm-heat", _cools(look), CALM_S)


def _cools(look: Look) -> bool:
    """The chamber has fallen by more than the rise that trips, the model finds no heat that flows past the contactor,
    and no meter shows power."""
    state, policy = look.state, look.policy
    if not look.usable or state.past_open > 0.0 or flowing(look.reading) is True:
        return False
    return level_c(state) < state.danger_top_c - policy.unasked_rise_k
