# The I/O board: pins. Copy this with frames.py, chips.py, meter.py and logic.py to a MicroPython board (RP2040 class,
# 3.3 V). Everything that decides is in logic.py; this file only moves levels.
#
# Wiring (change the numbers here if you must, and nowhere else):
#   line    the board's own USB plug through a USB isolator, or (LINE) a serial port behind an isolated adapter; either
#           with reinforced isolation for the mains, so that the computer's earth stays out of the oven
#   SPI 0   SCK 18, MOSI 19, MISO 16; select lines: control 17, limit 20, part 21; series resistors of 150 ohm,
#           a pull-up of 10 kohm on MISO
#   relays  2, 3, 4: each to the input of one solid-state relay through a transistor, a pull-down of 8.2 kohm at the
#           transistor's base; over a relay's coil a freewheel diode: without it the transistor dies, mostly as a short
#   coil    5: to the contactor's coil relay, likewise; in series with it, in wire and not in software: holding relay of
#           stop and start, limiter, door switch, heat sink's thermostat, airflow switch (SAFETY.md, with snubbers)
#   inputs  6 contactor's read-back, low while it is closed: its mirror contact (closed while the contactor is open)
#           between the pin and 3.3 V, with a pull-down of 2 kohm, so that a broken wire reads closed; or a relay that
#           senses the voltage behind it. 7 door switch copy, 8 airflow switch, 9 zero-cross pulse; None where there is
#           none
#   meters  26 current, 27 supply voltage: a current transformer with its burden, and an ISOLATED voltage transformer,
#           each biased to half the supply of the board; never mains through resistors alone. None where there is none.
# On reset every pin is an input: the pull-downs keep relay and coil off.

import os
import select
import sys
import time

import chips
import frames  # noqa: F401 - fails here, at the start, when a file is missing
import logic
import machine
import meter
import micropython

LINE = None  # None: USB; or (number, transmit pin, receive pin) of a serial port, 115200 baud
MAINS_HZ = 50
CHIPS = ("max31856", "max31855", "max31856")  # control, limit, part; None where there is none
TYPES = ("K", "K", "K")
SELECTS = (17, 20, 21)
RELAYS = (2,)
COIL = 5
CONTACTOR_IN, DOOR_IN, AIRFLOW_IN, ZERO_CROSS_IN = 6, 7, None, None
ZERO_CROSS_PULSES = 2  # pulses a mains cycle: 2 from a full-wave detector, 1 from a half-wave one
CURRENT_IN, SUPPLY_IN = None, None
# 1/100 A and 1/10 V rms for a thousand counts (of 4096) rms; compare with a meter.
CURRENT_PER_THOUSAND, SUPPLY_PER_THOUSAND = 2417, 2500
WATCHDOG_MS = 1000
SENSE_MS = 250


def output(number):
    # value=0 together with the mode: the pin is never high in between.
    return machine.Pin(number, machine.Pin.OUT, value=0)


def switch(number):
    return None if number is None else machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP)


class BoardPins:
    def __init__(self):
        self.relays = [output(n) for n in RELAYS]
        self.coil = output(COIL)
        self.selects = [machine.Pin(n, machine.Pin.OUT, value=1) for n in SELECTS]
        self.contactor, self.door, self.airflow = switch(CONTACTOR_IN), switch(DOOR_IN), switch(AIRFLOW_IN)
        self.spi = machine.SPI(
            0, baudrate=500000, polarity=0, phase=0, sck=machine.Pin(18), mosi=machine.Pin(19), miso=machine.Pin(16)
        )
        self.four, self.six, self.seven = bytearray(4), bytearray(6), bytearray(7)
        self.three = bytearray(4)
        self.edges = self.taken = 0
        self.current = None if CURRENT_IN is None else machine.ADC(CURRENT_IN)
        self.supply = None if SUPPLY_IN is None else machine.ADC(SUPPLY_IN)
        self.current_rms, self.supply_rms = meter.Rms(CURRENT_PER_THOUSAND), meter.Rms(SUPPLY_PER_THOUSAND)
        if ZERO_CROSS_IN is not None:
            machine.Pin(ZERO_CROSS_IN, machine.Pin.IN).irq(self.edge, machine.Pin.IRQ_RISING)

    def edge(self, _):
        self.edges = (self.edges + 1) & 0xFFFF

    def mode(self, phase):
        self.spi.init(baudrate=500000, polarity=0, phase=phase)

    def crossed(self):
        """Whether a mains cycle's worth of zero-cross pulses has come since this was last true."""
        if ((self.edges - self.taken) & 0xFFFF) < ZERO_CROSS_PULSES:
            return False
        self.taken = self.edges
        return True

    def apply(self, board):
        """Relays and coil as the board has decided; whether they read back so."""
        coil = 1 if board.contactor else 0
        if not coil:
            # It goes before the relays when it goes off.
            self.coil.value(0)
        good = True
        for i in range(len(self.relays)):
            level = (board.relay_bits >> i) & 1
            self.relays[i].value(level)
            good = good and self.relays[i].value() == level
        self.coil.value(coil)
        return good and self.coil.value() == coil

    def off(self):
        self.coil.value(0)
        for relay in self.relays:
            relay.value(0)

    def measure(self):
        if self.current is not None:
            self.current_rms.add(self.current.read_u16() >> 4)
        if self.supply is not None:
            self.supply_rms.add(self.supply.read_u16() >> 4)

    def read(self, board):
        # A closed contactor reads low; a door switch that is closed with the door pulls its pin to ground.
        board.contactor_closed = None if self.contactor is None else not self.contactor.value()
        board.door_open = None if self.door is None else bool(self.door.value())
        board.airflow = None if self.airflow is None else not self.airflow.value()
        # None without a meter: nothing has been added.
        board.current, board.supply = self.current_rms.end(), self.supply_rms.end()

    def set_up(self, i):
        """Write a MAX31856's registers; each reading begins with a look whether they stay."""
        if CHIPS[i] != "max31856":
            return
        wanted = chips.setup_31856(TYPES[i], MAINS_HZ)
        self.mode(1)
        self.three[0], self.three[1], self.three[2], self.three[3] = 0x80, wanted[0], wanted[1], wanted[2]
        self.selects[i].value(0)
        self.spi.write(self.three)
        self.selects[i].value(1)

    def stays(self, i, wanted):
        self.mode(1)
        self.three[0] = self.three[1] = self.three[2] = self.three[3] = 0
        self.selects[i].value(0)
        self.spi.write_readinto(self.three, self.three)
        self.selects[i].value(1)
        return chips.configured_31856((self.three[1], self.three[2], self.three[3]), wanted)

    def sense(self, board, i):
        chip = CHIPS[i]
        if chip is None:
            return
        if chip == "max31855":
            self.mode(0)
            self.selects[i].value(0)
            self.spi.readinto(self.four)
            self.selects[i].value(1)
            f = self.four
            board.channels[i].take_31855((f[0] << 8) | f[1], (f[2] << 8) | f[3])
            return
        if not self.stays(i, chips.setup_31856(TYPES[i], MAINS_HZ)):
            # The chip lost its settings: its reading is not a temperature now.
            self.set_up(i)
            for k in range(6):
                self.six[k] = 0
        else:
            self.seven[0] = 0x0A  # what follows the address of a read is ignored by the chip
            self.selects[i].value(0)
            self.spi.write_readinto(self.seven, self.seven)
            self.selects[i].value(1)
            for k in range(6):
                self.six[k] = self.seven[k + 1]
        board.channels[i].take_31856(self.six)


