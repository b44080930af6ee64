"""A line to the real firmware logic in this process, and a simulated board on a pseudo-terminal."""

import functools
import subprocess
import sys
from pathlib import Path

import pytest

from kilnctl.commands import _guided_test
from kilnctl.firmware import logic
from kilnctl.rig import board_rig, desk, pins
from kilnctl.rig import line as rig_line
from kilnctl.rig.line import FrameClient
from tests.rig.simulated_time import SimulatedTime

ROOT = Path(__file__).parents[2]
CABINET = ROOT / "configs" / "ovens" / "curing-cabinet.yaml"
#: Registers of a MAX31856 and word of a MAX31855 at 100 °C, terminals 25 °C (register maps of the data sheets).
HOT_56, HOT_55 = bytes((25, 0, 6, 64, 0, 0)), (0x0640, 0x1900)


class DeskLine:
    """A board whose supply can be taken away, that can be silenced and rewired by a test. `time`: what tells it."""

    port = "desk"
    failure = ""

    def __init__(self, time, relays=1, mains_hz=50, meters=True):
        self.time = time
        self.relays, self.mains_hz, self.meters = relays, mains_hz, meters
        self.silent = self.closed = False
        self.full_a, self.shorted, self.raw, self.raw_limit, self.raw_part = 13.0, False, HOT_56, HOT_55, None
        #: The coil's circuit is open somewhere; a pole is welded; whether the contactor's contact is wired.
        self.cut, self.welded, self.read_back = False, False, True
        self.asked: list[int] = []
        self.boot = 100
        self.reset()

    def reset(self):
        self.boot += 1
        self.last = self.time.monotonic()
        self.board = logic.Board(int(1000 * self.last), self.boot, 1, self.relays, self.mains_hz)
        self.client, self.count = FrameClient(), 0
        self.cycle()

    def cycle(self):
        """One mains cycle of the board, every tenth with new conversions."""
        board = self.board
        if self.count % 10 == 0:
            board.channels[0].take_31856(self.raw)
            board.channels[1].take_31855(*self.raw_limit)
            board.channels[2].take_31856(self.raw_part or self.raw)
        self.count += 1
        closed = self.welded or (board.contactor and not self.cut)
        board.contactor_closed = closed if self.read_back else None
        board.door_open, board.airflow = False, True
        if self.meters:
            board.supply = 2300
            on = bin(board.relay_bits).count("1") / board.groups if board.contactor else 0.0
            board.current = round(100.0 * self.full_a * (1.0 if self.shorted else on))
        board.cycle(int(1000 * self.last))

    def run_to_now(self):
        while self.time.monotonic() - self.last >= 1.0 / self.mains_hz:
            self.last += 1.0 / self.mains_hz
            self.cycle()

    def ask(self, request, patience_s=0.1):
        self.run_to_now()
        self.asked.append(request.kind)
        if self.silent:
            self.time.sleep(min(0.05, patience_s))
            return None
        answer = None
        for byte in self.client.frame(request):
            for answered in self.board.wire[: self.board.take(byte, int(1000 * self.last))]:
                answer = self.client.take(answered) or answer
        return answer

    def raise_dtr(self):
        pass

    def close(self):
        self.closed = True


@pytest.fixture
def clock(monkeypatch):
    """The time of rig, desk, guided test, own pins and board on the desk; it passes only while all of them wait."""
    made = SimulatedTime()
    for module in (board_rig, desk, pins):
        monkeypatch.setattr(module, "threading", made)
    for module in (board_rig, rig_line, desk, pins, _guided_test):
        monkeypatch.setattr(module, "time", made)
    monkeypatch.setattr(pins, "passed_s", made.monotonic)
    return made


@pytest.fixture
def desk_line(clock):
    """The class, for tests that need a board of their own making."""
    return functools.partial(DeskLine, clock)


@pytest.fixture
def line(desk_line):
    return desk_line()


@pytest.fixture
def cabinet(oven):
    return oven("curing-cabinet")


@pytest.fixture
def rig(cabinet, line):
    made = board_rig.BoardRig(cabinet, line=line)
    yield made
    made.close()


@pytest.fixture(scope="module")
def new_board():
    """`new_board()` → (process, port) of a simulated board; all are ended with the module's tests."""
    begun = []

    def begin():
        process = subprocess.Popen(
            [sys.executable, "-m", "kilnctl.rig.simulated_board", str(CABINET)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        begun.append(process)
        assert process.stdout is not None
        return process, process.stdout.readline().strip()

    yield begin
    for process in begun:
        process.kill()
        process.wait()
        process.stdout.close()


@pytest.fixture
def until(clock):
    """`until(what, patience_s)` → whether it became true within that time."""

    def wait(what, patience_s=3.0):
        end = clock.monotonic() + patience_s
        while clock.monotonic() < end:
            if what():
                return True
            clock.sleep(0.02)
        return False

    return wait
