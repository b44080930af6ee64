"""The serial I/O board as a rig: a thread keeps the line alive, and only the control loop renews the duty.

The board lets go after 0.5 s without a new request and after 2 s without a new control step (`kilnctl.firmware.logic`).
The thread's requests carry the step of the last `heat` call: if the loop hangs, they keep the line but not the heat.
"""

import contextlib
import math
import threading
import time
from collections.abc import Iterator
from dataclasses import replace

from ..body.bursts import pattern_for
from ..errors import KilnctlError
from ..firing import Burst
from ..firmware import frames, logic
from ..reading import Reading
from ..safety import Permit
from ..safety.limits import identical_s
from ..settings.equipment import Sensor
from ..settings.oven import Oven
from . import converters
from .answers import Answer, Flow, flow_between
from .contract import RigFacts, RigLost, check_heat
from .line import ARM, CLEAR, REST, BoardLine, Line, beat, greet, setup

#: Time between two requests, s; time without an answer after which the board counts as lost, s.
BEAT_S, LOST_S = 0.1, 0.45
#: The control step must advance well within the board's limit of 2 s.
LONGEST_TICK_S = 1.5
#: Below this share of one relay's full current a cycle counts as a cycle without current.
CURRENT_SHARE = 0.1
#: The board's own ceiling where the file gives none: this far above the trip, K, so that the trip comes first.
CEILING_MARGIN_K = 5.0
#: How many times the settings are sent before the board counts as not answering.
SETUP_TRIES = 3
NAMES = ("control", "limit", "part")
FRONT_ENDS = {1: "max31855", 2: "max31856"}


def board_ceiling_c(oven: Oven) -> int:
    """Where the board cuts the heat by itself, in °C as its sensors read (the board knows no calibration): the file's
    ceiling, or the trip and CEILING_MARGIN_K (at most the board's highest); lower by the error if the control or limit
    sensor reads too low there."""
    usual_c = min(oven.limits.trip_at_c + CEILING_MARGIN_K, logic.HIGHEST_CEILING)
    true_c = oven.rig.ceiling_c if oven.rig.ceiling_c is not None else usual_c
    watching = [s for s in (oven.sensors.control, oven.sensors.limit) if s is not None]
    low_k = max(max(0.0, s.corrected_c(true_c) - true_c) for s in watching)
    return math.ceil(true_c - low_k)


