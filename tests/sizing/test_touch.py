"""What the outside does to a hand, against the burn thresholds of ISO 13732-1 (bare metal 65 °C for 1 s, 58 °C for 4 s;
any material 51 °C for 1 min, 48 °C for 10 min, 43 °C for 8 h; from memory)."""

import pytest
from scenarios import oven_file

from kilnctl.body.steady import SteadyOven
from kilnctl.sizing import size
from kilnctl.sizing.notes import touch_note
from kilnctl.sizing.ranges import Range
from kilnctl.sizing.touch import touch_words


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
    assert said in note and "the middle of the hottest outside face" in note and "Gaps, collars and terminals" in note


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


@pytest.mark.parametrize(
    "outside_c, metal, mineral",
    [
        (42.9, "for hours", "for hours"),
        (47.9, "ten minutes", "ten minutes"),
        (50.9, "a minute", "a minute"),
        (54.9, "ten seconds", "ten seconds"),
        (57.9, "four seconds", "ten seconds"),
        (64.9, "a second", "ten seconds"),
        (79.9, "not at all", "a second"),
        (80.0, "not at all", "not at all"),
    ],
)
def test_metal_burns_sooner_than_brick(outside_c, metal, mineral):
    assert (touch_words(outside_c, True), touch_words(outside_c, False)) == (metal, mineral)


def test_a_hand_meets_the_middle_which_is_hotter_than_the_mean(oven):
    """Review by finite volumes, another program: the brick kiln's sides are at 83 °C in the middle, 56 °C in the mean
    over their whole outside. The balance's mean is that of the part of the outside that gives off heat; it lies between
    the two."""
    steady = SteadyOven(oven("brick-kiln"))
    middle, mean = steady.middles_c(1100.0), steady.at(1100.0).shells_c
    assert middle["sides"] == pytest.approx(83.0, abs=2.0) and 56.0 < mean["sides"] < 75.0
    assert all(middle[name] > mean[name] for name in mean)


def test_the_report_lists_every_outside_with_range_emissivity_and_touch(here):
    text = here("size", oven_file("brick-kiln")).stdout
    table = text.split("middle of the outside at 1100 °C")[1].split("\n\n")[0]
    assert all(face in table for face in ("sides", "floor", "door"))
    assert "not at all" in table and "0.9" in table and " to " in table


def test_the_emissivity_of_the_outside_is_listed_when_the_file_does_not_say_it(oven):
    assert any("outer emissivity: 0.9" in a for a in oven("brick-kiln").assumptions)
