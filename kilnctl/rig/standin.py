"""A stand-in for the I/O board, for trials without hardware: the real firmware logic on a pseudo-terminal, with a virtual oven behind it.

    python -m kilnctl.rig.standin OVEN.yaml [--log FILE] [--speed N] [--faults FILE]

Prints the port's name, then serves until it is ended. `--log` appends a line each time an output changes: seconds, relay bits, contactor,
state, faults.
"""

import argparse
import os
import pty
import select
import sys
import time
import tty

from ..firmware import logic


class Wires:
    """The oven behind the board's pins: integrates what relay and contactor do, and makes the converters' words."""

    def __init__(self, oven, seed: int = 0, faults=()):
        from ..plants.oven import VirtualOven

        self.oven = oven
        self.plant = VirtualOven(oven, load=oven.usual_load, seed=seed, faults=faults)
        self.sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
        self.on = self.total = 0
        self.reading = self.plant.advance(0.01, 0.0, False)
        #: Current at full power, and the share of it that flows unasked (a shorted relay).
        self.full_a, self.unasked = oven.elements.power_w / oven.supply.voltage_v, 0.0

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
        board.current = round(100.0 * self.full_a * max(self.unasked, asked)) if meters.current else None

    def sense(self, board: logic.Board, dt_s: float) -> None:
        """dt_s of simulated time under what was fired since the last call; then each converter converts."""
        asked = min(1.0, self.on / self.total) if self.total else 0.0
        self.reading = self.plant.advance(dt_s, asked, board.contactor)
        self.unasked = max(0.0, (self.reading.fired or 0.0) - asked)
        self.on = self.total = 0
        cold = self.reading.cold_junction_c or 25.0
        for channel, sensor, value in zip(
            board.channels, self.sensors, (self.reading.chamber_c, self.reading.limit_c, self.reading.part_c)
        ):
            if sensor is None:
                continue
            if sensor.front_end == "max31855":
                channel.take_31855(*word_31855(sensor.type, value, cold))
            else:
                channel.take_31856(registers_31856(value, cold))


def word_31855(kind: str, true_c: float, cold_c: float) -> tuple[int, int]:
    """What a MAX31855 says of a junction at true_c: its straight line, not the truth."""
    from ..thermal.thermocouples import emf_mv
    from .sensors import LINE_UV_PER_K

    shown = (emf_mv(kind, true_c) - emf_mv(kind, cold_c)) / (LINE_UV_PER_K[kind] * 1e-3) + cold_c
    return (round(shown * 4.0) << 2) & 0xFFFC, (round(cold_c * 16.0) << 4) & 0xFFF0


def registers_31856(true_c: float, cold_c: float) -> bytes:
    """Registers 0x0A to 0x0F of a MAX31856."""
    hot, cold = round(true_c * 128.0) & 0x7FFFF, round(cold_c * 64.0) & 0x3FFF
    return bytes((cold >> 6, (cold << 2) & 0xFC, hot >> 11, (hot >> 3) & 0xFF, (hot << 5) & 0xE0, 0))


def serve(
    descriptor: int, board: logic.Board, wires: Wires | None, log=None, speed: float = 1.0, now=time.monotonic
) -> None:
    """The board's main loop, as `kilnctl/firmware/main.py` has it, on a file descriptor instead of pins."""
    began = now()
    due, sensed, was, period_s = began, began, None, 1.0 / board.mains_hz
    while True:
        moment = now()
        ms = int(moment * 1000.0)
        if moment >= due:
            due = due + period_s if moment - due < 0.1 else moment + period_s
            if wires is not None:
                wires.cycle(board)
            board.cycle(ms)
            board.feed = False
            state = (board.relay_bits, board.contactor, board.state, board.faults)
            if log is not None and state != was:
                was = state
                os.write(
                    log,
                    f"{moment:.6f} {board.relay_bits} {int(board.contactor)} {board.state} {board.faults}\n".encode(),
                )
        if wires is not None and moment - sensed >= 0.25:
            wires.sense(board, (moment - sensed) * speed)
            sensed = moment
        ready, _, _ = select.select([descriptor], [], [], max(0.0, due - now()))
        if ready:
            try:
                data = os.read(descriptor, 4096)
            except OSError:
                # The other end of the pseudo-terminal is closed: nobody speaks, and the board goes on by itself.
                time.sleep(0.005)
                continue
            for byte in data:
                count = board.take(byte, int(now() * 1000.0))
                if count:
                    try:
                        os.write(descriptor, memoryview(board.wire)[:count])
                    except OSError:
                        pass


def main() -> int:
    from .. import load_oven

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("oven")
    parser.add_argument("--log")
    parser.add_argument("--speed", type=float, default=1.0)
    parser.add_argument("--faults", help="faults of the virtual oven (YAML)")
    args = parser.parse_args()
    oven = load_oven(args.oven)
    board_end, computer_end = pty.openpty()
    tty.setraw(computer_end)
    board = logic.Board(
        int(time.monotonic() * 1000),
        os.getpid() & 0xFFFF,
        1,
        max(1, oven.switching.relays),
        round(oven.supply.frequency_hz),
    )
    faults = ()
    if args.faults:
        from ..plants.faults import load_faults

        faults = load_faults(args.faults)
    wires = Wires(oven, faults=faults)
    wires.sense(board, 0.01)
    log = os.open(args.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND) if args.log else None
    print(os.ttyname(computer_end), flush=True)
    try:
        serve(board_end, board, wires, log, args.speed)
    except KeyboardInterrupt:
        return 0


if __name__ == "__main__":
    sys.exit(main())
