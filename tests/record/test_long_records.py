"""Records of weeks: reading one takes little memory, and gives the very numbers that were written."""

import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl.record.compact import BLOCK, CompactColumns
from kilnctl.record.journal import line_of, parse_line

#: As written with three decimals, and what cannot be written so.
VALUES = st.one_of(
    st.integers(-(10**6), 2 * 10**6).map(lambda n: float(f"{n / 1000:.3f}")),
    st.just(math.nan),
    st.just(-0.0),
    st.floats(-1e9, 1e9),
)


@given(st.lists(st.lists(VALUES, min_size=1, max_size=20), max_size=4))
@settings(deadline=None)
def test_every_value_comes_back_as_the_number_that_it_was(blocks):
    data = CompactColumns(["time_s", "chamber_c", "another", "reason"])
    for block in blocks:
        values = np.array(block)
        data.add(dict.fromkeys(("time_s", "chamber_c", "another"), values), [f"why {v}" for v in block])
    wanted = np.concatenate([np.array(b) for b in blocks]) if blocks else np.empty(0)
    for name in ("time_s", "chamber_c", "another"):
        assert np.array_equal(data[name], wanted, equal_nan=True)
        assert np.array_equal(np.signbit(data[name]), np.signbit(wanted))
    assert list(data["reason"]) == [f"why {v}" for b in blocks for v in b]
    assert np.isnan(data["power_w"]).all() and len(data["power_w"]) == len(wanted) == data.count


def test_a_column_takes_a_few_bytes_a_row():
    """It was 2,200 bytes a row of 24 columns: 8 MB an hour."""
    rng = np.random.default_rng(1)
    data = CompactColumns(["time_s", "chamber_c"])
    tracemalloc.start()
    for k in range(20):
        time_s = np.arange(k * BLOCK, (k + 1) * BLOCK, dtype=float)
        chamber = np.round(200.0 + np.sin(time_s / 3000.0) + 0.05 * rng.standard_normal(BLOCK), 3)
        data.add({"time_s": time_s, "chamber_c": chamber}, None)
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept / (20 * BLOCK) < 6.0


@pytest.mark.parametrize("sequence", [1, 9, 10**17])
@pytest.mark.parametrize("text", ["sample 1.0,2.0", "x", "", "a  b", "µ °C"])
def test_a_line_is_read_as_it_was_written_and_no_other(sequence, text):
    line = line_of(sequence, text)[:-1]
    assert parse_line(line) == (sequence, text)
    for wrong in (
        line.upper() if line != line.upper() else line + b" ",
        b"0" + line,
        line[:-1],
        b" " + line,
        b"+" + line,
    ):
        assert parse_line(wrong) is None
