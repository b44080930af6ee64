"""`kilnctl models OVEN`: what the oven's runs have taught its model: versions, which one is in use, and why others are
not."""

import argparse
import datetime
import math
from dataclasses import replace
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..identification.records import as_log
from ..identification.validation import predicted_on
from ..model.day_zero import day_zero
from ..model.trained_file import TrainedModel, load_model, runs_words
from ..output import Units, typed
from ..record.model_store import EARLIER, Ledger, ModelStore, store_of
from ..report.fit_text import models_compared
from ..service.operating_system import places
from ..settings.oven import Oven
from . import _options
from ._options import chosen

#: So many runs that taught nothing are listed, the newest.
REFUSED_SHOWN = 5


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")
    parser.add_argument(
        "--virtual", action="store_true", help="what runs on the virtual rig have taught (it counts for that rig alone)"
    )
    change = parser.add_mutually_exclusive_group()
    change.add_argument(
        "--pin", type=int, metavar="N", help="use model N (0: the description's) until --unpin; later ones wait"
    )
    change.add_argument("--unpin", action="store_true", help="let runs teach the model in use again")
    change.add_argument("--undo", action="store_true", help="go back to the model before the one in use")
    change.add_argument(
        "--add",
        metavar="FILE",
        help="put a trained model of yours to use (from `kilnctl fit --save`); later runs go on from it",
    )
    change.add_argument(
        "--compare",
        type=int,
        nargs=2,
        metavar=("A", "B"),
        help="what differs from model A to model B (0: the description's), and how each predicts the last runs",
    )


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven)
    u = chosen(args, oven)
    home, _ = places(oven.name, args.home)
    store = store_of(home, "virtual" if args.virtual else "real")
    if args.compare:
        first, second = args.compare
        _compare(store, oven, first, second, u)
        return 0
    if args.pin is not None:
        store.pin(args.pin)
    elif args.unpin:
        store.unpin()
    elif args.undo:
        undone, now = store.undo()
        print(f"model {undone} is undone; {_name(now)} is in use")
    elif args.add:
        today = datetime.date.today().isoformat()
        store.add_chosen(load_model(args.add, oven), oven, today, Path(args.add).name)
    _list(store, oven, u)
    return 0


def _name(number: int) -> str:
    return f"model {number}" if number else "the description's model"


def _list(store: ModelStore, oven: Oven, u: Units) -> None:
    ledger, (file, note) = store.ledger(), store.in_use(oven)
    used = ledger.version(ledger.in_use) if file else None
    head = f"{oven.name}: {_name(used.number if used else 0)} is in use"
    head += f", from {runs_words(used.runs)}" if used else ""
    print(head + (" (pinned)" if ledger.pinned else ""))
    if note:
        print(f"note: {note}")
    if not ledger.versions:
        print("no run has taught it anything yet")
    else:
        print(f"\n{'model':<7} {'state':<11} {'from':<8} {'made':<11} {'before':>9} {'after':>9}  run")
    for v in reversed(ledger.versions):
        mark = "*" if used is not None and v.number == used.number else ""
        before, after = (u.difference(math.nan if k is None else k) for k in (v.predicted_k, v.after_k))
        print(
            f"{f'{v.number}{mark}':<7} {v.state:<11} {runs_words(v.runs):<8} {v.made or 'undated':<11} {before:>9} "
            f"{after:>9}  {Path(v.run).name}"
        )
        if v.words:
            print(f"{'':<7} {u.words(v.words)}")
    _list_refused(ledger, u)


def _list_refused(ledger: Ledger, u: Units) -> None:
    taught = {v.run for v in ledger.versions}
    refused = [(run, words) for run, words in ledger.seen if run not in taught][-REFUSED_SHOWN:]
    if refused:
        print("\nNothing was learnt from:")
    for run, words in reversed(refused):
        print(f"  {Path(run).name}: {u.words(words)}")
    if ledger.versions:
        print("\n* in use; before, after: how far the model before, and this one, miss that run (rms of a free run)")


def _compare(store: ModelStore, oven: Oven, first: int, second: int, u: Units) -> None:
    old, new = (_version(store, oven, n) for n in (first, second))
    if old is None or new is None:
        other = old or new
        if other is None:
            raise KilnctlError("--compare: these are both the description's model")
        described = replace(other, model=day_zero(oven, other.load, other.working_c))
        old, new = old or described, new or described
    low_c, high_c = min(old.low_c, new.low_c), max(old.high_c, new.high_c)
    print(f"{oven.name}: from {_name(first)} to {_name(second)}")
    for line in models_compared(old, new.for_load(oven, old.load), low_c, high_c, u):
        print(f"  {line}")
    ledger = store.ledger()
    folders = [v.run for v in reversed(ledger.versions) if v.run and Path(v.run).is_dir()][:EARLIER]
    for folder in folders:
        log = as_log(oven, folder)
        missed = [u.difference(predicted_on(oven, model, log, own=1.0).rms_k) for model in (old, new)]
        print(f"  {Path(folder).name}: missed by {missed[0]} and by {missed[1]} rms")


def _version(store: ModelStore, oven: Oven, number: int) -> TrainedModel | None:
    if number and store.ledger().version(number) is None:
        raise KilnctlError(f"there is no model {number}; `kilnctl models {typed(oven.file or 'OVEN')}` lists them")
    return store.model(number, oven)
