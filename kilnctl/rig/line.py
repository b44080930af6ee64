"""How a rig asks the I/O board: one request, one answer, over a serial port or to the board's logic in this process."""

import contextlib
import fcntl
import termios
import time
from dataclasses import dataclass
from typing import Protocol

import serial

from ..errors import KilnctlError
from ..firmware import frames
from .answers import Answer, parse_answer
from .contract import RigLost

#: How long an answer may take, s.
ANSWER_S = 0.15
#: How long the greeting is repeated, s, and how long each may take, s; after this share of that time DTR is raised.
GREET_S, HELLO_S, RAISE_DTR = 3.0, 0.3, 0.4
BAUD = 115200
#: What an unplugged port raises: OSError (SerialException is one), and termios.error, which is no OSError.
GONE = (OSError, termios.error)


@dataclass(frozen=True, slots=True)
class BoardRequest:
    """One request: its kind, and the fields as they lie in the frame (`kilnctl.firmware.frames`)."""

    kind: int
    word1: int = 0
    word2: int = 0
    flags: int = 0
    groups: int = 0
    word3: int = 0
    word4: int = 0


HELLO, ARM, REST, CLEAR = (BoardRequest(k) for k in (frames.HELLO, frames.ARM, frames.REST, frames.CLEAR))


def beat(step: int, duty: int, contactor: bool) -> BoardRequest:
    """The loop's request: its step counter, the duty in 1/10000, and whether the contactor shall be closed."""
    return BoardRequest(frames.BEAT, step & 0xFFFF, duty, frames.CONTACTOR if contactor else 0)


def setup(
    ceiling_c: int, *, groups: int = 1, shortest_run: int = 1, smallest: int = 0, table_k: int = 0
) -> BoardRequest:
    """The settings of a board at rest: ceiling in °C, relay groups, shortest run in mains cycles, the smallest current
    that counts in 1/100 A, and, as bits, the channels that want the type K table."""
    return BoardRequest(frames.SETUP, smallest, ceiling_c, 0, groups, shortest_run, table_k)


class BoardLine(Protocol):
    """What a board rig needs from its line. `failure`: why the line ended by itself, or empty."""

    port: str
    failure: str

    def ask(self, request: BoardRequest, patience_s: float = ANSWER_S) -> Answer | None:
        """The answer, or None when none came in time. Raises RigLost when the port or the board is gone."""
        ...

    def raise_dtr(self) -> None: ...

    def close(self) -> None: ...


class FrameClient:
    """Builds requests, each with the next sequence number, and finds the answer to the last one among the bytes that
    come."""

    def __init__(self, sequence: int = 0):
        self._receiver = frames.Receiver(frames.ANSWER)
        self._payload, self._wire = bytearray(frames.REQUEST + frames.CRC), bytearray(frames.LONGEST + 3)
        self._sequence, self._kind = sequence & 0xFF, 0

    def frame(self, request: BoardRequest) -> memoryview:
        """The frame on the wire; it is overwritten by the next one."""
        self._sequence, self._kind = (self._sequence + 1) & 0xFF, request.kind
        payload = self._payload
        payload[0], payload[1], payload[6], payload[7] = request.kind, self._sequence, request.flags, request.groups
        frames.put16(payload, 2, request.word1)
        frames.put16(payload, 4, request.word2)
        frames.put16(payload, 8, request.word3)
        frames.put16(payload, 10, request.word4)
        return memoryview(self._wire)[: frames.seal(payload, frames.REQUEST, self._wire)]

    def take(self, byte: int) -> Answer | None:
        """The answer to the last request when this byte ends it; else None: also for a late answer to an earlier
        one."""
        if not self._receiver.take(byte):
            return None
        answer = parse_answer(self._receiver.payload)
        if answer is None or answer.sequence != self._sequence or answer.kind != self._kind:
            return None
        return answer


class Line:
    """The serial line. Raises KilnctlError when the port cannot be opened, RigLost when it or the board is gone."""

    def __init__(self, port: str):
        self.port = port
        self.failure = ""
        self._serial = _open(port)
        self._client = FrameClient(int(time.monotonic() * 1000))

    def ask(self, request: BoardRequest, patience_s: float = ANSWER_S) -> Answer | None:
        """The answer, or None when none came in time."""
        frame = self._client.frame(request)
        began = time.monotonic()
        try:
            self._serial.write(frame)
            while (left_s := began + patience_s - time.monotonic()) > 0.0:
                self._serial.timeout = left_s
                data = self._serial.read(1)
                if data:
                    data += self._serial.read(self._serial.in_waiting)
                for byte in data:
                    answer = self._client.take(byte)
                    if answer is not None:
                        return answer
        except GONE as error:
            raise RigLost(f"{self.port}: the I/O board is gone ({_reason(error)})") from None
        return None

    def raise_dtr(self) -> None:
        """Some boards with a USB plug of their own speak only while DTR is high (from memory: those on TinyUSB). If it
        resets the board, that is harmless: the board starts at rest."""
        try:
            self._serial.dtr = True
        except GONE as error:
            raise RigLost(f"{self.port}: the I/O board is gone ({_reason(error)})") from None

    def close(self) -> None:
        with contextlib.suppress(*GONE):
            self._serial.close()


def _open(port: str) -> serial.Serial:
    opened = serial.Serial()
    opened.port, opened.baudrate, opened.exclusive = port, BAUD, True
    opened.timeout, opened.write_timeout = 0.0, 0.2
    # Low before it is opened: many boards reset on a rising DTR.
    opened.dtr, opened.rts = False, False
    try:
        opened.open()
        # flock keeps out programs that ask for it; this keeps out the others (all but root's).
        fcntl.ioctl(opened.fileno(), termios.TIOCEXCL)
        # Closing must not pulse DTR either.
        attributes = termios.tcgetattr(opened.fileno())
        attributes[2] &= ~termios.HUPCL
        termios.tcsetattr(opened.fileno(), termios.TCSANOW, attributes)
    except GONE as error:
        opened.close()
        raise KilnctlError(
            f"{port}: the I/O board's port cannot be opened: {_reason(error)}. Is it plugged in, is its name right "
            "(ls /dev/serial/by-id), does another program have it, and may you use it (group dialout)?"
        ) from None
    return opened


def _reason(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error)


def greet(line: BoardLine, patience_s: float = GREET_S) -> Answer:
    """Shake hands. Raises KilnctlError when no answer comes or the versions differ."""
    began, raised = time.monotonic(), False
    while (spent_s := time.monotonic() - began) < patience_s:
        if not raised and spent_s > RAISE_DTR * patience_s:
            line.raise_dtr()
            raised = True
        answer = line.ask(HELLO, HELLO_S)
        if answer is not None:
            if answer.version != frames.VERSION:
                raise KilnctlError(
                    f"{line.port}: the board speaks version {answer.version} of the line, this program version "
                    f"{frames.VERSION}: copy the firmware again (`kilnctl board OVEN --copy DIR`)"
                )
            return answer
    raise KilnctlError(
        f"{line.port}: something is there, but no I/O board of kilnctl answers. Is the firmware on it? "
        "(`kilnctl board OVEN --copy DIR`)"
    )
