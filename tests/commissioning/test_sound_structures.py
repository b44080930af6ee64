"""Sound ovens of another structure than their file says: their learning run goes to its end."""

from dataclasses import replace

import pytest
from invented_plants import Invented, told

from kilnctl import learn
from kilnctl.settings.oven import oven_from
from kilnctl.terms import Outcome
from tests.generated.ovens import numbered


@pytest.mark.slow
@pytest.mark.parametrize("number, structure", [(0, "all")])
def test_heavy_shells_and_an_unnamed_hearth_rise_slowly_at_full_power_and_are_left_alone(number, structure):
    """It rose by 4.7 K in ten minutes at full power and 418 °C, of which the file's own oven would take 57 %:
    heat-no-rise ended it after 13,690 s."""
    oven = told(oven_from(numbered(31, number), "drawn"), 1)
    oven = replace(oven, control=replace(oven.control, tick_s=2.0))
    run = learn(oven, Invented(oven, structure, 1), 1, load=oven.usual_load)
    assert not run.trips and run.outcome == Outcome.FINISHED
