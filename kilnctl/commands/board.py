"""`kilnctl board OVEN`: the I/O board's firmware, its state, and a guided test with the heater disconnected."""

import argparse
import math
import time
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..firing import Burst
from ..firmware import frames
from ..reading import Reading
from ..rig import converters
from ..rig.answers import REFUSALS
from ..rig.board_rig import BoardRig
from ..rig.line import CLEAR, Line, greet
from ..safety.gate import desk_permit

FIRMWARE = ("frames.py", "chips.py", "meter.py", "logic.py", "main.py")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("--port", metavar="PORT", help="instead of the port in the oven's file")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--copy", metavar="DIR", help="copy the firmware's files there: the board's drive, or a folder")
    what.add_argument("--print", dest="show", choices=FIRMWARE, help="print one file of the firmware")
    what.add_argument(
        "--test", action="store_true", help="guided test of relay, contactor and sensors, WITH THE HEATER DISCONNECTED"
    )
    what.add_argument("--clear", action="store_true", help="clear a latched fault whose cause is gone")
    parser.add_argument(
        "--yes", action="store_true", help="answer the test's questions with yes (for trials without hardware)"
    )


def run(args: argparse.Namespace) -> int:

    oven = load_oven(args.oven)
    here = Path(__file__).resolve().parents[1] / "firmware"
    if args.show:
        print((here / args.show).read_text(encoding="utf-8"), end="")
        return 0
    if args.copy:
        return _copy(here, Path(args.copy))
    port = args.port or oven.rig.port
    if not port:
        raise KilnctlError(
            f"{args.oven}: say which port the I/O board is on (--port, or rig: {{kind: board, port: …}}), "
            "best by its name in /dev/serial/by-id"
        )
    if args.test:
        return _test(oven, port, args.yes)
    line = Line(port)
    try:
        answer = greet(line)
        if args.clear:
            return _clear(line)
        _show(oven, answer)
        return 1 if answer.faults else 0
    finally:
        line.close()


def _copy(here: Path, target: Path) -> int:
    if not target.is_dir():
        raise KilnctlError(f"{target}: there is no such folder")
    for name in FIRMWARE:
        try:
            (target / name).write_text((here / name).read_text(encoding="utf-8"), encoding="utf-8")
        except OSError as error:
            raise KilnctlError(f"{target / name}: cannot be written: {error.strerror}") from None
        print(f"copied {target / name}")
    print("\nLook at the pin numbers, mains frequency and converters at the top of main.py, then restart the board.")
    print("Any way to put files on a MicroPython board will do as well; all of them belong side by side at the top.")
    return 0


def _show(oven, answer) -> None:

    print(f"state     {answer.state_word}{'; ' + '; '.join(answer.fault_words()) if answer.faults else ''}")
    print(
        f"up for    {answer.uptime_ms / 1000.0:.0f} s, last reset cause {answer.reset_cause}, boot {answer.boot:04x}, "
        f"{answer.bad_frames} damaged frames"
    )
    print(f"outputs   relays {answer.outputs & 0x3F:06b}, contactor {'closed' if answer.outputs & 0x80 else 'open'}")
    has = answer.inputs
    for name, bit, there, yes, no in (
        ("contactor", frames.IN_CONTACTOR, frames.HAS_CONTACTOR, "reads closed", "reads open"),
        ("door", frames.IN_DOOR, frames.HAS_DOOR, "open", "closed"),
        ("airflow", frames.IN_AIRFLOW, frames.HAS_AIRFLOW, "proved", "not proved"),
    ):
        print(f"{name:9s} {(yes if has & bit else no) if has & there else 'not wired'}")
    print(f"ceiling   {f'{answer.ceiling_c} °C, as the sensors read' if answer.ceiling_c else 'not set yet'}")
    wired = [
        name
        for bit, name in (
            (frames.HAS_CURRENT, f"current {answer.current_a:.2f} A"),
            (frames.HAS_SUPPLY, f"supply {answer.supply_v:.1f} V"),
        )
        if answer.meters & bit
    ]
    print(f"meters    {', '.join(wired) or 'not wired'}")
    print(
        f"mains     {answer.mains_hz} Hz, "
        f"{'zero crossings seen' if has & frames.IN_ZERO_CROSS else 'cycles timed by the board’s own clock'}"
    )
    sensors = (oven.sensors.control, oven.sensors.limit, oven.sensors.part)
    for name, sensor, (chip, count, raw) in zip(("control", "limit", "part"), sensors, answer.raw, strict=True):
        if sensor is None:
            continue
        now = converters.take_conversion(sensor, converters.ConverterState(), raw, count)
        said = f"{now.value_c:.1f} °C" if not now.faults else "FAULT: " + ", ".join(now.faults)
        cold = f", terminals {now.cold_c:.1f} °C" if now.cold_c is not None else ""
        print(f"{name:9s} {said}{cold} ({({1: 'max31855', 2: 'max31856'}).get(chip, 'no converter')}, raw {raw.hex()})")


