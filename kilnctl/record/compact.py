"""Columns of a long run in little memory: whole numbers of the last written decimal, in compressed blocks. A value is
read back as exactly the number in its text."""

import zlib
from array import array
from collections.abc import Iterator, MutableMapping, Sequence

import numpy as np

from .columns import COLUMNS

#: Rows of a block; a column takes a few bytes a row in memory, for a slow signal less than one.
BLOCK = 8192
_NONE, _MINUS_ZERO = -(2**31), 1 - 2**31
_DECIMALS = {c.name: c.decimals for c in COLUMNS if c.name != "reason"}


class _Column:
    """Blocks of one column. Stored as whole numbers if every value is a multiple of the last decimal, else as
    floats."""

    def __init__(self, decimals: int | None):
        self._known, self._scale = decimals is not None, 10.0 ** (decimals or 0)
        self._blocks: list[tuple[int, bytes | None, bool]] = []

    def add(self, values: np.ndarray) -> None:
        finite = np.isfinite(values)
        if not finite.any():
            self._blocks.append((len(values), None, True))
            return
        whole = np.round(np.where(finite, values, 0.0) * self._scale) if self._known else None
        if whole is not None and np.abs(whole).max() < 2**31 - 2:
            back = whole / self._scale
            if np.array_equal(back[finite], values[finite]):
                kept = np.where(finite, whole, _NONE).astype(np.int64)
                kept[np.signbit(values) & (values == 0.0)] = _MINUS_ZERO  # a rounded -0.04 is written with its sign
                steps = np.diff(kept, prepend=np.int64(0)).astype(np.int64)
                small = np.abs(steps).max() < 2**31
                self._blocks.append((len(values), _packed(steps.astype(np.int32)) if small else _packed(steps), True))
                return
        self._blocks.append((len(values), _packed(values), False))

    def values(self) -> np.ndarray:
        parts = [self._part(*block) for block in self._blocks]
        return np.concatenate(parts) if parts else np.empty(0)

    @property
    def stored(self) -> list[tuple[int, bytes | None, bool]]:
        """The blocks as they are kept; each begins with its number of rows."""
        return self._blocks

    def part(self, place: int) -> np.ndarray:
        """The values of one block."""
        return self._part(*self._blocks[place])

    def _part(self, count: int, data: bytes | None, whole: bool) -> np.ndarray:
        if data is None:
            return np.full(count, np.nan)
        raw = zlib.decompress(data)
        if not whole:
            return np.frombuffer(raw, float)
        kept = np.cumsum(np.frombuffer(raw, np.int32 if len(raw) == 4 * count else np.int64), dtype=np.int64)
        return np.where(kept == _NONE, np.nan, np.where(kept == _MINUS_ZERO, -0.0, kept / self._scale))


def _packed(values: np.ndarray) -> bytes:
    return zlib.compress(values.tobytes(), 1)


class CompactColumns(MutableMapping[str, np.ndarray]):
    """Name → values, float array; `reason` → words, object array. Each access makes a new array: keep it while you use
    it. An array that is assigned by name is kept unchanged."""

    def __init__(self, names: Sequence[str]):
        self._columns = {n: _Column(_DECIMALS.get(n)) for n in names if n != "reason"}
        self._words: dict[str, int] = {}
        self._codes = array("i")
        self._has_words = "reason" in names
        self._own: dict[str, np.ndarray] = {}
        self.count = 0

    def add(self, values: dict[str, np.ndarray], reasons: Sequence[str] | None) -> None:
        """Append one block to every column."""
        for name, column in self._columns.items():
            column.add(values[name])
            self.count += len(values[name]) if name == "time_s" else 0
        if reasons is not None:
            words = self._words
            self._codes.extend(words.setdefault(r, len(words)) for r in reasons)

    def blocks(self, names: Sequence[str]) -> Iterator[list[np.ndarray]]:
        """The values of these columns, some thousand rows at a time."""
        begin, times = 0, self._columns["time_s"]
        for place, (count, *_) in enumerate(times.stored):
            yield [self._piece(name, place, begin, count) for name in names]
            begin += count

    def _piece(self, name: str, place: int, begin: int, count: int) -> np.ndarray:
        if name in self._own:
            return self._own[name][begin : begin + count]
        if name in self._columns:
            return self._columns[name].part(place)
        if name == "reason" and self._has_words:
            words = np.array([*self._words, ""], dtype=object)
            return words[np.array(self._codes[begin : begin + count])]
        return np.full(count, "", dtype=object) if name == "reason" else np.full(count, np.nan)

    def __getitem__(self, name: str) -> np.ndarray:
        if name in self._own:
            return self._own[name]
        if name in self._columns:
            return self._columns[name].values()
        if name == "reason":
            words = np.array([*self._words, ""], dtype=object)
            codes = (
                np.frombuffer(self._codes.tobytes(), np.int32)
                if self._has_words
                else np.full(self.count, len(words) - 1)
            )
            return words[codes]
        if name in _DECIMALS:
            return np.full(self.count, np.nan)
        raise KeyError(name)

    def __setitem__(self, name: str, values: np.ndarray) -> None:
        self._own[name] = values

    def __delitem__(self, name: str) -> None:
        del self._own[name]

    def __contains__(self, name: object) -> bool:
        return name in self._own or name in self._columns or name in _DECIMALS or name == "reason"

    def __iter__(self) -> Iterator[str]:
        return iter({**self._columns, **_DECIMALS, "reason": None, **self._own})

    def __len__(self) -> int:
        return sum(1 for _ in self)
