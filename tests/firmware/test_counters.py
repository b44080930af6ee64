"""Counters and times of the board, which wrap around at 2**30."""

from hypothesis import example, given
from hypothesis import strategies as st

from kilnctl.firmware import logic, meter

ROUND = 1 << 30
SMALL = st.integers(0, ROUND - 1)


@given(total=SMALL, more=SMALL)
@example(total=ROUND - 1, more=1)
@example(total=ROUND - 2, more=1)
@example(total=ROUND - 1, more=ROUND - 1)
def test_a_sum_comes_round(total, more):
    assert logic.added(total, more) == (total + more) % ROUND


@given(then=SMALL, passed=st.integers(-(ROUND // 2), ROUND // 2 - 1))
@example(then=ROUND - 1, passed=1)
@example(then=0, passed=-1)
def test_time_passed_over_the_wrap(then, passed):
    assert logic.since(then, (then + passed) % ROUND) == passed


@given(st.lists(st.integers(0, 4095), min_size=8, max_size=300), st.integers(0, 4095))
def test_sums_of_a_meter_fit_a_small_integer_whatever_it_reads(readings, middle):
    rms = meter.Rms(2500, middle)
    for reading in readings:
        rms.add(reading)
        assert abs(rms.squares) < ROUND and abs(rms.total) < ROUND
    told = rms.end()
    assert told is not None and 0 <= told < ROUND
