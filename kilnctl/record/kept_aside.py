"""Runs from which the oven's model was not learned, and why: for the messages of `kilnctl notify`.

The process that learns calls `note_kept_aside`; it needs to know of no channel. The file is in the oven's state folder
and keeps the last MOST notes.
"""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

from ..errors import KilnctlError
from .durable import make_folder, write_whole

FILE_NAME = "kept-aside.json"
MOST = 50
LONGEST_WORDS = 400


@dataclass(frozen=True, slots=True)
class KeptAside:
    """`run`: the run's folder or name; `why`: a sentence for people; `at_s`: when, s since 1970."""

    run: str
    why: str
    at_s: float


def note_kept_aside(home: Path, run: str, why: str, at_s: float) -> None:
    """Note that what was learned from `run` is not used, so that `kilnctl notify` reports it once. `home`: the oven's
    state folder; `why`: a sentence, as "it predicts the run of 3 May worse than before"; `at_s`: `time.time()`. Raises
    KilnctlError where the note cannot be written."""
    path = home / FILE_NAME
    notes = [*read_kept_aside(home), KeptAside(run[:LONGEST_WORDS], why[:LONGEST_WORDS], at_s)][-MOST:]
    try:
        make_folder(home)
        write_whole(path, json.dumps([asdict(n) for n in notes], ensure_ascii=False).encode())
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None


def read_kept_aside(home: Path) -> tuple[KeptAside, ...]:
    """The notes, oldest first; none where there is no file or it cannot be read: a message less, nothing worse."""
    try:
        said = json.loads((home / FILE_NAME).read_text(encoding="utf-8"))
        return tuple(KeptAside(str(n["run"]), str(n["why"]), float(n["at_s"])) for n in said)
    except (OSError, ValueError, TypeError, KeyError):
        return ()
