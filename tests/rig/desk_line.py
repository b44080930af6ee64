"""A line to the real firmware logic in this process, whose board can be reset, silenced and rewired by a test. Time is real time."""

import time

from kilnctl.firmware import frames, logic
from kilnctl.rig.board import parse_answer

#: Registers of a MAX31856 and word of a MAX31855 at 100 °C, terminals 25 °C.
HOT_56, HOT_55 = bytes((25, 0, 6, 64, 0, 0)), (0x0640, 0x1900)


class DeskLine:
    port = "desk"
    round_trip_s = 0.001

    def __init__(self, relays=1, mains_hz=50, meters=True):
        self.relays, self.mains_hz, self.meters = relays, mains_hz, meters
        self.silent = self.closed = False
        self.full_a, self.shorted, self.raw = 13.0, False, HOT_56
        self.asked: list[int] = []
        self.boot = 100
        self.reset()

    def reset(self):
        self.boot += 1
        self.last = time.monotonic()
        self.board = logic.Board(int(1000 * self.last), self.boot, 1, self.relays, self.mains_hz)
        self.receiver, self.sequence, self.count = frames.Receiver(frames.ANSWER), 0, 0
        self.cycle()

    def cycle(self):
        """One mains cycle of the board, every tenth with new conversions."""
        b = self.board
        if self.count % 10 == 0:
            b.channels[0].take_31856(self.raw)
            b.channels[1].take_31855(*HOT_55)
            b.channels[2].take_31856(self.raw)
        self.count += 1
        b.contactor_closed = b.contactor
        b.door_open, b.airflow = False, True
        if self.meters:
            b.supply = 2300
            on = bin(b.relay_bits).count("1") / b.groups if b.contactor else 0.0
            b.current = round(100.0 * self.full_a * (1.0 if self.shorted else on))
        b.cycle(int(1000 * self.last))

    def run_to_now(self):
        while time.monotonic() - self.last >= 1.0 / self.mains_hz:
            self.last += 1.0 / self.mains_hz
            self.cycle()

    def ask(self, kind, step=0, duty=0, flags=0, spare=0, value=0, value2=0, patience_s=0.1):
        self.run_to_now()
        self.asked.append(kind)
        if self.silent:
            time.sleep(min(0.05, patience_s))
            return None
        self.sequence = (self.sequence + 1) & 0xFF
        p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        p[0], p[1], p[6], p[7] = kind, self.sequence, flags, spare
        for place, number in ((2, step), (4, duty), (8, value), (10, value2)):
            frames.put16(p, place, number)
        answer = None
        for byte in wire[: frames.seal(p, frames.REQUEST, wire)]:
            for b in self.board.wire[: self.board.take(byte, int(1000 * self.last))]:
                if self.receiver.take(b):
                    answer = parse_answer(self.receiver.payload)
        return answer

    def raise_dtr(self):
        pass

    def close(self):
        self.closed = True
