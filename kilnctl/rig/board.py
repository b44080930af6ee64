"""The serial I/O board as a rig. A thread keeps the line alive; what may be fired is renewed only by the control loop.

The board lets go after 0.5 s without a new request and after 2 s without a new control step (`kilnctl.firmware.logic`). The thread's
requests carry the step of the last `heat` call: if the loop hangs, they keep the line but not the heat.
"""

import fcntl
import math
import termios
import threading
import time
from collections import deque
from dataclasses import dataclass, replace

import serial

from ..errors import KilnctlError
from ..body.bursts import pattern_for
from ..firing import Burst
from ..firmware import frames, logic
from ..reading import Reading
from ..safety import Permit
from ..safety.policy import identical_s
from ..settings.oven import Oven
from . import sensors
from .protocol import Facts, RigLost, check_heat

#: Time between two requests, s; how long an answer may take; how long without one until the board counts as lost.
BEAT_S, ANSWER_S, LOST_S = 0.1, 0.15, 0.45
#: The control step must advance well within the board's limit of 2 s.
LONGEST_TICK_S = 1.5
#: Below this share of one relay's full current a cycle counts as one without current.
CURRENT_SHARE = 0.1
#: What an unplugged port really raises: OSError (SerialException is one), and termios.error, which is not.
GONE = (OSError, termios.error)
STATES = {logic.START: "starting", logic.SAFE: "safe", logic.ARMED: "armed", logic.FAULT: "fault"}
FAULTS = {logic.F_HEARTBEAT: "nobody spoke to it for 0.5 s", logic.F_STEP: "the control loop stood still for 2 s", logic.F_CEILING: "a thermocouple was above its ceiling",
          logic.F_BLIND: "neither the control nor the limit thermocouple can be read", logic.F_WELDED: "the contactor read closed although its coil was off",
          logic.F_LATE: "its own mains cycles came late"}  # fmt: skip
