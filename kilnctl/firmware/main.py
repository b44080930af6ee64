# The I/O board: pins. Copy this with frames.py, chips.py and logic.py to a MicroPython board (RP2040 class, 3.3 V). Everything that decides
# is in logic.py; this file only moves levels.
#
# Wiring (change the numbers here if you must, and nowhere else):
#   SPI 0   SCK 18, MOSI 19, MISO 16; select lines: control 17, limit 20, part 21; series resistors of 150 ohm, a pull-up of 10 kohm on MISO
#   relays  2, 3, 4: each to the input of one solid-state relay through a transistor, a pull-down of 8.2 kohm at the transistor's base
#   coil    5: to the contactor's coil relay, likewise; in series with it, in wire and not in software: limiter, stop button, door switch
#   inputs  6 contactor's auxiliary contact, 7 door switch copy, 8 airflow switch, 9 zero-cross pulse; None where there is none
# On reset every pin is an input: the pull-downs keep relay and coil off.

import select
import sys

import chips
import frames
import logic
import machine
import micropython
import time

MAINS_HZ = 50
CHIPS = ("max31856", "max31855", "max31856")  # control, limit, part; None where there is none
TYPES = ("K", "K", "K")
SELECTS = (17, 20, 21)
RELAYS = (2,)
COIL = 5
CONTACTOR_IN, DOOR_IN, AIRFLOW_IN, ZERO_CROSS_IN = 6, 7, None, None
WATCHDOG_MS = 1000
SENSE_MS = 250


def output(number):
    # value=0 together with the mode: the pin is never high in between.
    return machine.Pin(number, machine.Pin.OUT, value=0)


def switch(number):
    return None if number is None else machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP)


class Pins:
    def __init__(self):
        self.relays = [output(n) for n in RELAYS]
        self.coil = output(COIL)
        self.selects = [machine.Pin(n, machine.Pin.OUT, value=1) for n in SELECTS]
        self.contactor, self.door, self.airflow = switch(CONTACTOR_IN), switch(DOOR_IN), switch(AIRFLOW_IN)
        self.spi = machine.SPI(0, baudrate=500000, polarity=0, phase=0, sck=machine.Pin(18), mosi=machine.Pin(19), miso=machine.Pin(16))
        self.four, self.six, self.seven = bytearray(4), bytearray(6), bytearray(7)
        self.three = bytearray(4)
        self.edges = 0
        if ZERO_CROSS_IN is not None:
            machine.Pin(ZERO_CROSS_IN, machine.Pin.IN).irq(self.edge, machine.Pin.IRQ_RISING)

    def edge(self, _):
        self.edges = (self.edges + 1) & 0xFFFF

    def mode(self, phase):
        self.spi.init(baudrate=500000, polarity=0, phase=phase)

    def apply(self, board):
        # Off first, in both: contactor before relay.
        if not board.contactor:
            self.coil.value(0)
        for i in range(len(self.relays)):
            self.relays[i].value((board.relay_bits >> i) & 1)
        if board.contactor:
            self.coil.value(1)

    def read(self, board):
        # An auxiliary contact that is closed with the contactor, and a door switch that is closed with the door, pull their pins to ground.
        board.contactor_closed = None if self.contactor is None else not self.contactor.value()
        board.door_open = None if self.door is None else bool(self.door.value())
        board.airflow = None if self.airflow is None else not self.airflow.value()

    def set_up(self, i):
        """Write and read back a MAX31856's registers; False when they do not stay."""
        if CHIPS[i] != "max31856":
            return True
        wanted = chips.setup_31856(TYPES[i], MAINS_HZ)
        self.mode(1)
        self.three[0], self.three[1], self.three[2], self.three[3] = 0x80, wanted[0], wanted[1], wanted[2]
        self.selects[i].value(0)
        self.spi.write(self.three)
        self.selects[i].value(1)
        return self.stays(i, wanted)

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
            # It forgot what it was told: what it says now is no temperature.
            self.set_up(i)
            for k in range(6):
                self.six[k] = 0
        else:
            for k in range(7):
                self.seven[k] = 0
            self.seven[0] = 0x0A
            self.selects[i].value(0)
            self.spi.write_readinto(self.seven, self.seven)
            self.selects[i].value(1)
            for k in range(6):
                self.six[k] = self.seven[k + 1]
        board.channels[i].take_31856(self.six)


def main():
    micropython.kbd_intr(-1)  # a byte 3 on the line is data, not Ctrl-C
    pins = Pins()
    board = logic.Board(time.ticks_ms(), (time.ticks_us() ^ (machine.unique_id()[0] << 8)) & 0xFFFF, machine.reset_cause(), len(RELAYS))
    for i in range(3):
        pins.set_up(i)
    poll = select.poll()
    poll.register(sys.stdin, select.POLLIN)
    one = bytearray(1)
    watchdog = machine.WDT(timeout=WATCHDOG_MS)
    period_us = 1000000 // MAINS_HZ
    due, edges, sensed, channel = time.ticks_us(), 0, time.ticks_ms(), 0
    while True:
        # A cycle begins with the mains where its zero crossings are seen, else with the clock.
        if ZERO_CROSS_IN is not None and pins.edges != edges:
            edges, begins = pins.edges, True
            board.zero_cross = True
        elif time.ticks_diff(time.ticks_us(), due) >= (0 if ZERO_CROSS_IN is None else 2 * period_us):
            begins = True
            board.zero_cross = None if ZERO_CROSS_IN is None else False
        else:
            begins = False
        if begins:
            due = time.ticks_add(due, period_us)
            if time.ticks_diff(time.ticks_us(), due) > 5 * period_us:
                due = time.ticks_us()
            pins.read(board)
            board.cycle(time.ticks_ms())
            pins.apply(board)
            if board.feed:
                board.feed = False
                watchdog.feed()
        # Four conversions a second, one converter at a time, between two cycles.
        if time.ticks_diff(time.ticks_ms(), sensed) >= SENSE_MS // 3:
            sensed = time.ticks_ms()
            pins.sense(board, channel)
            channel = (channel + 1) % 3
        while poll.poll(0):
            if not sys.stdin.buffer.readinto(one):
                break
            count = board.take(one[0], time.ticks_ms())
            if count:
                sys.stdout.buffer.write(memoryview(board.wire)[:count])


main()
