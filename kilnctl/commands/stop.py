"""`kilnctl stop OVEN`: cut the heat now."""

from ._asking import arguments, asked, me, told

__all__ = ["arguments", "run"]


def run(args) -> int:
    return told(asked(args, {"ask": "stop", "by": me()}))
