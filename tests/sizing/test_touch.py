"""What the outside does to a hand, against the burn thresholds of ISO 13732-1 (bare metal 65 °C for 1 s, 58 °C for 4 s;
any material 51 °C for 1 min, 48 °C for 10 min, 43 °C for 8 h; from memory)."""

import pytest

from kilnctl.sizing.notes import touch_note


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
    note = touch_note(shell_c, 200.0)
    assert said in note and "the flat of the hottest outside face" in note and "Gaps, collars and terminals" in note
