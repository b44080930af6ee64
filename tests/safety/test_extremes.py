"""The greater and the lesser of two numbers are what max and min make of them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.safety.extremes import greater, lesser

ANY = st.floats() | st.sampled_from([0.0, -0.0, math.nan, math.inf, -math.inf])


def same(a: float, b: float) -> bool:
    """Whether two numbers are the same to the sign of a zero, or both NaN."""
    return (a == b and math.copysign(1.0, a) == math.copysign(1.0, b)) or (math.isnan(a) and math.isnan(b))


@given(ANY, ANY)
def test_they_answer_as_max_and_min_do(a, b):
    assert same(greater(a, b), max(a, b)) and same(lesser(a, b), min(a, b))


@pytest.mark.parametrize(
    ("a", "b"), [(0.0, -0.0), (-0.0, 0.0), (math.nan, 1.0), (1.0, math.nan), (1.0, 2.0), (2.0, 1.0)]
)
def test_of_equals_and_beside_no_number_the_first_stays(a, b):
    assert same(greater(a, b), max(a, b)) and same(lesser(a, b), min(a, b))
