"""`kilnctl models`, `rehearse --runs` and `--no-learning`: on a cabinet that is not as it is described."""

import json
import re
import shutil

import pytest
from scenarios import oven_file

from kilnctl.record.model_store import ModelStore

SOAK = "schedule: Soak\nsteps:\n  - {to: 90 °C, hold: 10 min}\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("models")
    text = oven_file("curing-cabinet").read_text(encoding="utf-8")
    (folder / "oven.yaml").write_text(f"{text}\nvirtual: {{element mass: 2, film: 0.7}}\ncontrol: {{tick: 2 s}}\n")
    (folder / "soak.yaml").write_text(SOAK)
    return folder


@pytest.fixture
def taught(here, place, tmp_path_factory):
    """A home in which two rehearsals have taught the virtual oven's models."""
    kept = place / "models"
    if not kept.exists():
        out = tmp_path_factory.mktemp("runs")
        done = here("rehearse", place / "oven.yaml", place / "soak.yaml", "--runs", 2, "--out", out, "--quiet")
        assert done.returncode == 0, done.stderr
        assert "model 1, from 1 run, is in use from now on: the description predicted" in done.stdout
        assert "model 1 predicted this run within" in done.stdout and "model 2" in done.stdout
        shutil.copytree(next(out.glob("*-models")), kept)
    home = tmp_path_factory.mktemp("home")
    shutil.copytree(kept, home / "curing-cabinet" / "models-virtual")
    return home


def numbers(text: str) -> list[float]:
    return [float(n) for n in re.findall(r"within (\d+\.\d+) K", text)]


@pytest.mark.slow
def test_versions_are_listed_pinned_undone_and_compared(here, place, taught, tmp_path):
    def models(*more):
        done = here("models", place / "oven.yaml", "--home", taught, "--virtual", *more)
        return done.stdout if done.returncode == 0 else done.stderr

    listed = models()
    assert "model 2 is in use, from 2 runs" in listed and "2*" in listed and "learnt" in listed
    assert "the description's model is in use" in here("models", place / "oven.yaml", "--home", taught).stdout
    assert "(pinned)" in models("--pin", 1) and "(pinned)" not in models("--unpin")
    assert "there is no model 7" in models("--pin", 7)
    models("--pin", 2)
    assert "model 2 is undone; model 1 is in use" in models("--undo")
    compared = models("--compare", 0, 1)
    assert "from the description's model to model 1" in compared and "missed by" in compared
    assert "heat per kelvin" in compared, "its elements are twice as heavy"
    assert "both the description's" in models("--compare", 0, 0)
    mine = tmp_path / "mine.yaml"
    mine.write_text((taught / "curing-cabinet" / "models-virtual" / "model-1.yaml").read_text())
    added = models("--add", mine)
    assert "model 3 is in use" in added and "mine.yaml" in added
    assert here("models", place / "oven.yaml", "--home", taught, "--undo").returncode == 2


@pytest.mark.slow
def test_the_service_controls_with_what_runs_taught_and_learns_more_unless_told_not_to(here, place, taught, tmp_path):
    store = ModelStore(taught / "curing-cabinet" / "models-virtual")

    def run(name, *more):
        common = ("--rig", "virtual", "--home", taught, "--out", tmp_path / name, "--speed", 100000, "--quiet")
        done = here("run", place / "oven.yaml", place / "soak.yaml", *common, "--confirm", *more)
        assert done.returncode == 0, done.stderr
        folder = next((tmp_path / name).iterdir())
        return done.stdout, json.loads((folder / "run.json").read_text()), (folder / "run.html").read_text()

    said, about, page = run("plain", "--no-learning")
    assert about["model_words"].startswith("model 2, from 2 runs") and "teaches" not in about
    assert "model 2, from 2 runs" in page and store.ledger().in_use == 2 and "from now on" not in said
    said, about, page = run("learning")
    assert about["teaches"] == str(store.folder) and "model 2 predicted this run within" in said
    assert max(numbers(said)) < 1.0 and "what it taught the model" in page
    assert len(store.ledger().versions) == 3
    # A model that a person chose learns nothing.
    _, about, _ = run("chosen", "--model", store.file(1).rename(tmp_path / "mine.yaml"))
    assert "teaches" not in about and len(store.ledger().versions) == 3


def test_several_in_a_row_are_of_the_model(here, place, tmp_path):
    for more in (("--compare",), ("--controller", "pid")):
        done = here("rehearse", place / "oven.yaml", place / "soak.yaml", "--runs", 3, "--out", tmp_path, *more)
        assert done.returncode == 2 and "--runs" in done.stderr and not list(tmp_path.iterdir())


def test_learning_is_refused_where_it_is_not_wanted(here, place):
    """What asks for a start, and a learning run, take the option."""
    nobody = here("start", place / "oven.yaml", place / "soak.yaml", "--no-learning", "--home", place / "nobody")
    assert nobody.returncode == 2 and "--no-learning" not in nobody.stderr
    assert here("learn", place / "oven.yaml", "--no-learning", "--plan").returncode == 0
