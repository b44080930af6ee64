"""The board as a rig, on a line in this process and in simulated time, to break things on purpose."""

import dataclasses
import math

import pytest

from kilnctl.firing import Burst
from kilnctl.firmware import frames, logic
from kilnctl.rig import RigDriver, RigLost
from kilnctl.rig.board_rig import BoardRig
from kilnctl.rig.line import HELLO
from kilnctl.safety import Permit
from kilnctl.settings.equipment import CalibrationPoint
from tests.rig.board_loop import NOTHING, heard, hold, lost_after_s, tick

#: Registers of a MAX31856 at 100 °C, terminals 25 °C.
HOT_56 = bytes((25, 0, 6, 64, 0, 0))


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
    assert line.asked.count(frames.ARM) == 2, "once each time"


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
    clock.sleep(0.03)
    began_s = clock.monotonic()
    rig.close()
    assert clock.monotonic() == began_s, "at once"
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


# ---- the thread ----


def test_it_speaks_ten_times_a_second_and_at_once_when_something_new_is_wanted(rig, line, clock):
    hold(clock, rig, 0.4)
    for news, seen in (
        (lambda: tick(rig, 9, 0.7), lambda: line.board.duty == 7000),
        (lambda: rig.heat(0.2, Burst(50, (10,), (), 0.2), Permit(0.0, 2.0, 9)), lambda: line.board.duty == 2000),
        (lambda: rig.contactor(False), lambda: not line.board.contactor),
    ):
        news()
        clock.sleep(0.001)
        line.last = clock.monotonic()
        line.cycle()
        assert seen()
    tick(rig, 10, 0.0, False)
    clock.sleep(0.3)
    before = len(line.asked)
    clock.sleep(10.0)
    assert 99 <= len(line.asked) - before <= 101


def test_after_a_long_silence_it_does_not_make_up_for_what_it_did_not_ask(rig, line, clock):
    heard(line, lambda request, answer: (clock.sleep(0.25), answer)[1])
    clock.sleep(0.8)
    del line.ask
    line.asked.clear()
    clock.sleep(1.0)
    assert len(line.asked) <= 11


def test_it_is_lost_after_half_a_second_without_an_answer(rig, line, clock):
    clock.sleep(1.0)
    line.silent = True
    after_s, why = lost_after_s(clock, rig)
    assert 0.35 <= after_s <= 0.6 and why == "desk: no answer for 0.45 s"
    asked = len(line.asked)
    clock.sleep(2.0)
    assert len(line.asked) == asked, "nobody speaks any more"


def test_a_line_that_never_returns_is_lost_too(rig, line, clock):
    clock.sleep(1.0)
    heard(line, lambda request, answer: clock.sleep(3600.0))
    after_s, why = lost_after_s(clock, rig)
    assert 1.25 <= after_s <= 1.4 and why == "desk: no answer any more"
    line.failure = "desk: the plug burns"
    assert lost_after_s(clock, rig) == (0.0, "desk: the plug burns")


def test_what_the_line_says_of_its_end_is_told(rig, line, clock):
    line.silent, line.failure = True, "desk: the plug burns"
    assert lost_after_s(clock, rig)[1] == "desk: the plug burns"


def test_a_line_that_breaks_is_lost_at_once(rig, line, clock):
    def breaks(request, answer):
        raise RigLost("desk: pulled out")

    heard(line, breaks)
    after_s, why = lost_after_s(clock, rig)
    assert after_s <= 0.12 and why == "desk: pulled out"
    asked = len(line.asked)
    clock.sleep(1.0)
    assert len(line.asked) == asked


@pytest.mark.parametrize(
    ("change", "restarted"),
    [
        (lambda a: {"uptime_ms": a.uptime_ms - 1000}, True),
        (lambda a: {"uptime_ms": a.uptime_ms + 1000}, False),
        (lambda a: {"boot": a.boot ^ 1}, True),
    ],
)
def test_only_what_shows_a_restart_is_one(rig, line, clock, change, restarted):
    """Told with its cause, once, and the rig then asks for nothing more."""
    clock.sleep(1.05)
    heard(line, lambda request, answer: dataclasses.replace(answer, reset_cause=3, **change(answer)))
    after_s, why = lost_after_s(clock, rig)
    assert (after_s <= 0.12) is restarted
    assert not restarted or "restarted by itself (reset cause 3); it is disarmed" in why
    asked = len(line.asked)
    clock.sleep(1.0)
    assert (len(line.asked) == asked) is restarted