def _clear(line) -> int:

    answer = line.ask(CLEAR)
    if answer is None:
        raise KilnctlError(f"{line.port}: no answer")
    if answer.refused:
        raise KilnctlError(
            f"{line.port}: not cleared: {REFUSALS.get(answer.refused, 'it does not say why')} "
            f"({'; '.join(answer.fault_words())})"
        )
    print(f"cleared; the board is {answer.state_word}")
    return 0


_STEPS = (
    (
        "relay on, contactor open",
        0.5,
        False,
        "Does the relay's lamp flicker, and is there NO voltage at the heater's terminals?",
    ),
    (
        "relay off, contactor closed",
        0.0,
        True,
        "Did the contactor pull in, and is there NO voltage at the heater's terminals (but a relay's leakage)?",
    ),
    ("both on, half power", 0.5, True, "Does the relay's lamp flicker with the contactor in?"),
    ("both off", 0.0, False, "Did the contactor drop out, and is the relay's lamp dark?"),
)


def _test(oven, port: str, yes: bool) -> int:

    print(
        "Guided test of the I/O board. The heater must be DISCONNECTED: take its wires off and insulate them with "
        "the supply switched off\nand locked. Work on the mains is for those who may do it where you live. "
        "A lamp of 40 W or more in the heater's place shows what flows."
    )
    if not _asked("Is the heater disconnected?", yes):
        print("Not tested.")
        return 1
    failed = []
    rig = BoardRig(oven, port=port)
    try:
        for number, (what, duty, closed, question) in enumerate(_STEPS, 1):
            print(f"\n{number}. {what}")
            reading = _commanded(rig, duty, closed)
            if reading.contactor_closed is not None and reading.contactor_closed != closed:
                failed.append(f"{what}: the contactor reads {'closed' if reading.contactor_closed else 'open'}")
            if "board-fault" in reading.faults:
                failed.append(f"{what}: the board says {rig.words()}")
                break
            if not _asked("   " + question, yes):
                failed.append(f"{what}: not as it should be")
        if not failed:
            failed += lets_go(rig)
        _show_sensors(rig.read())
        if not _asked("   Does each of them rise when it is warmed, and none of the others?", yes):
            failed.append("sensors: not as they should be")
    finally:
        rig.close()
    for words in failed:
        print(f"FAILED: {words}")
    print(
        "\nThe test passed. Connect the heater with the supply off, and go through the commissioning checks in "
        "SAFETY.md."
        if not failed
        else "\nNot passed: leave the heater disconnected."
    )
    return 1 if failed else 0


def _commanded(rig: BoardRig, duty: float, closed: bool) -> Reading:
    """Send that command for three seconds, as the control loop would. Returns the last reading."""
    end, step = time.monotonic() + 3.0, 0
    while True:
        step += 1
        now = time.monotonic()
        rig.contactor(closed)
        rig.heat(duty, Burst(50, (round(50 * duty),), (), duty), desk_permit(now, step) if duty else None)
        time.sleep(0.3)
        reading = rig.read()
        if time.monotonic() >= end:
            return reading


def _show_sensors(reading: Reading) -> None:
    print("\nsensors: hold each tip in your hand; its reading should rise.")
    for name, value in (("control", reading.chamber_c), ("limit", reading.limit_c), ("part", reading.part_c)):
        if value is not None:
            fault = f"FAULT {', '.join(reading.faults)}"
            print(f"   {name:8s} {f'{value:.1f} °C' if math.isfinite(value) else fault}")


def lets_go(rig: BoardRig) -> list[str]:
    """Heat, then send nothing, as a hung program would: the board must switch off relay and contactor by itself and
    latch."""

    print(
        "\n5. relay and contactor on, and then this program stops deciding: the board must let go by itself within "
        "2.1 s"
    )
    for step in range(1, 8):
        now = time.monotonic()
        rig.contactor(True)
        rig.heat(0.5, Burst(50, (25,), (), 0.5), desk_permit(now, step))
        time.sleep(0.15)
    time.sleep(2.3)
    reading = rig.read()
    failed = []
    if "board-fault" not in reading.faults or reading.contactor_closed:
        failed.append("the board did not switch the heat off when the program stopped: DO NOT USE IT")
    rig.clear()
    time.sleep(0.5)
    if "board-fault" in rig.read().faults:
        failed.append(f"the board's fault could not be cleared: {rig.words()}")
    print(f"   {'it did not' if failed else 'it let go, latched, and was cleared'}")
    return failed


def _asked(question: str, yes: bool) -> bool:
    if yes:
        print(f"{question} [yes]")
        return True
    try:
        return input(f"{question} [y/N] ").strip().lower() in ("y", "yes")
    except EOFError:
        return False
