"""Every option of every command is named by a test of that command: an option without a test does not work for long."""

import argparse
import ast
import re
from importlib import import_module
from pathlib import Path

import pytest

from kilnctl.commands.command_line import COMMANDS

TESTS = Path(__file__).parents[1]


def options_of(command: str) -> list[str]:
    """The options of `command` in their long form, without --help."""
    parser = argparse.ArgumentParser()
    import_module(f"kilnctl.commands.{command}").arguments(parser)
    return [max(a.option_strings, key=len) for a in parser._actions if a.option_strings and a.dest != "help"]


def words_of(tree: ast.AST) -> set[str]:
    """Command names and options among the strings below `tree`; `--keep=1` names --keep."""
    strings = {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)}
    return {w for s in strings if s in COMMANDS or s.startswith("--") for w in re.split(r"[=\s]", s)[:1]}


def named_in(source: str) -> set[tuple[str, str]]:
    """(command, option) pairs that stand in one function or one statement of the file; what a helper starts counts
    for the functions that call it."""
    tree = ast.parse(source)
    parts = {getattr(p, "name", f"line {p.lineno}"): p for p in tree.body}
    starts = {name: words_of(p) for name, p in parts.items()}
    pairs = set()
    for name, part in parts.items():
        called = {n.id for n in ast.walk(part) if isinstance(n, ast.Name)} | {
            n.arg for n in ast.walk(part) if isinstance(n, ast.arg)
        }
        words = starts[name].union(*(starts[c] for c in called & set(starts)))
        pairs |= {(c, o) for c in words if c in COMMANDS for o in words if o.startswith("--")}
    return pairs


@pytest.fixture(scope="module")
def named():
    return set().union(*(named_in(p.read_text(encoding="utf-8")) for p in TESTS.rglob("*.py") if p != Path(__file__)))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_option_of_the_command_is_named_by_a_test_of_it(command, named):
    missing = [o for o in options_of(command) if (command, o) not in named]
    assert missing == [], f"no test names {command} {', '.join(missing)}"


def test_an_option_that_no_test_names_is_found():
    source = (
        'def start(*more):\n    return here("run", *more)\n\ndef test_it():\n    start("--keep=1")\n\n'
        'def test_other():\n    here("size", "--json")\n'
    )
    assert named_in(source) == {("run", "--keep"), ("size", "--json")}
    assert ("study", "--seed") not in named_in(
        'def test_it():\n    here("rehearse", "--seed")\n\ndef test_other():\n    here("study")\n'
    )