class BoardRig:
    """One I/O board (`line`: used instead of a serial port). The heat is off until the loop's first permitted
    `heat`; `close` puts the board to rest. Raises KilnctlError where the board and the oven's file do not fit."""

    def __init__(self, oven: Oven, *, port: str | None = None, line: BoardLine | None = None):
        where = oven.file or oven.name
        address = "" if line is not None else _port(oven, port, where)
        if oven.control.tick_s > LONGEST_TICK_S:
            raise KilnctlError(
                f"{where}: control: a tick of {oven.control.tick_s:g} s is too slow for the I/O board, which lets go "
                f"after 2 s without one; use {LONGEST_TICK_S:g} s or less"
            )
        self.oven = oven
        self._sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
        unproved = list(_unproved_sensors(oven, self._sensors, where))
        self._seen = [converters.ConverterState() for _ in NAMES]
        self._line = line if line is not None else Line(address)
        try:
            hello = greet(self._line)
            _check_state(self._line, hello)
            _check_mains(oven, hello, where)
            _check_converters(self._sensors, self._set_up(where), where)
        except BaseException:
            self._line.close()
            raise
        unproved += _unproved_wiring(oven, hello)
        self.facts = RigFacts("board", f"I/O board on {self._line.port}", 0.5, True, tuple(unproved))
        # What the loop wants, under the lock; `_news` wakes the thread.
        self._lock, self._news = threading.Lock(), threading.Event()
        self._duty, self._closed, self._step, self._clear = 0, False, 0, False
        # The last answers. `_lost`: why the board is gone, or empty.
        self._answer, self._boot, self._heard_s = hello, hello.boot, time.monotonic()
        self._refused_arm, self._lost, self._closing = "", "", False
        # Energy: the answer from which the next flow is counted, and the last flow.
        self._base, self._flowed, self._duty_before = hello, Flow(0.0, 0.0, 0.0, 0.0), 0
        self._thread = threading.Thread(target=self._keep, name="line", daemon=True)
        self._thread.start()

    def _set_up(self, where: str) -> Answer:
        """Give the board at rest its ceiling, shortest run and groups. Returns its answer."""
        oven, pattern, ceiling = self.oven, pattern_for(self.oven), board_ceiling_c(self.oven)
        smallest = round(100.0 * CURRENT_SHARE * oven.elements.power_w / oven.supply.voltage_v / pattern.groups)
        table_k = sum(
            1 << i for i, s in enumerate(self._sensors) if s is not None and s.front_end == "max31855" and s.type == "K"
        )
        request = setup(
            ceiling, groups=pattern.groups, shortest_run=pattern.shortest_run, smallest=smallest, table_k=table_k
        )
        answer = next((found for _ in range(SETUP_TRIES) if (found := self._line.ask(request)) is not None), None)
        if answer is not None and not answer.refused and answer.ceiling_c == ceiling:
            return answer
        if answer is not None and answer.refused == logic.R_RAISED:
            raise KilnctlError(
                f"{where}: the board's ceiling is {answer.ceiling_c} °C and may be raised to {ceiling} °C only after "
                "it has been without supply: take the board's supply away for a moment"
            )
        why = "it does not answer"
        if answer is not None:
            why = answer.refusal_words(f"its ceiling is {answer.ceiling_c} °C now")
        raise KilnctlError(
            f"{where}: the board refuses its settings (ceiling {ceiling} °C, {pattern.groups} relays): {why}"
        )

    # ---- the thread ----

    def _keep(self) -> None:
        due = time.monotonic()
        while not self._closing:
            try:
                answer = self._next()
                if answer is not None:
                    self._heard(answer)
                elif time.monotonic() - self._heard_s > LOST_S:
                    self._lost = self._line.failure or (f"{self._line.port}: no answer for {LOST_S:g} s")
                    return
            except RigLost as error:
                self._lost = str(error)
                return
            due = max(due + BEAT_S, time.monotonic())
            # The loop's new decision is sent at once.
            self._news.wait(max(0.0, due - time.monotonic()))
            self._news.clear()

    def _next(self) -> Answer | None:
        """One request: the beat while the loop wants something, else rest. The board is armed each time the loop begins
        to want something."""
        with self._lock:
            step, duty, closed, clear, self._clear = self._step, self._duty, self._closed, self._clear, False
        if clear:
            answer = self._line.ask(CLEAR)
            self._clear = self._clear or answer is None
            return answer
        if not closed and duty == 0:
            self._refused_arm = ""
            # At rest no lease runs, so an idle service need not renew one.
            return self._line.ask(REST)
        if self._answer.state == logic.SAFE:
            answer = self._line.ask(ARM)
            # Where the answer to the last ARM was lost, the board refuses this one because it is armed.
            if answer is None or answer.state != logic.ARMED:
                self._refused_arm = "" if answer is None else answer.refusal_words("it does not say why")
                return answer
            self._refused_arm = ""
        return self._line.ask(beat(step, duty, closed))

    def _heard(self, answer: Answer) -> None:
        # The board's clock wraps around after twelve days; a smaller step back means that the board has restarted.
        back = (answer.uptime_ms - self._answer.uptime_ms) & 0x3FFFFFFF >= 1 << 29
        if answer.boot != self._boot or back:
            self._lost = (
                f"{self._line.port}: the I/O board has restarted by itself (reset cause {answer.reset_cause}); it is "
                "disarmed"
            )
            self._closing = True
        self._heard_s = time.monotonic()
        self._answer = answer

    # ---- the rig ----

    def read(self) -> Reading:
        self._alive()
        answer = self._answer
        for i, sensor in enumerate(self._sensors):
            if sensor is not None:
                _, count, raw = answer.raw[i]
                self._seen[i] = converters.take_conversion(sensor, self._seen[i], raw, count)
        control, limit, part = self._seen
        _, limit_sensor, part_sensor = self._sensors
        faults = list(control.faults)
        if limit_sensor is not None:
            faults += [f"limit-{f}" for f in limit.faults]
        if part_sensor is not None:
            faults += [f"part-{f}" for f in part.faults]
        if answer.state == logic.FAULT or self._refused_arm:
            faults.append("board-fault")
        flow = self._flow(answer)
        inputs = answer.inputs
        return Reading(
            chamber_c=control.value_c,
            limit_c=limit.value_c if limit_sensor is not None else None,
            part_c=part.value_c if part_sensor is not None else None,
            cold_junction_c=control.cold_c,
            faults=tuple(faults),
            fired=flow and flow.fired,
            current_a=flow and flow.current_a,
            commanded=flow and flow.commanded,
            supply_v=answer.supply_v if answer.meters & frames.HAS_SUPPLY and self.oven.meters.supply else None,
            contactor_closed=bool(inputs & frames.IN_CONTACTOR) if inputs & frames.HAS_CONTACTOR else None,
            door_open=bool(inputs & frames.IN_DOOR) if inputs & frames.HAS_DOOR else None,
            airflow_proved=bool(inputs & frames.IN_AIRFLOW) if inputs & frames.HAS_AIRFLOW else None,
            sample=control.count,
            bits=control.bits,
            rejects=control.rejects,
            mean_current_a=flow and flow.mean_current_a,
        )

    def _flow(self, answer: Answer) -> Flow | None:
        """The flow since the last reading; None without a current meter: a commanded cycle proves nothing."""
        if not answer.meters & frames.HAS_CURRENT or not self.oven.meters.current:
            return None
        flow = flow_between(self._base, answer, self.oven)
        if flow is not None:
            self._base = answer
            # The board's count of commanded cycles is valid only while heat was commanded.
            self._flowed = flow if self._duty or self._duty_before else replace(flow, commanded=0.0)
        return self._flowed

    def heat(self, duty: float, burst: Burst, permit: Permit | None) -> None:
        check_heat(duty, burst, permit)
        self._alive()
        with self._lock:
            self._step += 1
            self._duty_before, self._duty = self._duty, round(duty * 10000.0)
        self._news.set()

    def contactor(self, closed: bool) -> None:
        with self._lock:
            self._closed = bool(closed)
        self._news.set()
        self._alive()

    def clear(self) -> None:
        """Ask the board to clear its latched fault; it does so if the cause is gone. Only for a person's
        acknowledgement. `read` says "board-fault" until the board has cleared it."""
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
        self._thread.join(1.0)
        if not self._lost:
            with contextlib.suppress(KilnctlError):
                self._line.ask(REST)
        self._line.close()

    def _alive(self) -> None:
        if self._lost:
            raise RigLost(self._lost)
        if time.monotonic() - self._heard_s > 3.0 * LOST_S:
            raise RigLost(self._line.failure or f"{self._line.port}: no answer any more")


