"""`kilnctl board OVEN`: the I/O board's firmware, its state, and a guided test with the heater disconnected."""

import argparse
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..firmware import frames
from ..rig import converters
from ..rig.answers import REFUSALS
from ..rig.board_rig import BoardRig
from ..rig.desk import opened_again
from ..rig.line import CLEAR, Line, greet
from ..rig.pins import PinsRig
from ..terms import ExitStatus
from . import _guided_test

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
    parser.add_argument("--who", metavar="NAME", help="with --test: who looks and measures, for the record")
    parser.add_argument(
        "--record", metavar="FILE", type=Path, help="with --test: where its record is kept (beside the oven's file)"
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
    if args.test and oven.rig.kind == "pins" and not args.port:
        return _test(oven, None, args)
    if not port:
        raise KilnctlError(
            f"{args.oven}: say which port the I/O board is on (--port, or rig: {{kind: board, port: …}}), "
            "best by its name in /dev/serial/by-id"
        )
    if args.test:
        return _test(oven, port, args)
    line = Line(port)
    try:
        answer = greet(line)
        if args.clear:
            return _clear(line)
        _show(oven, answer)
        return ExitStatus.ANSWER_NO if answer.faults else ExitStatus.DONE
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


def _test(oven, port: str | None, args: argparse.Namespace) -> int:
    """Run the guided test, on the board at that port or on this computer's own pins."""
    _guided_test.needs_a_person(port)
    record = args.record or Path(args.oven).with_suffix(".board-tests.jsonl")

    if port is None:
        return _guided_test.GuidedTest(oven, lambda: PinsRig(oven), lambda: PinsRig(oven), record, args.who).run()

    def again() -> BoardRig:
        return opened_again(lambda: Line(port), lambda line: BoardRig(oven, line=line))

    return _guided_test.GuidedTest(oven, lambda: BoardRig(oven, port=port), again, record, args.who).run()
