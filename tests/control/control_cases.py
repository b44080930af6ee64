"""Shared by the tests of control."""

from kilnctl.settings.schedule import Schedule, Step


def schedule_of(*steps, **more):
    return Schedule(name="test", steps=tuple(Step(**s) for s in steps), **more)
