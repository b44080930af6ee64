"""`kilnctl acknowledge OVEN --who NAME`: clear a trip whose cause is gone."""

import time

from . import _asking

#: How long hardware may take to clear a latch of its own, s.
PATIENCE_S = 5


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("--who", required=True, metavar="NAME", help="who has seen to the cause, for the record")
    parser.add_argument(
        "--reading-is-right",
        action="store_true",
        help="another thermometer shows that the chamber is where the reading says; for a jump or "
        "fall of the reading of which nobody knows any more where it began",
    )


def run(args) -> int:
    question = {"ask": "acknowledge", "by": args.who, "reading_is_right": args.reading_is_right}
    answer = _asking.asked(args, question)
    for _ in range(PATIENCE_S):
        if not answer.get("again"):
            break
        # The hardware has its own latch, which must be cleared first.
        time.sleep(1.0)
        answer = _asking.asked(args, question)
    return _asking.told(answer)
