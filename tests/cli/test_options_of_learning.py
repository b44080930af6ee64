"""Options of rehearse, study, learn and fit: each changes what it says it changes. On a small lab furnace, which is
learnt in seconds."""

import csv
import io
import json
import sys
from pathlib import Path

import pytest

from kilnctl.cli import main

CONFIGS = Path(__file__).parents[2] / "configs"
CABINET = CONFIGS / "ovens" / "curing-cabinet.yaml"
ARRIVE = "schedule: arrive\nsteps:\n  - {to: 60 °C, hold: 5 min}\n  - {to: 45 °C, let cool: yes}\n"


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    folder = tmp_path_factory.mktemp("learning")
    (folder / "arrive.yaml").write_text(ARRIVE, encoding="utf-8")
    return folder


def samples(folder):
    with open(next(folder.glob("*/samples.csv")), encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("controller", ["thermostat", "pi", "pid"])
def test_the_controller_that_is_named_controls(here, place, controller):
    done = here(
        "rehearse", CABINET, place / "arrive.yaml", "--controller", controller, "--out", place / controller, "--quiet"
    )
    # A thermostat does not keep the soak's band.
    assert done.returncode == (1 if controller == "thermostat" else 0), done.stderr
    about = json.loads(next((place / controller).glob("*/run.json")).read_text())
    assert about["controller"] != "energy balance and trim"
    if controller == "thermostat":
        # On or off by the tick, but for the share of a tick that the start takes.
        assert {float(row["duty"]) for row in samples(place / controller)} == {0.0, 1.0}


def test_a_whole_study_follows_the_last_cooling_to_its_end(here, place):
    def ends(name, *more):
        done = here(
            "study", CABINET, place / "arrive.yaml", "--draws", 2, "--jobs", 1, "--quiet", "--out", place / name, *more
        )
        assert done.returncode == 0, done.stderr
        head, *rows = (json.loads(line) for line in next((place / name).glob("*/draws.jsonl")).read_text().splitlines())
        assert len(rows) == 2
        return head["whole"]

    assert ends("whole", "--whole") is True and ends("part") is False


@pytest.mark.slow
def test_a_study_of_tuning_suggests_a_trim(here, place):
    done = here(
        "study",
        CABINET,
        place / "arrive.yaml",
        "--tuning",
        "--draws",
        2,
        "--jobs",
        1,
        "--quiet",
        "--out",
        place / "tuning",
    )
    assert done.returncode == 0 and "trim" in done.stdout, done.stderr


@pytest.mark.slow
def test_more_confidence_asks_for_a_thicker_layer(here):
    def needed(share):
        done = here(
            "study",
            CABINET,
            "--reach",
            "240 °C",
            "--layer",
            "mineral wool 100",
            "--confidence",
            share,
            "--draws",
            40,
            "--jobs",
            1,
            "--quiet",
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    assert "50 %" in needed("50 %") and "95 %" in needed("95 %")
    wrong = here("study", CABINET, "--reach", "240 °C", "--layer", "mineral wool 100", "--confidence", "95 mm")
    assert wrong.returncode == 2 and "--confidence" in wrong.stderr


def test_a_scheduler_that_does_not_answer_is_told(here, place, monkeypatch):
    """The cluster itself is in tests/studies; here no scheduler listens."""
    pytest.importorskip("distributed", reason="distributed is in the test extra")
    import distributed  # noqa: PLC0415 - of an extra

    def nobody(address, timeout):
        raise OSError(f"{address}: nobody listens")

    monkeypatch.setattr(distributed, "Client", nobody)
    done = here("study", CABINET, place / "arrive.yaml", "--scheduler", "tcp://127.0.0.1:1", "--out", place / "cluster")
    assert done.returncode == 2 and "--scheduler tcp://127.0.0.1:1: no answer" in done.stderr


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """A furnace of `kilnctl new`, and its learning run with seed 1."""
    folder = tmp_path_factory.mktemp("lab")

    before, sys.stdin = sys.stdin, io.StringIO("Lab furnace\nlab\n" + "\n" * 20)
    try:
        assert main(["new", str(folder / "lab.yaml")]) == 0
    finally:
        sys.stdin = before
    assert (
        main(
            [
                "learn",
                str(folder / "lab.yaml"),
                "--to",
                "300 °C",
                "--seed",
                "1",
                "--out",
                str(folder / "runs"),
                "--quiet",
            ]
        )
        == 0
    )
    return folder


@pytest.fixture(scope="module")
def learnt(lab):
    return next((lab / "runs").iterdir())


@pytest.mark.slow
def test_the_seed_of_a_learning_run_is_noted_and_gives_its_noise(here, lab, learnt):
    assert json.loads((learnt / "run.json").read_text())["seed"] == 1
    done = here("learn", lab / "lab.yaml", "--to", "300 °C", "--seed", 2, "--out", lab / "other", "--quiet")
    assert done.returncode == 0
    other = [row["chamber_c"] for row in samples(lab / "other")][:50]
    assert other != [row["chamber_c"] for row in samples(lab / "runs")][:50]
    assert here("learn", lab / "lab.yaml", "--seed", -1).returncode == 2


@pytest.mark.slow
def test_a_hot_oven_is_learnt_only_when_that_is_wanted(here, lab, tmp_path):
    plant = tmp_path / "warm.py"
    plant.write_text(
        "from kilnctl.plants.virtual_oven import VirtualOven\n\n\ndef warm(oven):\n    plant = VirtualOven(oven)\n"
        "    for _ in range(120):\n        plant.advance(1.0, 1.0, True)\n    return plant\n",
        encoding="utf-8",
    )
    common = (
        "learn",
        lab / "lab.yaml",
        "--to",
        "300 °C",
        "--plant",
        f"{plant}:warm",
        "--quiet",
        "--out",
        tmp_path / "runs",
    )
    cold = here(*common)
    assert cold.returncode == 2 and "--hot" in cold.stderr and not (tmp_path / "runs").exists()
    hot = here(*common, "--hot")
    assert hot.returncode == 0 and float(samples(tmp_path / "runs")[1]["chamber_c"]) > 50.0


@pytest.mark.slow
def test_a_fault_in_the_learning_run_trips_it_and_it_is_continued_from_its_record(here, lab, tmp_path):
    faults = tmp_path / "faults.yaml"
    faults.write_text("faults:\n  - {kind: thermocouple open, at: 20 min}\n", encoding="utf-8")
    first = here(
        "learn", lab / "lab.yaml", "--to", "300 °C", "--faults", faults, "--quiet", "--out", tmp_path / "first"
    )
    assert first.returncode == 3 and "TRIP" in first.stdout and "--continue" in first.stdout, first.stderr
    folder = next((tmp_path / "first").iterdir())
    plan = [
        here("learn", lab / "lab.yaml", "--to", "300 °C", "--plan", *more).stdout
        for more in ((), ("--continue", folder))
    ]
    assert plan[0] != plan[1] and "learning run" in plan[1]
    nothing = here("learn", lab / "lab.yaml", "--continue", tmp_path / "nowhere")
    assert nothing.returncode == 2


def test_learning_with_the_usual_load_says_so_in_the_record(here, tmp_path):
    done = here("learn", CABINET, "--loaded", "--plan")
    assert done.returncode == 0 and done.stdout != here("learn", CABINET, "--plan").stdout


def test_a_model_that_was_edited_is_taken_only_when_that_is_wanted(here, lab, learnt, tmp_path):
    model = tmp_path / "model.yaml"
    assert here("fit", lab / "lab.yaml", learnt, "--quick", "--save", model).returncode == 0
    text = model.read_text()
    value = text.split("lag_s:\n    value: ")[1].split("\n")[0]
    model.write_text(text.replace(f"value: {value}", f"value: {1.01 * float(value)}"))
    common = ("fit", lab / "lab.yaml", learnt, "--quick", "--previous", model)
    refused = here(*common)
    assert refused.returncode == 2 and "checksum" in refused.stderr
    taken = here(*common, "--edited-model")
    assert taken.returncode == 0 and "edited" in taken.stdout


@pytest.mark.slow
def test_a_table_of_a_loaded_oven_is_fitted_as_loaded(here, lab, learnt, tmp_path):
    """The same readings are another oven's when 8 kg of steel stood in it: the model says which load it knows."""
    oven = tmp_path / "lab.yaml"
    oven.write_text(
        (lab / "lab.yaml")
        .read_text()
        .replace(
            "# usual load: {name: steel parts, mass: 4 kg, material: steel, area: 0.5 m², thickness: 3 mm}",
            "usual load: {name: brass, mass: 0.5 kg, material: steel, area: 0.02 m², thickness: 3 mm}",
        )
    )
    table = tmp_path / "table.csv"
    rows = [
        f"{row['time_s']},{row['chamber_c']},{1200.0 * float(row['duty'] or 0.0)}"
        for row in samples(lab / "runs")
        if row["chamber_c"]
    ]
    table.write_text("\n".join(["t,T,P", *rows]), encoding="utf-8")
    common = ("fit", oven, table, "--columns", "time=t:s,chamber=T:C,power=P:W", "--quick", "--save")
    for name, more in (("empty", ()), ("loaded", ("--loaded",))):
        assert here(*common, tmp_path / f"{name}.yaml", *more).returncode == 0
    assert "load: null" in (tmp_path / "empty.yaml").read_text()
    assert "brass" in (tmp_path / "loaded.yaml").read_text()
