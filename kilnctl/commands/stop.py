"""`kilnctl stop OVEN`: cut the heat now."""

from ..errors import KilnctlError
from ._asking import arguments, asked, me, told

__all__ = ["arguments", "run"]


def run(args) -> int:
    try:
        return told(asked(args, {"ask": "stop", "by": me()}))
    except KilnctlError as error:
        # Who asks for a stop must not look for a program while the oven heats.
        raise KilnctlError(f"NOT STOPPED. If the oven may be heating: main switch off.\n{error}") from None
