"""The board's meters: the rms of one mains cycle in whole numbers, against the definition of the rms."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kilnctl.firmware.meter import Rms, root


def cycle(rms: Rms, *readings: int) -> int | None:
    for reading in readings:
        rms.add(reading)
    return rms.end()


def square(middle: int, high: int, count: int = 8) -> list[int]:
    """A square wave: its rms is its height."""
    return [middle + high, middle - high] * (count // 2)


def test_a_thousand_counts_are_what_the_board_is_told():
    told = cycle(Rms(2417), *square(2048, 1000))
    assert told == 2417 and type(told) is int, "whole numbers only: a fraction is made on the heap"


@pytest.mark.parametrize("offset", [-300, 0, 41])
@pytest.mark.parametrize("height", [4, 90, 1500])
def test_a_sine_has_its_height_over_the_root_of_two(height, offset):
    """Within half a count of 4096; a steady offset is no current."""
    wave = [2048 + offset + round(height * math.sin(2.0 * math.pi * i / 100.0)) for i in range(100)]
    found = cycle(Rms(4000), *wave)
    assert found is not None and found / 4.0 == pytest.approx(height / math.sqrt(2.0), abs=0.5)


def test_each_cycle_begins_with_nothing():
    rms = Rms(4000)
    assert [cycle(rms, *square(2048, high)) for high in (100, 7, 0, 900)] == [400, 28, 0, 3600]


def test_few_readings_tell_nothing():
    rms = Rms(4000)
    assert cycle(rms) is None
    assert cycle(rms, *square(2048, 100)[:7]) is None
    assert cycle(rms, *square(2048, 100)) == 400


def test_only_so_many_readings_of_a_cycle_count():
    """120: the sum of their squares fits a small integer of 31 bits, for any readings."""
    rms = Rms(4000)
    assert cycle(rms, *square(2048, 100, 120), 4095, *[4095] * 40) == 400
    assert cycle(rms, *square(2048, 100, 118), 4095, 4095) != 400


@pytest.mark.parametrize(("at", "told", "after_one"), [(3200, 0, 256), (900, 4095, 4095 - 256)])
def test_the_zero_level_is_learnt_an_eighth_a_cycle(at, told, after_one):
    """An input so far from the level that was told is first cut off, at half the range."""
    rms = Rms(4000, told)
    assert cycle(rms, *square(at, 200)) == 0 and rms.middle >> 4 == after_one
    last = [cycle(rms, *square(at, 200)) for _ in range(60)][-1]
    assert last == 800 and rms.middle >> 4 == pytest.approx(at, abs=8)


@given(value=st.integers(0, 2**30 - 1))
@example(value=1)
@example(value=3)
@example(value=32768**2 - 1)
def test_the_root_is_the_whole_part_of_the_root(value):
    assert root(value) == math.isqrt(value) and type(root(value)) is int


def test_the_root_of_what_rounding_left_below_nothing_is_nothing():
    assert root(-1) == root(-5000) == 0
