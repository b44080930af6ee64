"""Nodes → frozen dataclasses. Every problem of a file is collected before any is reported."""

import dataclasses
import difflib
import math
import re
from collections.abc import Callable
from dataclasses import MISSING, dataclass, field
from itertools import pairwise
from typing import Any

from ..output import IMPERIAL, METRIC, Units
from ..units import DIMENSIONS, UnitError, parse
from .document import Node, Problem, SettingsError
from .fields import examples_of, key_of, setting_fields

_BAD = object()  # a value that could not be read; its problem is already noted


def _plain(value: float, dimension: str) -> str:
    """A value with its SI unit, short lengths in mm."""
    unit = DIMENSIONS[dimension].unit
    if unit == "m" and value < 1.0:
        value, unit = 1000.0 * value, "mm"
    return f"{value:g}" + ("" if unit == "1" else f" {unit}")


@dataclass
class Reader:
    """One pass over one file. `assumptions` gathers the defaults that stand in for what the file does not say, `places`
    the line and column of everything it does say, by its path, `scales` the units of its temperatures, `rules` the
    problems that quote no text of the file and are told in the file's own units."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)
    places: dict[str, tuple[int, int]] = field(default_factory=dict)
    scales: list[str] = field(default_factory=list)
    rules: list[Problem] = field(default_factory=list)

    @property
    def units(self) -> str:
        """The file's units, by its temperatures: what most of them use; at a tie, what the first uses."""
        imperial = self.scales.count(IMPERIAL)
        return max(
            (METRIC, IMPERIAL),
            key=lambda u: (
                imperial if u == IMPERIAL else len(self.scales) - imperial,
                u == next(iter(self.scales), METRIC),
            ),
        )

    def problem(self, node: Node, message: str) -> Any:
        self.problems.append(Problem(self.file, node.line, node.column, message))
        return _BAD

    def read(self, cls: type, node: Node, path: str = "", extra: dict[str, Any] | None = None) -> Any:
        """An instance of `cls`, or `_BAD` with the problems noted."""
        if node.kind != "map":
            return self.problem(node, f"{path or 'the file'} wants 'key: value' lines, not {node.what}")
        wanted = {key_of(f): f for f in setting_fields(cls)}
        given: dict[str, tuple[Node, Node]] = {}
        for key_node, value_node in _with_commas(node.pairs):
            key = key_node.text if key_node.kind == "scalar" else ""
            if key not in wanted:
                self._unknown(key_node, wanted, path, getattr(cls, "GONE", {}))
            elif key in given:
                self.problem(key_node, f"'{key}' is given twice (first in line {given[key][0].line})")
            else:
                given[key] = (key_node, value_node)
        values: dict[str, Any] = dict(extra or {})
        for key, f in wanted.items():
            where = f"{path}.{key}" if path else key
            if key in given:
                self.places[where] = (given[key][1].line, given[key][1].column)
                values[f.name] = self._value(f, given[key][1], where)
            else:
                values[f.name] = self._default(f, node, where)
        if any(value is _BAD for value in values.values()):
            return _BAD
        made = cls(**values)
        places = {f.name: given[key][1] for key, f in wanted.items() if key in given}
        for name, message in getattr(made, "problems", lambda: ())():
            where = places.get(name, node)
            self.rules.append(Problem(self.file, where.line, where.column, message))
        return made

    def _unknown(self, key_node: Node, wanted: dict[str, Any], path: str, gone: dict[str, str]) -> None:
        if key_node.kind != "scalar":
            self.problem(key_node, "a key must be plain text")
            return
        if key_node.text in gone:
            self.problem(key_node, f"'{path}.{key_node.text}': {gone[key_node.text]}")
            return
        near = difflib.get_close_matches(key_node.text.lower().replace("_", " ").replace("-", " "), wanted, 1, 0.6)
        hint = f"did you mean '{near[0]}'?" if near else "known here: " + ", ".join(sorted(wanted))
        self.problem(key_node, f"unknown key '{key_node.text[:60]}'{' in ' + path if path else ''}; {hint}")

    def _default(self, f: dataclasses.Field, node: Node, where: str) -> Any:
        if f.default is MISSING:
            example = f": {' or '.join(examples_of(f))}" if f.metadata["kind"] == "quantity" else ""
            return self.problem(
                node,
                f"'{where}' is missing; it is {f.metadata['doc']}"
                + (f" (write for example{example})" if example else ""),
            )
        if f.metadata.get("assume"):
            shown = f.default
            if f.metadata["kind"] == "quantity" and isinstance(shown, float):
                dimension = f.metadata["dimension"]
                # As its reason says it: a tolerance in per cent, an emissivity as it stands.
                percent = dimension == "fraction" and "%" in f.metadata["assume"]
                shown = f"{100.0 * shown:g} %" if percent else _plain(shown, dimension)
            self.assumptions.append(f"{where}: {shown} ({f.metadata['assume']})")
        return f.default

    def _value(self, f: dataclasses.Field, node: Node, where: str) -> Any:
        return getattr(self, "_" + f.metadata["kind"])(f.metadata, node, where)

    def _scalar(self, node: Node, where: str) -> Any:
        if node.kind != "scalar":
            return self.problem(node, f"{where} wants one value, not {node.what}")
        if not node.text.strip() or (node.text.strip() in ("~", "null") and not node.quoted):
            return self.problem(node, f"{where} is empty; give a value or leave the key out")
        return node.text.strip()

    def _parse(self, node: Node, text: str, dimension: str, where: str, low: float | None, high: float | None) -> Any:
        try:
            value = parse(text, dimension)
        except UnitError as error:
            return self.problem(node, f"{where}: {error}")
        if dimension in ("temperature", "difference", "rate"):
            self.scales.append(IMPERIAL if re.search(r"[F℉]", text) else METRIC)
        # A bound is told in the units that the value is written in.
        units = Units(IMPERIAL if re.search(r"[F℉\"″'′]|in|f(oo|ee)?t|lb|oz", text) else METRIC)
        if low is not None and value < low:
            bound = (
                "must be above zero"
                if low > 0.0 >= value
                else f"must be at least {units.words(_plain(low, dimension))}"
            )
            return self.problem(node, f"{where}: {text} {bound}")
        if high is not None and value > high:
            return self.problem(
                node,
                f"{where}: {text} is more than {units.words(_plain(high, dimension))}, the most that is accepted here",
            )
        return value

    def _quantity(self, meta: Any, node: Node, where: str) -> Any:
        text = self._scalar(node, where)
        return text if text is _BAD else self._parse(node, text, meta["dimension"], where, meta["low"], meta["high"])

    def _integer(self, meta: Any, node: Node, where: str) -> Any:
        text = self._scalar(node, where)
        if text is _BAD:
            return _BAD
        if not text.lstrip("-").isdecimal() or len(text) > 12:
            return self.problem(node, f"{where}: '{text}' is not a whole number")
        if not meta["low"] <= int(text) <= meta["high"]:
            return self.problem(node, f"{where}: {text} must lie from {meta['low']} to {meta['high']}")
        return int(text)

    def _text(self, meta: Any, node: Node, where: str) -> Any:
        text = self._scalar(node, where)
        if text is not _BAD and len(text) > meta["longest"]:
            return self.problem(node, f"{where} is longer than {meta['longest']} characters")
        if text is not _BAD and any(ord(c) < 32 and c not in "\n\t" for c in text):
            return self.problem(node, f"{where} holds control characters")
        return text

    def _choice(self, meta: Any, node: Node, where: str) -> Any:
        text = self._scalar(node, where)
        if text is _BAD or text in meta["options"]:
            return text
        if text.lower() in meta["refused"]:
            return self.problem(node, f"{where}: {meta['refused'][text.lower()]}")
        near = difflib.get_close_matches(text.lower(), meta["options"], 1, 0.5)
        hint = f"; did you mean '{near[0]}'?" if near else ""
        return self.problem(node, f"{where}: '{text[:40]}' is none of: {', '.join(meta['options'])}{hint}")

    def _flag(self, meta: Any, node: Node, where: str) -> Any:
        text = self._scalar(node, where)
        if text is _BAD:
            return _BAD
        if text.lower() not in ("yes", "no", "true", "false"):
            return self.problem(node, f"{where}: '{text[:40]}' is neither yes nor no")
        return text.lower() in ("yes", "true")

    def _one(self, meta: Any, node: Node, where: str) -> Any:
        if meta["bare"] and node.kind != "map":
            # Shorthand: the value of the one attribute that matters, without a mapping around it.
            key = next(key_of(f) for f in setting_fields(meta["cls"]) if f.name == meta["bare"])
            wrapped = Node("map", node.line, node.column)
            wrapped.pairs.append((Node("scalar", node.line, node.column, key), node))
            node = wrapped
        return self.read(meta["cls"], node, where)

    def _many(self, meta: Any, node: Node, where: str) -> Any:
        if node.kind != "list":
            return self.problem(node, f"{where} wants a list ('- ' lines), not {node.what}")
        if not meta["fewest"] <= len(node.items) <= meta["most"]:
            return self.problem(
                node, f"{where} wants {meta['fewest']} to {meta['most']} entries, not {len(node.items)}"
            )
        for i, item in enumerate(node.items, 1):
            self.places[f"{where}[{i}]"] = (item.line, item.column)
        values = tuple(self.read(meta["cls"], item, f"{where}[{i}]") for i, item in enumerate(node.items, 1))
        return _BAD if any(v is _BAD for v in values) else values

    def _numbers(self, meta: Any, node: Node, where: str) -> Any:
        if node.kind != "list" or not node.items:
            return self.problem(node, f"{where} wants a list of numbers, not {node.what}")
        values = []
        for item in node.items:
            try:
                value = float(item.text) if item.kind == "scalar" else math.nan
            except ValueError:
                value = math.nan
            values.append(
                value if math.isfinite(value) else self.problem(item, f"{where}: {item.what} is not a finite number")
            )
        return _BAD if any(v is _BAD for v in values) else tuple(values)

    def _points(self, meta: Any, node: Node, where: str) -> Any:
        if node.kind == "scalar":
            value = self._quantity(meta, node, where)
            return _BAD if value is _BAD else ((math.nan, value),)
        if node.kind != "map" or not node.pairs:
            return self.problem(node, f"{where} wants one value or 'temperature: value' lines, not {node.what}")
        found: list[tuple[Any, Any]] = []
        for key_node, value_node in node.pairs:
            argument = self._scalar(key_node, where)
            if argument is not _BAD:
                argument = self._parse(key_node, argument, meta["argument"], where, None, None)
            found.append((argument, self._quantity(meta, value_node, where)))
        if any(v is _BAD for pair in found for v in pair):
            return _BAD
        found.sort()
        if any(a[0] == b[0] for a, b in pairwise(found)):
            return self.problem(node, f"{where} gives two values for the same {meta['argument']}")
        return tuple(found)


