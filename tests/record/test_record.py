"""Records: columns with units, samples with fixed decimals, JSON without NaN."""

import json
import math

import pytest

from kilnctl import KilnctlError
from kilnctl.record import columns
from kilnctl.record.folder import SampleWriter, new_folder, plain
from kilnctl.settings.schedule import Step
from kilnctl.units import parse_unit


def test_every_column_names_its_unit_and_the_unit_can_be_read():
    suffixes = {"s": "_s", "°C": "_c", "K": "_k", "W": "_w", "V": "_v", "A": "_a"}
    for column in columns.COLUMNS:
        if column.unit not in ("", "1"):
            parse_unit(column.unit)
            assert column.name.endswith(suffixes[column.unit]), column.name
        assert column.doc and 0 <= column.decimals <= 6


def test_samples_are_written_as_they_come_with_fixed_decimals(tmp_path):
    folder = new_folder(tmp_path, "Oven ä", "Schedule / 1")
    writer = SampleWriter(folder)
    row = tuple('why, "so"' if c.name == "reason" else 1.0 / 3.0 for c in columns.COLUMNS)
    writer(row)
    writer(tuple("x" if c.name == "reason" else math.nan for c in columns.COLUMNS))
    writer.close()
    header, first, second = (folder / "samples.csv").read_text().splitlines()
    assert header.split(",") == list(columns.NAMES)
    assert first.startswith("0.3,0.33,0.333,") and second.startswith(",,,")


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(KilnctlError, match="no record can be written"):
        new_folder(tmp_path / "file", "a", "b")


def test_json_has_no_nan():
    assert json.dumps(plain({"a": math.nan, "b": (1.0, math.inf), "c": Step(to_c=1.0)}), allow_nan=False)
