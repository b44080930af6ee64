"""The board as a rig, on a line in this process and in simulated time, to break things on purpose."""

import dataclasses
import math

import pytest

from kilnctl.firing import Burst
from kilnctl.firmware import frames, logic
from kilnctl.rig import RigDriver, RigLost
from kilnctl.rig.board_rig import BoardRig
from kilnctl.rig.line import HELLO
from kilnctl.settings.equipment import CalibrationPoint
from tests.rig.board_loop import NOTHING, hold, tick

#: Registers of a MAX31856 at 100 °C, terminals 25 °C.
HOT_56 = bytes((25, 0, 6, 64, 0, 0))


@pytest.fixture
def rig(cabinet, line):
    made = BoardRig(cabinet, line=line)
    yield made
    made.close()


def test_it_is_a_rig_and_starts_disarmed(rig, line, clock):
    assert isinstance(rig, RigDriver) and rig.facts.kind == "board" and rig.facts.unattended
    reading = rig.read()
    assert (
        reading.chamber_c == 100.0
        and reading.part_c == 100.0
        and reading.cold_junction_c == 25.0
        and not reading.faults
    )
    assert (
        line.board.state == logic.SAFE
        and reading.contactor_closed is False
        and reading.door_open is False
        and reading.airflow_proved is True
    )
    with pytest.raises(ValueError, match="permit"):
        rig.heat(0.5, Burst(50, (25,), (), 0.5), None)
    clock.sleep(0.25)
    assert line.board.state == logic.SAFE and frames.ARM not in line.asked


def test_heat_is_measured_and_rest_needs_no_lease(rig, line, monkeypatch, until, clock):
    monkeypatch.setattr(logic, "STEP_MS", 700)
    hold(clock, rig, 0.4)
    rig.read()
    reading = hold(clock, rig, 0.8)
    assert line.board.state == logic.ARMED and reading.contactor_closed
    assert reading.bits == HOT_56 and reading.rejects == 0
    assert (
        reading.fired == pytest.approx(0.5, abs=0.05)
        and reading.current_a == pytest.approx(13.0, abs=0.2)
        and reading.supply_v == 230.0
    )
    # Nothing wanted: the board goes to rest, and a service that idles longer than the board's lease finds no fault.
    tick(rig, 1, 0.0, False)
    assert until(lambda: line.board.state == logic.SAFE, 0.5)
    clock.sleep(0.9)
    assert line.board.state == logic.SAFE and not rig.read().faults
    hold(clock, rig, 0.3)
    assert line.board.state == logic.ARMED, "wanted again, armed again"


def test_a_relay_that_draws_unasked_is_seen_in_what_was_fired(rig, line, clock):
    hold(clock, rig, 0.3, 0.0)
    rig.read()
    line.shorted = True
    assert hold(clock, rig, 0.4, 0.0).fired == pytest.approx(1.0, abs=0.05)


def test_what_the_board_counts_as_told_is_what_flows_and_nothing_unless_asked(rig, line, until, clock):
    hold(clock, rig, 0.4)
    rig.read()
    reading = hold(clock, rig, 0.8, 0.3)
    assert reading.commanded == pytest.approx(reading.fired, abs=0.06) and reading.commanded == pytest.approx(
        0.3, abs=0.06
    )
    line.shorted = True
    reading = hold(clock, rig, 0.6, 0.3)
    assert reading.fired == pytest.approx(1.0, abs=0.05) and reading.commanded == pytest.approx(0.3, abs=0.06)
    tick(rig, 98, 0.0, False)
    tick(rig, 99, 0.0, False)
    line.board.fired += 1000
    assert until(lambda: rig.read().commanded == 0.0), (
        "a board that fires although nothing is asked of it is not believed to be told to"
    )


def test_without_a_current_meter_a_commanded_cycle_proves_nothing(cabinet, desk_line, clock):
    line = desk_line(meters=False)
    rig = BoardRig(cabinet, line=line)
    try:
        reading = hold(clock, rig, 0.4)
        assert line.board.fired > 0 and reading.fired is None and reading.current_a is None and reading.supply_v is None
        assert any("meter" in words for words in rig.facts.unproved)
    finally:
        rig.close()


