"""What the tests of studies share that is no fixture."""

from pathlib import Path

from kilnctl.settings.schedule import Schedule, Step

CONFIGS = Path(__file__).parents[2] / "configs"
#: A short run, for tests that need several.
WARM = Schedule(
    name="warm", steps=(Step(name="warm", to_c=80.0, hold_s=700.0), Step(name="cool", to_c=75.0, let_cool=True))
)
