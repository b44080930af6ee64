"""The start test: each contact alone keeps the heat out, and heat is felt."""

import dataclasses
import math

import pytest

from kilnctl import Reading
from kilnctl.safety.startup import FALL_K, HEAT_DUTY, LONGEST_HEAT_S, OFF, PROBE_DUTY, Command, begin, step

GOOD = dict(cold_junction_c=25.0)


class Oven:
    """One lump with relay and contactor that can fail, and the read-backs that the rig has."""

    def __init__(self, relay="sound", contactor="sound", fired=True, current=False, closed=True, rate=0.2, start=20.0):
        self.relay, self.contactor, self.rate, self.value = relay, contactor, rate, start
        self.tells = dict(fired=fired, current=current, closed=closed)

    def advance(self, command, dt=1.0):
        on = {"sound": command.duty, "shorted": 1.0, "open": 0.0}[self.relay]
        shut = {"sound": command.contactor, "welded": True, "stuck": False}[self.contactor]
        flowing = on if shut else 0.0
        self.value += self.rate * flowing * dt
        return Reading(self.value, fired=flowing if self.tells["fired"] else None, current_a=13.0 * (flowing > 0) if self.tells["current"] else None,
                       contactor_closed=shut if self.tells["closed"] else None, **GOOD)  # fmt: skip


def run(oven, longest=400, **more):
    test, command = begin(0.0, **more)
    commands = [command]
    for t in range(1, longest):
        test, command = step(test, oven.advance(command), float(t))
        commands.append(command)
        if test.over:
            break
    return test, commands


def test_a_sound_oven_passes_in_three_parts():
    test, commands = run(Oven())
    assert test.phase == "passed" and test.trip is None and test.unproved == ()
    assert commands[0] == Command(PROBE_DUTY, False) and Command(0.0, True) in commands and Command(HEAT_DUTY, True) in commands
    first_heat = commands.index(Command(HEAT_DUTY, True))
    assert all(c == Command(PROBE_DUTY, False) for c in commands[:4]) and all(c.duty == 0.0 for c in commands[4:first_heat])
    # It proves 3 K at 0.6 × 0.2 K/s: 25 s after the first eight.
    assert len(commands) == pytest.approx(8 + 25, abs=3)
    assert step(test, Reading(20.0), 1e6) == (test, OFF)


@pytest.mark.parametrize(("oven", "fault", "seen"), [
    (Oven(contactor="welded"), "start-contactor", "reads closed although its coil is off"),
    (Oven(contactor="welded", closed=False), "start-contactor", "current flowed with the contactor's coil off"),
    (Oven(contactor="welded", closed=False, fired=False, current=True), "start-contactor", "current flowed"),
    (Oven(relay="shorted"), "start-relay", "current flowed with the relay's input off"),
    (Oven(relay="shorted", fired=False, current=True), "start-relay", "current flowed"),
    (Oven(contactor="stuck"), "start-no-rise", "the contactor did not close"),
    (Oven(contactor="stuck", closed=False), "start-no-rise", "raised the control reading by only 0.0 K"),
    (Oven(relay="open"), "start-no-rise", "raised the control reading by only 0.0 K"),
    (Oven(rate=-0.2), "start-no-rise", "fell by"),
])  # fmt: skip
def test_each_fault_is_found_by_its_part(oven, fault, seen):
    test, commands = run(oven)
    assert test.phase == "failed" and test.trip.fault == fault and seen in test.trip.seen
    assert commands[-1] == OFF and test.trip.check and test.trip.done
    if fault != "start-no-rise":
        assert not any(c == Command(HEAT_DUTY, True) for c in commands), "no heat before both contacts are proved"


def test_what_a_rig_cannot_show_is_said():
    test, _ = run(Oven(fired=False, closed=False))
    assert test.phase == "passed" and len(test.unproved) == 2
    assert "contactor opens" in test.unproved[0] and "relay blocks" in test.unproved[1]
    assert run(Oven(fired=False))[0].unproved == ("that the relay blocks (no current sensor); watch for a rise without heat",)
    assert run(Oven(closed=False))[0].unproved == ()


