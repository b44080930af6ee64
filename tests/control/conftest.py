"""Makes `control_cases` and what the benchmarks measure with importable for the tests in this folder, in every import
mode of pytest."""

import pytest

from kilnctl.model.day_zero import day_zero


@pytest.fixture(scope="module")
def cabinet_model(oven):
    cabinet = oven("curing-cabinet")
    return day_zero(cabinet, cabinet.usual_load, 200.0)
