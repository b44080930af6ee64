"""What is claimed after heat was switched off: only what a read-back shows."""

import pytest

from kilnctl import Reading
from kilnctl.safety.proof import BLIND, NOT_YET, heat_proof


@pytest.mark.parametrize("closed, current", [(a, b) for a in (None, False, True) for b in (None, 0.0, 13.0)])
def test_off_is_claimed_only_as_far_as_a_read_back_shows_it(closed, current):
    said = heat_proof(Reading(100.0, contactor_closed=closed, current_a=current))
    assert said.startswith("Relay and contactor are told off")
    bad = closed is True or current == 13.0
    assert ("reads open" in said) == (closed is False and not bad)
    assert ("no current flows" in said) == (current == 0.0 and not bad)
    assert ("reads closed" in said) == (closed is True) and ("but" in said) == bad
    assert ("; current" in said or "and current" in said or "but current" in said) == (current == 13.0)
    assert (said == BLIND) == (closed is None and current is None)


@pytest.mark.parametrize("closed, current", [(a, b) for a in (None, False, True) for b in (None, 0.0, 13.0)])
def test_a_read_back_of_before_the_trip_proves_nothing(closed, current):
    said = heat_proof(Reading(100.0, contactor_closed=closed, current_a=current), newer=False)
    assert said == NOT_YET and "reads" not in said and "flows" not in said
