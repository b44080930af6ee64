"""This computer's own pins as a rig: the I/O board's logic in a thread, on GPIO and SPI of Linux.

The same leases and ceilings hold as on the board, except against one thing: when this whole process is frozen, a line
keeps its last level (kernel documentation, GPIO v2 line requests). Only the pulse-fed timer of SAFETY.md in the coil's
circuit answers that.
"""

import contextlib
import os
import threading
import time
from typing import Any

from ..body.bursts import pattern_for
from ..clock import passed_s
from ..errors import KilnctlError
from ..firmware import chips, logic
from ..safety.messages import LOUD
from ..settings.oven import Oven
from .answers import Answer
from .board_rig import BoardRig
from .contract import RigFacts
from .line import BoardRequest, FrameClient

#: Time from one conversion of a sensor to its next, s.
SENSE_S = 0.25
#: Slow, for wires of half a metre.
SPI_HZ = 500_000
#: If it is late by more mains cycles than this, the cycle clock restarts: missed cycles are not made up for.
LATE_CYCLES = 5.0
#: A bus or line that takes longer than this counts as hung, s; relay and coil are low within a second. `close` waits
#: CLOSE_S, s.
HUNG_S, CLOSE_S = 0.8, 1.0
HANGS = f"a line hangs: relay and coil may stand as they were. {LOUD}"
FROZEN = (
    "that the heat ends when this computer freezes: a line keeps its last level then. Never leave the oven alone "
    "without the pulse-fed timer of SAFETY.md in the coil's circuit (rig: pins: pulse)"
)
CLOCK = (
    "that cycles begin with the mains: they are timed by this computer's clock, and the zero-crossing relay does the "
    "rest"
)


class PinsRig(BoardRig):
    """`gpio` and `spi` stand in for the modules gpiod (2) and spidev in tests."""

    def __init__(self, oven: Oven, *, gpio: Any = None, spi: Any = None):
        pattern = pattern_for(oven)
        if len(oven.rig.pins.relays) != pattern.groups:
            raise KilnctlError(
                f"{oven.file or oven.name}: rig: pins: {len(oven.rig.pins.relays)} relay lines, but switching: relays "
                f"says {pattern.groups}"
            )
        line = LocalLine(oven, *_modules(gpio, spi))
        try:
            super().__init__(oven, line=line)
        except BaseException:
            line.close()
            raise
        pulse = oven.rig.pins.pulse is not None
        unproved = (*self.facts.unproved, CLOCK, *(() if pulse else (FROZEN,)))
        self.facts = RigFacts("pins", line.port, 2.0, pulse, unproved)


def _modules(gpio: Any, spi: Any) -> tuple[Any, Any]:
    try:
        if gpio is None:
            import gpiod as gpio  # noqa: PLC0415 # pyright: ignore[reportMissingImports] - the extra `sbc`
        if spi is None:
            import spidev as spi  # noqa: PLC0415 # pyright: ignore[reportMissingImports] - the extra `sbc`
    except ImportError as error:
        raise KilnctlError(
            f"{error.name} is not installed: `pip install 'kilnctl[sbc]'` (64-bit ARM Linux; spidev wants a compiler)"
        ) from None
    if not hasattr(gpio, "request_lines"):
        raise KilnctlError(
            "this gpiod is version 1, whose interface is another: `pip install 'gpiod>=2.1'` in kilnctl's own "
            "environment"
        )
    return gpio, spi


