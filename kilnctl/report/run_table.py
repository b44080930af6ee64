"""Many runs in one table, one row per sample; the first columns are the run, its oven, schedule, outcome and start.

CSV by RFC 4180 with the names of `kilnctl.record.columns`; Parquet with the same names, and each column's unit and
meaning in its field's metadata. Written under another name and renamed when complete.
"""

import csv
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import KilnctlError
from ..record.columns import COLUMNS
from ..record.journal import segments
from ..record.run_record import not_a_folder, read_run

#: The columns before the samples' columns, and their meaning.
KEYS = {
    "run": "name of the run's folder",
    "oven": "the oven's name",
    "schedule": "the schedule's name",
    "outcome": "how the run ended",
    "started": "time of day; empty for a rehearsal",
}


def runs_below(folder: str | Path) -> list[Path]:
    """The folder itself if it is a run's, else the run folders in it, sorted by name. Raises KilnctlError."""
    folder = Path(folder)
    if not folder.is_dir():
        raise KilnctlError(f"{folder}: {not_a_folder(folder)}; give a run's folder, or the one that runs lie in")
    if _is_run(folder):
        return [folder]
    found = sorted(p for p in folder.iterdir() if p.is_dir() and _is_run(p))
    if not found:
        raise KilnctlError(f"{folder}: neither a run nor a folder with runs below it")
    return found


def _is_run(folder: Path) -> bool:
    return (folder / "samples.csv").is_file() or bool(segments(folder))


@dataclass(frozen=True)
class RunRows:
    """One run's rows. `columns`: name → array of one length; numbers, and texts for `reason`."""

    run: str
    oven: str
    schedule: str
    outcome: str
    started: str
    columns: dict[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.columns["time_s"])

    @classmethod
    def read(cls, folder: Path, every_s: float | None = None) -> "RunRows":
        """Raises KilnctlError for a damaged record. `every_s`: keep the first row of each stretch of this length, s."""
        record = read_run(folder)
        keep: slice | np.ndarray = slice(None)
        if every_s is not None and len(record.time_s):
            stretch = np.floor(record.time_s / every_s)
            keep = np.concatenate(([True], np.diff(stretch) > 0.0))
        columns = {c.name: np.asarray(record.data[c.name])[keep] for c in COLUMNS if c.name in record.data}
        return cls(folder.name, record.oven.name, record.schedule.name, str(record.outcome), record.started, columns)


class _Table:
    """A file that appears only when it is complete."""

    def __init__(self, path: str | Path):
        self.path = Path(path)
        self._beside = self.path.with_name(self.path.name + ".new")

    def _arrive(self) -> None:
        os.replace(self._beside, self.path)

    def _refused(self, error: OSError) -> KilnctlError:
        return KilnctlError(f"{self.path}: cannot be written: {error.strerror}")

    def give_up(self) -> None:
        """Leave nothing behind."""
        self._beside.unlink(missing_ok=True)


class Csv(_Table):
    """Numbers with the decimals of the record; an empty cell where nothing was measured."""

    def __init__(self, path: str | Path):
        super().__init__(path)
        try:
            self._file = open(self._beside, "w", newline="", encoding="utf-8")  # noqa: SIM115 - closed by close()
        except OSError as error:
            raise self._refused(error) from None
        self._writer = csv.writer(self._file, lineterminator="\r\n")
        self._writer.writerow([*KEYS, *(c.name for c in COLUMNS)])

    def add(self, rows: RunRows) -> None:
        keys = [getattr(rows, k) for k in KEYS]
        cells = [_cells(rows.columns.get(c.name), c.decimals, len(rows)) for c in COLUMNS]
        self._writer.writerows([*keys, *row] for row in zip(*cells, strict=True))

    def close(self) -> None:
        self._file.close()
        self._arrive()

    def give_up(self) -> None:
        self._file.close()
        super().give_up()


def _cells(values: np.ndarray | None, decimals: int, count: int) -> list[str]:
    if values is None:
        return [""] * count
    if values.dtype.kind not in "fiu":
        return [str(v) for v in values]
    return ["" if v != v else f"{v:.{decimals}f}" for v in values.tolist()]


class Parquet(_Table):
    """One row group per run. Needs the extra `export`."""

    def __init__(self, path: str | Path):
        super().__init__(path)
        try:
            import pyarrow  # noqa: PLC0415 - of the extra, which need not be there
            from pyarrow import parquet  # noqa: PLC0415 - of the extra
        except ImportError:
            raise KilnctlError("Parquet needs the extra 'export': pip install 'kilnctl[export]'") from None
        self._arrow: Any = pyarrow
        fields = [pyarrow.field(k, pyarrow.string(), metadata={"doc": doc}) for k, doc in KEYS.items()]
        for c in COLUMNS:
            kind = pyarrow.float64() if c.unit else pyarrow.string()
            fields.append(pyarrow.field(c.name, kind, metadata={"unit": c.unit, "doc": c.doc}))
        self._schema = pyarrow.schema(fields)
        try:
            self._writer = parquet.ParquetWriter(self._beside, self._schema, compression="zstd")
        except OSError as error:
            raise self._refused(error) from None

    def add(self, rows: RunRows) -> None:
        count = len(rows)
        arrays = [[getattr(rows, k)] * count for k in KEYS]
        for c in COLUMNS:
            values = rows.columns.get(c.name)
            if values is None:
                arrays.append([None] * count)
            elif c.unit:
                arrays.append([None if v != v else v for v in values.tolist()])
            else:
                arrays.append([str(v) for v in values])
        made = [self._arrow.array(a, type=f.type) for a, f in zip(arrays, self._schema, strict=True)]
        self._writer.write_table(self._arrow.Table.from_arrays(made, schema=self._schema))

    def close(self) -> None:
        self._writer.close()
        self._arrive()

    def give_up(self) -> None:
        self._writer.close()
        super().give_up()
