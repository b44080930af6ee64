# What the I/O board decides. Runs on MicroPython and on CPython. Time is an argument, in ms modulo 2**30; pins are
# attributes.
#
# Rules. After a reset the board is SAFE: relay off, contactor open. It heats only while ARMED, and arms only from SAFE,
# without a fault, with its ceiling set. ARMED ends by itself:
#   - no new request for LEASE_MS: the computer, its program or the cable has failed;
#   - the control step has not advanced for STEP_MS: the program still sends, but its control loop hangs;
#   - a thermocouple is above the ceiling for three conversions, or neither control nor limit could be read for
#     BLIND_MS;
#   - the contactor reads closed although its coil is off;
#   - the mains cycle path itself came late.
# Each of these is a FAULT: it is latched, every answer reports it, and only a person's request clears it. Without a
# latch: no heat while neither control nor limit could be read for HOLD_MS; and none, with the contactor open,
# while the door is open.
# The ceiling may be lowered, but raised only by the first SETUP after a reset.
# A repeated request (same sequence number) gets the same answer and has no effect.

try:
    from . import chips, frames
except ImportError:  # on the board the files lie side by side
    import chips
    import frames

START, SAFE, ARMED, FAULT = 0, 1, 2, 3
F_HEARTBEAT, F_STEP, F_CEILING, F_BLIND, F_WELDED, F_LATE = 1, 2, 4, 8, 16, 32
#: Why a request was refused (field A_REFUSED).
OK, R_NOT_SAFE, R_NOT_SET, R_FAULT, R_ARMED, R_RANGE, R_CAUSE, R_RAISED = 0, 1, 2, 3, 4, 5, 6, 7

#: Times of the rules above, ms: no request; no new step; no reading; contactor still closed; cycle path late.
LEASE_MS, STEP_MS, BLIND_MS, WELD_MS, LATE_MS = 500, 2000, 15000, 1000, 400
#: Heat stops after this time without a good conversion of control or limit, ms.
HOLD_MS = 1000
#: Number of conversions in a row above the ceiling that trip: a single outlier, which converters sometimes give, must
#: not.
TOO_HOT = 3
#: The relay waits this long after the contactor's coil has changed, ms: the contactor neither closes nor opens with
#: current.
FOLLOW_MS = 100
HIGHEST_CEILING = 1400
_MASK, _HALF = (1 << 30) - 1, 1 << 29


def since(then, now):
    """ms from then to now, both modulo 2**30."""
    # The mask comes before the sum: a small integer of a 32-bit board ends at 2**30 - 1; a larger number would be
    # allocated on the heap.
    return (((now - then) & _MASK) ^ _HALF) - _HALF


def added(total, more):
    """total + more modulo 2**30, both from 0 to 2**30 - 1; no intermediate result is larger."""
    return total - (_MASK - more) - 1 if total > _MASK - more else total + more


class Thermocouple:
    """One thermocouple converter: chip 1 (MAX31855) or 2 (MAX31856), 0 for none; its newest raw bytes and what they
    say."""

    def __init__(self):
        self.chip = 0
        self.raw = bytearray(6)
        self.count = 0
        self.hot = 0  # 1/128 degC, corrected
        self.faults = chips.NO_CHIP
        self.type_k = True
        self.fresh = False  # a conversion came since the last cycle
        self.over = 0  # conversions in a row above the ceiling

    def take_31855(self, word_high, word_low):
        """The chip's word as two halves of 16 bits."""
        raw = self.raw
        raw[0], raw[1] = word_high >> 8, word_high & 0xFF
        raw[2], raw[3] = word_low >> 8, word_low & 0xFF
        self.chip = 1
        hot, _, self.faults = chips.decode_31855(word_high, word_low)
        # The table holds for terminals at 25 degC; other terminal temperatures shift it little.
        self.hot = chips.true_k(hot) if self.type_k else hot
        self.count = (self.count + 1) & 0xFF
        self.fresh = True

    def take_31856(self, six):
        """Registers 0x0A to 0x0F."""
        for i in range(6):
            self.raw[i] = six[i]
        self.chip = 2
        self.hot, _, self.faults = chips.decode_31856(six[0], six[1], six[2], six[3], six[4], six[5])
        self.count = (self.count + 1) & 0xFF
        self.fresh = True


