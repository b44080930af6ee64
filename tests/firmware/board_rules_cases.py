# What a board does with doors, outliers, currents, long times and refused settings. Plain asserts, for CPython and
# MicroPython alike: `micropython board_rules_cases.py FOLDER` runs them all on the firmware files in FOLDER.
import sys

if __name__ == "__main__":
    sys.path.insert(0, sys.argv[1])
    import frames  # pyright: ignore[reportMissingImports]
    import logic  # pyright: ignore[reportMissingImports]
    import meter  # pyright: ignore[reportMissingImports]
else:
    from kilnctl.firmware import frames, logic, meter


def six(celsius, status=0):
    """Registers of a MAX31856, terminals 25 degC."""
    hot = int(celsius * 128) & 0x7FFFF
    return bytes((25, 0, hot >> 11, (hot >> 3) & 0xFF, (hot << 5) & 0xE0, status))


class Bench:
    """A board, a computer and a clock that only `run` moves: cycles of 20 ms, a conversion of each sensor every 100 ms,
    a beat every 100 ms."""

    def __init__(self, now=5000, relays=1, ceiling=300, shortest=1, groups=1, smallest=50, arm=True, sees=True):
        self.now, self.seq, self.step = now, 0, 0
        self.board = logic.Board(now, 7, 1, relays)
        self.control = self.limit = six(100) if sees else None
        self.closed = None  # type: bool | None  # auxiliary contact: as the coil, unless a test says otherwise
        self.amps = 0  # type: int | None
        self.receiver = frames.Receiver(frames.ANSWER)
        self.out = []
        self.run(100, beats=False)
        if arm:
            assert self.ask(frames.SETUP, smallest, ceiling, 0, groups, shortest) == logic.OK
            assert self.ask(frames.ARM) == logic.OK

    def ask(self, kind, step=0, duty=0, flags=0, spare=0, value=0):
        """The reason for refusal; the whole answer is in `answer`."""
        self.seq = (self.seq + 1) & 0xFF
        p, wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        p[0], p[1], p[6], p[7] = kind, self.seq, flags, spare
        frames.put16(p, 2, step & 0xFFFF)
        frames.put16(p, 4, duty)
        frames.put16(p, 8, value)
        self.answer = bytearray()
        for i in range(frames.seal(p, frames.REQUEST, wire)):
            n = self.board.take(wire[i], self.now)
            for k in range(n):
                if self.receiver.take(self.board.wire[k]):
                    self.answer = self.receiver.payload
        assert self.answer and self.answer[frames.A_KIND] == kind | 0x80
        return self.answer[frames.A_REFUSED]

    def run(self, ms, duty=5000, beats=True, contactor=True):
        """`out` then holds (contactor, relay bits) of every cycle of it."""
        self.out = []
        for k in range(ms // 20):
            self.now = (self.now + 20) & ((1 << 30) - 1)
            b = self.board
            if k % 5 == 0:
                if self.control is not None:
                    b.channels[0].take_31856(self.control)
                if self.limit is not None:
                    b.channels[1].take_31856(self.limit)
                if beats:
                    self.step += 1
                    self.ask(frames.BEAT, self.step, duty, 1 if contactor else 0)
            b.contactor_closed = b.contactor if self.closed is None else self.closed
            b.current = None if self.amps is None else self.amps if b.relay_bits and b.contactor else 0
            b.cycle(self.now)
            self.out.append((b.contactor, b.relay_bits))
        return self.out


def case_an_open_door_is_no_heat_and_no_fault():
    d = Bench()
    d.run(1000)
    assert d.out[-1][0] and any(bits for _, bits in d.out)
    d.board.door_open = True
    d.run(1000)
    assert not any(c or bits for c, bits in d.out) and d.board.state == logic.ARMED and d.board.faults == 0
    d.board.door_open = False
    d.run(1000)
    first = [c for c, _ in d.out].index(True)
    assert not any(bits for _, bits in d.out[: first + 4]), "the contactor closes on a relay that is off"
    assert any(bits for _, bits in d.out)


def case_a_wild_word_is_no_temperature_and_three_are():
    d = Bench(ceiling=150)
    d.run(500)
    for hot in (1, 2):
        d.control = six(400)
        d.run(100 * hot)
        d.control = six(100)
        d.run(300)
        assert d.board.state == logic.ARMED and d.board.faults == 0, hot
    d.control = six(400)
    d.run(300)
    assert d.board.faults == logic.F_CEILING and not d.board.contactor and d.board.relay_bits == 0
    assert d.ask(frames.CLEAR) == logic.R_CAUSE
    d.control = six(100)
    d.run(100)
    assert d.ask(frames.CLEAR) == logic.OK and d.board.state == logic.SAFE


def case_any_sensor_has_the_ceiling():
    for place in (1, 2):
        d = Bench(ceiling=150)
        d.run(300)
        if place == 1:
            d.limit = six(151)
            d.run(500)
        else:
            for _ in range(3):
                d.board.channels[2].take_31856(six(151))
                d.run(100)
        assert d.board.faults == logic.F_CEILING, place


def case_at_the_ceiling_is_not_above_it():
    d = Bench(ceiling=150)
    d.control = six(150)
    d.run(1000)
    assert d.board.state == logic.ARMED
    d.control = six(150.0625)
    d.run(500)
    assert d.board.faults == logic.F_CEILING


def case_blind_means_no_heat_in_a_second_and_a_fault_in_fifteen():
    d = Bench()
    d.run(500)
    d.control, d.limit = six(100, 1), None
    d.run(1100)
    d.run(3000)
    assert not any(bits for _, bits in d.out) and d.board.state == logic.ARMED, "the program may wait for it to heal"
    d.control = six(100)
    d.run(500)
    assert any(bits for _, bits in d.out), "healed"
    d.control = None
    d.run(14000)
    assert d.board.state == logic.ARMED and not any(bits for _, bits in d.out[100:])
    d.run(1500)
    assert d.board.faults == logic.F_BLIND
    assert d.ask(frames.CLEAR) == logic.R_CAUSE


def case_a_converter_that_no_longer_converts_is_blind():
    d = Bench()
    d.run(500)
    d.control = d.limit = None  # good words from before, and no new ones
    d.run(1200)
    assert d.board.channels[0].faults == 0 and not any(bits for _, bits in d.out[60:])


def case_the_part_alone_does_not_carry_heat():
    d = Bench()
    d.control = d.limit = None
    for _ in range(20):
        d.board.channels[2].take_31856(six(100))
        d.run(100)
    assert not any(bits for _, bits in d.out)


def case_nothing_arms_blind():
    d = Bench(arm=False)
    d.control = d.limit = None
    d.ask(frames.SETUP, 50, 300, 0, 1, 1)
    d.run(1500, beats=False)
    assert d.ask(frames.ARM) == logic.R_CAUSE
    fresh = Bench(arm=False, sees=False)
    fresh.ask(frames.SETUP, 50, 300, 0, 1, 1)
    assert fresh.ask(frames.ARM) == logic.R_CAUSE, "nor before the first conversion"


def case_the_ceiling_goes_down_and_never_up():
    d = Bench(arm=False)
    assert d.ask(frames.SETUP, 50, 300, 0, 1, 1) == logic.OK
    assert d.ask(frames.SETUP, 50, 301, 0, 1, 1) == logic.R_RAISED and d.board.ceiling == 300
    assert d.ask(frames.SETUP, 50, 300, 0, 1, 1) == logic.OK
    assert d.ask(frames.SETUP, 50, 200, 0, 1, 1) == logic.OK
    assert d.ask(frames.SETUP, 50, 300, 0, 1, 1) == logic.R_RAISED and d.board.ceiling == 200
    assert frames.get16(d.answer, frames.A_CEILING) == 200
    for bad in ((20, 1, 1), (1401, 1, 1), (200, 0, 1), (200, 7, 1), (200, 1, 0), (200, 1, 6001)):
        assert d.ask(frames.SETUP, 50, bad[0], 0, bad[1], bad[2]) == logic.R_RANGE, bad


def case_currents_are_summed_over_the_cycles():
    d = Bench(smallest=50)
    d.run(400)
    d.amps = 1300
    flow, flowing, cycles = d.board.flow, d.board.flowing, d.board.cycles
    d.run(4000, duty=2500)
    on = d.board.flowing - flowing
    # The current of a cycle is reported at its end, so the count may differ by one cycle.
    assert abs(on - 0.25 * (d.board.cycles - cycles)) <= 2 and d.board.flow - flow == 1300 * on
    d.amps = 49
    flow = d.board.flow
    d.run(1000)
    assert d.board.flow == flow, "below what counts"
    d.ask(frames.HELLO)
    assert (
        frames.get32(d.answer, frames.A_FLOW) == flow
        and d.answer[frames.A_METERS] == frames.HAS_CURRENT
        and d.answer[frames.A_HZ] == 50
    )


def case_fired_counts_only_behind_a_closed_contactor():
    d = Bench()
    d.run(500)
    d.closed = False
    fired = d.board.fired
    d.run(1000)
    assert d.board.fired == fired and any(bits for _, bits in d.out)


def case_a_contactor_may_stay_closed_longer_than_the_clock_reaches():
    d = Bench()
    d.run(500)
    b = d.board
    # Nine days of a long run in steps of five minutes, with a beat and a conversion at each; in between the board is
    # made to believe that it was spoken to, since all the beats of nine days would take minutes.
    for _ in range(9 * 288):
        d.now = (d.now + 300000) & ((1 << 30) - 1)
        b._cycled = (d.now - 20) & ((1 << 30) - 1)
        d.run(20)
        b._heard = b._stepped = d.now
    d.run(1000)
    assert b.state == logic.ARMED and b.contactor and any(bits for _, bits in d.out)
    d.ask(frames.REST)
    d.run(100, beats=False)
    for _ in range(9 * 288):
        d.now = (d.now + 300000) & ((1 << 30) - 1)
        d.run(20, beats=False)
    d.closed = True
    d.run(100, beats=False)
    assert b.state == logic.FAULT and b.faults == logic.F_WELDED


def case_uptime_stays_a_small_number():
    d = Bench(arm=False)
    for _ in range(4):
        d.now = (d.now + (1 << 28)) & ((1 << 30) - 1)
        d.run(20, beats=False)
    d.ask(frames.HELLO)
    assert 0 < frames.get32(d.answer, frames.A_UPTIME) < 1000


def case_duty_one_and_nought_are_at_once_and_nothing_is_made_up_for():
    d = Bench(shortest=100)
    d.run(400, duty=10000)
    d.run(600, duty=10000)
    assert all(bits for _, bits in d.out)
    d.run(200, duty=0)
    assert not any(bits for _, bits in d.out)


def case_owed_energy_survives_full_power():
    d = Bench()
    d.run(500, duty=0)
    cycles, fired = d.board.cycles, d.board.fired
    owed = 0
    for k in range(200):
        duty = 10000 if k % 2 else 3300
        d.run(20, duty=duty, beats=True)
        owed += duty
    assert abs(d.board.fired - fired - owed / 10000) <= 1 and d.board.cycles - cycles == 200


def rms_after(r, cycles, readings):
    """The rms of the last of so many cycles, each with these readings."""
    got = None
    for _ in range(cycles):
        for reading in readings:
            r.add(reading)
        got = r.end()
    assert got is not None
    return got


def case_rms_of_sines_and_noise():
    # 40 readings a cycle of a sine of 1000 counts: 707.1 rms by definition, 10 A at 1414 for a thousand.
    table = [0, 156, 309, 454, 588, 707, 809, 891, 951, 988, 1000]
    sine = table + table[9:0:-1]
    sine = sine + [-v for v in sine]
    r = meter.Rms(1414)
    got = rms_after(r, 30, [2048 + v for v in sine])
    assert len(sine) == 40 and abs(got - 1000) <= 2, got
    r = meter.Rms(1414)
    # The bias is off, and is learned.
    assert abs(rms_after(r, 80, [2300 + v for v in sine]) - 1000) <= 3 and abs(r.middle / 16 - 2300) < 2
    assert rms_after(r, 80, [2300] * len(sine)) <= 2
    for _ in range(7):
        r.add(2000)
    assert r.end() is None
    assert 0 < rms_after(r, 1, [0, 4095] * 500) < 1 << 30
    for value in (0, 1, 2, 3, 4, 8, 9, 99, 100, 65535, 65536, 67108864, (1 << 30) - 1):
        got = meter.root(value)
        assert got * got <= value < (got + 1) * (got + 1), value


def cases():
    return sorted([n for n in globals() if n.startswith("case_")])


if __name__ == "__main__":
    for name in cases():
        globals()[name]()
        print("ok", name)
