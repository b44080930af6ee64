"""`kilnctl proceed OVEN`: go on after a hold."""

from ._asking import arguments, asked, me, told

__all__ = ["arguments", "run"]


def run(args) -> int:
    return told(asked(args, {"ask": "proceed", "by": me()}))
