"""`kilnctl examples DIR`: the workshop's ovens and schedules, to try and to copy from."""

import argparse
import shutil
from pathlib import Path

from ..errors import KilnctlError
from ..output import typed
from ._shipped import shipped


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="DIR", help="folder to write them to; files that are there stay as they are")


def run(args: argparse.Namespace) -> int:
    source, target = shipped("configs"), Path(args.folder)
    if target.exists() and not target.is_dir():
        raise KilnctlError(f"{target}: this is a file; name a folder, which is made if it is not there")
    written, kept = 0, []
    try:
        for file in sorted(p for p in source.rglob("*") if p.is_file() and "__pycache__" not in p.parts):
            place = target / file.relative_to(source)
            if place.exists():
                kept.append(place)
                continue
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, place)
            written += 1
    except OSError as error:
        raise KilnctlError(f"{error.filename or target}: cannot be written: {error.strerror}") from None
    print(
        f"{written} files written below {target}" + (f"; {len(kept)} were there and stay as they are" if kept else "")
    )
    oven, schedule = target / "ovens" / "curing-cabinet.yaml", target / "schedules" / "powder-cure.yaml"
    print(f"\nnext: kilnctl rehearse {typed(oven, schedule)}")
    return 0
