"""A YAML file as a tree of nodes that know their line and column. No values are interpreted here.

Built from parser events rather than `yaml.load`, so that a hostile file costs little: size, depth and count are
limited, tags, anchors and aliases are refused, duplicate keys are found, and `no`, `1e3` or `12:30` stay the text they
are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import yaml

from ..errors import KilnctlError

#: A settings file is never larger, deeper or longer (nodes); what is, was not written by a person.
MOST_BYTES = 256 * 1024
MOST_DEPTH = 12
MOST_NODES = 20_000


@dataclass(frozen=True)
class Problem:
    """One problem in a settings file. `line` and `column` count from 1; 0 means no known place."""

    file: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {self.message}"


class Described(Protocol):
    """What was read from a settings file, and where its keys stand there: line and column, counted from 1."""

    @property
    def name(self) -> str: ...
    @property
    def file(self) -> str: ...
    @property
    def places(self) -> Mapping[str, tuple[int, int]]: ...


def problem_at(read: Described, keys: Sequence[str], message: str) -> Problem:
    """A problem that shows only once a file is understood, at the first of these keys whose place is known."""
    line, column = next((read.places[key] for key in keys if key in read.places), (0, 0))
    return Problem(read.file or read.name, line, column, message)


class SettingsError(KilnctlError):
    """A settings file cannot be used. `problems` holds every one found, in file order."""

    def __init__(self, problems: list[Problem]):
        self.problems = tuple(sorted(problems, key=lambda p: (p.line, p.column)))
        super().__init__("\n".join(str(p) for p in self.problems))


@dataclass(slots=True)
class Node:
    """`kind` is "scalar", "list" or "map". A quoted scalar keeps `quoted`."""

    kind: str
    line: int
    column: int
    text: str = ""
    quoted: bool = False
    items: list["Node"] = field(default_factory=list)
    pairs: list[tuple["Node", "Node"]] = field(default_factory=list)

    @property
    def what(self) -> str:
        """How to name it to the user."""
        return {"scalar": f"'{self.text[:40]}'" if self.text else "nothing", "list": "a list", "map": "a mapping"}[
            self.kind
        ]


def read_text(path: str | Path) -> tuple[str, bytes]:
    """The file's text and bytes. Raises `SettingsError` for anything that cannot be read as text."""
    name = str(path)

    def refuse(message: str) -> SettingsError:
        return SettingsError([Problem(name, 0, 0, message)])

    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise refuse("there is no such file; check the path") from None
    except IsADirectoryError:
        raise refuse("this is a folder; name a YAML file in it") from None
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror}") from None
    if len(data) > MOST_BYTES:
        raise refuse(
            f"is larger than {MOST_BYTES // 1024} KiB; a description of an oven is a few KiB, is this the right file?"
        )
    try:
        return data.decode("utf-8-sig"), data
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SettingsError([Problem(name, line, 1, "is not UTF-8 text; save it as UTF-8")]) from None


def parse_document(text: str, name: str) -> Node:
    """The root mapping of one YAML document. Raises `SettingsError` with the place of every refusal."""
    tree = _Tree(name)
    try:
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            tree.take(event)
    except yaml.YAMLError as error:
        raise _yaml_problem(error, text, name) from None
    root = tree.root
    if root is None or (root.kind == "scalar" and not root.text):
        raise SettingsError([Problem(name, 0, 0, "is empty; see the files in configs/ for how one looks")])
    if root.kind != "map":
        message = f"holds {root.what} where 'key: value' lines belong"
        raise SettingsError([Problem(name, root.line, root.column, message)])
    return root


class _Tree:
    """Builds the tree from the parser's events; refuses YAML features that these files do not use, and files that are
    too large or too deep."""

    def __init__(self, name: str):
        self.name = name
        self.root: Node | None = None
        self._stack: list[Node] = []
        self._count = 0

    def take(self, event: yaml.Event) -> None:
        mark = event.start_mark
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise self._refused(mark, "anchors and aliases (& and *) are not used in these files; write the value out")
        if isinstance(event, (yaml.SequenceEndEvent, yaml.MappingEndEvent)):
            self._stack.pop()
            return
        if not isinstance(event, (yaml.ScalarEvent, yaml.SequenceStartEvent, yaml.MappingStartEvent)):
            return
        if event.tag is not None:
            raise self._refused(mark, f"YAML tags are not used in these files; remove '{event.tag[:40]}'")
        self._count += 1
        if self._count > MOST_NODES:
            raise self._refused(mark, f"holds more than {MOST_NODES} values")
        node = _node(event)
        if self._stack:
            _put(self._stack[-1], node)
        elif self.root is None:
            self.root = node
        else:
            raise self._refused(mark, "a second YAML document ('---') begins here; one file holds one")
        if node.kind != "scalar":
            self._stack.append(node)
            if len(self._stack) > MOST_DEPTH:
                raise self._refused(mark, f"is nested deeper than {MOST_DEPTH} levels")

    def _refused(self, mark: yaml.Mark, message: str) -> SettingsError:
        return SettingsError([Problem(self.name, mark.line + 1, mark.column + 1, message)])


def _node(event: yaml.ScalarEvent | yaml.SequenceStartEvent | yaml.MappingStartEvent) -> Node:
    line, column = event.start_mark.line + 1, event.start_mark.column + 1
    if isinstance(event, yaml.ScalarEvent):
        return Node("scalar", line, column, event.value, event.style in ("'", '"'))
    return Node("list" if isinstance(event, yaml.SequenceStartEvent) else "map", line, column)


def _put(parent: Node, node: Node) -> None:
    if parent.kind == "list":
        parent.items.append(node)
    elif parent.pairs and parent.pairs[-1][1] is _PENDING:
        parent.pairs[-1] = (parent.pairs[-1][0], node)
    else:
        parent.pairs.append((node, _PENDING))


_PENDING = Node("scalar", 0, 0)


#: What the parser says in its own terms, and what a person can do about it.
_YAML_HINTS = {
    "'\\t'": "a tab; indent with spaces",
    "expected <block end>": (
        "this line or the one before it does not line up with the lines above: what belongs together begins in the "
        "same column"
    ),
    "mapping values are not allowed": (
        "a ':' where none can stand: does the name before it have its own ':', and is this line indented as its "
        "neighbours are?"
    ),
    "could not find expected ':'": "a line without 'key: value', or one that is indented unlike its neighbours",
    "expected ',' or '}'": "a '{' that is not closed, or a ',' that is missing",
    "expected ',' or ']'": "a '[' that is not closed, or a ',' that is missing",
    "unexpected end of stream": "a quotation mark (' or \") that is not closed",
}


def _yaml_problem(error: yaml.YAMLError, text: str, name: str) -> SettingsError:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    reason = getattr(error, "problem", None) or getattr(error, "reason", None) or "cannot be read"
    if mark is None:
        position = getattr(error, "position", None)
        if position is None:
            return SettingsError([Problem(name, 0, 0, f"is not YAML: {reason}")])
        line = text.count("\n", 0, position) + 1
        return SettingsError([Problem(name, line, position - text.rfind("\n", 0, position), f"is not YAML: {reason}")])
    begin = getattr(error, "context_mark", None)
    hint = next((words for part, words in _YAML_HINTS.items() if part in reason), "")
    since = f" (the block begins in line {begin.line + 1})" if begin is not None and begin.line < mark.line else ""
    return SettingsError(
        [Problem(name, mark.line + 1, mark.column + 1, f"is not YAML: {hint + since if hint else reason}")]
    )
