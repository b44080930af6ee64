"""Notes that people write on past runs: one file next to the panel's other state; a record itself is never changed."""

import contextlib
import json
import threading
from pathlib import Path

from ..errors import KilnctlError
from ..record.durable import write_whole

#: Longest note, characters; most notes kept, the oldest go first.
LONGEST, MOST = 2000, 2000


class Notes:
    """{id of the run: text} in a JSON file."""

    def __init__(self, path: Path):
        self.path, self._lock = Path(path), threading.Lock()

    def every(self) -> dict[str, str]:
        """All notes; empty where the file is missing or damaged."""
        with contextlib.suppress(OSError, ValueError):
            said = json.loads(self.path.read_bytes())
            if isinstance(said, dict):
                return {str(k): v for k, v in said.items() if isinstance(v, str)}
        return {}

    def keep(self, run: str, text: str) -> None:
        """Replace the note of a run; an empty text removes it. Raises KilnctlError."""
        if len(text) > LONGEST:
            raise KilnctlError(f"a note has {LONGEST} characters at most; this one has {len(text)}")
        with self._lock:
            notes = self.every()
            notes.pop(run, None)
            if text.strip():
                notes[run] = text.strip()
            kept = dict(list(notes.items())[-MOST:])
            try:
                write_whole(self.path, json.dumps(kept, ensure_ascii=False).encode())
            except OSError as error:
                raise KilnctlError(f"the note cannot be kept: {error.strerror}") from None
