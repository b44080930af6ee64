"""The greater and the lesser of two numbers, for what runs every tick: the built-in max and min take three times as
long, and a tick asks a hundred times."""

from typing import TypeVar

NumberT = TypeVar("NumberT", int, float)


def greater(a: NumberT, b: NumberT) -> NumberT:
    """As max(a, b), with NaN too: b where it is greater, else a."""
    return b if b > a else a


def lesser(a: NumberT, b: NumberT) -> NumberT:
    """As min(a, b), with NaN too: b where it is less, else a."""
    return b if b < a else a