class UsbLine:
    def __init__(self):
        micropython.kbd_intr(-1)  # a byte 3 on the line is data, not Ctrl-C
        self.poll = select.poll()
        self.poll.register(sys.stdin, select.POLLIN)
        self.one = bytearray(1)

    def take(self):
        """The next byte, or -1."""
        return self.one[0] if self.poll.poll(0) and sys.stdin.buffer.readinto(self.one) else -1

    def send(self, view):
        sys.stdout.buffer.write(view)


class WireLine:
    def __init__(self, number, transmit, receive):
        self.port = machine.UART(
            number, baudrate=115200, tx=machine.Pin(transmit), rx=machine.Pin(receive), rxbuf=256, txbuf=256
        )
        self.one = bytearray(1)

    def take(self):
        """The next byte, or -1."""
        return self.one[0] if self.port.any() and self.port.readinto(self.one) else -1

    def send(self, view):
        self.port.write(view)


def serve(pins, board, line, watchdog):
    period_us = 1000000 // MAINS_HZ
    apart_us = period_us // 100  # between two readings of the meters: evenly spread, and fewer than meter.Rms.MOST
    view = memoryview(board.wire)
    begun = due = measured = time.ticks_us()
    sensed, channel = time.ticks_ms(), 0
    while True:
        now = time.ticks_us()
        if time.ticks_diff(now, measured) >= apart_us:
            measured = now
            pins.measure()
        # A cycle begins at the mains zero crossings if they are wired, else by the clock. A pulse that comes much too
        # early is noise.
        crossed = time.ticks_diff(now, begun) > period_us * 3 // 4 and pins.crossed()
        if crossed or time.ticks_diff(now, due) >= 0:
            board.zero_cross = crossed
            # Without a zero crossing in two cycles the clock takes over.
            due = time.ticks_add(now, 2 * period_us) if crossed else time.ticks_add(due, period_us)
            if time.ticks_diff(now, due) > 5 * period_us:
                due = now
            begun = now
            pins.read(board)
            board.cycle(time.ticks_ms())
            # The hardware watchdog is fed only here: at the end of a whole cycle whose outputs read back as they should
            # be.
            if pins.apply(board) and board.feed:
                watchdog.feed()
            board.feed = False
        # Four conversions a second, one converter at a time, between two cycles.
        if time.ticks_diff(time.ticks_ms(), sensed) >= SENSE_MS // 3:
            sensed = time.ticks_ms()
            pins.sense(board, channel)
            channel = (channel + 1) % 3
        for _ in range(16):
            byte = line.take()
            if byte < 0:
                break
            count = board.take(byte, time.ticks_ms())
            if count:
                line.send(view[:count])


def main():
    pins = BoardPins()
    boot = os.urandom(2)  # another number each time, so that the computer notices a restart
    board = logic.Board(time.ticks_ms(), boot[0] | (boot[1] << 8), machine.reset_cause(), len(RELAYS), MAINS_HZ)
    for i in range(3):
        pins.set_up(i)
    line = UsbLine() if LINE is None else WireLine(LINE[0], LINE[1], LINE[2])
    watchdog = machine.WDT(timeout=WATCHDOG_MS)
    try:
        serve(pins, board, line, watchdog)
    finally:
        # In every case: outputs off at once; the watchdog restarts the board within a second.
        pins.off()


main()
