"""The command line: which commands there are, and how each is parsed."""

import argparse
import difflib
from importlib import import_module
from typing import Any

from .. import __version__
from ..terms import ExitStatus
from ._options import units_option

#: command → what it is for. The order is the order in which a maker needs them.
COMMANDS = {
    "new": "answer some fifteen questions, get a description of your oven",
    "check": "read an oven and a schedule, and say everything that is wrong with them",
    "size": "how hot will it get, how fast, and where do the watts go",
    "wind": "which wire, how much of it, and what coil: elements to wind yourself",
    "materials": "list the insulation library",
    "rehearse": "run a schedule on a virtual oven, in simulated time",
    "study": "the same on many ovens, drawn from what is not known about this one",
    "learn": "commissioning run: learn how this oven behaves",
    "fit": "fit the oven's model to records of real runs",
    "models": "what the oven's runs have taught its model: versions, pin, undo, compare",
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


_EPILOG = """`kilnctl COMMAND --help` explains one command.
Read SAFETY.md (`kilnctl safety`) before you connect anything.

exit status:
""" + "\n".join(f"  {status:>3}  {status.words}" for status in ExitStatus)


class AnyOrder(argparse.ArgumentParser):
    """A parser that takes files and options in any order: argparse alone refuses `run OVEN --rig virtual SCHEDULE`,
    because it gives up optional positionals at the first option."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._mixes = False

    # The base's overloads cannot be repeated for a namespace of Any.
    def parse_known_args(  # pyright: ignore[reportIncompatibleMethodOverride]
        self, args: Any = None, namespace: Any = None
    ) -> Any:
        # The first of the two passes hides the defaults that the help names.
        if self._mixes or {"-h", "--help"} & set(args or ()):
            return super().parse_known_args(args, namespace)
        self._mixes = True
        try:
            parsed, rest = self.parse_known_intermixed_args(args, namespace)
        finally:
            self._mixes = False
        if rest:
            # The base leaves this to the parser of all commands, which shows its own usage.
            # After a wrong option nothing tells its value from a file.
            wrong = [word for word in rest if word.startswith("-")] or rest
            self.error(f"{', '.join(wrong)}: not known here{self._nearest(wrong[0])}")
        return parsed, rest

    def _nearest(self, word: str) -> str:
        options = [option for action in self._actions for option in action.option_strings]
        near = difflib.get_close_matches(word.split("=")[0], options, 1)
        return f"; did you mean {near[0]}?" if near else f"; see {self.prog} --help"


def whole_parser() -> argparse.ArgumentParser:
    """The parser with every command's arguments, for completion and documentation; this takes a second."""
    return parser_of(*COMMANDS)


def parser_of(*chosen: str | None) -> argparse.ArgumentParser:
    """The parser with the arguments of the chosen commands only: each command is imported when it is used."""
    parser = argparse.ArgumentParser(
        prog="kilnctl",
        description="Size, rehearse, commission, run and prove a small electric oven.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"kilnctl {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=AnyOrder)
    for name, purpose in COMMANDS.items():
        command = commands.add_parser(name, help=purpose, description=purpose[0].upper() + purpose[1:] + ".")
        if name in chosen:
            import_module(f".{name}", __package__).arguments(command)
            if name not in _WITHOUT_UNITS:
                units_option(command)
    return parser
