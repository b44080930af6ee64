"""Shared by all tests: the workshop's ovens and schedules."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from kilnctl import load_oven, load_schedule

ROOT = Path(__file__).parents[1]
CONFIGS = ROOT / "configs"
SHARED_DATA = ROOT.parent / "shared" / "data"

# No test depends on the speed of the machine, and a failure found once is found again.
settings.register_profile("kilnctl", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("kilnctl")


@pytest.fixture(scope="session")
def oven():
    """`oven("brick-kiln")` → the workshop's oven of that name."""
    return lambda name: load_oven(CONFIGS / "ovens" / f"{name}.yaml")


@pytest.fixture(scope="session")
def schedule():
    """`schedule("temper")` → the workshop's schedule of that name."""
    return lambda name: load_schedule(CONFIGS / "schedules" / f"{name}.yaml")
