"""What reaches the board from line, converters and meters, and what of it counts."""

import pytest

from kilnctl.firmware import frames, logic
from tests.firmware.board_rules_cases import Bench

#: Word of a MAX31855 in two halves: 100 °C and 400 °C, terminals 25 °C (data sheet).
MILD_55, HOT_55 = (100 * 4 << 2, 25 * 16 << 4), (400 * 4 << 2, 25 * 16 << 4)


def sent(board: logic.Board, kind: int, seq: int) -> int:
    """Bytes of the answer to a request of that kind."""
    p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
    p[0], p[1] = kind, seq
    return sum(board.take(byte, 0) for byte in wire[: frames.seal(p, frames.REQUEST, wire)])


@pytest.mark.parametrize("kind", [0, 7, 0x7F, 0x80 | frames.CLEAR, 255])
def test_an_unknown_request_is_neither_answered_nor_done(kind):
    """Least of all as a clear."""
    bench = Bench()
    bench.run(700, beats=False)
    assert bench.board.faults == logic.F_HEARTBEAT
    assert sent(bench.board, kind, 200) == 0 and bench.board.state == logic.FAULT
    assert sent(bench.board, frames.CLEAR, 201) > 0 and bench.board.state == logic.SAFE


def test_a_31855_carries_heat_and_trips_as_a_31856_does():
    bench = Bench(ceiling=300)
    bench.control = bench.limit = None
    channel = bench.board.channels[1]
    for _ in range(20):
        channel.take_31855(*MILD_55)
        bench.run(100)
    assert bench.board.relay_bits and bench.board.faults == 0
    for _ in range(3):
        channel.take_31855(*HOT_55)
        bench.run(20)
    assert bench.board.faults == logic.F_CEILING


def test_before_the_settings_come_any_current_counts():
    board = logic.Board(0, 7)
    for ms, amps in ((20, None), (40, 0), (60, 1), (80, 3)):
        board.current = amps
        board.cycle(ms)
    assert (board.flowing, board.flow, board.cycles) == (2, 4, 4)


def test_the_clock_counts_every_millisecond_across_its_wrap():
    board = logic.Board((1 << 30) - 15, 7)
    for ms in ((1 << 30) - 5, 5, 5, 30):
        board.cycle(ms)
    bench = Bench(arm=False)
    bench.board = board
    bench.ask(frames.HELLO)
    assert frames.get32(bench.answer, frames.A_UPTIME) == 45


def test_a_week_without_a_cycle_is_late():
    """Half of what the clock can tell is six days; what lies behind it must not look like no time at all."""
    for ms in (1 << 29, (1 << 30) - 1000):
        bench = Bench()
        bench.ask(frames.BEAT, 1, 5000, frames.CONTACTOR)
        bench.board.cycle((bench.now + ms) & ((1 << 30) - 1))
        assert bench.board.faults & logic.F_LATE and bench.board.relay_bits == 0


@pytest.mark.parametrize(
    ("supply", "current", "meters"),
    [(None, None, 0), (2301, None, frames.HAS_SUPPLY), (None, 0, frames.HAS_CURRENT), (0, 1307, 3)],
)
def test_the_meters_are_told_as_they_are(supply, current, meters):
    bench = Bench(arm=False)
    bench.board.supply, bench.board.current = supply, current
    bench.ask(frames.HELLO)
    told = bench.answer
    assert told[frames.A_METERS] == meters
    assert frames.get16(told, frames.A_SUPPLY) == (supply or 0)
    assert frames.get16(told, frames.A_CURRENT) == (current or 0)
