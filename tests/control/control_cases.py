"""Shared by the tests of control."""

from drawn_ovens import uncabled

from kilnctl import size
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import Schedule, Step
from tests.generated.ovens import numbered


def schedule_of(*steps, **more):
    return Schedule(name="test", steps=tuple(Step(**s) for s in steps), **more)


def drawn_oven(seed: int, number: int):
    """(oven, goal °C): 0.8 of the way from the room to its top."""
    oven = oven_from(numbered(seed, number), f"{seed}/{number}")
    room = oven.site.ambient_c
    return oven, round(room + 0.8 * (min(oven.limits.highest_c, size(uncabled(oven)).max_chamber_c) - room), 1)
