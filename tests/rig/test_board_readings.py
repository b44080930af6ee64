"""What a board rig reads from the board's answers, and how it ends."""

import dataclasses
import math

import pytest

from kilnctl.firmware import frames, logic
from kilnctl.rig import RigLost
from kilnctl.rig.board_rig import BoardRig
from tests.rig.board_loop import NOTHING, heard, hold, lost_after_s, tick

# ---- readings ----


def test_what_is_not_there_is_none_and_no_fault(cabinet, desk_line, clock):
    """A converter whose sensor no file names may say what it likes, and so may an input that is not wired."""
    line = desk_line()
    line.read_back = False
    sensors = dataclasses.replace(cabinet.sensors, limit=None, part=None)
    meters = dataclasses.replace(cabinet.meters, current=False, supply=False)
    rig = BoardRig(dataclasses.replace(cabinet, sensors=sensors, meters=meters), line=line)
    try:
        line.raw_part, line.raw_limit = bytes((25, 0, 6, 64, 0, 1)), (1, 1)
        hidden = frames.HAS_CONTACTOR | frames.HAS_DOOR | frames.HAS_AIRFLOW
        heard(line, lambda request, answer: dataclasses.replace(answer, inputs=answer.inputs & ~hidden))
        reading = hold(clock, rig, 1.0)
        assert (reading.limit_c, reading.part_c, reading.faults) == (None, None, ())
        assert (reading.contactor_closed, reading.door_open, reading.airflow_proved) == (None, None, None)
        assert (reading.supply_v, reading.fired, reading.current_a, reading.commanded) == (None, None, None, None)
        assert reading.mean_current_a is None
    finally:
        rig.close()


def test_an_open_door_and_a_dead_limit_sensor_are_told_as_what_they_are(rig, line, clock):
    line.raw_limit = (1, 1)
    heard(line, lambda request, answer: dataclasses.replace(answer, inputs=answer.inputs | frames.IN_DOOR))
    clock.sleep(0.5)
    reading = rig.read()
    assert reading.door_open is True and reading.chamber_c == 100.0 and math.isnan(reading.limit_c)
    assert reading.faults and all(fault.startswith("limit-") for fault in reading.faults)


def test_what_flowed_is_between_two_readings(rig, line, clock):
    first = rig.read()
    assert (first.fired, first.current_a, first.commanded, first.mean_current_a) == (0.0, 0.0, 0.0, 0.0)
    line.board.fired += 1000
    clock.sleep(0.2)
    assert rig.read().commanded == 0.0, "nothing was asked of it yet"
    hold(clock, rig, 1.0, duty=0.5)
    assert rig.read().fired == rig.read().fired, "no mains cycle between them: the last one stands"
    clock.sleep(0.2)
    hold(clock, rig, 1.0, duty=1.0)
    reading = hold(clock, rig, 1.0, duty=1.0)
    assert reading.fired == pytest.approx(1.0, abs=0.01) and reading.commanded == 1.0
    assert reading.current_a == reading.mean_current_a == pytest.approx(line.full_a)
    hold(clock, rig, 1.0, duty=0.5)
    reading = hold(clock, rig, 1.0, duty=0.5)
    assert reading.mean_current_a == pytest.approx(0.5 * line.full_a, rel=0.05)


def test_commanded_cycles_count_in_the_tick_after_the_last_duty(rig, line, clock):
    """The reading that follows the first tick without heat still tells of the heat before it."""
    hold(clock, rig, 1.0, duty=1.0)
    clock.sleep(0.2)
    tick(rig, 8, 0.0)
    assert rig.read().commanded == 1.0
    clock.sleep(0.2)
    tick(rig, 9, 0.0)
    line.board.fired += 10
    clock.sleep(0.2)
    assert rig.read().commanded == 0.0
    tick(rig, 10, 1.0)
    clock.sleep(0.4)
    assert rig.read().commanded > 0.5, "in the first tick with heat too"


# ---- the end ----


def test_close_waits_for_the_word_that_is_being_spoken(rig, line, clock):
    """Two voices on one line would garble each other."""
    speaking, most = [0], [0]
    ask = line.ask

    def slowly(request, patience_s=0.1):
        speaking[0] += 1
        most[0] = max(most[0], speaking[0])
        clock.sleep(0.12)
        speaking[0] -= 1
        return ask(request, patience_s)

    hold(clock, rig, 0.3)
    line.ask = slowly
    tick(rig, 5)
    clock.sleep(0.01)
    began_s = clock.monotonic()
    rig.close()
    assert most == [1] and line.board.state == logic.SAFE and clock.monotonic() - began_s < 0.5
    asked = len(line.asked)
    clock.sleep(1.0)
    assert len(line.asked) == asked


def test_close_of_a_lost_rig_asks_nothing(rig, line, clock):
    line.silent = True
    lost_after_s(clock, rig)
    asked = len(line.asked)
    rig.close()
    assert len(line.asked) == asked and line.closed


def test_every_command_of_a_lost_rig_says_so(rig, line, clock):
    line.silent = True
    lost_after_s(clock, rig)
    for call in (rig.read, rig.clear, lambda: rig.contactor(False), lambda: rig.heat(0.0, NOTHING, None)):
        with pytest.raises(RigLost, match="no answer"):
            call()


def test_the_counter_of_steps_comes_round(rig, line, clock):
    """It has sixteen bits on the line: 18 hours of one tick a second."""
    for step in (1, 30_000, 60_000, 65_535, 65_536, 65_537):
        rig._step = step - 1
        tick(rig, step)
        clock.sleep(0.15)
        assert line.board._step == step & 0xFFFF
    assert line.board.state == logic.ARMED and line.board.contactor
