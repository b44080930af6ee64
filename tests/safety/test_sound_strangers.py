"""Sound ovens of another structure than their file says, found by tools/bench/goals: no rule ends their heat-up."""

import pytest
from invented_plants import Invented
from strange_plants import PLANTS

from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import simulate
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.terms import Outcome
from tests.generated.ovens import numbered


@pytest.mark.slow
@pytest.mark.parametrize(
    "number, structure, soak_c",
    [
        (57, "two walls", 86.6),  # 4.7 K in ten minutes of full power, by a heavy inner shell: heat-no-rise
        (121, "hearth", 772.0),  # 5 K/s, and two sensors that are not equally late
        (187, "door", 864.0),
    ],
)
def test_a_sound_stranger_comes_to_its_soak(number, structure, soak_c):
    oven = oven_from(numbered(500, number), f"500/{number}")
    plant = PLANTS[structure](oven, soak_c, 1) if structure in PLANTS else Invented(oven, structure, 1)
    schedule = Schedule(name="soak", steps=(Step(to_c=soak_c, hold_s=600.0, within_k=10.0),))
    run = simulate(prepare(oven, schedule), plant, 1)
    assert not run.trips and run.outcome == Outcome.FINISHED
