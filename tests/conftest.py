"""Shared by all tests: the workshop's ovens and schedules, and commands without a process of their own."""

import contextlib
import io
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
from hypothesis import HealthCheck, settings
from scenarios import oven_file, schedule_file

from kilnctl import cli, load_oven, load_schedule

ROOT = Path(__file__).parents[1]
SHARED_DATA = ROOT.parent / "shared" / "data"

#: Files that take longest: begun first when several processes share the files (tools/check), so that none is left to
#: run alone at the end.
LONGEST = (
    "panel/test_browser.py",
    "generated/test_generated_ovens.py",
    "control/test_control.py",
    "service/test_loop.py",
    "run/test_rehearse.py",
    "studies/test_study.py",
    "panel/test_server.py",
    "commissioning/test_learning_run.py",
    "cli/test_commands.py",
    "service/test_starts.py",
    "sizing/test_commands.py",
    "identification/test_fit.py",
    "plants/test_heat_balance.py",
    "safety/test_everyday_sensors.py",
    "control/test_loop_margins.py",
    "panel/test_client_and_catalogue.py",
    "service/test_saved_trips.py",
    "rig/test_board_port.py",
)


def pytest_collection_modifyitems(items):
    place = {ROOT / "tests" / name: k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))


# No test depends on the speed of the machine, and a failure found once is found again.
settings.register_profile(
    "kilnctl", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("kilnctl")


@pytest.fixture(scope="session")
def oven():
    """`oven("brick-kiln")` → the workshop's oven of that name."""
    return lambda name: load_oven(oven_file(name))


@pytest.fixture(scope="session")
def schedule():
    """`schedule("temper")` → the workshop's schedule of that name."""
    return lambda name: load_schedule(schedule_file(name))


@pytest.fixture
def here(monkeypatch):
    """`here("size", path, answers="")` → what the command does, as `subprocess.run` would tell it, without the seconds
    that a new process takes to import everything. Tests of signals, pipes or the process itself need a process."""

    def run(*arguments, answers: str = "") -> SimpleNamespace:
        out, err = io.StringIO(), io.StringIO()
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                status = cli.main([str(a) for a in arguments])
            except SystemExit as end:  # the parser's
                status = end.code or 0
        assert "a fault of its own" not in err.getvalue(), err.getvalue()
        return SimpleNamespace(returncode=status, stdout=out.getvalue(), stderr=err.getvalue())

    return run