def _with_commas(pairs: list[tuple[Node, Node]]) -> list[tuple[Node, Node]]:
    """The pairs with decimal commas put together again: in `{power: 3,6 kW}` YAML sees the number 3 and a key `6 kW`
    without a value. The unit's reader then says how to write it."""
    joined: list[tuple[Node, Node]] = []
    for key, value in pairs:
        stray = key.kind == value.kind == "scalar" and not value.text and re.match(r"\d", key.text)
        before = joined[-1][1] if joined else None
        if stray and before is not None and before.kind == "scalar" and re.fullmatch(r"[-+]?\d+", before.text.strip()):
            both = Node("scalar", before.line, before.column, f"{before.text.strip()},{key.text}")
            joined[-1] = (joined[-1][0], both)
        else:
            joined.append((key, value))
    return joined


#: The first key of a file, by which its kind is known.
_KINDS = {"oven": "the description of an oven", "schedule": "a schedule"}


def _refuse_other_kind(cls: type, node: Node, file: str) -> None:
    """Raises SettingsError where one kind of file was given for another, instead of a problem for each of its keys."""
    own = next((key for key in map(key_of, setting_fields(cls)) if key in _KINDS), None)
    given = {key.text: key for key, _ in node.pairs} if node.kind == "map" else {}
    other = next((key for key in given if key in _KINDS and key != own), None)
    if own is not None and own not in given and other is not None:
        at = given[other]
        message = f"this is {_KINDS[other]}, and {_KINDS[own]} belongs here"
        raise SettingsError([Problem(file, at.line, at.column, message)])


def read_root(
    cls: type, node: Node, file: str, extra: dict[str, Any], finish: Callable[[Any, Reader], None] | None = None
) -> Any:
    """The whole file as `cls` (with `extra` for its fields that no file sets); raises `SettingsError` with all
    problems."""
    _refuse_other_kind(cls, node, file)
    reader = Reader(file)
    made = reader.read(cls, node, extra=extra)
    if made is not _BAD and not reader.problems and not reader.rules and finish:
        finish(made, reader)
    if reader.problems or reader.rules:
        units = Units(reader.units).knowing(made)
        raise SettingsError(
            reader.problems + [dataclasses.replace(p, message=units.words(p.message)) for p in reader.rules]
        )
    facts = {"units": reader.units} if any(f.name == "units" for f in dataclasses.fields(cls)) else {}
    return dataclasses.replace(made, assumptions=tuple(reader.assumptions), places=reader.places, **facts)
