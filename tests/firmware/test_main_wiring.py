"""What `main.py` makes of each wire: lines to the converters, switches, meters, zero crossings, the port of the
computer. Its comments say how they are wired."""

import math

import pytest

from kilnctl.firmware import frames, logic
from tests.firmware.main_bench import AIR, COIL, CONTROL, LIMIT, RELAY, ZERO_CROSS, Bench, end


def inputs(bench: Bench, at_least: int = 1) -> list[int]:
    found = [answer[frames.A_INPUTS] for answer in bench.answers()]
    assert len(found) >= at_least
    return found


def cycles_after(bench: Bench, second: float) -> int:
    """How many cycles fed the watchdog since that second of the bench's time."""
    return sum(us > 1_000_000 + second * 1e6 for us in bench.fed)


def greet_every(bench: Bench, ms: int, to_ms: int):
    for i, at in enumerate(range(100, to_ms, ms)):
        bench.at(at, lambda i=i: bench.ask(frames.HELLO, (i + 1) & 0xFF))


def test_each_converter_is_asked_four_times_a_second_and_alone(bench):
    """Only one is selected at a time: the stand-in of the line asserts it, and mode and speed of each."""
    greet_every(bench, 100, 3000)
    bench.at(3000, end)
    bench.run()
    first, *_, last = bench.answers()
    for i, chip in enumerate((2, 1, 2)):
        place = frames.A_CHANNELS + i * frames.CHANNEL
        assert last[place] == chip
        assert last[place + 1] - first[place + 1] == pytest.approx(4 * 2.8, abs=1.5)
    raw = frames.A_CHANNELS + frames.CHANNEL + 2
    assert list(last[raw : raw + 4]) == bench.limit
    lines = {name: getattr(pin, "number", pin) for name, pin in bench.spi.items()}
    assert lines == {**lines, "number": 0, "sck": 18, "mosi": 19, "miso": 16, "phase": 0, "polarity": 0}


def test_a_place_without_a_converter_is_left_alone(bench):
    greet_every(bench, 100, 1000)
    bench.at(1000, end)
    bench.run(CHIPS='("max31856", None, "max31856")')
    assert bench.answers()[-1][frames.A_CHANNELS + frames.CHANNEL] == 0


def test_a_control_sensor_that_stays_unset_does_not_keep_the_limit_sensor_from_being_read(bench):
    bench.forgetful.add(CONTROL)
    bench.heat(from_ms=400, to_ms=2000)
    bench.at(2000, end)
    bench.run()
    assert any(n == RELAY and v for _, n, v in bench.history), "one of the two is enough for the board"
    assert bench.levels[CONTROL] == bench.levels[LIMIT] == 1


def test_the_contactor_reads_closed_while_its_pin_is_low(bench):
    bench.heat(to_ms=1500)
    bench.at(2500, lambda: bench.ask(frames.HELLO, 250))
    bench.at(2600, end)
    bench.run()
    told = [bool(i & frames.IN_CONTACTOR) for i in inputs(bench) if i & frames.HAS_CONTACTOR]
    assert len(told) == len(bench.answers()) and True in told and told[0] is told[-1] is False


def test_a_contactor_that_stays_closed_is_a_fault(bench):
    bench.contact_follows = False
    bench.levels[COIL] = 1
    bench.at(1500, lambda: bench.ask(frames.HELLO, 1))
    bench.at(1600, end)
    bench.level = lambda number: 0 if number == 6 else Bench.level(bench, number)
    bench.run()
    (answer,) = bench.answers()
    assert frames.get16(answer, frames.A_FAULTS) == logic.F_WELDED


@pytest.mark.parametrize(("level", "proved"), [(0, True), (1, False)])
def test_air_is_proved_while_its_pin_is_low(bench, level, proved):
    bench.air = level
    greet_every(bench, 100, 500)
    bench.at(500, end)
    bench.run(**{"CONTACTOR_IN, DOOR_IN, AIRFLOW_IN, ZERO_CROSS_IN": f"6, 7, {AIR}, None"})
    told = inputs(bench)[-1]
    assert told & frames.HAS_AIRFLOW and bool(told & frames.IN_AIRFLOW) is proved


def test_what_is_not_wired_is_not_told(bench):
    greet_every(bench, 100, 500)
    bench.at(500, end)
    bench.run(**{"CONTACTOR_IN, DOOR_IN, AIRFLOW_IN, ZERO_CROSS_IN": "None, None, None, None"})
    assert set(inputs(bench)) == {0} and bench.answers()[-1][frames.A_METERS] == 0


def test_the_coil_goes_before_the_relays_and_does_not_blink(bench):
    bench.heat(to_ms=3000)
    bench.at(2000, lambda: setattr(bench, "door", 1))
    bench.at(2500, end)
    bench.run()
    first_on = next(us for us, n, v in bench.history if n == COIL and v)
    writes = [(n, v) for us, n, v in bench.history if us >= first_on and n in (COIL, RELAY)]
    off = next(i for i, (n, v) in enumerate(writes) if n == COIL and not v)
    assert writes[off - 1][0] == COIL and writes[off - 2] == (RELAY, 1), "the relay still conducts as the coil goes"
    assert all(v == 0 for _, v in writes[off:])
    assert all(us > 2_990_000 for us, n, v in bench.history if n == COIL and not v and us >= first_on)


def test_one_relay_of_two_that_sticks_starves_the_watchdog(bench):
    bench.at(500, lambda: bench.stuck.update({2: 1}))
    bench.at(1500, end)
    bench.run(RELAYS="(2, 3)")
    assert bench.fed and max(bench.fed) < 1_550_000


