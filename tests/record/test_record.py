"""Records: columns with units, samples with fixed decimals, JSON without NaN."""

import json
import math
import re

import pytest

from kilnctl import KilnctlError
from kilnctl.record import columns
from kilnctl.record.folder import SampleWriter, new_folder, plain, slug
from kilnctl.service.operating_system import places
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


@pytest.mark.parametrize(
    "one, other",
    [
        ("Печь малая", "Печь большая"),
        ("Ofen Süd", "Ofen Sd"),
        ("Ofen Süd", "Ofen Sud"),
        ("窑 1", "炉 1"),
        ("Curing cabinet beside the window on the left", "Curing cabinet beside the window on the right"),
    ],
)
def test_two_ovens_never_share_their_state_and_socket(tmp_path, one, other):
    """Letters outside a to z were dropped and long ends cut: `kilnctl stop` of one oven went to the other, and the
    limiter's test of one was noted for both."""
    assert places(one, str(tmp_path)) != places(other, str(tmp_path))
    for name in (one, other):
        assert re.fullmatch("[a-z0-9][a-z0-9-]{0,39}", slug(name)) and slug(slug(name)) == slug(name)


def test_a_plain_name_keeps_its_folder_however_it_is_typed():
    assert slug("Curing cabinet") == slug("curing  CABINET!") == "curing-cabinet"
    assert slug("Étuve") == slug("E\u0301tuve") and slug("Étuve").startswith("etuve-")
