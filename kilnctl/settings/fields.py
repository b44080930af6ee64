"""How a dataclass says what its YAML keys may hold. The reader, the schema printer and the docs all read this.

A field's attribute name carries the SI unit (`thickness_m`); its YAML key does not (`thickness: 76 mm`).
"""

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import MISSING, field
from typing import Any

from ..units import DIMENSIONS, parse

_SUFFIXES = (
    "_w_per_m2k",
    "_m2k_per_w",
    "_k_per_s",
    "_m3_per_s",
    "_m_per_s",
    "_j_per_kgk",
    "_j_per_kg",
    "_j_per_mol",
    "_kg_per_m3",
    "_w_per_k",
    "_w_per_mk",
    "_k_per_w",
    "_w_per_m2",
    "_ohm",
    "_kg",
    "_hz",
    "_m2",
    "_c",
    "_k",
    "_w",
    "_j",
    "_s",
    "_m",
    "_v",
    "_a2s",
    "_a",
    "_pa",
)


def yaml_key(name: str) -> str:
    """`thickness_m` → `thickness`; underscores become spaces: `dead_time_s` → `dead time`."""
    for suffix in _SUFFIXES:
        if name.endswith(suffix):
            name = name[: -len(suffix)]
            break
    return name.replace("_", " ")


def _make(kind: str, doc: str, default: Any, key: str | None, **extra: Any) -> Any:
    metadata = {"kind": kind, "doc": doc, "key": key, **extra}
    if default is MISSING:
        return field(metadata=metadata)
    return field(default=default, metadata=metadata)


def quantity(
    dimension: str,
    doc: str,
    *,
    default: Any = MISSING,
    low: float | None = None,
    high: float | None = None,
    assume: str | None = None,
    key: str | None = None,
    example: str | None = None,
) -> Any:
    """A number with a unit. `low` and `high` are inclusive, in the SI unit. `assume` says why the default is sensible;
    a default used with a reason is listed among the assumptions of the file. `example`: how one is written, where the
    dimension's usual example would mislead."""
    if dimension not in DIMENSIONS:
        raise KeyError(dimension)
    return _make("quantity", doc, default, key, dimension=dimension, low=low, high=high, assume=assume, example=example)


def positive(dimension: str, doc: str, high: float, **more: Any) -> Any:
    """A quantity above zero: the smallest accepted value is a millionth of a millionth of `high`."""
    return quantity(dimension, doc, low=high * 1e-12, high=high, **more)


def examples_of(f: dataclasses.Field) -> list[str]:
    """How a value of this quantity may be written, each within its bounds: its own example, the dimension's, else its
    default."""
    meta = f.metadata
    dimension = DIMENSIONS[meta["dimension"]]
    low, high = meta.get("low"), meta.get("high")

    def fits(text: str) -> bool:
        value = parse(text, meta["dimension"])
        return (low is None or value >= low) and (high is None or value <= high)

    written = [e for e in (meta.get("example") or dimension.example).split(" or ") if fits(e)]
    if written:
        return written
    if isinstance(f.default, float) and math.isfinite(f.default):
        value = f.default
    elif high is None:
        value = low
    else:
        value = high if low is None else 0.5 * (low + high)
    return [f"{value:g}" + ("" if dimension.unit == "1" else f" {dimension.unit}")]


def integer(doc: str, *, low: int, high: int, default: Any = MISSING, key: str | None = None) -> Any:
    return _make("integer", doc, default, key, low=low, high=high)


def text(doc: str, *, default: Any = MISSING, key: str | None = None, longest: int = 400) -> Any:
    return _make("text", doc, default, key, longest=longest)


def choice(
    options: tuple[str, ...],
    doc: str,
    *,
    default: Any = MISSING,
    assume: str | None = None,
    key: str | None = None,
    refused: Mapping[str, str] | None = None,
) -> Any:
    """One of some words. `refused`: what people ask for that is none of them (small letters) → why."""
    return _make("choice", doc, default, key, options=options, assume=assume, refused=refused or {})


def flag(doc: str, *, default: Any = MISSING, key: str | None = None) -> Any:
    return _make("flag", doc, default, key)


def one(cls: type, doc: str, *, default: Any = MISSING, key: str | None = None, bare: str | None = None) -> Any:
    """A mapping read into `cls`. With `bare`, something that is not a mapping is taken as the value of that
    attribute."""
    return _make("one", doc, default, key, cls=cls, bare=bare)


def many(
    cls: type, doc: str, *, default: Any = MISSING, key: str | None = None, fewest: int = 0, most: int = 200
) -> Any:
    """A list of mappings, each read into `cls`, kept as a tuple."""
    return _make("many", doc, default, key, cls=cls, fewest=fewest, most=most)


def numbers(doc: str, *, default: Any = MISSING, key: str | None = None) -> Any:
    """A list of plain finite numbers, kept as a tuple."""
    return _make("numbers", doc, default, key)


def points(
    argument: str,
    value: str,
    doc: str,
    *,
    default: Any = MISSING,
    key: str | None = None,
    low: float = 0.0,
    high: float,
) -> Any:
    """A mapping of quantity to quantity (`{200 °C: 0.06 W/(m·K), …}`) kept as a tuple of pairs in rising order.
    A single quantity stands for the same value everywhere and is kept as one pair with a NaN argument."""
    return _make("points", doc, default, key, argument=argument, dimension=value, low=low, high=high)


def setting_fields(cls: type) -> list[dataclasses.Field]:
    """The fields of `cls` that a file may set."""
    return [f for f in dataclasses.fields(cls) if "kind" in f.metadata]


def key_of(f: dataclasses.Field) -> str:
    return f.metadata["key"] or yaml_key(f.name)
