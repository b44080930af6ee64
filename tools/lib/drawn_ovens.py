"""Ovens drawn at random for the benches, each with a temperature that it reaches."""

from dataclasses import replace

from kilnctl import size
from kilnctl.errors import KilnctlError
from kilnctl.model.day_zero import day_zero
from kilnctl.settings.oven import Oven, oven_from
from tests.generated.ovens import numbered

#: They are heated to this share of the way from the room to their top, which needs at most `MOST` of their power.
SHARE, MOST = 0.8, 0.9


def uncabled(oven: Oven) -> Oven:
    """The oven at the end of no cable: virtual ovens and models get their nominal voltage, whatever the cable drops."""
    return replace(oven, supply=replace(oven.supply, cable_length_m=None))


def drawn(seed: int, count: int, loaded: bool = False) -> list[tuple[str, Oven, float]]:
    """(name, oven, temperature °C) of the first ovens of a seed that can be built and held there; with `loaded` of
    those that have a usual load."""
    found: list[tuple[str, Oven, float]] = []
    for number in range(20 * count):
        try:
            oven = oven_from(numbered(seed, number), f"{seed}/{number}")
            if loaded and (oven.usual_load is None or oven.usual_load.mass_kg == 0.0):
                continue
            top_c, room_c = min(oven.limits.highest_c, size(uncabled(oven)).max_chamber_c), oven.site.ambient_c
            goal_c = round(room_c + SHARE * (top_c - room_c), 1)
            model = day_zero(oven, oven.usual_load, goal_c)
        except (KilnctlError, ValueError):
            continue
        if 0.0 < model.holding_w(goal_c) < MOST * model.power_w:
            found.append((f"{seed}/{number}", oven, goal_c))
        if len(found) == count:
            break
    return found