def test_a_hung_loop_latches_the_board_and_only_a_person_clears_it(rig, line, monkeypatch, until, clock):
    monkeypatch.setattr(logic, "STEP_MS", 700)
    hold(clock, rig, 0.3)
    clock.sleep(0.9)
    assert "board-fault" in rig.read().faults and "loop stood still" in rig.words()
    assert line.board.faults == logic.F_STEP and not line.board.contactor
    hold(clock, rig, 0.4)
    assert "board-fault" in rig.read().faults and not line.board.contactor, "going on is no acknowledgement"
    rig.clear()
    assert until(lambda: not rig.read().faults and line.board.state == logic.SAFE, 1.0)
    hold(clock, rig, 0.4)
    assert line.board.contactor


def test_a_board_that_restarts_is_lost_and_stays_disarmed(rig, line, clock):
    hold(clock, rig, 0.3)
    line.reset()
    with pytest.raises(RigLost, match="restarted"):
        hold(clock, rig, 1.0)
    assert line.board.state == logic.SAFE and not line.board.contactor
    with pytest.raises(RigLost):
        rig.heat(0.0, NOTHING, None)


def test_a_restart_shows_in_the_boards_clock_too(rig, line, clock):
    """The number that a board draws at its start is one of 65,536: it may be the same again."""
    hold(clock, rig, 0.3)
    line.boot -= 1
    line.reset()
    with pytest.raises(RigLost, match="restarted"):
        hold(clock, rig, 1.0)


def test_the_boards_clock_may_come_round(cabinet, desk_line, clock):
    line = desk_line()
    # Twelve days pass for the board in four steps; its clock is then one second before its wrap-around.
    start = int(1000 * line.last) + 1000
    line.board = logic.Board(start, line.boot, 1)
    for ms in (1 << 28, 2 << 28, 3 << 28, (1 << 30) - 1000):
        line.board.cycle(start + ms)
    line.count = 0
    line.cycle()
    assert line.ask(HELLO).uptime_ms > 1 << 29
    rig = BoardRig(cabinet, line=line)
    try:
        clock.sleep(1.3)
        assert line.ask(HELLO).uptime_ms < 2000 and rig.read().chamber_c == 100.0
    finally:
        rig.close()


def test_three_lost_answers_are_a_lost_board_and_one_is_not(rig, line, clock):
    line.silent = True
    clock.sleep(0.1)
    line.silent = False
    clock.sleep(0.2)
    assert not rig.read().faults
    line.silent = True
    with pytest.raises(RigLost, match="no answer"):
        hold(clock, rig, 1.5)


def test_close_puts_it_to_rest_and_never_raises(rig, line, clock):
    hold(clock, rig, 0.3)
    rig.close()
    rig.close()
    assert line.board.state == logic.SAFE and line.closed


def test_calibration_is_applied_to_what_the_board_reads(cabinet, desk_line):
    points = (CalibrationPoint(reads_c=0.0, true_c=1.0), CalibrationPoint(reads_c=200.0, true_c=205.0))
    sensors = dataclasses.replace(
        cabinet.sensors, control=dataclasses.replace(cabinet.sensors.control, calibration=points)
    )
    rig = BoardRig(dataclasses.replace(cabinet, sensors=sensors), line=desk_line())
    try:
        assert rig.read().chamber_c == pytest.approx(103.0)
    finally:
        rig.close()


def test_a_sensor_fault_is_a_word_and_no_heat_but_not_an_exception(rig, line, clock):
    hold(clock, rig, 0.3)
    line.raw = bytes((25, 0, 6, 64, 0, 1))
    reading = hold(clock, rig, 0.6)
    assert "open" in reading.faults and "part-open" in reading.faults and math.isnan(reading.chamber_c)
    assert line.board.state == logic.ARMED, "the limit sensor still reads: the program decides"
