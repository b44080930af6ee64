"""`main.py` as it runs on the board, on stand-ins for `machine`, `select`, `micropython` and the ticks of `time`: pins
that note their levels, a converter that can forget its set-up, a watchdog that counts."""

import contextlib
import importlib.abc
import importlib.util
import sys
import time
import types
from collections.abc import Callable
from pathlib import Path

import pytest

import kilnctl.firmware
from kilnctl.firmware import frames, logic

COIL, RELAY, CONTACT, DOOR = 5, 2, 6, 7
#: Registers of a MAX31856 at 100 °C, terminals at 25 °C.
HOT_100 = [25, 0, 6, 64, 0, 0]


class Ended(Exception):
    """The end of a test's time on the board."""


class Bench:
    """The board's world. `at(ms, do)`: calls `do` once the clock is there; each reading of the clock takes 100 µs."""

    def __init__(self):
        self.us = 1_000_000
        self.levels: dict[int, int] = {}
        self.modes: dict[int, object] = {}
        self.history: list[tuple[int, int, int]] = []
        self.stuck: dict[int, int] = {}
        self.fed: list[int] = []
        self.timeout = 0
        self.phase = None
        self.registers = {i: [0, 3, 0xFF] for i in (17, 20, 21)}
        self.forgetful: set[int] = set()
        self.limit = [6, 64, 25, 0]  # a MAX31855 at 100 °C
        self.sent, self.incoming = bytearray(), bytearray()
        self.plan: list[tuple[int, Callable[[], object]]] = []
        self.run: Callable[[], None] = lambda: None
        self.door, self.contact_follows = 0, True

    def at(self, ms, do):
        self.plan.append((ms * 1000 + 1_000_000, do))
        self.plan.sort(key=lambda p: p[0])

    def look(self):
        self.us += 100
        while self.plan and self.plan[0][0] <= self.us:
            self.plan.pop(0)[1]()
        return self.us

    # ---- machine ----

    def Pin(bench, number, mode=None, pull=None, value=None):
        if mode is not None:
            bench.modes[number] = (mode, pull)
        if value is not None:
            bench.set(number, value)
        pin = types.SimpleNamespace()

        def level(new=None):
            if new is None:
                return bench.level(number)
            return bench.set(number, new)

        pin.value, pin.number = level, number
        return pin

    def set(self, number, value):
        self.levels[number] = value
        self.history.append((self.us, number, value))

    def level(self, number):
        if number == CONTACT:
            return 1 - (self.levels.get(COIL, 0) if self.contact_follows else 0)
        if number == DOOR:
            return self.door
        return self.stuck.get(number, self.levels.get(number, 0))

    def SPI(self, number, **pins):
        return types.SimpleNamespace(
            init=lambda baudrate, polarity, phase: setattr(self, "phase", phase),
            write=self.spi_write,
            readinto=lambda buffer: self.fill(buffer, self.limit),
            write_readinto=self.spi_exchange,
        )

    def selected(self):
        return next((n for n in self.registers if self.levels.get(n) == 0), None)

    def spi_write(self, data):
        chip = self.selected()
        assert self.phase == 1 and data[0] == 0x80 and chip is not None
        if chip not in self.forgetful:
            self.registers[chip] = list(data[1:4])

    def spi_exchange(self, out, into):
        chip = self.selected()
        assert chip is not None and self.phase == 1
        self.fill(into, [0, *(self.registers[chip] if out[0] == 0 else HOT_100)])

    @staticmethod
    def fill(buffer, values):
        for i in range(len(buffer)):
            buffer[i] = values[i]

    def WDT(self, timeout):
        self.timeout = timeout
        return types.SimpleNamespace(feed=lambda: self.fed.append(self.us))

    # ---- the line ----

    def readinto(self, one):
        one[0] = self.incoming.pop(0)
        return 1

    def ask(self, kind, sequence, step=0, duty=0, flags=0, spare=0, value=0):
        payload, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        payload[0], payload[1], payload[6], payload[7] = kind, sequence, flags, spare
        frames.put16(payload, 2, step)
        frames.put16(payload, 4, duty)
        frames.put16(payload, 8, value)
        self.incoming += wire[: frames.seal(payload, frames.REQUEST, wire)]

    def heat(self, from_ms=100, to_ms=2000, duty=10000):
        """A computer that sets the board up, arms it, and beats from then to then."""
        self.at(from_ms, lambda: self.ask(frames.SETUP, 1, duty=300, spare=1, value=1))
        self.at(from_ms + 20, lambda: self.ask(frames.ARM, 2))
        for i, ms in enumerate(range(from_ms + 40, to_ms, 100)):
            self.at(ms, lambda i=i: self.ask(frames.BEAT, (3 + i) & 0xFF, i + 1, duty, frames.CONTACTOR))

    def states(self):
        """The board's state in each of its answers."""
        receiver, found = frames.Receiver(frames.ANSWER), []
        for byte in self.sent:
            if receiver.take(byte):
                found.append(receiver.payload[frames.A_STATE])
        return found


