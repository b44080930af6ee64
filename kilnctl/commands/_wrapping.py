"""Long sentences on a terminal end at words, and go on further in. Files and pipes get every line whole."""

import contextlib
import io
import re
import shutil
import sys
import textwrap
from collections.abc import Iterator
from typing import TextIO

#: Commands that ask, or print what another program reads.
AS_IT_IS = ("new", "board", "panel", "schema", "completion")
#: Where a line has several blanks after these many characters it is a row of a table, and stays.
LABEL = 18


def wrapped(line: str, width: int) -> str:
    """A line in lines of at most `width` characters; rows of tables and JSON stay as they are."""
    words = line.lstrip(" ")
    lead = len(line) - len(words)
    if len(line) <= width or words.startswith(("{", "[", '"')) or re.search(r"  ", words[LABEL:]):
        return line
    further = " " * (min(lead, width // 3) + 4)
    return textwrap.fill(
        line,
        width,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
        expand_tabs=False,
        replace_whitespace=False,
    )


class Wrapping(io.TextIOBase):
    """Writes to `terminal` with lines of at most `width` characters."""

    def __init__(self, terminal: TextIO, width: int):
        self._terminal, self._width, self._begun = terminal, width, ""

    def write(self, text: str) -> int:
        *whole, self._begun = (self._begun + text).split("\n")
        for line in whole:
            self._terminal.write(wrapped(line, self._width) + "\n")
        return len(text)

    def flush(self) -> None:
        self._terminal.write(self._begun)
        self._begun = ""
        self._terminal.flush()

    def fileno(self) -> int:
        return self._terminal.fileno()

    def isatty(self) -> bool:
        return self._terminal.isatty()


@contextlib.contextmanager
def wrapping(command: str | None) -> Iterator[None]:
    """While it lasts, what is printed to a terminal is wrapped."""
    if command in AS_IT_IS or not sys.stdout.isatty():
        yield
        return
    with contextlib.redirect_stdout(Wrapping(sys.stdout, shutil.get_terminal_size().columns)):
        try:
            yield
        finally:
            sys.stdout.flush()
