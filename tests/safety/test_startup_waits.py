"""The start test waits while heat is forbidden for another reason, and then begins anew: nothing of it is a relay's or an element's fault."""

import dataclasses
import math

import pytest
from test_startup import Oven

from kilnctl import Reading
from kilnctl.safety.startup import HEAT_DUTY, OFF, PROBE_DUTY, Command, begin, step

COLD = Reading(20.0, contactor_closed=False, fired=0.0)


def test_a_contactor_that_the_door_holds_open_is_not_called_broken():
    test, command = begin(0.0)
    for t in range(1, 1400):
        test, command = step(test, COLD, float(t), "the door is open")
        assert command == OFF and not test.over
    assert test.waiting == "the door is open" and test.phase == "relay alone"


@pytest.mark.parametrize("after_s", [2, 6, 30])
@pytest.mark.parametrize("waits_s", [1, 4, 2000])
def test_whenever_it_is_stopped_it_passes_from_the_beginning(after_s, waits_s):
    oven, (test, command), commands = Oven(), begin(0.0), []
    for t in range(1, 3000):
        forbidden = after_s <= t < after_s + waits_s
        reading = oven.advance(command)
        if forbidden:
            oven.value -= 0.02  # it cools meanwhile, further than a fall under heat may be
        test, command = step(test, reading, float(t), "purging" if forbidden else "")
        commands.append(command)
        assert (command == OFF) or not forbidden
        if test.over:
            break
    assert test.phase == "passed" and test.waiting == ""
    again = commands[after_s + waits_s - 1 :]
    assert again[0] == Command(PROBE_DUTY, False) and Command(0.0, True) in again and Command(HEAT_DUTY, True) in again


def test_a_fault_is_found_after_the_wait_too():
    for oven, fault in ((Oven(contactor="welded"), "start-contactor"), (Oven(relay="shorted"), "start-relay"), (Oven(relay="open"), "start-no-rise")):
        test, command = begin(0.0)
        for t in range(1, 1000):
            test, command = step(test, oven.advance(command), float(t), "there is no mains" if t < 500 else "")
            if test.over:
                break
        assert test.trip.fault == fault and test.trip.time_s > 500.0


def test_the_clock_is_watched_while_it_waits_and_what_is_over_stays_over():
    test, _ = step(begin(5.0)[0], COLD, 7.0, "the door is open")
    assert test.since_s == 7.0 and test.first_c is None and test.base_c is None
    for odd in (6.0, math.nan, None):
        assert step(test, COLD, odd, "the door is open")[0].phase == "failed"
    passed = dataclasses.replace(test, phase="passed", waiting="")
    assert step(passed, COLD, 8.0, "the door is open") == (passed, OFF)
    noisy, _ = step(begin(0.0, 2.0)[0], COLD, 1.0, "the door is open")
    assert noisy.noise_k == 2.0
