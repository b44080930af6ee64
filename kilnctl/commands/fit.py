"""`kilnctl fit OVEN RECORD…`: the oven's model from records of real runs, and how far to trust it."""

import argparse
import datetime

from ..body import load_oven
from ..errors import KilnctlError
from ..identification.fitting import fit
from ..identification.records import as_log
from ..identification.validation import predicted_on
from ..model.trained_file import load_model, save_model, trained
from ..output import typed
from ..report.fit_text import fit_picture, fit_text, models_compared
from ..terms import ExitStatus
from ._files import write_text
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("records", nargs="+", metavar="RECORD", help="a run's folder, or a CSV file")
    parser.add_argument(
        "--columns",
        metavar="ROLE=NAME[:UNIT],…",
        help="what a CSV's columns are: time, chamber, and power, fired or duty; also room, "
        "supply, door. For example time=t:min,chamber=T1:F,power=P:kW",
    )
    parser.add_argument(
        "--loaded",
        action="store_true",
        help="the usual load was in the oven (CSV files only; our own records say it)",
    )
    parser.add_argument("--save", metavar="FILE", help="write the trained model there (YAML)")
    parser.add_argument("--previous", metavar="FILE", help="an earlier trained model, to say what changed")
    parser.add_argument(
        "--edited-model", action="store_true", help="accept a previous model whose checksum does not fit"
    )
    parser.add_argument("--picture", metavar="FILE", help="write a picture of measured against free run there (SVG)")
    parser.add_argument(
        "--on",
        metavar="RECORD",
        action="append",
        default=[],
        help="a record that is not fitted, only predicted; may be given again",
    )
    parser.add_argument("--quick", action="store_true", help="leave out the validation on held-out parts")


def run(args: argparse.Namespace) -> int:

    oven = load_oven(args.oven)
    u = chosen(args, oven)
    columns = _columns(args.columns)
    load = oven.usual_load if args.loaded else None
    previous = load_model(args.previous, oven, args.edited_model) if args.previous else None
    logs = [as_log(oven, record, columns, load) for record in args.records]
    others = [as_log(oven, record, columns, load) for record in args.on]
    found = fit(oven, logs, previous=previous, validate=not args.quick)
    print(fit_text(found, u))
    kept = trained(found, datetime.date.today().isoformat())
    for log in others:
        error = predicted_on(oven, kept, log)
        print(
            f"\n{log.name}, not fitted: the model alone misses it by {u.difference(error.rms_k)} rms, "
            f"{u.difference(error.worst_k, 1)} at worst ({100 * error.share:.2f} % of its highest temperature)"
        )
    if previous is not None:
        print("\nSince the last fit:")
        for line in models_compared(previous, kept.for_load(oven, previous.load), found.low_c, found.high_c, u):
            print(f"  {line}")
        if previous.edited:
            print("  (the previous model's file was edited since it was fitted)")
    if args.save:
        save_model(args.save, kept)
        print(f"\nmodel: {args.save}")
    if args.picture:
        write_text(args.picture, fit_picture(found, u))
        print(f"picture: {args.picture}")
    if not found.converged:
        print("\nnext: look at the warnings above, and give more records: a learning run tells most (kilnctl learn)")
    elif args.save:
        print(f"\nnext: kilnctl check {typed(args.oven)} SCHEDULE --model {typed(args.save)}")
    else:
        print("\nnext: give --save FILE too, to keep this model")
    return ExitStatus.DONE if found.converged else ExitStatus.ANSWER_NO


def _columns(text: str | None) -> dict[str, str]:
    if not text:
        return {}
    out = {}
    for part in text.split(","):
        role, mark, name = part.partition("=")
        if not mark or not role.strip() or not name.strip():
            raise KilnctlError(f"--columns: '{part}' should be ROLE=NAME or ROLE=NAME:UNIT, such as chamber=T1:F")
        out[role.strip()] = name.strip()
    return out
