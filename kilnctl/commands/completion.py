"""`kilnctl completion SHELL`: a script that completes commands and options. Extra `completion`."""

import argparse
import sys

from ..errors import KilnctlError
from .command_line import whole_parser

#: Where each shell looks for the script; shown to the user.
_USE = {
    "bash": "kilnctl completion bash > ~/.local/share/bash-completion/completions/kilnctl",
    "zsh": "kilnctl completion zsh > DIR/_kilnctl, with DIR in $fpath",
    "tcsh": "kilnctl completion tcsh > FILE, and 'source FILE' in ~/.tcshrc",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("shell", choices=tuple(_USE), help="the shell that is to complete")


def run(args: argparse.Namespace) -> int:
    try:
        import shtab  # noqa: PLC0415 - of the extra, which need not be there
    except ImportError:
        raise KilnctlError("this needs the extra 'completion': pip install 'kilnctl[completion]'") from None
    print(shtab.complete(whole_parser(), shell=args.shell))
    print(f"to use it: {_USE[args.shell]}", file=sys.stderr)
    return 0