def test_a_cycle_that_breaks_off_feeds_nobody(bench, monkeypatch):
    real = logic.Board.cycle
    monkeypatch.setattr(logic.Board, "cycle", lambda board, now: real(board, now) if bench.us < 1_500_000 else None)
    bench.at(1500, end)
    bench.run()
    assert bench.fed and max(bench.fed) < 1_550_000


def test_the_meters_tell_current_and_voltage(bench):
    """A thousand counts (of 4096) rms are 24.17 A and 250.0 V; each lies on half the supply of the board. The loop of
    the stand-in turns 200 times a mains cycle, more often than the sums take readings."""

    def wave(rms):
        return lambda t: 16.0 * (2048.0 + math.sqrt(2.0) * rms * math.sin(2.0 * math.pi * 50.0 * t))

    bench.inputs = {26: wave(500.0), 27: wave(920.0)}
    greet_every(bench, 100, 1000)
    bench.at(1000, end)
    bench.run(**{"CURRENT_IN, SUPPLY_IN": "26, 27"})
    answer = bench.answers()[-1]
    assert answer[frames.A_METERS] == frames.HAS_CURRENT | frames.HAS_SUPPLY
    assert frames.get16(answer, frames.A_CURRENT) == pytest.approx(1208, rel=0.05)
    assert frames.get16(answer, frames.A_SUPPLY) == pytest.approx(2300, rel=0.05)


WIRED = {"CONTACTOR_IN, DOOR_IN, AIRFLOW_IN, ZERO_CROSS_IN": f"6, 7, None, {ZERO_CROSS}"}


def pulses(bench: Bench, hz: float, from_ms: int, to_ms: int):
    """Two pulses a mains cycle."""
    for i in range(int((to_ms - from_ms) * hz * 2.0 / 1000.0)):
        bench.at(from_ms + i * 500.0 / hz, lambda: bench.edge(None))


@pytest.mark.parametrize("noisy", [False, True])
def test_cycles_follow_the_mains_and_not_the_noise_on_the_pulses(bench, noisy):
    """51.5 Hz, which no clock of 50 Hz gives. Noise: two more pulses ten times a second, each of which shortens two
    cycles by a quarter at most."""
    pulses(bench, 51.5, 10, 3000)
    if noisy:
        for ms in range(101, 3000, 100):
            bench.at(ms, lambda: (bench.edge(None), bench.edge(None)))
    greet_every(bench, 100, 3000)
    bench.at(3000, end)
    bench.run(**WIRED)
    assert cycles_after(bench, 1.0) == pytest.approx(103, abs=11 if noisy else 1)
    assert all(i & frames.IN_ZERO_CROSS for i in inputs(bench)[5:])
    gaps = [b - a for a, b in zip(bench.fed[5:], bench.fed[6:], strict=False)]
    assert min(gaps) > 14_000, "no cycle is shorter than three quarters of one"


def test_a_generator_that_runs_fast_is_followed(bench):
    pulses(bench, 58.0, 10, 3000)
    bench.at(3000, end)
    bench.run(**WIRED)
    assert cycles_after(bench, 1.0) == pytest.approx(116, abs=1)


def test_without_pulses_the_clock_takes_over_and_says_so(bench):
    pulses(bench, 51.5, 10, 1000)
    greet_every(bench, 100, 3000)
    bench.at(3000, end)
    bench.run(**WIRED)
    assert cycles_after(bench, 1.5) == pytest.approx(75, abs=1)
    assert not any(i & frames.IN_ZERO_CROSS for i in inputs(bench)[-10:])
    gap = max(b - a for a, b in zip(bench.fed, bench.fed[1:], strict=False))
    assert 39_000 < gap < 42_000, "two cycles without a pulse"


@pytest.mark.parametrize(("missed_ms", "cycles"), [(70, 50 + 3), (300, 50)])
def test_a_few_missed_cycles_are_made_up_for_and_many_are_not(bench, missed_ms, cycles):
    """The clock's cycles keep their number through a short wait; after a long one they would come in a rush."""
    bench.at(1000, lambda: setattr(bench, "us", bench.us + missed_ms * 1000))
    bench.at(2000 + missed_ms, end)
    bench.run()
    assert cycles_after(bench, 1.0 + missed_ms / 1000.0) == pytest.approx(cycles, abs=1)


@pytest.mark.parametrize("line", ["None", "(1, 12, 13)"])
def test_a_request_that_comes_in_pieces_is_answered(bench, line):
    def first():
        bench.ask(frames.HELLO, 7)
        rest.extend(bench.incoming[2:])
        del bench.incoming[2:]

    rest = bytearray()
    bench.at(200, first)
    bench.at(230, lambda: bench.incoming.extend(rest))
    bench.at(300, end)
    bench.run(LINE=line)
    assert [answer[frames.A_SEQ] for answer in bench.answers()] == [7]


def test_a_byte_3_on_the_usb_line_ends_no_program(bench):
    bench.at(100, end)
    bench.run()
    interrupt, (stream, wanted) = bench.told
    assert interrupt == -1 and wanted == 1 and hasattr(stream, "buffer")


def test_the_line_may_be_a_serial_port(bench):
    greet_every(bench, 100, 1000)
    bench.at(1000, end)
    bench.run(LINE="(1, 12, 13)")
    assert len(bench.answers()) == 9
    port = {name: getattr(pin, "number", pin) for name, pin in bench.uart.items()}
    assert port == {**port, "number": 1, "baudrate": 115200, "tx": 12, "rx": 13}
    assert port["rxbuf"] > frames.REQUEST and port["txbuf"] > frames.LONGEST, "a frame fits"
