"""Anything but a plain False or None is an open door."""

import numpy as np
import pytest

from kilnctl import Reading
from tests.safety.safety_scenes import QUIET, Bench


@pytest.mark.parametrize("odd", [True, 1, np.True_, np.False_, "shut", 0, 2.5, float("nan")])
def test_what_is_no_plain_false_takes_the_heat(odd):
    bench = Bench(door_switch=True).feed(10, **QUIET)
    assert bench.verdict.permit is not None
    bench.feed(3, **{**QUIET, "door_open": odd})
    assert bench.verdict.permit is None and not bench.verdict.contactor_allowed
    assert bench.verdict.reason == "the door is open" and Reading(100.0, door_open=odd).door_is_open


@pytest.mark.parametrize("shut", [False, None])
def test_a_plain_false_and_no_answer_are_not_open(shut):
    assert not Reading(100.0, door_open=shut).door_is_open
    assert Bench().feed(10, **{**QUIET, "door_open": shut}).verdict.permit is not None
