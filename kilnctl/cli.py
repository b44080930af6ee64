"""The command line: parse, call, print. Each command is a module of `kilnctl.commands`, imported when it is used."""

import argparse
import os
import sys
from importlib import import_module

from . import __version__
from .commands._options import units_option
from .errors import KilnctlError
from .output import METRIC, Units

#: command → what it is for. The order is the order in which a maker needs them.
COMMANDS = {
    "new": "answer some fifteen questions, get a description of your oven",
    "check": "read an oven and a schedule, and say everything that is wrong with them",
    "size": "how hot will it get, how fast, and where do the watts go",
    "materials": "list the insulation library",
    "rehearse": "run a schedule on a virtual oven, in simulated time",
    "study": "the same on many ovens, drawn from what is not known about this one",
    "learn": "commissioning run: learn how this oven behaves",
    "fit": "fit the oven's model to records of real runs",
    "board": "the I/O board: its firmware, its state, a guided test",
    "run": "run a schedule on the oven, in real time",
    "notify": "tell people who are not there: mail, web hook, broker, a command",
    "panel": "a page for the screen next to the oven, a phone, a desk",
    "status": "what a running oven does now",
    "start": "start a schedule on a waiting service",
    "stop": "cut the heat now and end the run",
    "hold": "stay at the present temperature until `kilnctl proceed`",
    "proceed": "go on after a hold",
    "skip": "go on to the next step of the schedule, at its own rate",
    "soak": "make the present soak longer",
    "acknowledge": "clear a trip whose cause is gone",
    "report": "one page of evidence from a run's record",
    "survey": "how even the oven is, from loose thermocouples over a soak",
    "accuracy": "the control sensor against a calibrated one next to it",
    "history": "runs of one oven, and how it ages",
    "due": "the tests of SAFETY.md that come round: which are due, who did them",
    "export": "the measured columns of one or many runs in one table",
    "examples": "the workshop's ovens and schedules, to try and to copy from",
    "safety": "SAFETY.md: read it before you connect anything",
    "doctor": "what is wrong on this computer, and what to do",
    "completion": "a script that completes commands and options in your shell",
    "schema": "print a JSON Schema, for editors that complete and check",
}

#: Commands that print no quantities with a choice of units.
_WITHOUT_UNITS = (
    "new",
    "board",
    "notify",
    "panel",
    "schema",
    "examples",
    "safety",
    "doctor",
    "completion",
    "export",
    "due",
)


def whole_parser() -> argparse.ArgumentParser:
    """With every command's arguments, which takes a second: for what describes the command line."""
    return _parser(*COMMANDS)


def _parser(*chosen: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="kilnctl",
        description="Size, rehearse, commission, run and prove a small electric oven.",
        epilog="`kilnctl COMMAND --help` explains one command. Read SAFETY.md before you connect anything.",
    )
    parser.add_argument("--version", action="version", version=f"kilnctl {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, purpose in COMMANDS.items():
        command = commands.add_parser(name, help=purpose, description=purpose[0].upper() + purpose[1:] + ".")
        if name in chosen:
            import_module(f".commands.{name}", __package__).arguments(command)
            if name not in _WITHOUT_UNITS:
                units_option(command)
    return parser


def _joined(arguments: list[str]) -> list[str]:
    """`--offset -90s` as `--offset=-90s`: argparse takes a value that begins with a minus and contains no blank as an
    option."""
    out = []
    for argument in arguments:
        if out and out[-1] == "--offset" and argument.startswith(("-", "−")) and argument[1:2].isdigit():
            out[-1] += f"={argument}"
        else:
            out.append(argument)
    return out


def _units(parsed: argparse.Namespace) -> Units:
    """The units of a command's messages: those that it has chosen so far, else those asked for."""
    return getattr(parsed, "shown", None) or Units(getattr(parsed, "units", None) or METRIC)


def main(arguments: list[str] | None = None) -> int:
    """Run one command. Returns its exit status: 0 done, 1 done but the answer is no (a trip, a failed check), 2 cannot
    be done as asked, 130 interrupted."""
    arguments = sys.argv[1:] if arguments is None else arguments
    chosen = next((a for a in arguments if not a.startswith("-")), None)
    parsed = argparse.Namespace()
    try:
        parsed = _parser(chosen).parse_args(_joined(arguments))
        status = import_module(f".commands.{parsed.command}", __package__).run(parsed)
        sys.stdout.flush()
        return status
    except KilnctlError as error:
        print(_units(parsed).words(str(error)), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of the output has closed it (`kilnctl size … | head`): no error, and nothing more can be printed.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except MemoryError:
        print("this computer ran out of memory", file=sys.stderr)
        return 2
    except Exception as error:
        if os.environ.get("KILNCTL_DEBUG"):
            raise
        print(
            f"kilnctl met a fault of its own: {type(error).__name__}: {error}\n"
            "Please report it; KILNCTL_DEBUG=1 in the environment shows where it happened.",
            file=sys.stderr,
        )
        return 2