class LocalLine:
    """The board in this process: `ask` works as on a serial line, with the same frames, and a thread runs the board's
    logic."""

    def __init__(self, oven: Oven, gpio: Any, spi: Any):
        pins = oven.rig.pins
        self.port = f"pins of {pins.chip}"
        self.failure = ""
        self._pins, self._gpio = pins, gpio
        self._period_s = 1.0 / oven.supply.frequency_hz
        self._mains_hz = round(oven.supply.frequency_hz)
        self._sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
        self._lines = self._request()
        self._buses = self._open_buses(spi)
        boot = int.from_bytes(os.urandom(2), "little")
        self._board = logic.Board(self.milliseconds(), boot, 0, len(pins.relays), self._mains_hz)
        self._client = FrameClient()
        # Held for the board's arithmetic only, never while waiting for a line or a bus, which may hang.
        self._lock, self._closing, self._high = threading.Lock(), False, False
        for i in range(3):
            self._set_up(i)
            self._sense(i)
        self._sensed_s = self._cycled_s = time.monotonic()
        self._thread = threading.Thread(target=self._serve, name="pins", daemon=True)
        self._senses = threading.Thread(target=self._sense_all, name="converters", daemon=True)
        self._senses.start()
        self._thread.start()

    def ask(self, request: BoardRequest, patience_s: float = 0.0) -> Answer | None:
        """As `Line.ask`; None once the thread has ended or hangs."""
        if not self.failure and time.monotonic() - self._cycled_s > HUNG_S:
            # Only another thread can find out, without hanging too, whether they can still be driven.
            self.failure = f"{self.port}: {HANGS}"
            threading.Thread(target=self._off_quietly, name="lines off", daemon=True).start()
        if self.failure or self._closing:
            return None
        with self._lock:
            for byte in self._client.frame(request):
                count = self._board.take(byte, self.milliseconds())
                for answered in self._board.wire[:count]:
                    answer = self._client.take(answered)
                    if answer is not None:
                        return answer
        return None

    def raise_dtr(self) -> None:
        """There is no DTR line here."""

    def close(self) -> None:
        """Drive the lines low, and release them and the buses. Returns even if one of them hangs."""
        self._closing = True
        closing = threading.Thread(target=self._let_go, name="lines off", daemon=True)
        closing.start()
        closing.join(CLOSE_S)
        if closing.is_alive():
            self.failure = f"{self.failure or self.port}; {HANGS}"

    def _let_go(self) -> None:
        # Low first, without waiting for the thread; and again after the thread, which may have just driven them.
        self._off_quietly()
        self._thread.join(0.5 * CLOSE_S)
        self._senses.join(0.1 * CLOSE_S)
        buses = () if self._senses.is_alive() else (bus.close for bus in self._buses if bus is not None)
        # Each step separately: a line that cannot be driven is still released.
        for step in (lambda: self._drive(0, False), self._lines.release, *buses):
            try:
                step()
            except OSError as error:
                self.failure = self.failure or f"{self.port}: {error.strerror or error}"

    def _off_quietly(self) -> None:
        with contextlib.suppress(OSError):
            self._drive(0, False)

    @staticmethod
    def milliseconds() -> int:
        # Suspended time counts: during it the control loop neither asked for heat nor watched.
        return int(passed_s() * 1000.0)

    # ---- pins ----

    def _request(self) -> Any:
        gpio, pins = self._gpio, self._pins
        out = {int(n) for n in pins.relays} | {pins.coil} | ({pins.pulse} - {None})
        into = {pins.contactor, pins.door, pins.airflow} - {None}
        low = gpio.LineSettings(direction=gpio.line.Direction.OUTPUT, output_value=gpio.line.Value.INACTIVE)
        pulled = gpio.LineSettings(direction=gpio.line.Direction.INPUT, bias=gpio.line.Bias.PULL_UP)
        try:
            return gpio.request_lines(
                pins.chip, consumer="kilnctl", config={**dict.fromkeys(out, low), **dict.fromkeys(into, pulled)}
            )
        except OSError as error:
            raise KilnctlError(
                f"{pins.chip}: its lines cannot be had: {error.strerror or error}. Is the chip there, does another "
                "program have them, and may you use them (group gpio)?"
            ) from None

    def _open_buses(self, spi: Any) -> list[Any]:
        """A bus for each sensor, None where there is none."""
        opened: list[Any] = []
        devices = (self._pins.control, self._pins.limit, self._pins.part)
        for sensor, device in zip(self._sensors, devices, strict=True):
            if sensor is None:
                opened.append(None)
                continue
            bus = spi.SpiDev()
            try:
                bus.open(self._pins.bus, device)
                # Mode and speed only after it is open.
                bus.mode, bus.max_speed_hz = (0 if sensor.front_end == "max31855" else 1), SPI_HZ
            except OSError as error:
                for other in opened:
                    if other is not None:
                        other.close()
                self._lines.release()
                raise KilnctlError(
                    f"SPI {self._pins.bus}.{device}: cannot be opened: {error.strerror or error}"
                ) from None
            opened.append(bus)
        return opened

    def _value(self, on: bool) -> Any:
        value = self._gpio.line.Value
        return value.ACTIVE if on else value.INACTIVE

    def _drive(self, bits: int, coil: bool) -> None:
        """When going off, the coil goes before the relays. A line that cannot be driven does not keep another one
        on."""
        wanted = [(int(number), bool((bits >> i) & 1)) for i, number in enumerate(self._pins.relays)]
        broken = None
        for number, on in [*wanted, (self._pins.coil, True)] if coil else [(self._pins.coil, False), *wanted]:
            try:
                self._lines.set_value(number, self._value(on))
            except OSError as error:
                broken = broken or error
        if broken is not None:
            raise broken

    def _input(self, number: int | None) -> bool | None:
        return None if number is None else self._lines.get_value(number) == self._value(True)

    # ---- converters ----

    def _set_up(self, i: int) -> None:
        sensor = self._sensors[i]
        if sensor is not None and sensor.front_end == "max31856":
            self._buses[i].xfer2([0x80, *chips.setup_31856(sensor.type, self._mains_hz)])

    def _sense(self, i: int) -> None:
        sensor, bus, channel = self._sensors[i], self._buses[i], self._board.channels[i]
        if sensor is None:
            return
        if sensor.front_end == "max31855":
            a, b, c, d = bus.xfer2([0, 0, 0, 0])
            with self._lock:
                channel.take_31855((a << 8) | b, (c << 8) | d)
            return
        wanted = chips.setup_31856(sensor.type, self._mains_hz)
        six = (0, 0, 0, 0, 0, 0)
        if chips.configured_31856(bus.xfer2([0x00, 0, 0, 0])[1:], wanted):
            six = bus.xfer2([0x0A, 0, 0, 0, 0, 0, 0])[1:]
        else:
            self._set_up(i)
        with self._lock:
            channel.take_31856(six)

    # ---- the board's thread ----

    def _sense_all(self) -> None:
        """The converters in turn, in a thread of their own: a transfer that hangs holds up no cycle."""
        channel = 0
        try:
            while not self._closing:
                self._sense(channel)
                self._sensed_s = time.monotonic()
                channel = (channel + 1) % 3
                time.sleep(SENSE_S / 3.0)
        except OSError as error:
            self.failure = f"{self.port}: {error.strerror or error}"

    def _serve(self) -> None:
        due = time.monotonic()
        try:
            while not self._closing and not self.failure:
                now = self._cycled_s = time.monotonic()
                if now - self._sensed_s > HUNG_S:
                    self.failure = f"{self.port}: the bus of the converters hangs; relay and coil are driven low"
                    return
                if now >= due:
                    late = now - due >= LATE_CYCLES * self._period_s
                    due = (now if late else due) + self._period_s
                    self._cycle()
                time.sleep(max(0.0, min(due - time.monotonic(), self._period_s)))
        except OSError as error:
            self.failure = f"{self.port}: {error.strerror or error}"
        finally:
            try:
                self._drive(0, False)
            except OSError as error:
                self.failure = (
                    f"{self.failure or self.port}; its lines could not be switched off ({error.strerror or error})"
                )

    def _cycle(self) -> None:
        """One mains cycle: inputs to the board, its decision to the lines, and a pulse for the hardware timer."""
        pins, board = self._pins, self._board
        closed, door, air = (self._input(number) for number in (pins.contactor, pins.door, pins.airflow))
        with self._lock:
            board.contactor_closed = None if closed is None else not closed
            board.door_open = door
            board.airflow = None if air is None else not air
            board.cycle(self.milliseconds())
            bits, coil, fed = board.relay_bits, board.contactor, board.feed and board.state == logic.ARMED
            board.feed = False
        self._drive(bits, coil)
        if fed and pins.pulse is not None:
            self._high = not self._high
            self._lines.set_value(pins.pulse, self._value(self._high))
