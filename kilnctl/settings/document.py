"""A YAML file as a tree of nodes that know their line and column. No values are interpreted here.

Built from parser events rather than `yaml.load`, so that a hostile file costs little: size, depth and count are limited,
tags, anchors and aliases are refused, duplicate keys are found, and `no`, `1e3` or `12:30` stay the text they are.
"""

from dataclasses import dataclass, field
from pathlib import Path

import yaml

from ..errors import KilnctlError

MOST_BYTES = 256 * 1024
MOST_DEPTH = 12
MOST_NODES = 20_000


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a settings file. `line` and `column` count from 1; 0 where there is no place to name."""

    file: str
    line: int
    column: int
    message: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        return f"{place}: {self.message}"


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
        return {"scalar": f"'{self.text[:40]}'", "list": "a list", "map": "a mapping"}[self.kind]


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

    def refuse(mark: yaml.Mark, message: str) -> SettingsError:
        return SettingsError([Problem(name, mark.line + 1, mark.column + 1, message)])

    roots: list[Node] = []
    stack: list[Node] = []
    count = 0
    try:
        for event in yaml.parse(text, Loader=yaml.SafeLoader):
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise refuse(
                    event.start_mark, "anchors and aliases (& and *) are not used in these files; write the value out"
                )
            if isinstance(event, (yaml.SequenceEndEvent, yaml.MappingEndEvent)):
                stack.pop()
                continue
            if not isinstance(event, yaml.NodeEvent):
                continue
            if event.tag is not None:
                raise refuse(event.start_mark, f"YAML tags are not used in these files; remove '{event.tag[:40]}'")
            count += 1
            mark = event.start_mark
            if count > MOST_NODES:
                raise refuse(mark, f"holds more than {MOST_NODES} values")
            node = _node(event, mark)
            if not stack:
                roots.append(node)
                if len(roots) > 1:
                    raise refuse(mark, "a second YAML document ('---') begins here; one file holds one")
            else:
                _put(stack[-1], node)
            if node.kind != "scalar":
                stack.append(node)
                if len(stack) > MOST_DEPTH:
                    raise refuse(mark, f"is nested deeper than {MOST_DEPTH} levels")
    except yaml.YAMLError as error:
        raise _yaml_problem(error, text, name) from None
    if not roots or (roots[0].kind == "scalar" and not roots[0].text):
        raise SettingsError([Problem(name, 0, 0, "is empty; see the files in configs/ for how one looks")])
    if roots[0].kind != "map":
        raise SettingsError(
            [Problem(name, roots[0].line, roots[0].column, f"holds {roots[0].what} where 'key: value' lines belong")]
        )
    return roots[0]


def _node(event: yaml.NodeEvent, mark: yaml.Mark) -> Node:
    kind = {yaml.ScalarEvent: "scalar", yaml.SequenceStartEvent: "list", yaml.MappingStartEvent: "map"}[type(event)]
    node = Node(kind, mark.line + 1, mark.column + 1)
    if kind == "scalar":
        node.text, node.quoted = event.value, event.style in ("'", '"')
    return node


def _put(parent: Node, node: Node) -> None:
    if parent.kind == "list":
        parent.items.append(node)
    elif parent.pairs and parent.pairs[-1][1] is _PENDING:
        parent.pairs[-1] = (parent.pairs[-1][0], node)
    else:
        parent.pairs.append((node, _PENDING))


_PENDING = Node("scalar", 0, 0)


def _yaml_problem(error: yaml.YAMLError, text: str, name: str) -> SettingsError:
    mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
    reason = getattr(error, "problem", None) or getattr(error, "reason", None) or "cannot be read"
    if mark is None:
        position = getattr(error, "position", None)
        if position is None:
            return SettingsError([Problem(name, 0, 0, f"is not YAML: {reason}")])
        line = text.count("\n", 0, position) + 1
        return SettingsError([Problem(name, line, position - text.rfind("\n", 0, position), f"is not YAML: {reason}")])
    hint = "; indent with spaces" if "'\\t'" in reason else ""
    return SettingsError([Problem(name, mark.line + 1, mark.column + 1, f"is not YAML: {reason}{hint}")])
