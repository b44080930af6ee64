"""`kilnctl soak OVEN 10min`: make the present soak longer."""

from ..errors import KilnctlError
from ..units import UnitError, parse
from . import _asking


def arguments(parser) -> None:
    _asking.arguments(parser)
    parser.add_argument("longer", help="how much longer, such as '10 min'")


def run(args) -> int:

    try:
        seconds = parse(args.longer, "time")
    except UnitError as error:
        raise KilnctlError(f"soak: {error}") from None
    return _asking.told(_asking.asked(args, {"ask": "soak", "seconds": seconds, "by": _asking.me()}))
