"""A long run in fewer rows: pictures and figures of weeks need no single seconds, and a small computer has no memory
for them."""

import math
from collections.abc import Iterator, MutableMapping
from copy import copy

import numpy as np

from .run_data import RunData

#: Rows up to which a run is taken as it is: two days and seven hours at one a second.
MOST_ROWS = 200_000
#: Columns of which the last value of the rows that become one counts, not the mean.
_LAST = ("time_s", "step", "reason")


class CoarseColumns(MutableMapping[str, np.ndarray]):
    """The columns of `fine`, every `times` rows made one: the mean of what is finite, or the last value. Each access
    makes a new array."""

    def __init__(self, fine: MutableMapping[str, np.ndarray], times: int):
        self._fine, self.times, self._own = fine, times, dict[str, np.ndarray]()

    def __getitem__(self, name: str) -> np.ndarray:
        if name in self._own:
            return self._own[name]
        values = self._fine[name]
        starts = np.arange(0, len(values), self.times)
        if name in _LAST:
            return values[np.minimum(starts + self.times, len(values)) - 1]
        finite = np.isfinite(values)
        count = np.add.reduceat(finite, starts, dtype=np.int64)
        total = np.add.reduceat(np.where(finite, values, 0.0), starts)
        return np.where(count > 0, total / np.maximum(count, 1), math.nan)

    def __setitem__(self, name: str, values: np.ndarray) -> None:
        self._own[name] = values

    def __delitem__(self, name: str) -> None:
        del self._own[name]

    def __contains__(self, name: object) -> bool:
        return name in self._own or name in self._fine

    def __iter__(self) -> Iterator[str]:
        return iter({**dict.fromkeys(self._fine), **self._own})

    def __len__(self) -> int:
        return sum(1 for _ in self)


def together(run: RunData) -> int:
    """How many rows become one in `coarse`; at most 1: they stay as they are."""
    return math.ceil(len(run.data["time_s"]) / MOST_ROWS)


def coarse(run: RunData) -> RunData:
    """The run with MOST_ROWS rows at most: itself where it has no more."""
    times = together(run)
    if times <= 1:
        return run
    made = copy(run)
    made.data = CoarseColumns(run.data, times)
    return made
