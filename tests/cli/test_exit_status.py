"""The exit status tells a script how it went: one table, in `--help`, in README.md and as done. A trip's is in
tests/cli/test_commands.py."""

import re
from pathlib import Path

import pytest

from kilnctl.terms import ExitStatus, Outcome

CABINET = "configs/ovens/curing-cabinet.yaml"
#: A cure that asks for far more than the soak gives.
UNCURED = """schedule: Too short
steps:
  - {name: soak, to: 40 °C, hold: 1 min}
cure: {at: 190 °C, time: 10 min, activation energy: 80 kJ/mol}
"""


@pytest.fixture
def uncured(tmp_path):
    (tmp_path / "uncured.yaml").write_text(UNCURED, encoding="utf-8")
    return tmp_path / "uncured.yaml"


def test_help_and_readme_hold_the_one_table(here):
    told = here("--help").stdout
    rows = re.findall(r"^\| (\d+) \| (.+) \|$", Path("README.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert rows == [(str(int(s)), s.words) for s in ExitStatus]
    assert all(f"{int(s):>3}  {s.words}\n" in told for s in ExitStatus)


@pytest.mark.parametrize(
    "outcome, status",
    [
        (Outcome.FINISHED, 0),
        (Outcome.TRIPPED, 3),
        (Outcome.LOST, 3),
        (Outcome.STOPPED, 130),
        (Outcome.INTERRUPTED, 130),
    ],
)
def test_every_end_of_a_run_has_its_status(outcome, status):
    assert ExitStatus.of_run(outcome) == status


def test_only_a_run_that_came_to_its_end_can_be_as_asked():
    assert ExitStatus.of_run(Outcome.FINISHED, as_asked=False) == 1
    assert ExitStatus.of_run(Outcome.TRIPPED, as_asked=False) == 3


def test_a_rehearsal_that_did_not_cure_the_part_ends_with_1(here, uncured, tmp_path):
    done = here("rehearse", CABINET, uncured, "--quiet", "--out", tmp_path)
    assert done.returncode == 1 and "NOT CURED" in done.stdout and "next: " in done.stdout


def test_the_worst_of_several_rehearsals_counts(here, uncured, tmp_path):
    """The last one alone counted: here every run is uncured."""
    done = here("rehearse", CABINET, uncured, "--quiet", "--runs", 2, "--out", tmp_path)
    assert done.returncode == 1


@pytest.mark.slow
def test_a_run_of_the_service_ends_with_the_status_of_its_verdict(here, uncured, tmp_path):
    words = ("--rig", "virtual", "--speed", 100000, "--confirm", "--quiet", "--home", tmp_path, "--out", tmp_path)
    done = here("run", CABINET, uncured, *words)
    assert done.returncode == 1 and "NOT CURED" in done.stdout, done.stderr
