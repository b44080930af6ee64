"""Ovens that are quick for their sensors: refuses one whose sound heat-up no rule can tell from a fault, because its
reading would trip `sensor-jump` or `rise-too-fast` on its way up; and how far a chamber is ahead of its reading."""

from ..model.energy import CHAMBER, SENSOR, EnergyModel
from ..safety import Policy
from ..safety.limits import HARD_CEILINGS
from ..safety.rules_heat import RISE_CONFIRM_S, smoothed
from ..settings.document import SettingsError, problem_at
from ..settings.oven import Oven

#: So long, s, the model heats up at full power: the fastest rise is over by then.
LOOKED_AT_S = 120.0


def refuse_too_quick(oven: Oven, model: EnergyModel, policy: Policy) -> None:
    """Raises SettingsError where full rated power from the room's temperature moves the model's reading further than
    these rules believe."""
    fastest = mistaken_k_per_s(model, policy, oven.control.tick_s)
    if fastest is None:
        return
    message = (
        f"elements: full power moves the reading of this oven by {fastest:.0f} K/s from the cold, by its description: "
        "no rule can tell that from a failing sensor, and a relay that stays on would heat it far above its trip "
        "before a sensor shows it. Use less power, or describe heavier elements (mass, or wire diameter and length)"
    )
    raise SettingsError([problem_at(oven, ["elements.power"], message)])


def mistaken_k_per_s(model: EnergyModel, policy: Policy, tick_s: float) -> float | None:
    """The fastest rise, K/s, of a reading that full power raises from the room's temperature, where a rule would take
    it for a fault; None where none does. A policy believes more than twice the model's rise, up to its ceiling: only
    that can be too little."""
    x, level_c, slope, beyond_s, fastest, mistaken = model.rest(model.ambient_c), model.ambient_c, 0.0, 0.0, 0.0, False
    most = HARD_CEILINGS["rise_k_per_s"]
    reach_k = policy.wild_jump_k + max(policy.wild_k_per_s, most) * tick_s
    for _ in range(round(LOOKED_AT_S / tick_s)):
        before_c, x = x[SENSOR], model.step(x, model.power_w, tick_s, model.ambient_c)
        level_c, slope = smoothed(level_c, slope, x[SENSOR], tick_s)
        beyond_s = beyond_s + tick_s if slope > most else 0.0
        fastest = max(fastest, (x[SENSOR] - before_c) / tick_s)
        mistaken = mistaken or x[SENSOR] - before_c > reach_k or beyond_s > RISE_CONFIRM_S
        if x[SENSOR] > policy.chamber_trip_c:
            break
    return fastest if mistaken else None


def ahead_of_reading(model: EnergyModel, at_c: float, k_per_s: float | None) -> tuple[float, float]:
    """(by how much, K, the chamber is above what its reading shows, when it passes at_c, °C, at full power from the
    room's temperature, or at k_per_s if that is slower; the time that this takes, s). Zeros where it does not get there
    within `LOOKED_AT_S`: then it is no quick oven."""
    x, time_s, before_c = model.rest(model.ambient_c), 0.0, model.ambient_c
    while x[CHAMBER] < at_c:
        if time_s >= LOOKED_AT_S:
            return 0.0, 0.0
        before_c, time_s = x[CHAMBER], time_s + 1.0
        x = model.step(x, model.power_w, 1.0, model.ambient_c)
    rise = x[CHAMBER] - before_c
    if k_per_s is not None and k_per_s < rise:
        return k_per_s * model.delay_s, (at_c - model.ambient_c) / k_per_s
    return x[CHAMBER] - x[SENSOR] + rise * model.dead_s, time_s
