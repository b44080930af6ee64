"""The shortest way through all rooms: also run with the oldest numpy, scipy, pyserial and pyyaml that pyproject.toml
declares (tools/smoke)."""

import json

import pytest

CABINET = "configs/ovens/curing-cabinet.yaml"
CURE = """schedule: Smoke
steps:
  - {name: heat and cure, to: 90 °C, hold: 8 min, within: 3 K}
  - {name: cool, to: 80 °C, let cool: yes}
cure: {at: 50 °C, time: 1 min, activation energy: 80 kJ/mol}
"""
pytestmark = pytest.mark.smoke


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("smoke")
    (folder / "cure.yaml").write_text(CURE, encoding="utf-8")
    return folder


def test_check_and_size(here, place):
    assert here("check", CABINET, place / "cure.yaml").returncode == 0
    sized = here("size", CABINET, "--out", place / "pictures")
    assert sized.returncode == 0 and "where the watts go" in sized.stdout and "flicker" in sized.stdout
    assert list((place / "pictures").glob("*.svg"))


def test_a_cure_is_rehearsed_reported_and_fitted(here, place):
    done = here("rehearse", CABINET, place / "cure.yaml", "--compare", "--out", place / "runs", "--quiet")
    assert done.returncode == 0 and "cure" in done.stdout and "thermostat" in done.stdout, done.stderr
    folder = place / "runs" / "curing-cabinet-smoke"
    assert json.loads((folder / "run.json").read_text())["outcome"] == "finished"
    assert here("report", folder).returncode == 0
    fitted = here("fit", CABINET, folder, "--quick", "--save", place / "model.yaml")
    assert fitted.returncode == 0 and (place / "model.yaml").exists(), fitted.stderr


def test_a_study_of_two_draws(here, place):
    done = here("study", CABINET, place / "cure.yaml", "--draws", 2, "--jobs", 1, "--out", place / "studies", "--quiet")
    assert done.returncode == 0 and "2 draws: 2 ran to the end" in done.stdout, done.stderr


# On a slow computer the process that makes the page goes on after the command has said so and ended, as it should.
@pytest.mark.filterwarnings("ignore:.*Popen.__del__:pytest.PytestUnraisableExceptionWarning")
def test_the_service_runs_it_on_the_virtual_rig(here, place):
    done = here(
        "run",
        CABINET,
        place / "cure.yaml",
        "--rig",
        "virtual",
        "--speed",
        100000,
        "--confirm",
        "--quiet",
        "--home",
        place / "home",
        "--out",
        place / "served",
    )
    assert done.returncode == 0 and next((place / "served").iterdir(), None), done.stderr
