"""What the tests of studies share that is no fixture."""

from pathlib import Path
from typing import Any

from kilnctl.settings.schedule import Schedule, Step
from kilnctl.studies.inputs import INPUTS, Vary

CONFIGS = Path(__file__).parents[2] / "configs"
#: A short run, for tests that need several.
WARM = Schedule(
    name="warm", steps=(Step(name="warm", to_c=80.0, hold_s=700.0), Step(name="cool", to_c=75.0, let_cool=True))
)
_NOTHING: dict[str, Any] = dict.fromkeys(INPUTS, 0.0)
#: Every input as described.
STILL = Vary(**_NOTHING)
