"""The I/O board's logic under a fixed script of requests in simulated time: every way in which a computer can fail.

`tools/trials/board` tries the same with processes and signals; its times differ from run to run, the ones here never
do."""

import csv
import importlib
import sys
from pathlib import Path
from typing import Any, BinaryIO

HELLO, SETUP, ARM, BEAT, REST, CLEAR = 1, 2, 3, 4, 5, 6
#: What happens 2 s after the board began to heat, and goes on for 4 s.
EVENTS = (
    "nothing",
    "computer killed",
    "computer frozen, then back",
    "cable pulled in a frame",
    "loop hangs",
    "last request repeated",
    "every frame damaged",
    "chamber above the ceiling",
    "no conversions",
    "contactor welded at rest",
    "door open",
    "less power, same step",
    "step goes back",
    "cleared and armed again",
)


def frame(
    kind: int, sequence: int, step: int = 0, number: int = 0, flags: int = 0, groups: int = 0, shortest: int = 0
) -> bytes:
    """A request on the wire: COBS (Cheshire and Baker 1999) of payload and CRC-24 (RFC 9580, 6.1), and a zero."""

    def little(value: int) -> bytes:
        return (value & 0xFFFF).to_bytes(2, "little")

    payload = (
        bytes((kind, sequence & 0xFF))
        + little(step)
        + little(number)
        + bytes((flags, groups))
        + little(shortest)
        + bytes(2)
    )
    crc = 0xB704CE
    for byte in payload:
        crc ^= byte << 16
        for _ in range(8):
            crc = (crc << 1) ^ (0x1864CFB if crc & 0x800000 else 0)
    blocks = (payload + crc.to_bytes(3, "little")).split(b"\0")
    return b"".join(bytes((len(block) + 1,)) + block for block in blocks) + b"\0"


def board_logic(tree: Path) -> Any:
    """The one inner module that the lock knows."""
    sys.path.insert(0, str(tree))
    return importlib.import_module("kilnctl.firmware.logic")


def board_matrix(tree: Path, samples: Path, answers: Path) -> dict:
    """Drive the board's logic through every event in simulated time; write its outputs and its answers."""
    logic, summary = board_logic(tree), {}
    with open(samples, "w", newline="", encoding="utf-8") as file, open(answers, "wb") as said:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(("event", "groups", "ms", "relays", "contactor", "state", "faults"))
        for event in EVENTS:
            for groups in (1, 3):
                summary[f"{event}, {groups}"] = board_run(logic, event, groups, table, said)
    return summary


def board_run(logic: Any, event: str, groups: int, table: Any, said: BinaryIO) -> dict:
    # The board's clock runs over its end (2**30 ms) within the run.
    start, sequence, last = (1 << 30) - 3000, 0, b""
    board = logic.Board(start, 77, 1, groups)
    heat_off_ms = 0

    def ask(ms: int, wire: bytes) -> None:
        for byte in wire:
            count = board.take(byte, start + ms)
            if count:
                said.write(bytes(board.wire[:count]))

    for ms in range(0, 7000, 20):
        after = ms - 2500
        happens = event if after >= 0 else "nothing"
        if ms % 240 == 0 and happens != "no conversions":
            hot = (
                (25, 0, 25, 0, 0, 0) if happens == "chamber above the ceiling" else (25, 0, 6, 64, 0, 0)
            )  # 400 and 100 °C
            board.channels[0].take_31856(bytes(hot))
        board.contactor_closed = board.contactor or happens == "contactor welded at rest"
        board.door_open = happens == "door open" and after < 1500
        board.cycle((start + ms) & ((1 << 30) - 1))
        board.feed = False
        table.writerow((event, groups, ms, board.relay_bits, int(board.contactor), board.state, board.faults))
        if board.relay_bits and board.contactor:
            heat_off_ms = after + 20
        if ms % 100:
            continue
        sequence += 1
        wire = board_request(happens, ms, after, sequence, groups)
        if happens == "last request repeated":
            wire = last
        elif happens == "every frame damaged":
            place = sequence % (len(wire) - 1)
            wire = wire[:place] + bytes((wire[place] ^ (1 << sequence % 8),)) + wire[place + 1 :]
        last = wire
        ask(ms, wire)
    return {
        "heat until, ms after the event": heat_off_ms,
        "state": board.state,
        "faults": board.faults,
        "fired": board.fired,
        "bad frames": board.receiver.bad,
    }


def board_request(happens: str, ms: int, after: int, sequence: int, groups: int) -> bytes:
    """What the computer sends at this moment, every 100 ms."""
    opening = {0: (HELLO, {}), 100: (SETUP, {"number": 300, "groups": groups, "shortest": 3}), 400: (ARM, {})}
    if ms in opening:
        kind, more = opening[ms]
        return frame(kind, sequence, **more)
    if happens == "computer killed" or (happens == "computer frozen, then back" and after < 3000):
        return b""
    if happens == "cable pulled in a frame":
        return frame(BEAT, sequence, ms // 200, 5000, 1)[:7] if after < 100 else b""
    if happens == "contactor welded at rest":
        return frame(REST, sequence)
    if happens == "cleared and armed again":
        # Silent until the lease is over, then what a person would do.
        script = {1000: CLEAR, 1100: ARM}
        if after < 1200:
            return frame(script[after], sequence) if after in script else b""
    step, duty = ms // 200, 5000
    if happens == "loop hangs":
        step = 12
    elif happens == "less power, same step":
        step, duty = 12, 2000
    elif happens == "step goes back":
        step = 12 - after // 200
    return frame(BEAT, sequence, step & 0xFFFF, duty, 1)
