"""The board's world for tests of `main.py`: stand-ins for `machine`, `select`, `micropython` and the ticks of `time`:
pins that note their levels, converters that can forget their set-up, a watchdog that counts."""

import types
from collections.abc import Callable

from kilnctl.firmware import frames

COIL, RELAY, CONTACT, DOOR, AIR, ZERO_CROSS = 5, 2, 6, 7, 8, 9
#: Select lines of the converters.
CONTROL, LIMIT, PART = 17, 20, 21
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
        self.registers = {i: [0, 3, 0xFF] for i in (CONTROL, LIMIT, PART)}
        self.forgetful: set[int] = set()
        self.begun = False  # a chip has just been selected
        self.limit = [6, 64, 25, 0]  # a MAX31855 at 100 °C
        self.sent, self.incoming = bytearray(), bytearray()
        self.plan: list[tuple[int, Callable[[], object]]] = []
        self.run: Callable[..., None] = lambda **_: None
        self.door, self.contact_follows = 0, True
        self.air = 1  # the airflow switch's pin: low while there is air
        self.edge: Callable[[object], None] = lambda _: None  # what an interrupt of the zero-cross pin calls
        self.inputs: dict[int, Callable[[float], float]] = {}  # analogue pin → counts of 65536 at a time in s
        self.uart: dict[str, object] = {}
        self.spi: dict[str, object] = {}
        self.told: list[object] = []  # to `micropython.kbd_intr` and `poll.register`

    def at(self, ms, do):
        self.plan.append((ms * 1000 + 1_000_000, do))
        self.plan.sort(key=lambda p: p[0])

    def look(self):
        self.us += 100
        while self.plan and self.plan[0][0] <= self.us:
            self.plan.pop(0)[1]()
        return self.us

    # ---- machine ----

    def Pin(bench, number, mode=None, pull=None, value=None):  # pyright: ignore[reportSelfClsParameterName]
        assert type(number) is int, "there is no such pin"
        if mode is not None:
            bench.modes[number] = (mode, pull)
        if value is not None:
            bench.set(number, value)
        pin = types.SimpleNamespace()

        def level(new=None):
            if new is None:
                return bench.level(number)
            return bench.set(number, new)

        def irq(handler, trigger):
            assert trigger == 1 and mode == "in"
            bench.edge = handler

        pin.value, pin.number, pin.irq = level, number, irq
        return pin

    def set(self, number, value):
        if number in self.registers and value == 0 and self.levels[number] == 1:
            self.begun = True
        self.levels[number] = value
        self.history.append((self.us, number, value))

    def level(self, number):
        if number == CONTACT:
            return 1 - (self.levels.get(COIL, 0) if self.contact_follows else 0)
        if number == DOOR:
            return self.door
        if number == AIR:
            return self.air
        return self.stuck.get(number, self.levels.get(number, 0))

    def SPI(self, number, **lines):
        self.spi_init(lines["baudrate"], lines["polarity"], lines["phase"])
        self.spi = {"number": number, **lines}
        return types.SimpleNamespace(
            init=self.spi_init, write=self.spi_write, readinto=self.spi_read, write_readinto=self.spi_exchange
        )

    def spi_init(self, baudrate, polarity, phase):
        assert 0 < baudrate <= 5_000_000, "the most that both chips take (data sheets)"
        assert polarity == 0
        self.phase = phase

    def selected(self):
        """The one chip that is selected, by its select line."""
        (chip,) = [n for n in self.registers if self.levels[n] == 0]
        assert self.begun, "one transfer a selection: the chip takes it at the edges of its select line"
        self.begun = False
        return chip

    def spi_write(self, data):
        chip = self.selected()
        assert chip != LIMIT and self.phase == 1 and data[0] == 0x80, "a MAX31855 has no input"
        if chip not in self.forgetful:
            self.registers[chip] = list(data[1:4])

    def spi_exchange(self, out, into):
        chip = self.selected()
        assert chip != LIMIT and self.phase == 1 and out[0] in (0x00, 0x0A), "a read"
        self.fill(into, [0, *(self.registers[chip] if out[0] == 0 else HOT_100)])

    def spi_read(self, into):
        assert self.selected() == LIMIT and self.phase == 0
        self.fill(into, self.limit)

    def ADC(self, number):
        return types.SimpleNamespace(read_u16=lambda: int(self.inputs[number](self.us / 1e6)))

    def UART(self, number, **told):
        self.uart = {"number": number, **told}
        return types.SimpleNamespace(
            any=lambda: len(self.incoming), readinto=self.readinto, write=lambda view: self.sent.extend(view)
        )

    @staticmethod
    def fill(buffer, values):
        for i in range(len(buffer)):
            buffer[i] = values[i]

    def WDT(self, timeout):
        self.timeout = timeout
        return types.SimpleNamespace(feed=lambda: self.fed.append(self.us))

    # ---- the line ----

    def readinto(self, one):
        assert self.incoming, "it would wait for a byte"
        one[0] = self.incoming.pop(0)
        return 1

    def poll(self, patience_ms):
        assert patience_ms == 0, "the cycle waits for nothing"
        return bool(self.incoming)

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

    def answers(self):
        """Every answer of the board."""
        receiver, found = frames.Receiver(frames.ANSWER), []
        for byte in self.sent:
            if receiver.take(byte):
                found.append(bytes(receiver.payload))
        return found

    def states(self):
        """The board's state in each of its answers."""
        return [answer[frames.A_STATE] for answer in self.answers()]


def end():
    raise Ended
