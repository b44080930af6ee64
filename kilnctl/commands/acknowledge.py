"""`kilnctl acknowledge OVEN --who NAME`: clear a trip whose cause is gone."""

from . import _asking


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("--who", required=True, metavar="NAME", help="who has seen to the cause, for the record")


def run(args) -> int:
    return _asking.told(_asking.asked(args, {"ask": "acknowledge", "by": args.who}))
