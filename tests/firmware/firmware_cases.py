# Cases that run unchanged on CPython and on MicroPython: plain asserts, no test framework.
# `python firmware_cases.py FOLDER` runs them all.
import sys

if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    import chips  # pyright: ignore[reportMissingImports]
    import frames  # pyright: ignore[reportMissingImports]
    import logic  # pyright: ignore[reportMissingImports]
else:
    from kilnctl.firmware import chips, frames, logic

HOT_100 = bytes((25, 0, 6, 64, 0, 0))  # a MAX31856: 100 degC, terminals 25 degC


class Desk:
    """A board with a computer in front of it, and a clock that is set by hand."""

    def __init__(self, now=1000, relays=1, temperature=HOT_100):
        self.now, self.seq, self.step = now, 0, 0
        self.board = logic.Board(now, 77, 1, relays)
        self.receiver = frames.Receiver(frames.ANSWER)
        self.temperature = temperature
        self.sense()
        self.board.cycle(now)

    def sense(self):
        if self.temperature is not None:
            self.board.channels[0].take_31856(self.temperature)

    def wire(self, kind, duty=0, flags=0, step=0, spare=0, value=0, value2=0, fresh=True):
        if fresh:
            self.seq = (self.seq + 1) & 0xFF
        p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        p[0], p[1], p[6], p[7] = kind, self.seq, flags, spare
        frames.put16(p, 2, step)
        frames.put16(p, 4, duty)
        frames.put16(p, 8, value)
        frames.put16(p, 10, value2)
        return bytes(wire[: frames.seal(p, frames.REQUEST, wire)])

    def send(self, wire):
        """The answer's payload; empty where there is none."""
        answer = b""
        for byte in wire:
            n = self.board.take(byte, self.now)
            for i in range(n):
                if self.receiver.take(self.board.wire[i]):
                    answer = bytes(self.receiver.payload[: frames.ANSWER])
        return answer

    def ask(self, kind, **fields):
        return self.send(self.wire(kind, **fields))

    def ready(self, ceiling=300, shortest=1, groups=1):
        assert self.ask(frames.SETUP, duty=ceiling, spare=groups, value=shortest)[frames.A_REFUSED] == logic.OK
        assert self.ask(frames.ARM)[frames.A_REFUSED] == logic.OK
        return self

    def beat(self, duty=5000, contactor=True, advance=True):
        if advance:
            self.step = (self.step + 1) & 0xFFFF
        return self.ask(frames.BEAT, duty=duty, flags=frames.CONTACTOR if contactor else 0, step=self.step)

    def wait(self, ms, beats=True, advance=True, duty=5000):
        """Let ms pass in mains cycles of 20 ms; a beat every 100 ms. Returns the ms after which there was no heat any
        more, or None."""
        began, lost = self.now, None
        for k in range(ms // 20):
            self.now = (self.now + 20) & ((1 << 30) - 1)
            if k % 10 == 0:
                self.sense()
            self.board.contactor_closed = self.board.contactor
            if beats and k % 5 == 0:
                self.beat(duty, advance=advance)
            self.board.cycle(self.now)
            if lost is None and not self.board.contactor:
                lost = logic.since(began, self.now)
        return lost


def case_crc_and_cobs_against_published_values():
    # RFC 9580's CRC-24, check value of the catalogue of CRCs (from memory).
    assert frames.crc24(b"123456789", 9) == 0x21CF02
    assert frames.crc24(b"", 0) == 0xB704CE
    p, wire = bytearray(b"\x11\x22\x00\x33\0\0\0"), bytearray(20)
    n = frames.seal(p, 4, wire)
    # COBS of 11 22 00 33 is 03 11 22 02 33 (Cheshire and Baker); three CRC bytes without a zero follow in the last
    # block.
    assert wire[0:4] == b"\x03\x11\x22\x05" and wire[4] == 0x33 and wire[n - 1] == 0


def case_frames_come_back_whole_and_damaged_ones_do_not():
    r = frames.Receiver(12)
    for k in range(64):
        p, wire = bytearray(15), bytearray(24)
        for i in range(12):
            p[i] = (k * i * 37) & 0xFF if (k + i) % 3 else 0
        n = frames.seal(p, 12, wire)
        whole = bytes(wire[:n])
        assert 0 not in whole[:-1]
        assert [r.take(b) for b in whole][-1] and r.payload[:12] == p[:12]
        for place in range(n - 1):
            for bit in range(8):
                bad = bytearray(whole)
                bad[place] ^= 1 << bit
                assert sum(r.take(b) for b in bad) == 0 or bad == whole
        # And after any of it the next good one is accepted.
        r.take(0)
        assert [r.take(b) for b in whole][-1]


def case_it_starts_safe_and_arms_only_when_told_all():
    d = Desk()
    assert d.board.state == logic.SAFE and not d.board.contactor and d.board.relay_bits == 0
    assert d.ask(frames.ARM)[frames.A_REFUSED] == logic.R_NOT_SET
    assert d.ask(frames.SETUP, duty=20, spare=1, value=1)[frames.A_REFUSED] == logic.R_RANGE
    assert d.ask(frames.SETUP, duty=300, spare=2, value=1)[frames.A_REFUSED] == logic.R_RANGE
    d.ready()
    assert d.board.state == logic.ARMED and not d.board.contactor
    assert d.ask(frames.SETUP, duty=900, spare=1, value=1)[frames.A_REFUSED] == logic.R_ARMED and d.board.ceiling == 300


def case_heat_follows_the_duty_in_whole_cycles():
    d = Desk().ready()
    d.wait(400)
    fired, cycles = d.board.fired, d.board.cycles
    d.wait(4000, duty=3000)
    share = (d.board.fired - fired) / (d.board.cycles - cycles)
    assert abs(share - 0.3) < 0.02 and d.board.contactor and d.board.state == logic.ARMED


def case_silence_drops_heat_within_half_a_second_and_latches():
    d = Desk().ready()
    d.wait(1000)
    lost = d.wait(1000, beats=False)
    assert lost is not None and 400 <= lost <= 540
    assert d.board.state == logic.FAULT and d.board.faults == logic.F_HEARTBEAT and d.board.relay_bits == 0
    d.wait(1000)
    assert not d.board.contactor and d.ask(frames.ARM)[frames.A_REFUSED] == logic.R_FAULT
    assert d.ask(frames.CLEAR)[frames.A_REFUSED] == logic.OK and d.board.state == logic.SAFE and not d.board.contactor


def case_a_hung_loop_drops_heat_within_two_seconds():
    d = Desk().ready()
    d.wait(1000)
    lost = d.wait(3000, advance=False)
    assert lost is not None and 1900 <= lost <= 2100 and d.board.faults == logic.F_STEP


def case_a_repeated_request_is_answered_and_counts_for_nothing():
    d = Desk().ready()
    d.wait(400)
    wire = d.wire(frames.BEAT, duty=5000, flags=frames.CONTACTOR, step=d.step + 1)
    d.send(wire)
    began = d.now
    while d.board.contactor and d.now - began < 3000:
        d.now += 20
        d.sense()
        assert d.send(wire)
        d.board.contactor_closed = d.board.contactor
        d.board.cycle(d.now)
    assert d.now - began <= 540 and d.board.faults == logic.F_HEARTBEAT


def case_a_step_that_goes_back_changes_nothing():
    d = Desk().ready()
    d.wait(400, duty=1000)
    answer = d.ask(frames.BEAT, duty=10000, flags=1, step=(d.step - 5) & 0xFFFF)
    assert answer[frames.A_REFUSED] == logic.R_RANGE and d.board.duty == 1000
    same = d.ask(frames.BEAT, duty=10000, flags=1, step=d.step)
    assert same[frames.A_REFUSED] == logic.OK and d.board.duty == 1000, "more heat needs a new step"
    d.ask(frames.BEAT, duty=0, flags=0, step=d.step)
    assert d.board.duty == 0, "less never does"


def case_its_own_ceiling_holds_whatever_the_computer_says():
    d = Desk().ready(ceiling=150)
    d.wait(600)
    d.temperature = bytes((25, 0, 9, 112, 0, 0))  # 151 degC
    d.wait(600)
    assert d.board.faults & logic.F_CEILING and not d.board.contactor
    assert d.ask(frames.CLEAR)[frames.A_REFUSED] == logic.R_CAUSE
    d.temperature = HOT_100
    d.wait(400)
    assert d.ask(frames.CLEAR)[frames.A_REFUSED] == logic.OK


def case_blind_drops_heat_within_a_second_and_latches_within_fifteen():
    d = Desk().ready()
    d.wait(600)
    d.temperature = bytes(6)
    d.wait(1300)
    fired = d.board.fired
    lost = d.wait(16000)
    assert lost is not None
    assert d.board.fired == fired and 13000 <= lost <= 15100 and d.board.faults & logic.F_BLIND


def case_a_welded_contactor_is_a_fault_even_at_rest():
    d = Desk()
    for _ in range(100):
        d.now += 20
        d.board.contactor_closed = True
        d.board.cycle(d.now)
    assert d.board.state == logic.FAULT and d.board.faults == logic.F_WELDED
    assert d.ask(frames.CLEAR)[frames.A_REFUSED] == logic.R_CAUSE


def case_a_late_cycle_drops_heat():
    d = Desk().ready()
    d.wait(600)
    d.now += 450
    d.beat()
    d.board.cycle(d.now)
    assert d.board.faults & logic.F_LATE and not d.board.contactor


def case_the_relay_waits_for_the_contactor():
    d = Desk().ready()
    d.beat(10000)
    seen = []
    for _ in range(12):
        d.now += 20
        d.board.contactor_closed = d.board.contactor
        d.beat(10000)
        d.board.cycle(d.now)
        seen.append((d.board.contactor, d.board.relay_bits))
    first = next(i for i, s in enumerate(seen) if s[0])
    assert all(bits == 0 for _, bits in seen[: first + 5]) and seen[-1] == (True, 1)


def case_rest_ends_heat_at_once_and_is_no_fault():
    d = Desk().ready()
    d.wait(600)
    d.ask(frames.REST)
    assert d.board.relay_bits == 0 and d.board.state == logic.SAFE
    d.board.cycle(d.now + 20)
    assert not d.board.contactor and d.board.faults == 0


def case_time_may_wrap():
    d = Desk(now=(1 << 30) - 700).ready()
    assert d.wait(3000) is None or d.board.contactor
    assert d.board.state == logic.ARMED and d.now < 5000
    assert logic.since((1 << 30) - 10, 10) == 20 and logic.since(10, (1 << 30) - 10) == -20


def case_steps_may_wrap():
    d = Desk().ready()
    d.step = 0xFFF0
    d.beat()
    d.wait(4000)
    assert d.board.state == logic.ARMED and d.step < 100


def case_shortest_runs_are_kept_and_groups_take_turns():
    d = Desk(relays=2).ready(shortest=10, groups=2)
    runs, last, length, both = [], None, 0, 0
    d.wait(400, duty=3333)
    for k in range(2000):
        d.now += 20
        if k % 10 == 0:
            d.sense()
        d.board.contactor_closed = True
        if k % 5 == 0:
            d.beat(3333)
        d.board.cycle(d.now)
        bit = d.board.relay_bits & 1
        both += d.board.relay_bits == 3
        if bit == last:
            length += 1
        else:
            runs.append(length)
            last, length = bit, 1
    assert min(runs[2:]) >= 10 and both < 20 and len(runs) > 80


def case_words_of_the_31855():
    for word, hot, cold in (
        (0x64001900, 1600.0, 25.0),
        (0x3E801900, 1000.0, 25.0),
        (0x064C1900, 100.75, 25.0),
        (0x01901900, 25.0, 25.0),
        (0x00001900, 0.0, 25.0),
        (0xFFFC1900, -0.25, 25.0),
        (0xFFF01900, -1.0, 25.0),
        (0xF0601900, -250.0, 25.0),
        (0x064C7F00, 100.75, 127.0),
        (0x064C6490, 100.75, 100.5625),
        (0x064CFFF0, 100.75, -0.0625),
        (0x064CFF00, 100.75, -1.0),
        (0x064CEC00, 100.75, -20.0),
        (0x064CC900, 100.75, -55.0),
        (0x018C1B60, 24.75, 27.375),
        (0xFFD81B70, -2.5, 27.4375),
        (0x01501790, 21.0, 23.5625),
    ):
        h, c, f = chips.decode_31855(word >> 16, word & 0xFFFF)
        assert (h / 128, c / 128, f) == (hot, cold, 0), word
    for word, fault in (
        (0x01911901, chips.OPEN),
        (0x01911902, chips.SHORT_GROUND),
        (0x01911904, chips.SHORT_SUPPLY),
        (0, chips.NO_CHIP),
        (0xFFFFFFFF, chips.NO_CHIP),
        (0x01900197, chips.BUS_ERROR),
        (0x01921900, chips.BUS_ERROR),
        (0x01901908, chips.BUS_ERROR),
        (0x01911900, chips.BUS_ERROR),
        (0x01911907, chips.BUS_ERROR),
    ):
        assert chips.decode_31855(word >> 16, word & 0xFFFF)[2] == fault, word


def case_words_of_the_31856():
    for b, hot in (
        ((0x64, 0, 0), 1600.0),
        ((0x3E, 0x80, 0), 1000.0),
        ((0x06, 0x4F, 0), 100.9375),
        ((0x01, 0x90, 0), 25.0),
        ((0, 1, 0), 0.0625),
        ((0xFF, 0xFF, 0), -0.0625),
        ((0xFF, 0xFC, 0), -0.25),
        ((0xFF, 0xF0, 0), -1.0),
        ((0xF0, 0x60, 0), -250.0),
    ):
        assert chips.decode_31856(0x19, 0, b[0], b[1], b[2], 0) == (int(hot * 128), 25 * 128, 0), b
    for b, cold in (
        ((0x7F, 0xFC), 127.984375),
        ((0x19, 0), 25.0),
        ((0, 4), 0.015625),
        ((0xFF, 0xFC), -0.015625),
        ((0xC9, 0), -55.0),
    ):
        assert chips.decode_31856(b[0], b[1], 6, 64, 0, 0)[1] == cold * 128, b
    for status, fault in ((1, chips.OPEN), (2, chips.SHORT_SUPPLY), (0x80, chips.COLD_RANGE), (0x40, chips.BUS_ERROR)):
        assert chips.decode_31856(0x19, 0, 6, 64, 0, status)[2] & fault, status
    assert (
        chips.decode_31856(0, 0, 0, 0, 0, 0)[2] == chips.NO_CHIP
        and chips.decode_31856(255, 255, 255, 255, 255, 255)[2] == chips.NO_CHIP
    )
    assert chips.setup_31856("K", 50) == (0x91, 0x23, 0) and chips.setup_31856("S", 60)[0] & 1 == 0
    assert chips.configured_31856((0x91, 0x23, 0), chips.setup_31856("K", 50)) and not chips.configured_31856(
        (0, 3, 255), chips.setup_31856("K", 50)
    )


def cases():
    names = globals()
    return sorted([n for n in names if n.startswith("case_")])


if __name__ == "__main__":
    for name in cases():
        globals()[name]()
        print("ok", name)
