"""The run so far, in memory, for the panel's curve: a few columns, thinned when long, peaks kept."""

import array
import threading

from ..record.columns import INDEX

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
#: Rows before the older half is thinned to half: 14 hours at one a second.
MOST_ROWS = 50_000


class LiveCurve:
    """Rows are only added. `thinned` counts how often old ones were thinned: their numbers change then."""

    def __init__(self) -> None:
        self._indices = tuple(INDEX[name] for name in KEPT)
        self._lock = threading.Lock()
        self.thinned = 0
        self._columns = [array.array("f") for _ in KEPT]

    def __len__(self) -> int:
        return len(self._columns[0])

    def add(self, row: tuple) -> None:
        """`row`: a sample, in the order of `record.columns.COLUMNS`."""
        with self._lock:
            for column, i in zip(self._columns, self._indices, strict=True):
                column.append(row[i])
            if len(self._columns[0]) >= MOST_ROWS:
                self._thin()

    def _thin(self) -> None:
        """Of every four old rows keep two: where the chamber was lowest and where it was highest."""
        half = MOST_ROWS // 2
        half -= half % 4
        chamber = self._columns[KEPT.index("chamber_c")]
        keep = []
        for start in range(0, half, 4):
            four = sorted(range(start, start + 4), key=lambda i: chamber[i] if chamber[i] == chamber[i] else -1e9)
            keep += sorted((four[0], four[-1]))
        for column in self._columns:
            column[:half] = array.array("f", [column[i] for i in keep])
        self.thinned += 1

    def since(self, first: int, most: int) -> tuple[int, dict[str, list[float]]]:
        """(index of the first row given, columns) of up to `most` rows from row `first`."""
        with self._lock:
            first = min(max(0, first), len(self))
            return first, {
                name: column[first : first + most].tolist() for name, column in zip(KEPT, self._columns, strict=True)
            }
