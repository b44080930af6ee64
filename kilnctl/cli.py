"""The command line: parse, call, print. Each command is a module of `kilnctl.commands`, imported when it is used."""

import argparse
import difflib
import os
import sys
from importlib import import_module

# Matrices here are small: threads of the linear algebra would only wait for each other. numpy reads this when it is
# imported first, which is after this line.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from .commands._wrapping import wrapping
from .commands.command_line import COMMANDS, parser_of
from .errors import KilnctlError
from .output import METRIC, Units
from .terms import ExitStatus


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
    """Run one command: that of the command line, to which the whole process belongs then, or `arguments` in a process
    that does other things too. Returns its exit status, see `kilnctl.terms.ExitStatus`."""
    own_process = arguments is None
    arguments = sys.argv[1:] if arguments is None else arguments
    chosen = next((a for a in arguments if not a.startswith("-")), None)
    parsed = argparse.Namespace()
    try:
        if chosen is not None and chosen not in COMMANDS:
            near = difflib.get_close_matches(chosen, COMMANDS, 1)
            hint = f"; did you mean {near[0]}?" if near else ""
            raise KilnctlError(f"kilnctl: there is no command '{chosen}'{hint}\nnext: kilnctl --help")
        parsed = parser_of(chosen).parse_args(_joined(arguments))
        parsed.own_process = own_process
        with wrapping(parsed.command):
            status = import_module(f".commands.{parsed.command}", __package__).run(parsed)
        sys.stdout.flush()
        return status
    except KilnctlError as error:
        print(_units(parsed).words(str(error)), file=sys.stderr)
        return ExitStatus.NOT_POSSIBLE
    except KeyboardInterrupt:
        print("interrupted", file=sys.stderr)
        return ExitStatus.ENDED
    except BrokenPipeError:
        # The reader of the output has closed it (`kilnctl size … | head`): no error, and nothing more can be printed.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return ExitStatus.DONE
    except MemoryError:
        print("this computer ran out of memory", file=sys.stderr)
        return ExitStatus.NOT_POSSIBLE
    except Exception as error:
        if os.environ.get("KILNCTL_DEBUG"):
            raise
        if isinstance(error, OSError) and error.filename is not None:
            print(f"{error.filename}: {error.strerror}; may this user read and write there?", file=sys.stderr)
            return ExitStatus.NOT_POSSIBLE
        print(
            f"kilnctl met a fault of its own: {type(error).__name__}: {error}\n"
            "Please report it; KILNCTL_DEBUG=1 in the environment shows where it happened.",
            file=sys.stderr,
        )
        return ExitStatus.NOT_POSSIBLE
