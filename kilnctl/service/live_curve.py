"""The run so far, in memory, for the panel's curve: a few columns. A long run is thinned evenly, and its peaks are
kept."""

import array
import threading
from collections.abc import Iterable, Sequence

import numpy as np

from ..record.columns import INDEX
from ..record.events import Event

#: Kept columns; `time_s` first.
KEPT = (
    "time_s",
    "reference_c",
    "chamber_c",
    "limit_c",
    "part_c",
    "part_estimate_c",
    "part_sd_k",
    "duty",
    "demand_w",
    "expected_c",
)
#: Rows before all are thinned to half: 14 hours at one a second.
MOST_ROWS = 50_000
_CHAMBER = KEPT.index("chamber_c")
#: Most events kept: the newest.
MOST_EVENTS = 400


class LiveCurve:
    """Rows are only added. `thinned` counts how often all rows were thinned to half; row numbers change then. New rows
    are thinned in the same way, so that every part of a run is drawn equally fine."""

    def __init__(self) -> None:
        self._indices = tuple(INDEX[name] for name in KEPT)
        self._lock = threading.Lock()
        self.thinned = 0
        self._columns = [array.array("f") for _ in KEPT]
        #: Newest rows, collected until there are enough of them to thin to two.
        self._waiting: list[tuple] = []
        #: What happened, oldest first: time since the start, s; kind; words (of a `kilnctl.record.events.Event`). And
        #: where the energy of this process's part of the run went, J by name. Each is replaced whole, so that another
        #: thread may read it.
        self.events: tuple[tuple[float, str, str], ...] = ()
        self.ledger_j: dict[str, float] = {}

    def note(self, time_s: float, kind: str, text: str) -> None:
        """Keep an event of the run."""
        self.events = (*self.events[1 - MOST_EVENTS :], (time_s, kind, text))

    def share_out(self, ledger_w: dict[str, float] | None, dt_s: float) -> None:
        """Add a tick's watts by destination over `dt_s`, s; None: nothing is known."""
        if ledger_w is not None:
            self.ledger_j = {name: self.ledger_j.get(name, 0.0) + w * dt_s for name, w in ledger_w.items()}

    def __len__(self) -> int:
        return len(self._columns[0])

    def add(self, row: tuple, events: Iterable[Event] = ()) -> None:
        """`row`: a sample, in the order of `record.columns.COLUMNS`; `events`: what happened in its tick."""
        for event in events:
            self.note(event.time_s, event.kind, event.text)
        self._waiting.append(tuple(row[i] for i in self._indices))
        if self.thinned and len(self._waiting) < 2 << self.thinned:
            return
        rows, self._waiting = self._waiting, []
        if self.thinned:
            values = [r[_CHAMBER] if r[_CHAMBER] == r[_CHAMBER] else -1e9 for r in rows]
            rows = [rows[i] for i in sorted((values.index(min(values)), _last(values, max(values))))]
        with self._lock:
            for row in rows:
                for column, value in zip(self._columns, row, strict=True):
                    column.append(value)
            if len(self._columns[0]) >= MOST_ROWS:
                self._thin()

    def _thin(self) -> None:
        """Of every four rows keep two: where the chamber was lowest and where it was highest."""
        count = len(self._columns[0]) // 4 * 4
        keep = half(self._columns[_CHAMBER])
        for i, column in enumerate(self._columns):
            kept = array.array("f")
            kept.frombytes(np.array(column[:count], np.float32)[keep].tobytes())
            self._columns[i] = kept + column[count:]
        self.thinned += 1

    def since(self, first: int, most: int) -> tuple[int, dict[str, list[float]]]:
        """(index of the first row given, columns) of up to `most` rows from row `first`."""
        with self._lock:
            first = min(max(0, first), len(self))
            return first, {
                name: column[first : first + most].tolist() for name, column in zip(KEPT, self._columns, strict=True)
            }


def half(chamber_c: Sequence[float | None]) -> np.ndarray:
    """Indices of the rows that stay when all are thinned to half, of whole groups of four. A reader that has the first
    rows can so thin them as this curve does, and need not be sent them again."""
    count = len(chamber_c) // 4 * 4
    chamber = np.nan_to_num(np.array(chamber_c[:count], np.float32), nan=-1e9).reshape(-1, 4)
    first = np.argmin(chamber, axis=1)
    last = 3 - np.argmax(chamber[:, ::-1], axis=1)
    # If all four are equal the two ends are kept, so that no row appears twice.
    pair = np.sort(np.stack((first, last), axis=1), axis=1)
    return (pair + 4 * np.arange(len(pair))[:, None]).ravel()


def _last(values: list, value: float) -> int:
    return len(values) - 1 - values[::-1].index(value)
