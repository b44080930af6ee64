"""Values of a run.json or a journal, checked: a record may come from another version, another program, or a failing
card."""

import dataclasses
import math
import types
import typing

from ..errors import KilnctlError

#: No number in our records is larger, in any of its units.
LARGEST = 1e9


def number(value, otherwise: float = math.nan) -> float:
    """A finite number as a float; `otherwise` for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not -LARGEST * 1e6 < value < LARGEST * 1e6:
        return otherwise
    return float(value)


def words(value) -> str:
    """A text; empty for anything else."""
    return value if isinstance(value, str) else ""


def mapping(value) -> dict:
    """A mapping; empty for anything else."""
    return value if isinstance(value, dict) else {}


def built(kind: type, values, where: str):
    """The dataclass `kind` from a mapping of its fields. Raises KilnctlError, saying `where`, for unknown fields, and
    for values that do not fit them."""
    if not isinstance(values, dict):
        raise KilnctlError(f"{where} not ours (no mapping of names and values)")
    hints, made = typing.get_type_hints(kind), {}
    fields = {f.name: f for f in dataclasses.fields(kind)}
    for name, value in values.items():
        if name not in fields:
            raise KilnctlError(f"{where} not ours (unknown name '{str(name)[:40]}')")
        if (
            value is None
            and type(None) not in _options(hints[name])
            and fields[name].default is not dataclasses.MISSING
        ):
            continue  # a missing number is kept as null
        if not _fits(value, hints[name]) or not _within(value, fields[name].metadata):
            raise KilnctlError(f"{where} not ours ('{name}' cannot be {str(value)[:40]!r})")
        made[name] = value
    try:
        return kind(**made)
    except (TypeError, ValueError) as error:
        raise KilnctlError(f"{where} not ours ({error})") from None


def _options(hint) -> tuple:
    return (
        typing.get_args(hint)
        if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union
        else (hint,)
    )


def _within(value, bounds) -> bool:
    """Whether a number lies between the setting's own bounds."""
    low, high = bounds.get("low"), bounds.get("high")
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return True
    # A value converted from other units may pass a bound by its rounding.
    slack = 1e-9 * abs(value)
    return (low is None or value >= low - slack) and (high is None or value <= high + slack)


def _fits(value, hint) -> bool:
    for option in _options(hint):
        if (option is float and math.isfinite(number(value))) or (
            option is int and isinstance(value, int) and not isinstance(value, bool)
        ):
            return True
        if option in (str, bool, type(None)) and isinstance(value, option):
            return True
        if option not in (float, int, str, bool, type(None)):
            kind = typing.get_origin(option) or option
            if isinstance(kind, type) and isinstance(value, kind):
                return True
    return False
