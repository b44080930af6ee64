"""`kilnctl notify OVEN FILE`: messages to people who are not at the oven. A process of its own, separate from the
service."""

import argparse
import datetime
import signal
import sys
import threading
import time
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..notify import watch
from ..notify.postman import Postman, try_all
from ..record import care
from ..record.kept_aside import read_kept_aside
from ..service import operating_system
from ..service.socket_server import ask
from ..settings.notification import load_notify
from ..terms import ExitStatus
from . import _options


def arguments(parser: argparse.ArgumentParser) -> None:
    _options.oven(parser)
    parser.add_argument("file", help="who is told what, and how (YAML); see configs/notify.yaml")
    parser.add_argument("--home", metavar="DIR", help="the service's --home, if it was given one")
    parser.add_argument(
        "--test", action="store_true", help="send a trial message on each channel, say how it went, and end"
    )
    parser.add_argument("--quiet", action="store_true", help="say only what matters")


def run(args: argparse.Namespace) -> int:
    oven, file = load_oven(args.oven), load_notify(args.file)
    if args.test:
        return _trial(file)
    home, socket = operating_system.places(oven.name, args.home)

    def tell(words: str) -> None:
        if not args.quiet or "not sent" in words or "damaged" in words or "cannot" in words:
            print(f"{time.strftime('%H:%M:%S')}  {words}", file=sys.stderr, flush=True)

    def answer() -> dict | None:
        try:
            return ask(socket, {"ask": "status"}, 5.0)
        except (KilnctlError, OSError, ValueError):
            return None

    ending = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: ending.set())
    postman = Postman(file, home / "notify" / "waiting.json", tell, lambda name: _aside(name or oven.name, home))
    if not args.quiet:
        print(f"telling of {oven.name} by {', '.join(c.name for c in file.channels)}", flush=True)
    try:
        postman.run(answer, ending)
    finally:
        postman.close()
    return 0


def _trial(file) -> int:
    said = try_all(file)
    for name, failure in said.items():
        failure = failure.removeprefix(f"{name}: ")
        print(f"{name}: {'NOT sent: ' + failure if failure else 'sent; look whether it arrived'}")
    return ExitStatus.ANSWER_NO if any(said.values()) else ExitStatus.DONE


def _aside(oven: str, home: Path) -> list[watch.Notice]:
    """What else there is to report: tests of SAFETY.md that are due, runs from which nothing was learned."""
    found = watch.learning(oven, read_kept_aside(home), time.time())
    try:
        return found + watch.reminders(oven, care.due(care.read_log(home)[0], datetime.date.today()))
    except KilnctlError:
        return found
