"""The range of a heat-up where the power only just gets there: a stranger's burn-out kiln was told "-208 min"."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from kilnctl import load_oven
from kilnctl.output import METRIC_UNITS
from kilnctl.report.sizing_page import sizing_page
from kilnctl.report.sizing_text import sizing_text, time_range
from kilnctl.sizing.ranges import COVERAGE, Range, spread_of_time
from kilnctl.sizing.sizing import Sizing


@pytest.fixture(scope="module")
def kiln():
    return Sizing(load_oven(Path(__file__).parent / "kept" / "burn-out.yaml"))


def test_a_time_near_what_the_power_holds_is_above_zero_and_may_never_come(kiln):
    to_c = 0.98 * kiln.reached_c
    found = kiln.heat_up_range_s(kiln.oven.site.ambient_c, to_c)
    # A tenth more of the supply's voltage alone makes it much quicker, a tenth less keeps it below for ever.
    assert 0.0 < found.low < 0.7 * found.value and found.high == math.inf
    assert "or never" in time_range(found) and "-" not in time_range(found)


def test_a_load_is_not_behind_a_chamber_that_does_not_arrive(kiln):
    text, page = sizing_text(kiln, METRIC_UNITS), sizing_page(kiln, METRIC_UNITS)
    assert "heat-up, loaded        not within two days" in text
    assert "the load is then" not in text and "or never" in text and "or never" in page


def test_a_stated_vent_is_no_leak_that_may_be_twice_as_large():
    """A varnish dryer, to 157 °C, whose worst voltage still holds 212 °C, was told that it may never get there: its
    vent, four fifths of its loss, was doubled with the leak round its door."""
    dryer = Sizing(load_oven(Path(__file__).parent / "kept" / "varnish-dryer.yaml"))
    found = dryer.heat_up_range_s(dryer.oven.site.ambient_c, dryer.reached_c)
    assert 0.0 < dryer.leak_share < 0.06
    assert dryer.reached_c < dryer.max_chamber_range_c.low and found.high < 2.5 * found.value


def test_the_range_of_a_heat_up_holds_a_leak_that_is_twice_as_large():
    """The leak round the door is a guess, and the virtual oven with twice the gap lies within the range."""
    dryer = Sizing(load_oven(Path(__file__).parent / "kept" / "varnish-dryer.yaml"))
    leaky = Sizing(replace(dryer.oven, door=replace(dryer.oven.door, gap_m=2.0 * dryer.oven.door.gap_m)))
    found = dryer.heat_up_range_s(dryer.oven.site.ambient_c, dryer.reached_c)
    longer = leaky.heat_up_s(dryer.oven.site.ambient_c, dryer.reached_c) / found.value
    assert 1.0 < longer < found.high / found.value


def test_the_ends_of_a_time_combine_as_factors():
    """JCGM 100, 5.1.2, for the logarithm of the time: two inputs that double and halve it."""
    ends = [(2.0, 0.5), (0.5, 2.0)]
    factor = math.exp(COVERAGE * math.sqrt(2.0) * math.log(2.0))
    found = spread_of_time(600.0, ends)
    assert found.low == pytest.approx(600.0 / factor) and found.high == pytest.approx(600.0 * factor)
    assert spread_of_time(600.0, [(0.9, math.inf)]).high == math.inf
    assert spread_of_time(600.0, [(1.0, 1.0)]) == Range(600.0, 600.0, 600.0)