REFUSALS = {logic.R_NOT_SAFE: "it is not in the state for it", logic.R_NOT_SET: "its ceiling is not set", logic.R_FAULT: "a fault is latched",
            logic.R_ARMED: "it is armed", logic.R_RANGE: "a value was out of range", logic.R_CAUSE: "the cause of a fault still stands",
            logic.R_RAISED: "its ceiling may only be raised after it has been without supply"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Answer:
    """What the board says with every answer. `raw`: (chip, conversions, six bytes) for control, limit and part."""

    kind: int
    sequence: int
    version: int
    state: int
    faults: int
    inputs: int
    outputs: int
    reset_cause: int
    refused: int
    boot: int
    uptime_ms: int
    step: int
    cycles: int
    fired: int
    supply_v: float
    current_a: float
    ceiling_c: int
    duty: float
    raw: tuple[tuple[int, int, bytes], ...]
    bad_frames: int
    flow_a: float
    flowing: int
    mains_hz: int
    meters: int

    @property
    def state_word(self) -> str:
        return STATES.get(self.state, "unknown")

    def fault_words(self) -> tuple[str, ...]:
        return tuple(words for bit, words in FAULTS.items() if self.faults & bit)


def parse_answer(p) -> Answer | None:
    """The answer in a payload of `frames.ANSWER` bytes; None for what no board of ours says."""
    f = frames
    if p[f.A_KIND] & 0x7F not in f.KINDS or not p[f.A_KIND] & 0x80 or p[f.A_STATE] > logic.FAULT or p[f.A_DUTY] + 256 * p[f.A_DUTY + 1] > 10000:
        return None
    raw = tuple((p[f.A_CHANNELS + f.CHANNEL * i], p[f.A_CHANNELS + f.CHANNEL * i + 1], bytes(p[f.A_CHANNELS + f.CHANNEL * i + 2 : f.A_CHANNELS + f.CHANNEL * (i + 1)]))
                for i in range(3))  # fmt: skip
    return Answer(p[f.A_KIND] & 0x7F, p[f.A_SEQ], p[f.A_VERSION], p[f.A_STATE], f.get16(p, f.A_FAULTS), p[f.A_INPUTS], p[f.A_OUTPUTS], p[f.A_RESET],
                  p[f.A_REFUSED], f.get16(p, f.A_BOOT), f.get32(p, f.A_UPTIME), f.get16(p, f.A_STEP), f.get32(p, f.A_CYCLES), f.get32(p, f.A_FIRED),
                  f.get16(p, f.A_SUPPLY) / 10.0, f.get16(p, f.A_CURRENT) / 100.0, f.get16(p, f.A_CEILING), f.get16(p, f.A_DUTY) / 10000.0, raw,
                  f.get16(p, f.A_BAD), f.get32(p, f.A_FLOW) / 100.0, f.get32(p, f.A_FLOWING), p[f.A_HZ], p[f.A_METERS])  # fmt: skip


@dataclass(frozen=True, slots=True)
class Flow:
    """What flowed over some mains cycles, as shares of full power: measured and commanded; and the current while any flowed and over all of
    them, A."""

    fired: float
    current_a: float
    commanded: float
    mean_current_a: float


def flow_between(before: Answer, after: Answer, oven: Oven) -> Flow | None:
    """From the counts of two answers; None when no cycle lies between them. Measured and commanded are counted over the same cycles, by the board: how its
    bursts lie in the mains is known to nobody else. Share of full power is share of full current, since the supply's voltage is common."""
    cycles, flow = (after.cycles - before.cycles) & 0x3FFFFFFF, (after.flow_a - before.flow_a) % (0x40000000 / 100.0)
    if not cycles:
        return None
    flowing, told = (after.flowing - before.flowing) & 0x3FFFFFFF, (after.fired - before.fired) & 0x3FFFFFFF
    full_a = oven.elements.power_w / oven.supply.voltage_v
    if after.meters & frames.HAS_SUPPLY and after.supply_v > 0.3 * oven.supply.voltage_v:
        full_a *= after.supply_v / oven.supply.voltage_v
    return Flow(min(1.0, flow / cycles / full_a), flow / flowing if flowing else 0.0, min(1.0, told / cycles / oven.switching.relays), flow / cycles)


class Line:
    """The serial line: one question, one answer. Raises RigLost when the port or the board is gone."""

    def __init__(self, port: str):
        self.port = port
        s = serial.Serial()
        # DTR low before it is opened: many boards reset on a rising DTR.
        s.port, s.baudrate, s.timeout, s.write_timeout, s.exclusive, s.dtr, s.rts = port, 115200, 0.0, 0.2, True, False, False
        try:
            s.open()
            # flock keeps out programs that ask for it; this keeps out the others (all but root's).
            fcntl.ioctl(s.fileno(), termios.TIOCEXCL)
            # Closing shall not pulse DTR either.
            attributes = termios.tcgetattr(s.fileno())
            attributes[2] &= ~termios.HUPCL
            termios.tcsetattr(s.fileno(), termios.TCSANOW, attributes)
        except GONE as error:
            s.close()
            words = getattr(error, "strerror", None) or str(error)
            raise KilnctlError(f"{port}: the I/O board's port cannot be opened: {words}. Is it plugged in, is its name right (ls /dev/serial/by-id), does "
                               "another program have it, and may you use it (group dialout)?") from None  # fmt: skip
        self._serial = s
        self._receiver = frames.Receiver(frames.ANSWER)
        self._payload, self._wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        self._sequence = int(time.monotonic() * 1000) & 0xFF
        self.round_trip_s = 0.0

    def ask(self, kind: int, step: int = 0, duty: int = 0, flags: int = 0, spare: int = 0, value: int = 0, value2: int = 0, patience_s: float = ANSWER_S) -> Answer | None:
        """The answer, or None when none came in time."""
        self._sequence = (self._sequence + 1) & 0xFF
        p = self._payload
        p[0], p[1], p[6], p[7] = kind, self._sequence, flags, spare
        frames.put16(p, 2, step & 0xFFFF)
        frames.put16(p, 4, duty)
        frames.put16(p, 8, value)
        frames.put16(p, 10, value2)
        count = frames.seal(p, frames.REQUEST, self._wire)
        began = time.monotonic()
        try:
            self._serial.write(memoryview(self._wire)[:count])
            while True:
                left = began + patience_s - time.monotonic()
                if left <= 0.0:
                    return None
                self._serial.timeout = left
                data = self._serial.read(1)
                if data:
                    data += self._serial.read(self._serial.in_waiting)
                for byte in data:
                    if self._receiver.take(byte):
                        answer = parse_answer(self._receiver.payload)
                        if answer is not None and answer.sequence == self._sequence and answer.kind == kind:
                            self.round_trip_s = time.monotonic() - began
                            return answer
        except GONE as error:
            raise RigLost(f"{self.port}: the I/O board is gone ({getattr(error, 'strerror', None) or error}); it has let go of the heat by itself") from None

    def raise_dtr(self) -> None:
        """Some boards with a USB plug of their own speak only while DTR is high (from memory: those on TinyUSB). Should it reset the board,
        that is harmless: it starts at rest."""
        try:
            self._serial.dtr = True
        except GONE as error:
            raise RigLost(f"{self.port}: the I/O board is gone ({getattr(error, 'strerror', None) or error})") from None

    def close(self) -> None:
        try:
            self._serial.close()
        except GONE:
            pass


def greet(line: Line, patience_s: float = 3.0) -> Answer:
    """Shake hands. Raises KilnctlError when nobody answers or the versions differ."""
    began, raised = time.monotonic(), False
    while (spent := time.monotonic() - began) < patience_s:
        if not raised and spent > 0.4 * patience_s:
            line.raise_dtr()
            raised = True
        answer = line.ask(frames.HELLO, patience_s=0.3)
        if answer is not None:
            if answer.version != frames.VERSION:
                raise KilnctlError(f"{line.port}: the board speaks version {answer.version} of the line, this program version {frames.VERSION}: copy the firmware again "
                                   "(`kilnctl board OVEN --copy DIR`)")  # fmt: skip
            return answer
    raise KilnctlError(f"{line.port}: something is there, but no I/O board of kilnctl answers. Is the firmware on it? (`kilnctl board OVEN --copy DIR`)")


def board_ceiling_c(oven: Oven) -> int:
    """Where the board cuts the heat by itself, in °C as its sensors read (they know no calibration): the file's, or 5 K above the trip;
    lower by what the control or limit sensor reads too low there."""
    true_c = oven.rig.ceiling_c if oven.rig.ceiling_c is not None else oven.limits.trip_at_c + 5.0
    watching = [s for s in (oven.sensors.control, oven.sensors.limit) if s is not None]
    low_k = max(max(0.0, sensors.calibrated_c(s, true_c) - true_c) for s in watching)
    return math.ceil(true_c - low_k)


class BoardRig:
    """One I/O board (`line`: what to ask instead of a serial port). The heat is off until the loop's first permitted `heat`; `close` puts the board to rest."""

    def __init__(self, oven: Oven, *, port: str | None = None, line=None):
        port = port or oven.rig.port
        where = oven.file or oven.name
        if line is None and not port:
            raise KilnctlError(f"{where}: rig: say which port the I/O board is on, best by its name in /dev/serial/by-id")
        if oven.control.tick_s > LONGEST_TICK_S:
            raise KilnctlError(f"{where}: control: a tick of {oven.control.tick_s:g} s is too slow for the I/O board, which lets go after 2 s without one; use "
                               f"{LONGEST_TICK_S:g} s or less")  # fmt: skip
        self.oven = oven
        self._sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
        unproved = []
        for name, sensor in zip(("control", "limit", "part"), self._sensors):
            if sensor is not None:
                sensors.check(sensor, f"{where}: sensors: {name}")
                unproved += [f"{name} sensor: {w}" for w in (sensors.beyond_calibration(sensor, oven.limits.highest_c),) if w]
        if math.isinf(identical_s(oven.sensors.control, oven.control.tick_s)):
            unproved.append("that the control sensor's converter goes on converting: with steps of 1/4 K and so little noise as described its answers may well stand still")
        self._seen = [sensors.Seen(), sensors.Seen(), sensors.Seen()]
        self._line = line if line is not None else Line(port)
        try:
            hello = greet(self._line)
            self._set_up(hello, where)
        except BaseException:
            self._line.close()
            raise
        if not hello.inputs & frames.HAS_CONTACTOR:
            unproved.append("whether the contactor really opens (no auxiliary contact is wired)")
        if not hello.inputs & frames.HAS_DOOR:
            unproved.append("whether the door is open (no switch is wired)")
        for what, bit, described in (("current", frames.HAS_CURRENT, oven.meters.current), ("supply voltage", frames.HAS_SUPPLY, oven.meters.supply)):
            if described and not hello.meters & bit:
                unproved.append(f"the {what}: the oven's file has a meter for it, the board's main.py has none")
        self.facts = Facts("board", f"I/O board on {self._line.port}", 0.5, True, tuple(unproved))
        self._lock = threading.Lock()
        self._duty, self._closed, self._step, self._heard_s = 0, False, 0, time.monotonic()
        self._clear = self._closing = False
        self._news = threading.Event()
        self._answer, self._lost = hello, ""
        self._boot, self._base, self._flowed = hello.boot, hello, Flow(0.0, 0.0, 0.0, 0.0)
        self._refused_arm, self._duty_before = "", 0
        self.round_trips: deque[float] = deque(maxlen=100_000)
        self._thread = threading.Thread(target=self._keep, name="line", daemon=True)
        self._thread.start()

    def _set_up(self, hello: Answer, where: str) -> None:
        """Ceiling, shortest run and groups, while the board is at rest. A fault that is latched there stays for `kilnctl board OVEN --clear`."""
        line, oven = self._line, self.oven
        if hello.state == logic.ARMED:
            line.ask(frames.REST)
        elif hello.faults:
            raise KilnctlError(f"{line.port}: the board has latched a fault: {'; '.join(hello.fault_words())}. See to its cause (plug out or isolator locked off); then "
                               "`kilnctl board OVEN --clear`")  # fmt: skip
        if hello.mains_hz != round(oven.supply.frequency_hz):
            raise KilnctlError(f"{where}: supply: {oven.supply.frequency_hz:.0f} Hz, but the board's main.py says {hello.mains_hz} Hz: put that right and restart the board")
        pattern = pattern_for(oven)
        ceiling = board_ceiling_c(oven)
        smallest = max(1, round(100.0 * CURRENT_SHARE * oven.elements.power_w / oven.supply.voltage_v / pattern.groups))
        types = sum((1 << i) for i, s in enumerate(self._sensors) if s is not None and s.front_end == "max31855" and s.type == "K")
        for _ in range(3):
            answer = line.ask(frames.SETUP, step=smallest, duty=ceiling, spare=pattern.groups, value=pattern.shortest_run, value2=types)
            if answer is not None:
                break
        if answer is None or answer.refused or answer.ceiling_c != ceiling:
            if answer is not None and answer.refused == logic.R_RAISED:
                raise KilnctlError(f"{where}: the board's ceiling is {answer.ceiling_c} °C and may be raised to {ceiling} °C only after it has been without supply: "
                                   "take the board's supply away for a moment")  # fmt: skip
            why = REFUSALS.get(answer.refused, "it does not answer") if answer is not None else "it does not answer"
            raise KilnctlError(f"{where}: the board refuses its settings (ceiling {ceiling} °C, {pattern.groups} relays): {why}")
        for name, sensor, (chip, _, _) in zip(("control", "limit", "part"), self._sensors, answer.raw):
            there = {0: None, 1: "max31855", 2: "max31856"}.get(chip)
            if sensor is not None and there != sensor.front_end:
                raise KilnctlError(f"{where}: sensors: {name}: the oven's file says {sensor.front_end}, the board's main.py has {there or 'none'} there")

    # ---- the thread -------------------------------------------------------------------------------------------------------------

    def _keep(self) -> None:
        due = time.monotonic()
        while not self._closing:
            try:
                answer = self._next()
                if answer is not None:
                    self._heard(answer)
                elif time.monotonic() - self._heard_s > LOST_S:
                    self._lost = getattr(self._line, "failure", "") or f"{self._line.port}: the I/O board has not answered for {LOST_S:g} s; it lets go of the heat by itself"
                    return
            except RigLost as error:
                self._lost = str(error)
                return
            due = max(due + BEAT_S, time.monotonic())
            # What the loop has just decided goes out at once.
            self._news.wait(max(0.0, due - time.monotonic()))
            self._news.clear()

    def _next(self) -> Answer | None:
        """One request: the beat while the loop wants something, else rest. Armed anew each time the loop wants something from rest on."""
        with self._lock:
            step, duty, closed, clear, self._clear = self._step, self._duty, self._closed, self._clear, False
        wants, state = closed or duty > 0, self._answer.state
        if clear:
            answer = self._line.ask(frames.CLEAR)
            self._clear = self._clear or answer is None
            return answer
        if not wants:
            self._refused_arm = ""
            # At rest nothing lapses, so that an idle service need not keep a lease alive.
            return self._line.ask(frames.REST if state == logic.ARMED else frames.HELLO)
        if state == logic.SAFE:
            answer = self._line.ask(frames.ARM)
            if answer is None or answer.refused:
                self._refused_arm = "" if answer is None else REFUSALS.get(answer.refused, "it does not say why")
                return answer
            self._refused_arm = ""
            self._heard(answer)
        return self._line.ask(frames.BEAT, step, duty, frames.CONTACTOR if closed else 0)

    def _heard(self, answer: Answer) -> None:
        # The board's clock comes round after twelve days; going back by less is a new start.
        back = (answer.uptime_ms - self._answer.uptime_ms) & 0x3FFFFFFF >= 1 << 29
        if answer.boot != self._boot or back:
            self._lost = f"{self._line.port}: the I/O board has restarted by itself (reset cause {answer.reset_cause}); it is disarmed"
            self._closing = True
        self.round_trips.append(self._line.round_trip_s)
        self._heard_s = time.monotonic()
        self._answer = answer

    # ---- the rig ----------------------------------------------------------------------------------------------------------------

    def read(self) -> Reading:
        self._alive()
        a = self._answer
        for i, sensor in enumerate(self._sensors):
            if sensor is not None:
                self._seen[i] = sensors.seen(sensor, self._seen[i], a.raw[i][2], a.raw[i][1])
        control, limit, part = self._seen
        faults = list(control.faults)
        if self._sensors[1] is not None:
            faults += [f"limit-{f}" for f in limit.faults]
        if self._sensors[2] is not None:
            faults += [f"part-{f}" for f in part.faults]
        if a.state == logic.FAULT or self._refused_arm:
            faults.append("board-fault")
        flow = self._flow(a)
        has = a.inputs
        return Reading(
            chamber_c=control.value_c, limit_c=limit.value_c if self._sensors[1] is not None else None,
            part_c=part.value_c if self._sensors[2] is not None else None, cold_junction_c=control.cold_c, faults=tuple(faults),
            fired=flow and flow.fired, current_a=flow and flow.current_a, commanded=flow and flow.commanded, supply_v=a.supply_v if a.meters & frames.HAS_SUPPLY and self.oven.meters.supply else None,
            contactor_closed=bool(has & frames.IN_CONTACTOR) if has & frames.HAS_CONTACTOR else None,
            door_open=bool(has & frames.IN_DOOR) if has & frames.HAS_DOOR else None,
            airflow_proved=bool(has & frames.IN_AIRFLOW) if has & frames.HAS_AIRFLOW else None, sample=control.count,
            bits=control.bits, rejects=control.rejects, mean_current_a=flow and flow.mean_current_a,
        )  # fmt: skip

    def _flow(self, a: Answer) -> Flow | None:
        """Since the last reading; None without a current meter: a commanded cycle proves nothing."""
        if not a.meters & frames.HAS_CURRENT or not self.oven.meters.current:
            return None
        flow = flow_between(self._base, a, self.oven)
        if flow is not None:
            self._base = a
            # The board's word for what it was told counts only while it was told to fire at all.
            self._flowed = flow if self._duty or self._duty_before else replace(flow, commanded=0.0)
        return self._flowed

    def heat(self, duty: float, burst: Burst, permit: Permit | None) -> None:
        check_heat(duty, burst, permit)
        self._alive()
        with self._lock:
            self._step = (self._step + 1) & 0xFFFF
            self._duty_before, self._duty = self._duty, round(duty * 10000.0)
        self._news.set()

    def contactor(self, closed: bool) -> None:
        with self._lock:
            self._closed = bool(closed)
        if not closed:
            self._news.set()
        self._alive()

    def clear(self) -> None:
        """Ask the board to clear its latched fault; it does where the cause is gone. For a person's acknowledgement only. `read` says
        "board-fault" until it has."""
        self._alive()
        with self._lock:
            self._clear, self._duty, self._closed = True, 0, False
        self._news.set()

    def words(self) -> str:
        """The board's state in words, with its faults."""
        said = [self._answer.state_word, *self._answer.fault_words()]
        return ", ".join(said + ([f"arming was refused: {self._refused_arm}"] if self._refused_arm else []))

    def close(self) -> None:
        self._closing = True
        self._news.set()
        thread = getattr(self, "_thread", None)
        if thread is not None and thread is not threading.current_thread():
            thread.join(1.0)
        if not self._lost:
            try:
                self._line.ask(frames.REST)
            except KilnctlError:
                pass
        self._line.close()

    def _alive(self) -> None:
        if self._lost:
            raise RigLost(self._lost)
        if time.monotonic() - self._heard_s > 3.0 * LOST_S:
            raise RigLost(f"{self._line.port}: the I/O board has fallen silent; it lets go of the heat by itself")
