"""`kilnctl hold OVEN`: stay at the present temperature."""

from ._asking import arguments, asked, me, told

__all__ = ["arguments", "run"]


def run(args) -> int:
    return told(asked(args, {"ask": "hold", "by": me()}))
