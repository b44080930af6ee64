"""What the outside does to a hand, against the burn thresholds of ISO 13732-1 (bare metal 65 °C for 1 s, 58 °C for 4 s;
any material 51 °C for 1 min, 48 °C for 10 min, 43 °C for 8 h; from memory)."""

import pytest

from kilnctl.sizing import size
from kilnctl.sizing.notes import touch_note
from kilnctl.sizing.sizing import Range


@pytest.mark.parametrize(
    "shell_c, said",
    [
        (42.9, "may be touched"),
        (43.0, "within ten minutes"),
        (50.9, "within ten minutes"),
        (51.0, "within a minute; guard"),
        (57.9, "within a minute; guard"),
        (58.0, "within four seconds; guard"),
        (65.0, "at a touch"),
        (300.0, "at a touch"),
    ],
)
def test_each_threshold_names_its_time(shell_c, said):
    note = touch_note(Range(shell_c, shell_c, shell_c), 200.0, 20.0)
    assert said in note and "the flat of the hottest outside face" in note and "Gaps, collars and terminals" in note


def test_the_warmest_of_the_range_decides_and_the_range_is_told():
    note = touch_note(Range(55.0, 50.0, 60.0), 200.0, 20.0)
    assert "at about 55 °C (50 °C to 60 °C)" in note and "in a room of 20 °C" in note
    assert "within four seconds; guard" in note and "within a minute" not in note


def test_the_range_of_the_outside_holds_its_value_and_grows_with_the_chamber(oven):
    sizing = size(oven("brick-kiln"))
    cool, hot = sizing.shell_range_c(300.0), sizing.shell_range_c(1100.0)
    for found in (cool, hot):
        assert found.low < found.value < found.high
    assert hot.high - hot.low > cool.high - cool.low > 1.0
    assert hot.value == sizing.shell_c(1100.0)