# ---- whether board and file fit, and what the board cannot prove ----


def _port(oven: Oven, port: str | None, where: str) -> str:
    port = port or oven.rig.port
    if not port:
        raise KilnctlError(f"{where}: rig: say which port the I/O board is on, best by its name in /dev/serial/by-id")
    return port


def _unproved_sensors(oven: Oven, described: tuple[Sensor | None, ...], where: str) -> Iterator[str]:
    """What cannot be proved with the sensors of the file. Raises KilnctlError for a type that its converter cannot
    read."""
    for name, sensor in zip(NAMES, described):
        if sensor is not None:
            converters.check(sensor, f"{where}: sensors: {name}")
            words = converters.beyond_calibration(sensor, oven.limits.highest_c)
            if words:
                yield f"{name} sensor: {words}"
    if math.isinf(identical_s(oven.sensors.control, oven.control.tick_s)):
        yield (
            "that the control sensor's converter goes on converting: with steps of 1/4 K and so little noise as "
            "described its answers may well stand still"
        )


def _unproved_wiring(oven: Oven, hello: Answer) -> Iterator[str]:
    """What cannot be proved with the board's inputs and meters."""
    if not hello.inputs & frames.HAS_CONTACTOR:
        yield "whether the contactor really opens (no auxiliary contact is wired)"
    if not hello.inputs & frames.HAS_DOOR:
        yield "whether the door is open (no switch is wired)"
    for what, bit, described in (
        ("current", frames.HAS_CURRENT, oven.meters.current),
        ("supply voltage", frames.HAS_SUPPLY, oven.meters.supply),
    ):
        if described and not hello.meters & bit:
            yield f"the {what}: the oven's file has a meter for it, the board's main.py has none"


def _check_state(line: BoardLine, hello: Answer) -> None:
    """Put an armed board to rest; a latched fault stays, for `kilnctl board OVEN --clear`."""
    if hello.state == logic.ARMED:
        line.ask(REST)
    elif hello.faults:
        raise KilnctlError(
            f"{line.port}: the board has latched a fault: {'; '.join(hello.fault_words())}. See to its cause (main "
            "switch off and locked, proved dead); then `kilnctl board OVEN --clear`"
        )


def _check_mains(oven: Oven, hello: Answer, where: str) -> None:
    if hello.mains_hz != round(oven.supply.frequency_hz):
        raise KilnctlError(
            f"{where}: supply: {oven.supply.frequency_hz:.0f} Hz, but the board's main.py says {hello.mains_hz} Hz: "
            "put that right and restart the board"
        )


def _check_converters(described: tuple[Sensor | None, ...], answer: Answer, where: str) -> None:
    for name, sensor, (chip, _, _) in zip(NAMES, described, answer.raw):
        there = FRONT_ENDS.get(chip)
        if sensor is not None and there != sensor.front_end:
            raise KilnctlError(
                f"{where}: sensors: {name}: the oven's file says {sensor.front_end}, the board's main.py has "
                f"{there or 'none'} there"
            )