@pytest.fixture
def bench(monkeypatch):
    made = Bench()
    pin = made.Pin
    pin_class = types.SimpleNamespace(OUT="out", IN="in", PULL_UP="up", IRQ_RISING=1)

    class Pins:
        OUT, IN, PULL_UP, IRQ_RISING = pin_class.OUT, pin_class.IN, pin_class.PULL_UP, pin_class.IRQ_RISING

        def __new__(cls, *arguments, **more):
            return pin(*arguments, **more)

    machine = types.SimpleNamespace(Pin=Pins, SPI=made.SPI, WDT=made.WDT, reset_cause=lambda: 1, UART=None, ADC=None)
    ticks = types.SimpleNamespace(
        ticks_us=lambda: made.look() & 0x3FFFFFFF,
        ticks_ms=lambda: (made.us // 1000) & 0x3FFFFFFF,
        ticks_diff=lambda a, b: ((a - b + (1 << 29)) & 0x3FFFFFFF) - (1 << 29),
        ticks_add=lambda a, b: (a + b) & 0x3FFFFFFF,
    )
    stream = types.SimpleNamespace(
        buffer=types.SimpleNamespace(readinto=made.readinto, write=lambda view: made.sent.extend(view))
    )
    poll = types.SimpleNamespace(register=lambda *_: None, poll=lambda _: bool(made.incoming))
    stand_ins = {
        "machine": machine,
        "time": ticks,
        "select": types.SimpleNamespace(poll=lambda: poll, POLLIN=1),
        "micropython": types.SimpleNamespace(kbd_intr=lambda _: None),
        **{n: importlib.import_module(f"kilnctl.firmware.{n}") for n in ("chips", "frames", "logic", "meter")},
    }
    real = sys.modules["sys"]

    def run():
        """`main.py` until the plan says that it ends."""
        found = importlib.util.find_spec("kilnctl.firmware.main")
        assert found is not None and isinstance(found.loader, importlib.abc.InspectLoader)
        program = found.loader.get_code(found.name)
        assert program is not None
        fake = types.SimpleNamespace(stdin=stream, stdout=stream)
        with monkeypatch.context() as patch:
            for name, module in {**stand_ins, "sys": fake}.items():
                patch.setitem(real.modules, name, module)
            with contextlib.suppress(Ended):
                exec(program, {"__name__": "__main__"})

    made.run = run
    return made


def end():
    raise Ended


def test_it_begins_with_all_outputs_low_and_converters_set_up(bench):
    bench.at(300, end)
    bench.run()
    first = {}
    for _, number, value in bench.history:
        first.setdefault(number, value)
    assert first[RELAY] == 0 and first[COIL] == 0 and bench.modes[COIL][0] == "out"
    assert bench.registers[17] == list(frames_set_up()) and bench.timeout == 1000
    assert bench.modes[CONTACT] == bench.modes[DOOR] == ("in", "up")


def frames_set_up():
    return importlib.import_module("kilnctl.firmware.chips").setup_31856("K", 50)


def test_it_heats_while_it_is_asked_to_and_lets_go_by_itself(bench):
    bench.heat(to_ms=2000)
    bench.at(4000, end)
    bench.run()
    relay = [(us, v) for us, n, v in bench.history if n == RELAY]
    coil = [us for us, n, v in bench.history if n == COIL and v]
    assert any(v for _, v in relay) and coil
    last_us = max(us for us, n, v in bench.history if n in (RELAY, COIL) and v)
    # The last beat came just before 2 s; its lease is 0.5 s.
    assert last_us < 1_000_000 + 2_000_000 + 600_000
    assert logic.ARMED in bench.states()


def test_the_watchdog_is_fed_once_a_cycle(bench):
    bench.at(2000, end)
    bench.run()
    assert len(bench.fed) == pytest.approx(100, abs=3)


@pytest.mark.parametrize(("number", "level"), [(RELAY, 1), (COIL, 1)])
def test_a_watchdog_starves_where_an_output_does_not_follow(bench, number, level):
    """A pin that is short to its supply: the hardware has to restart the board, whose pins are inputs then."""
    bench.at(500, lambda: bench.stuck.update({number: level}))
    bench.at(3000, end)
    bench.run()
    assert bench.fed and max(bench.fed) < 1_000_000 + 550_000


def test_it_starves_where_the_cycle_was_not_whole(bench, monkeypatch):
    real = logic.Board.cycle

    def half(board, now):
        real(board, now)
        board.feed = board.feed and bench.us < 1_500_000

    monkeypatch.setattr(logic.Board, "cycle", half)
    bench.at(3000, end)
    bench.run()
    assert bench.fed and max(bench.fed) < 1_550_000


@pytest.mark.parametrize("broken", [ValueError, MemoryError, KeyboardInterrupt])
def test_everything_is_off_however_it_ends(bench, broken):
    def breaks():
        assert bench.levels[COIL] == 1 and bench.levels[RELAY] == 1, "it heats at this moment"
        raise broken

    bench.heat(to_ms=5000)
    bench.at(2000, breaks)
    with pytest.raises(broken):
        bench.run()
    assert bench.levels[COIL] == 0 and bench.levels[RELAY] == 0
    order = [n for _, n, v in bench.history if v == 0 and n in (COIL, RELAY)]
    assert order[-2:] == [COIL, RELAY], "the coil goes first"


def test_a_converter_that_forgets_its_set_up_gives_no_temperature_and_is_set_up_again(bench):
    def forget():
        bench.registers[17] = [0, 3, 0xFF]
        bench.forgetful.add(17)
        bench.limit = [0, 0, 0, 0]  # the second sensor is gone too: one of them is enough for the board

    bench.heat(to_ms=6000)
    bench.at(1500, forget)
    bench.at(4000, bench.forgetful.clear)
    bench.at(4500, end)
    bench.run()
    hot = [us for us, n, v in bench.history if n == RELAY and v]
    gone = [us for us in hot if 1_000_000 + 3_000_000 < us < 1_000_000 + 4_000_000]
    assert [us for us in hot if us < 2_500_000] and not gone, "no heat while nothing can be read"
    assert bench.registers[17] == list(frames_set_up()), "and it is set up again once it remembers"


def test_an_open_door_ends_heat_and_contactor_within_a_cycle(bench):
    bench.heat(to_ms=3000)
    bench.at(1500, lambda: setattr(bench, "door", 1))
    bench.at(2500, end)
    bench.run()
    on = [us for us, n, v in bench.history if n in (RELAY, COIL) and v]
    assert on and max(on) < 1_000_000 + 1_500_000 + 30_000


def test_the_stand_ins_do_not_stay(bench):
    bench.at(100, end)
    bench.run()
    assert sys.modules["time"] is time and Path(kilnctl.firmware.__file__ or "").is_file()
