"""`kilnctl size OVEN`: how hot, how fast, where the watts go."""

import argparse
import json
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..report.sizing_text import sizing_json, sizing_pictures, sizing_text
from ..sizing import size
from ._options import chosen


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
        print(json.dumps(sizing_json(sizing), indent=2, ensure_ascii=False))
    else:
        print(sizing_text(sizing, units))
    if args.out:
        folder = Path(args.out)
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for name, text in sizing_pictures(sizing, units).items():
                (folder / name).write_text(text, encoding="utf-8")
        except OSError as error:
            raise KilnctlError(f"{folder}: pictures cannot be written there: {error.strerror}") from None
        if not args.json:
            print(f"\npictures: {folder}/")
    return 0
