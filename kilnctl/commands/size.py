"""`kilnctl size OVEN`: how hot, how fast, where the watts go."""

import argparse
import json
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..output import chosen
from ..report.sizing_text import as_dict, as_text, pictures
from ..sizing import size


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("--json", action="store_true", help="for programs; SI units in the names")
    parser.add_argument(
        "--out", metavar="DIR", help="also write pictures there: power against temperature, and through each wall (SVG)"
    )


def run(args: argparse.Namespace) -> int:

    oven = load_oven(args.oven)
    units = chosen(args, oven)
    sizing = size(oven)
    if args.json:
        print(json.dumps(as_dict(sizing), indent=2, ensure_ascii=False))
    else:
        print(as_text(sizing, units))
    if args.out:
        folder = Path(args.out)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, text in pictures(sizing, units).items():
                (folder / name).write_text(text, encoding="utf-8")
        except OSError as error:
            raise KilnctlError(f"{folder}: pictures cannot be written there: {error.strerror}") from None
        if not args.json:
            print(f"\npictures: {folder}/")
    return 0
