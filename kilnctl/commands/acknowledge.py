"""`kilnctl acknowledge OVEN --who NAME`: clear a trip whose cause is gone."""

import time

from . import _asking

#: How long hardware may take to clear a latch of its own, s.
PATIENCE_S = 5


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("--who", required=True, metavar="NAME", help="who has seen to the cause, for the record")


def run(args) -> int:
    answer = _asking.asked(args, {"ask": "acknowledge", "by": args.who})
    for _ in range(PATIENCE_S):
        if not answer.get("again"):
            break
        # The hardware has a latch of its own that goes first.
        time.sleep(1.0)
        answer = _asking.asked(args, {"ask": "acknowledge", "by": args.who})
    return _asking.told(answer)
