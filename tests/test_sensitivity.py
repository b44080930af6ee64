"""tools/bench/sensitivity changes one constant wherever it is used, and puts it back."""

import pytest

from kilnctl.control import controller, estimate, estimator, predictive
from tests.tool_modules import tool_module


@pytest.fixture(scope="module")
def bench():
    with tool_module("bench/sensitivity") as module:
        yield module


def test_it_finds_the_numbers_in_capitals_and_the_thresholds_of_the_policy(bench):
    found = {str(constant) for constant in bench.constants()}
    assert {"control.estimator.CALM", "control.predictive.BEND_K", "policy.no_rise_s"} <= found
    assert not {"control.estimate.HEAT", "control.predictive.BLOCKS"} & found, "places and counts are not tuned"


def test_a_constant_is_changed_everywhere_and_put_back(bench, monkeypatch):
    before = predictive.BEND_K
    monkeypatch.setattr(controller, "BEND_K", before, raising=False)  # as if it were imported there by name
    with bench.changed(bench.Constant("kilnctl.control.predictive", "BEND_K"), 1.3):
        assert predictive.BEND_K == vars(controller)["BEND_K"] == pytest.approx(1.3 * before)
    assert predictive.BEND_K == vars(controller)["BEND_K"] == before


def test_arrays_and_tuples_are_scaled_whole(bench):
    for module, name in ((estimate, "WARMED"), (estimator, "SHARES_WALK")):
        was = tuple(getattr(module, name))
        with bench.changed(bench.Constant(module.__name__, name), 0.7):
            assert tuple(getattr(module, name)) == pytest.approx([0.7 * v for v in was])
        assert tuple(getattr(module, name)) == was


def test_the_largest_change_is_shown_with_its_sign(bench):
    old = bench.Figures(1.0, 0.5, 10.0, frozenset())
    better = bench.Figures(0.8, 0.6, 11.0, frozenset())
    worse = bench.Figures(1.1, 0.5, 10.0, frozenset({"no-rise"}))
    made = [(bench.Case(name, None, 100.0, 0.0), old, new) for name, new in (("a", better), ("b", worse))]
    line = bench.line_of(bench.Constant("kilnctl.control.predictive", "BEND_K"), 0.7, made)
    assert "-30 %" in line and "over  -0.20 K" in line and "IAE  +10.0 %" in line and "FALSE TRIP b: no-rise" in line