# ---- arming and clearing ----


def test_a_board_that_refuses_to_arm_is_a_fault_until_nothing_is_wanted(rig, line, clock):
    line.raw, line.raw_limit = bytes((25, 0, 6, 64, 0, 1)), (1, 1)
    clock.sleep(1.5)
    assert "board-fault" not in rig.read().faults
    reading = hold(clock, rig, 0.4)
    assert "board-fault" in reading.faults and line.board.state == logic.SAFE
    assert rig.words() == "safe, arming was refused: the cause of a fault still stands"
    tick(rig, 3, 0.0, False)
    clock.sleep(0.2)
    assert "board-fault" not in rig.read().faults and rig.words() == "safe"
    tick(rig, 4)
    clock.sleep(0.2)
    line.raw = HOT_56
    clock.sleep(0.5)
    assert rig.words() == "armed" and not [fault for fault in rig.read().faults if fault == "board-fault"]


def test_a_refusal_that_the_board_does_not_explain_is_one(rig, line, clock):
    heard(line, lambda request, answer: dataclasses.replace(answer, state=logic.SAFE, refused=77))
    hold(clock, rig, 0.2)
    assert "it does not say why" in rig.words()


def test_an_answer_to_arming_that_is_lost_is_no_refusal(rig, line, clock):
    """The board is armed then, and refuses to be armed once more: that was a trip for one lost answer."""
    left = [2]

    def loses(request, answer):
        if request.kind == frames.ARM and left[0]:
            left[0] -= 1
            return None
        return answer

    heard(line, loses)
    tick(rig, 1)
    clock.sleep(0.05)
    assert rig.words() == "safe" and not rig.read().faults
    hold(clock, rig, 0.4)
    assert line.board.state == logic.ARMED and line.board.contactor and not rig.read().faults


def test_contactor_or_relay_alone_are_wanted_too(rig, line, clock):
    """The start test commands each of them alone."""
    hold(clock, rig, 0.3, duty=0.0, contactor=True)
    assert line.board.contactor and line.board.relay_bits == 0
    hold(clock, rig, 0.3, duty=0.0, contactor=False)
    assert line.board.state == logic.SAFE
    hold(clock, rig, 0.3, duty=0.0001, contactor=False)
    assert line.board.state == logic.ARMED and line.board.duty == 1, "however little"
    hold(clock, rig, 0.4, duty=1.0, contactor=False)
    assert line.board.state == logic.ARMED and not line.board.contactor and line.board.relay_bits == 1


def test_a_clear_is_asked_until_it_is_answered_and_once(rig, line, clock, until):
    hold(clock, rig, 0.3)
    clock.sleep(2.55)
    assert line.board.faults == logic.F_STEP
    left = [2]

    def loses(request, answer):
        if request.kind == frames.CLEAR and left[0]:
            left[0] -= 1
            return None
        return answer

    heard(line, loses)
    rig.clear()
    clock.sleep(0.001)
    assert line.asked[-1] == frames.CLEAR, "at once"
    clock.sleep(1.0)
    assert line.asked.count(frames.CLEAR) == 3 and line.board.state == logic.SAFE and not rig.read().faults
    armed = line.asked.count(frames.ARM)
    clock.sleep(1.0)
    assert line.asked.count(frames.ARM) == armed, "what was wanted before is not wanted any more"


def test_a_clear_that_is_asked_for_during_another_is_not_lost(rig, line, clock):
    """Between the question and its answer a person asks again, after another fault."""
    asked = []

    def again(request, answer):
        if request.kind == frames.CLEAR and not asked:
            asked.append(rig.clear())
        return answer

    heard(line, again)
    rig.clear()
    clock.sleep(1.0)
    assert line.asked.count(frames.CLEAR) == 2