def test_read_backs_get_their_time_to_follow():
    test, command = begin(0.0)
    late = Reading(20.0, contactor_closed=True, fired=1.0)
    assert step(test, late, 1.4) == (dataclasses.replace(test, first_c=20.0, first_s=1.4), Command(PROBE_DUTY, False))
    assert step(test, late, 1.5)[0].phase == "failed"
    test, _ = step(test, Reading(20.0, contactor_closed=False, fired=0.0), 4.0)
    assert test.phase == "contactor alone" and test.since_s == 4.0
    late = Reading(20.0, contactor_closed=False, fired=1.0)
    assert step(test, late, 5.4) == (test, Command(0.0, True))
    assert step(test, late, 5.5)[0].phase == "failed"
    assert step(test, Reading(20.0, contactor_closed=True, fired=0.02), 5.5)[0].phase == "contactor alone"
    assert step(test, Reading(20.0, contactor_closed=True, fired=0.021), 5.5)[0].phase == "failed"
    for current, phase in ((0.19, "contactor alone"), (0.2, "failed"), (math.nan, "failed")):
        assert step(test, Reading(20.0, contactor_closed=True, current_a=current), 5.5)[0].phase == phase


def heating(noise_k=0.15):
    test, _ = begin(0.0, noise_k)
    return dataclasses.replace(test, phase="heat", since_s=8.0, base_c=20.0, low_c=20.0)


@pytest.mark.parametrize(("value", "at", "phase"), [
    (22.99, 20.0, "heat"), (23.0, 20.0, "passed"), (20.0 - FALL_K + 0.01, 20.0, "heat"), (20.0 - FALL_K, 20.0, "failed"),
    (22.9, 8.0 + LONGEST_HEAT_S - 0.1, "heat"), (22.9, 8.0 + LONGEST_HEAT_S, "failed"), (math.nan, 20.0, "failed"), (math.inf, 20.0, "failed"),
])  # fmt: skip
def test_how_much_rise_proves_the_heat(value, at, phase):
    assert step(heating(), Reading(value), at)[0].phase == phase


def test_a_noisy_sensor_has_to_rise_further_and_may_fall_as_far():
    assert step(heating(1.0), Reading(27.9), 20.0)[0].phase == "heat"
    assert step(heating(1.0), Reading(28.0), 20.0)[0].phase == "passed"
    assert step(heating(1.0), Reading(12.1), 20.0)[0].phase == "heat"
    assert step(heating(1.0), Reading(12.0), 20.0)[0].phase == "failed"


def test_after_it_has_passed_the_contactor_stays_and_the_heat_goes():
    assert step(heating(), Reading(30.0), 20.0)[1] == Command(0.0, True)


@pytest.mark.parametrize("now", [math.nan, math.inf, -1.0, None])
def test_a_clock_that_does_not_advance_fails_the_test(now):
    test, command = step(begin(0.0)[0], Reading(20.0), now)
    assert test.phase == "failed" and command == OFF and "clock" in test.trip.seen and test.trip.time_s == 0.0


def test_without_a_reading_there_is_no_short_heat():
    test = dataclasses.replace(begin(0.0)[0], phase="contactor alone")
    failed, command = step(test, Reading(math.nan, contactor_closed=True, fired=0.0), 4.0)
    assert failed.phase == "failed" and command == OFF and "no reading" in failed.trip.seen


@pytest.mark.parametrize("bad", [math.nan, math.inf, None, "0"])
def test_a_start_without_a_time_or_noise_is_refused(bad):
    with pytest.raises(ValueError, match="now_s"):
        begin(bad)
    with pytest.raises(ValueError):
        begin(0.0, bad)
    with pytest.raises(ValueError):
        begin(0.0, 0.0)


def warm(slope, reversed_by=0.0):
    """A hot oven that cools at `slope` K/s until the heat is felt 10 s after it began, or falls faster still."""
    test, command = begin(0.0)
    value, heated = 800.0, 0
    for t in range(1, 300):
        heated += command.duty > 0.0 and command.contactor
        value += slope if heated < 10 else 0.4
        value -= reversed_by if heated else 0.0
        test, command = step(test, Reading(value, contactor_closed=command.contactor, fired=command.duty * command.contactor), float(t))
        if test.over:
            return test
    return test


@pytest.mark.parametrize("slope", [-0.02, -0.5, -1.0])
def test_a_warm_oven_may_go_on_cooling_until_the_heat_is_felt(slope):
    assert warm(slope).phase == "passed"


@pytest.mark.parametrize("slope", [0.0, -0.02, -0.5])
def test_a_warm_oven_that_falls_faster_when_heated_fails(slope):
    test = warm(slope, reversed_by=1.0)
    assert test.phase == "failed" and "fell by" in test.trip.seen


def test_a_rising_oven_is_not_expected_to_go_on_rising():
    test = dataclasses.replace(heating(), first_c=10.0, first_s=0.0)
    assert step(test, Reading(20.0 - FALL_K + 0.01), 40.0)[0].phase == "heat"
    assert step(test, Reading(20.0 - FALL_K), 40.0)[0].phase == "failed"
