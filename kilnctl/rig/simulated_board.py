"""A simulated I/O board, for trials without hardware: the real firmware logic on a pseudo-terminal, before a virtual
oven.

    python -m kilnctl.rig.simulated_board OVEN.yaml [--log FILE] [--speed N] [--faults FILE]

Prints the port's name, then serves until it is ended. `--log` appends a line each time an output changes: seconds,
relay bits, contactor, state, faults.
"""

import argparse
import contextlib
import os
import pty
import select
import sys
import time
import tty
from collections.abc import Callable, Sequence

from ..firmware import logic
from ..plants.injection import PlantFault, load_faults
from ..plants.virtual_oven import VirtualOven
from ..settings import load_oven
from ..settings.oven import Oven
from ..thermal.thermocouples import emf_mv
from .converters import LINE_UV_PER_K

#: As on the board: time between two conversions of a converter, s.
SENSE_S = 0.25
#: Whose word a fault of a reading is, for control, limit and part.
WHOSE = ("", "limit-", "part-")
#: Fault of the virtual oven's converter → what a MAX31855 and a MAX31856 answer then (data sheets), terminals 25 °C.
#: The MAX31856 has one bit for a voltage that is too high or too low.
FAULTS = {
    "open": ((1, 0x1901), bytes((25, 0, 0, 0, 0, 1))),
    "short-ground": ((1, 0x1902), bytes((25, 0, 0, 0, 0, 2))),
    "no-chip": ((0, 0), bytes(6)),
}
#: If it is later than this, s, the cycle clock restarts: missed cycles are not made up for.
LATE_S = 0.1


class Wires:
    """The oven behind the board's pins: counts the cycles fired, and makes the converters' words."""

    def __init__(self, oven: Oven, seed: int = 0, faults: Sequence[PlantFault] = ()):
        self.oven = oven
        self.plant = VirtualOven(oven, load=oven.usual_load, seed=seed, faults=faults, corrected=False)
        self.sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
        self.on = self.total = 0
        self.reading = self.plant.advance(0.01, 0.0, False)
        #: Current at full power, A; of it the share that flows without a command (a shorted relay); and the share that
        #: flows of what is commanded (less where relay or elements are open).
        self.full_a, self.unasked, self.follows = oven.elements.power_w / oven.supply.voltage_v, 0.0, 1.0

    def cycle(self, board: logic.Board) -> None:
        """One mains cycle has passed under the board's outputs."""
        self.total += 1
        self.on += bin(board.relay_bits).count("1") / max(1, board.groups)
        board.contactor_closed = bool(self.reading.contactor_closed) if self.oven.meters.contactor else None
        board.door_open = bool(self.reading.door_open) if self.oven.door.switch else None
        board.airflow = True if self.oven.vent and self.oven.vent.proved else None
        meters = self.oven.meters
        board.supply = round(10.0 * (self.reading.supply_v or 0.0)) if meters.supply else None
        asked = bin(board.relay_bits).count("1") / board.groups if board.contactor else 0.0
        board.current = round(100.0 * self.full_a * max(self.unasked, self.follows * asked)) if meters.current else None

    def sense(self, board: logic.Board, dt_s: float) -> None:
        """Advance by dt_s of simulated time with the cycles fired since the last call; then each converter converts."""
        asked = min(1.0, self.on / self.total) if self.total else 0.0
        self.reading = self.plant.advance(dt_s, asked, board.contactor)
        flowed = self.reading.fired or 0.0
        self.unasked = max(0.0, flowed - asked)
        self.follows = min(1.0, flowed / asked) if asked and board.contactor else 1.0
        self.on = self.total = 0
        cold = self.reading.cold_junction_c or 25.0
        shown = (self.reading.chamber_c, self.reading.limit_c, self.reading.part_c)
        for channel, sensor, value, whose in zip(board.channels, self.sensors, shown, WHOSE, strict=True):
            if sensor is None or value is None:
                continue
            fault = next((bits for word, bits in FAULTS.items() if whose + word in self.reading.faults), None)
            if sensor.front_end == "max31855":
                channel.take_31855(*(word_31855(sensor.type, value, cold) if fault is None else fault[0]))
            else:
                channel.take_31856(registers_31856(value, cold) if fault is None else fault[1])


def word_31855(kind: str, true_c: float, cold_c: float) -> tuple[int, int]:
    """What a MAX31855 says of a junction at true_c: its straight line, not the truth."""
    shown = (emf_mv(kind, true_c) - emf_mv(kind, cold_c)) / (LINE_UV_PER_K[kind] * 1e-3) + cold_c
    return (round(shown * 4.0) << 2) & 0xFFFC, (round(cold_c * 16.0) << 4) & 0xFFF0


def registers_31856(true_c: float, cold_c: float) -> bytes:
    """Registers 0x0A to 0x0F of a MAX31856."""
    hot, cold = round(true_c * 128.0) & 0x7FFFF, round(cold_c * 64.0) & 0x3FFF
    return bytes((cold >> 6, (cold << 2) & 0xFC, hot >> 11, (hot >> 3) & 0xFF, (hot << 5) & 0xE0, 0))


def serve(
    descriptor: int,
    board: logic.Board,
    wires: Wires | None,
    log: int | None = None,
    speed: float = 1.0,
    now: Callable[[], float] = time.monotonic,
) -> None:
    """The board's main loop, as `kilnctl/firmware/main.py` has it, on file descriptors instead of pins."""
    began = now()
    due, sensed, before, period_s = began, began, None, 1.0 / board.mains_hz
    while True:
        moment = now()
        if moment >= due:
            due = due + period_s if moment - due < LATE_S else moment + period_s
            if wires is not None:
                wires.cycle(board)
            board.cycle(int(moment * 1000.0))
            board.feed = False
            outputs = (board.relay_bits, int(board.contactor), board.state, board.faults)
            if log is not None and outputs != before:
                before = outputs
                os.write(log, f"{moment:.6f} {' '.join(map(str, outputs))}\n".encode())
        if wires is not None and moment - sensed >= SENSE_S:
            wires.sense(board, (moment - sensed) * speed)
            sensed = moment
        _answer(descriptor, board, max(0.0, due - now()), now)


def _answer(descriptor: int, board: logic.Board, patience_s: float, now: Callable[[], float]) -> None:
    """Give the board the bytes that arrive within that time, and send its answers."""
    ready, _, _ = select.select([descriptor], [], [], patience_s)
    if not ready:
        return
    try:
        data = os.read(descriptor, 4096)
    except OSError:
        # The other end of the pseudo-terminal is closed: no requests come, and the board goes on by itself.
        time.sleep(0.005)
        return
    for byte in data:
        count = board.take(byte, int(now() * 1000.0))
        if count:
            with contextlib.suppress(OSError):
                os.write(descriptor, memoryview(board.wire)[:count])


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("oven")
    parser.add_argument("--log")
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--faults", help="faults of the virtual oven (YAML)")
    args = parser.parse_args()
    oven = load_oven(args.oven)
    board_end, computer_end = pty.openpty()
    tty.setraw(computer_end)
    now_ms, boot = int(time.monotonic() * 1000), os.getpid() & 0xFFFF
    board = logic.Board(now_ms, boot, 1, max(1, oven.switching.relays), round(oven.supply.frequency_hz))
    wires = Wires(oven, faults=load_faults(args.faults) if args.faults else ())
    wires.sense(board, 0.01)
    log = os.open(args.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND) if args.log else None
    print(os.ttyname(computer_end), flush=True)
    with contextlib.suppress(KeyboardInterrupt):
        serve(board_end, board, wires, log, args.speed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
