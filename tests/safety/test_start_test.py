"""The start test: each contact alone keeps the heat off, and the sensor responds to heat."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl import Reading
from kilnctl.safety.start_test import Command, StartTest, begin, short_heat, step
from tests.safety.safety_scenes import stands

OFF, PROBE, HEAT = Command(0.0, False), Command(0.5, False), Command(0.6, True)
GOOD: dict[str, Any] = dict(cold_junction_c=25.0)


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
        return Reading(
            self.value,
            fired=flowing if self.tells["fired"] else None,
            current_a=13.0 * (flowing > 0) if self.tells["current"] else None,
            contactor_closed=shut if self.tells["closed"] else None,
            **GOOD,
        )


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
    assert commands[0] == PROBE and Command(0.0, True) in commands and HEAT in commands
    first_heat = commands.index(HEAT)
    assert all(c == PROBE for c in commands[:4]) and all(c.duty == 0.0 for c in commands[4:first_heat])
    # It proves 3 K at 0.6 × 0.2 K/s: 25 s after the first eight.
    assert len(commands) == pytest.approx(8 + 25, abs=3)
    assert step(test, Reading(20.0), 1e6) == (test, OFF)


@pytest.mark.parametrize(
    ("oven", "fault", "seen"),
    [
        (Oven(contactor="welded"), "start-contactor", "reads closed with its coil off"),
        (Oven(contactor="welded", closed=False), "start-contactor", "current flowed with the contactor's coil off"),
        (Oven(contactor="welded", closed=False, fired=False, current=True), "start-contactor", "current flowed"),
        (Oven(relay="shorted"), "start-relay", "current flowed with the relay's input off"),
        (Oven(relay="shorted", fired=False, current=True), "start-relay", "current flowed"),
        (Oven(contactor="stuck"), "start-no-rise", "reads open with its coil on"),
        (Oven(contactor="stuck", closed=False), "start-no-rise", "raised it only 0.0 K"),
        (Oven(relay="open"), "start-no-rise", "raised it only 0.0 K"),
        (Oven(rate=-0.2), "start-no-rise", "fall by"),
    ],
)
def test_each_fault_is_found_by_its_part(oven, fault, seen):
    test, commands = run(oven)
    assert test.phase == "failed" and test.trip is not None
    assert test.trip.fault == fault and seen in test.trip.seen
    assert commands[-1] == OFF and test.trip.check and test.trip.act
    if fault != "start-no-rise":
        assert not any(c == HEAT for c in commands), "no heat before both contacts are proved"


def test_what_a_rig_cannot_show_is_said():
    test, _ = run(Oven(fired=False, closed=False))
    assert test.phase == "passed" and len(test.unproved) == 2
    assert "contactor opens" in test.unproved[0] and "relay blocks" in test.unproved[1]
    assert run(Oven(fired=False))[0].unproved == (
        "that the relay blocks (no current sensor); watch for a rise without heat",
    )
    assert run(Oven(closed=False))[0].unproved == ()


def test_read_backs_get_their_time_to_follow():
    test, _ = begin(0.0)
    late = Reading(20.0, contactor_closed=True, fired=1.0)
    assert step(test, late, 1.4) == (dataclasses.replace(test, first_c=20.0, first_s=1.4), PROBE)
    assert step(test, late, 1.5)[0].phase == "failed"
    test, _ = step(test, Reading(20.0, contactor_closed=False, fired=0.0), 4.0)
    assert test.phase == "contactor alone" and test.since_s == 4.0
    late = Reading(20.0, contactor_closed=False, fired=1.0)
    assert step(test, late, 5.4) == (test, Command(0.0, True))
    assert step(test, late, 5.5)[0].phase == "failed"
    assert step(test, Reading(20.0, contactor_closed=True, fired=0.02), 5.5)[0].phase == "contactor alone"
    assert step(test, Reading(20.0, contactor_closed=True, fired=0.021), 5.5)[0].phase == "failed"
    for current, phase in ((0.19, "contactor alone"), (0.2, "failed"), (math.nan, "failed"), (-math.inf, "failed")):
        assert step(test, Reading(20.0, contactor_closed=True, current_a=current), 5.5)[0].phase == phase


def test_it_begins_with_the_relay_against_an_open_contactor():
    assert (
        begin(7.0) == (StartTest("relay alone", 7.0), PROBE)
        and begin(7.0)[0].noise_k == 0.15
        and begin(7.0, 0.5)[0].noise_k == 0.5
    )
    fresh = StartTest("heat", 7.0)
    assert (fresh.base_c, fresh.low_c, fresh.first_c, fresh.first_s, fresh.noise_k, fresh.trip, fresh.unproved) == (
        None,
        None,
        None,
        0.0,
        0.15,
        None,
        (),
    )
    assert [StartTest(phase, 0.0).over for phase in ("relay alone", "contactor alone", "heat", "passed", "failed")] == [
        False,
        False,
        False,
        True,
        True,
    ]


def test_test_and_command_cannot_be_changed():
    for made in begin(0.0):
        for f in dataclasses.fields(made):
            with pytest.raises(dataclasses.FrozenInstanceError):
                setattr(made, f.name, 1.0)
        assert not hasattr(made, "__dict__")


@pytest.mark.parametrize(
    "phase, told, after, then",
    [
        ("relay alone", PROBE, "contactor alone", Command(0.0, True)),
        ("contactor alone", Command(0.0, True), "heat", HEAT),
    ],
)
def test_each_of_the_first_two_parts_lasts_four_seconds(phase, told, after, then):
    quiet = Reading(20.0, contactor_closed=phase == "contactor alone", fired=0.0)
    for now in (100.0, 103.9):
        assert step(StartTest(phase, 100.0, first_c=20.0), quiet, now) == (StartTest(phase, 100.0, first_c=20.0), told)
    test, command = step(StartTest(phase, 100.0, first_c=20.0), quiet, 104.0)
    assert (test.phase, test.since_s, command) == (after, 104.0, then) and test.unproved == ()
    assert (test.base_c, test.low_c) == ((20.0, 20.0) if after == "heat" else (None, None))


def test_the_first_reading_is_the_first_that_is_a_number():
    test = begin(0.0)[0]
    for value, now, first in ((math.nan, 1.0, (None, 0.0)), (30.0, 2.0, (30.0, 2.0)), (25.0, 3.0, (30.0, 2.0))):
        test, _ = step(test, Reading(value), now)
        assert (test.first_c, test.first_s) == first


@pytest.mark.parametrize(
    "first_c, first_s, spent, fails_at",
    [
        (24.0, 0.0, 10.0, 11.0),
        (24.0, 4.0, 2.0, 14.0),
        (30.0, 7.0, 0.5, 11.0),
        (20.0, 8.0, 12.0, 16.0),
        (10.0, 0.0, 12.0, 16.0),
    ],
)
def test_a_fall_is_counted_from_where_the_oven_would_have_cooled_to(first_c, first_s, spent, fails_at):
    """From 20 °C at 8 s on as before, never as a rise, and 4 K below that."""
    test = dataclasses.replace(heating(), first_c=first_c, first_s=first_s)
    assert step(test, Reading(fails_at + 0.01), 8.0 + spent)[0].phase == "heat"
    failed, command = step(test, Reading(fails_at), 8.0 + spent)
    assert (
        failed.phase == "failed"
        and command == OFF
        and failed.trip is not None
        and f"fall by {20.0 - fails_at:.1f} K" in failed.trip.seen
        and failed.trip.time_s == 8.0 + spent
    )


def test_the_rise_is_counted_from_the_lowest_and_said_when_it_is_too_little():
    test, command = step(heating(), Reading(18.0), 10.0)
    assert (test.phase, test.low_c, command) == ("heat", 18.0, HEAT)
    test, command = step(test, Reading(20.5), 20.0)
    assert (test.phase, test.low_c, command) == ("heat", 18.0, HEAT)
    assert "180 s of heat raised it only 2.5 K" in str(step(test, Reading(20.5), 188.0)[0].trip)
    passed, command = step(test, Reading(21.0), 20.0)
    assert (passed.phase, passed.since_s, command) == ("passed", 20.0, Command(0.0, True))


def heating(noise_k=0.15):
    test, _ = begin(0.0, noise_k)
    return dataclasses.replace(test, phase="heat", since_s=8.0, base_c=20.0, low_c=20.0, first_c=20.0, first_s=0.0)


@pytest.mark.parametrize(
    ("value", "at", "phase"),
    [
        (22.99, 20.0, "heat"),
        (23.0, 20.0, "passed"),
        (16.01, 20.0, "heat"),
        (16.0, 20.0, "failed"),
        (22.9, 187.9, "heat"),
        (22.9, 188.0, "failed"),
        (math.nan, 20.0, "failed"),
        (math.inf, 20.0, "failed"),
    ],
)
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
    assert (
        test.phase == "failed"
        and command == OFF
        and test.trip is not None
        and "clock" in test.trip.seen
        and test.trip.time_s == 0.0
    )


def test_without_a_reading_there_is_no_short_heat():
    test = dataclasses.replace(begin(0.0)[0], phase="contactor alone")
    failed, command = step(test, Reading(math.nan, contactor_closed=True, fired=0.0), 4.0)
    assert failed.phase == "failed" and command == OFF and "no reading" in str(failed.trip)


@pytest.mark.parametrize("bad", [math.nan, math.inf, None, "0"])
def test_a_start_without_a_time_or_noise_is_refused(bad):
    with pytest.raises(ValueError, match="now_s"):
        begin(bad)
    with pytest.raises(ValueError):
        begin(0.0, bad)
    with pytest.raises(ValueError):
        begin(0.0, 0.0)


def warm(slope, reversed_by=0.0):
    """A hot oven that cools at `slope` K/s until the reading responds, 10 s after the heat began, or falls even
    faster."""
    test, command = begin(0.0)
    value, heated = 800.0, 0
    for t in range(1, 300):
        heated += command.duty > 0.0 and command.contactor
        value += slope if heated < 10 else 0.4
        value -= reversed_by if heated else 0.0
        test, command = step(
            test, Reading(value, contactor_closed=command.contactor, fired=command.duty * command.contactor), float(t)
        )
        if test.over:
            return test
    return test


@pytest.mark.parametrize("slope", [-0.02, -0.5, -1.0])
def test_a_warm_oven_may_go_on_cooling_until_the_heat_is_felt(slope):
    assert warm(slope).phase == "passed"


@pytest.mark.parametrize("slope", [0.0, -0.02, -0.5])
def test_a_warm_oven_that_falls_faster_when_heated_fails(slope):
    test = warm(slope, reversed_by=1.0)
    assert test.phase == "failed" and "fall by" in str(test.trip)


def test_a_rising_oven_is_not_expected_to_go_on_rising():
    test = dataclasses.replace(heating(), first_c=10.0, first_s=0.0)
    assert step(test, Reading(16.01), 40.0)[0].phase == "heat"
    assert step(test, Reading(16.0), 40.0)[0].phase == "failed"


# ---- it waits while heat is forbidden for another reason, then begins again: that is no fault of relay or element ----


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
    assert again[0] == PROBE and Command(0.0, True) in again and HEAT in again


def test_a_fault_is_found_after_the_wait_too():
    for oven, fault in (
        (Oven(contactor="welded"), "start-contactor"),
        (Oven(relay="shorted"), "start-relay"),
        (Oven(relay="open"), "start-no-rise"),
    ):
        test, command = begin(0.0)
        for t in range(1, 1000):
            test, command = step(test, oven.advance(command), float(t), "there is no mains" if t < 500 else "")
            if test.over:
                break
        assert test.trip is not None and test.trip.fault == fault and test.trip.time_s > 500.0


def test_the_clock_is_watched_while_it_waits_and_what_is_over_stays_over():
    test, _ = step(begin(5.0)[0], COLD, 7.0, "the door is open")
    assert test.since_s == 7.0 and test.first_c is None and test.base_c is None
    odd_times: tuple[Any, ...] = (6.0, math.nan, None)
    for odd in odd_times:
        assert step(test, COLD, odd, "the door is open")[0].phase == "failed"
    passed = dataclasses.replace(test, phase="passed", waiting="")
    assert step(passed, COLD, 8.0, "the door is open") == (passed, OFF)
    noisy, _ = step(begin(0.0, 2.0)[0], COLD, 1.0, "the door is open")
    assert noisy.noise_k == 2.0


@pytest.mark.parametrize("missing", ["base_c", "low_c", "first_c"])
def test_a_heat_that_has_nothing_to_be_compared_with_fails(missing):
    known = StartTest("heat", 10.0, base_c=20.0, low_c=20.0, first_c=20.0)
    assert not short_heat(known, Reading(20.0), 11.0)[0].over
    test, command = short_heat(dataclasses.replace(known, **{missing: None}), Reading(20.0), 11.0)
    assert test.phase == "failed" and command == Command(0.0, False)
    assert "gave no reading" in str(test.trip)


@pytest.mark.parametrize(
    ("fault", "reading", "standing"),
    [
        ("start-contactor", dict(contactor_closed=False), False),
        ("start-contactor", dict(contactor_closed=True), True),
        ("start-contactor", dict(contactor_closed=None), False),
    ],
)
def test_what_a_reading_shows_of_a_cause(fault, reading, standing):
    assert stands(fault, **reading) is standing