class Board:
    """Inputs are attributes to be set before `cycle`: contactor_closed, door_open, airflow, supply and current of the
    cycle that has passed (1/10 V, 1/100 A, rms), None if not wired; zero_cross, whether a zero crossing began the
    cycle. Outputs: relay_bits (one bit a relay), contactor, feed (the hardware watchdog may be fed once the outputs
    read back as they should be)."""

    def __init__(self, now, boot, reset_cause=0, relays=1, mains_hz=50):
        self.state = START
        self.faults = 0
        self.boot, self.reset_cause, self.relays, self.mains_hz = boot & 0xFFFF, reset_cause & 0xFF, relays, mains_hz
        self.channels = (Thermocouple(), Thermocouple(), Thermocouple())
        self.contactor_closed = None  # type: bool | None
        self.door_open = None  # type: bool | None
        self.airflow = None  # type: bool | None
        self.zero_cross = False
        self.supply = None  # type: int | None
        self.current = None  # type: int | None
        self.relay_bits, self.contactor, self.feed = 0, False, False
        self.ceiling = 0  # degC; 0: not set
        self.shortest, self.groups, self.duty = 1, 1, 0
        self.cycles = self.fired = self.flow = self.flowing = 0
        self.smallest = 1  # current that counts, 1/100 A
        self._owed = [0] * 6
        self._on = 0
        self._heard = self._stepped = self._cycled = self._coil_since = self._seen = now
        self._blind = True  # nothing was read yet
        self._uptime = 0
        self._step = -1
        self._seq = -1
        self._wanted = False
        self._refused = OK
        self.receiver = frames.Receiver(frames.REQUEST)
        self._answer = bytearray(frames.ANSWER + frames.CRC)
        self.wire = bytearray(frames.LONGEST + 3)

    # ---- requests ----

    def take(self, byte, now):
        """One byte from the line. Returns the length of the answer that is then in `wire`, or 0."""
        if not self.receiver.take(byte):
            return 0
        p = self.receiver.payload
        kind = p[0]
        if kind not in frames.KINDS:
            return 0
        if p[1] != self._seq:
            self._seq = p[1]
            self._refused = self._do(kind, p, now)
        return self._tell(kind | 0x80)

    def _do(self, kind, p, now):
        """Do what a new request asks; returns why it was refused, or OK."""
        if kind == frames.BEAT:
            return self._beat(p, now)
        if kind == frames.REST:
            if self.state == ARMED:
                self._off()
                self.state = SAFE
            return OK
        if kind == frames.HELLO:
            return OK
        if self.state == ARMED:
            return R_ARMED
        if kind == frames.SETUP:
            return self._set_up(p)
        if kind == frames.ARM:
            return self._arm(now)
        return self._clear(now)

    def _beat(self, p, now):
        duty = frames.get16(p, 4)
        if duty > 10000 or p[6] & ~frames.CONTACTOR:
            return R_RANGE
        self._heard = now
        if self.state != ARMED:
            return R_NOT_SAFE
        step = frames.get16(p, 2)
        wanted = bool(p[6] & frames.CONTACTOR)
        if step != self._step:
            # Only a new step may change what is fired, and only a step that goes forward.
            if self._step >= 0 and ((step - self._step) & 0xFFFF) >= 0x8000:
                return R_RANGE
            self._step, self._stepped = step, now
            self.duty, self._wanted = duty, wanted
        else:
            # Within a step only less.
            self.duty = min(self.duty, duty)
            self._wanted = self._wanted and wanted
        return OK

    def _set_up(self, p):
        ceiling, shortest, groups = frames.get16(p, 4), frames.get16(p, 8), p[7]
        if not 30 <= ceiling <= HIGHEST_CEILING or not 1 <= shortest <= 6000 or not 1 <= groups <= min(6, self.relays):
            return R_RANGE
        if self.ceiling and ceiling > self.ceiling:
            return R_RAISED
        self.ceiling, self.shortest, self.groups = ceiling, shortest, groups
        self.smallest = max(1, frames.get16(p, 2))
        for i in range(3):
            self.channels[i].type_k = bool((p[10] >> i) & 1)
        return OK

    def _arm(self, now):
        if self.state == FAULT:
            return R_FAULT
        if self.ceiling == 0:
            return R_NOT_SET
        if self.state != SAFE:
            return R_NOT_SAFE
        if self._causes(now):
            return R_CAUSE
        self.state = ARMED
        self._heard = self._stepped = now
        self._step = -1
        return OK

    def _clear(self, now):
        if self._causes(now):
            return R_CAUSE
        self.faults, self.state = 0, SAFE
        return OK

    def _welded(self, now):
        return self.contactor_closed and not self.contactor and since(self._coil_since, now) > WELD_MS

    def _causes(self, now):
        """Causes that are still there: clearing would fault again at once."""
        found = 0
        if self._welded(now):
            found |= F_WELDED
        for i in range(3):
            if self.channels[i].over:
                found |= F_CEILING
        if self._blind:
            found |= F_BLIND
        return found

    def _look(self, now):
        """Take new conversions: note when control or limit was last read, and how often in a row each was above the
        ceiling."""
        for i in range(3):
            c = self.channels[i]
            if not c.fresh:
                continue
            c.fresh = False
            if c.faults:
                continue
            if i < 2:
                self._seen, self._blind = now, False
            if c.hot <= self.ceiling * 128 or self.ceiling == 0:
                c.over = 0
            else:
                c.over += 1
        if since(self._seen, now) > HOLD_MS:
            self._blind = True
        # Time differences overflow after six days, so an age stops at a limit. The age of the last reading needs none:
        # `_blind` remembers it, and a blind board cannot be armed.
        if since(self._coil_since, now) > 2 * WELD_MS:
            self._coil_since = (now - 2 * WELD_MS) & _MASK

    # ---- once a mains cycle ----

    def cycle(self, now):
        """To be called once a mains cycle, at its start; sets relay_bits, contactor and feed. Allocates nothing."""
        passed = (now - self._cycled) & _MASK
        self._uptime = added(self._uptime, passed)
        self._cycled = now
        self.cycles = added(self.cycles, 1)
        if self.state == START:
            self.state = SAFE
        self._look(now)
        if self.current is not None and self.current >= self.smallest:
            self.flow = added(self.flow, self.current)
            self.flowing = added(self.flowing, 1)
        self._watch(now, passed > LATE_MS)
        self._drive(now)
        # The hardware watchdog is fed only for a whole cycle: this is its end.
        self.feed = True

    def _watch(self, now, late):
        """Trip if a rule is broken: the welded contactor at all times, the others while armed."""
        if self._welded(now):
            self._trip(F_WELDED)
        if self.state != ARMED:
            return
        if late:
            self._trip(F_LATE)
        if since(self._heard, now) > LEASE_MS:
            self._trip(F_HEARTBEAT)
        if since(self._stepped, now) > STEP_MS:
            self._trip(F_STEP)
        for i in range(3):
            if self.channels[i].over >= TOO_HOT:
                self._trip(F_CEILING)
        if since(self._seen, now) > BLIND_MS:
            self._trip(F_BLIND)

    def _drive(self, now):
        """Contactor and relays for the cycle that begins."""
        armed = self.state == ARMED
        wanted = armed and self._wanted and not self.door_open
        if wanted != self.contactor:
            self.contactor, self._coil_since = wanted, now
        if not armed or self.duty == 0 or self._blind or self.door_open or since(self._coil_since, now) < FOLLOW_MS:
            self.relay_bits = 0
            self._rewind()
        else:
            self._fire()

    def _fire(self):
        """Error diffusion with a dead band, whole cycles only (see kilnctl/firing/cycles.py), in 1/10000 of a cycle."""
        band = (self.shortest - 1) * 5000
        bits = 0
        for g in range(self.groups):
            due = self._owed[g] + self.duty
            on = (self._on >> g) & 1
            on = 1 if self.duty == 10000 or due >= (5000 - band if on else 5000 + band) else 0
            self._owed[g] = due - (10000 if on else 0)
            bits |= on << g
            if on and self.contactor and self.contactor_closed is not False:
                self.fired = added(self.fired, 1)
        self._on = self.relay_bits = bits

    def _rewind(self):
        """Refused heat is not made up for; the groups start with different phases, so that they take turns."""
        self._on = 0
        for g in range(self.groups):
            self._owed[g] = -self.shortest * 10000 * g // self.groups

    def _off(self):
        self.duty, self._wanted = 0, False
        self.relay_bits = 0

    def _trip(self, fault):
        self.faults |= fault
        self.state = FAULT
        self._off()

    # ---- answers ----

    def _tell(self, kind):
        a = self._answer
        put16, put32 = frames.put16, frames.put32
        # One by one: four at a time would make a tuple on the heap.
        a[frames.A_KIND] = kind
        a[frames.A_SEQ] = self._seq
        a[frames.A_VERSION] = frames.VERSION
        a[frames.A_STATE] = self.state
        put16(a, frames.A_FAULTS, self.faults)
        inputs = 0
        if self.contactor_closed is not None:
            inputs |= frames.HAS_CONTACTOR | (frames.IN_CONTACTOR if self.contactor_closed else 0)
        if self.door_open is not None:
            inputs |= frames.HAS_DOOR | (frames.IN_DOOR if self.door_open else 0)
        if self.airflow is not None:
            inputs |= frames.HAS_AIRFLOW | (frames.IN_AIRFLOW if self.airflow else 0)
        if self.zero_cross:
            inputs |= frames.IN_ZERO_CROSS
        a[frames.A_INPUTS] = inputs
        a[frames.A_OUTPUTS] = self.relay_bits | (0x80 if self.contactor else 0)
        a[frames.A_RESET], a[frames.A_REFUSED] = self.reset_cause, self._refused
        put16(a, frames.A_BOOT, self.boot)
        put32(a, frames.A_UPTIME, self._uptime)
        put16(a, frames.A_STEP, self._step & 0xFFFF)
        put32(a, frames.A_CYCLES, self.cycles)
        put32(a, frames.A_FIRED, self.fired)
        put16(a, frames.A_SUPPLY, self.supply or 0)
        put16(a, frames.A_CURRENT, self.current or 0)
        put16(a, frames.A_CEILING, self.ceiling)
        put16(a, frames.A_DUTY, self.duty)
        place = frames.A_CHANNELS
        for c in self.channels:
            a[place], a[place + 1] = c.chip, c.count
            for i in range(6):
                a[place + 2 + i] = c.raw[i]
            place += frames.CHANNEL
        put16(a, frames.A_BAD, self.receiver.bad)
        put16(a, frames.A_SHORTEST, self.shortest)
        put32(a, frames.A_FLOW, self.flow)
        put32(a, frames.A_FLOWING, self.flowing)
        a[frames.A_HZ] = self.mains_hz
        a[frames.A_METERS] = (0 if self.supply is None else frames.HAS_SUPPLY) | (
            0 if self.current is None else frames.HAS_CURRENT
        )
        return frames.seal(a, frames.ANSWER, self.wire)
