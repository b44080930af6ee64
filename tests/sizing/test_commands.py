"""size, new, materials and schema as a beginner meets them."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from kilnctl.cli import main
from kilnctl.settings.schema import schema_of

CONFIGS = Path(__file__).parents[2] / "configs"
CABINET = str(CONFIGS / "ovens" / "curing-cabinet.yaml")


def kilnctl(*arguments, answers=""):
    done = subprocess.run([sys.executable, "-m", "kilnctl", *map(str, arguments)], input=answers, capture_output=True, text=True, timeout=100)
    assert "Traceback" not in done.stderr, done.stderr
    return done


def test_size_for_people(capsys, tmp_path):
    assert main(["size", CABINET, "--out", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    for word in ("highest by power", "heat-up, empty", "where the watts go", "edges and corners", "door leak", "25 mm more", "assumed", "hottest outside face", "heat sink"):
        assert word in out
    names = {p.name for p in tmp_path.iterdir()}
    assert {"power.svg", "wall-sides.svg", "wall-door.svg"} <= names
    assert all(p.read_text().startswith("<svg") for p in tmp_path.iterdir())


def test_size_in_fahrenheit_says_the_same(capsys):
    main(["size", CABINET, "--units", "imperial"])
    out = capsys.readouterr().out
    assert "°F" in out and "BTU/h" in out and "500 °F" in out


def test_size_for_programs(capsys):
    assert main(["size", CABINET, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["max_chamber_c"]["low"] < data["max_chamber_c"]["value"] < data["max_chamber_c"]["high"]
    assert data["levels"][-1]["chamber_c"] == 260.0 and data["layers"] and data["assumptions"]


def test_new_with_all_defaults_is_accepted_by_everything(here, tmp_path):
    path = tmp_path / "mine.yaml"
    assert here("new", path, "--defaults").returncode == 0
    for command in (("check", path, CONFIGS / "schedules" / "powder-cure.yaml"), ("size", path)):
        done = here(*command)
        assert done.returncode == 0, done.stderr
    # What the oven is made for begins with minutes of purging: a short one shows the same.
    (tmp_path / "short.yaml").write_text("schedule: short\nsteps:\n  - {to: 80 °C, hold: 5 min}\n")
    done = here("rehearse", path, tmp_path / "short.yaml", "--out", tmp_path / "runs", "--quiet")
    assert done.returncode == 0 and "finished" in done.stdout


def test_new_by_pipe_in_any_unit(here, tmp_path):
    path = tmp_path / "kiln.yaml"
    answers = "Little kiln\nceramics\n2100 F\n12 x 12 x 14 in\ntop\n\n4 1/2 in\n\n2 in\n3 kW\n240 V\n60 Hz\nno\n"
    done = kilnctl("new", path, answers=answers)
    assert done.returncode == 0, done.stderr
    assert here("size", path).returncode == 0
    again = here("new", path, answers=answers)
    assert again.returncode == 2 and "not overwritten" in again.stderr


@pytest.mark.parametrize("purpose", ["powder coat", "drying", "heat treatment", "ceramics", "lab"])
def test_every_purpose_makes_an_oven_that_can_be_sized(here, tmp_path, purpose):
    path = tmp_path / "oven.yaml"
    assert here("new", path, answers=f"Mine\n{purpose}\n").returncode == 0
    assert here("size", path, "--json").returncode == 0


def test_a_bad_answer_by_pipe_writes_nothing_and_says_which(here, tmp_path):
    path = tmp_path / "oven.yaml"
    done = here("new", path, answers="\n\nvery hot\n")
    assert done.returncode == 2 and "answer 3 ('very hot')" in done.stderr and not path.exists()


def test_materials_are_listed_with_sources(capsys):
    assert main(["materials", "--at", "200 °C, 1500 °F"]) == 0
    out = capsys.readouterr().out
    assert "VDI Heat Atlas" in out and "from memory" in out and "816 °C" in out and "over limit" in out
    assert main(["materials", "--at", "hot"]) == 2


@pytest.mark.parametrize("kind", ["oven", "schedule"])
def test_schema_accepts_the_workshops_files_and_refuses_what_the_reader_refuses(kind):
    jsonschema = pytest.importorskip("jsonschema", reason="jsonschema is in the test extra")
    schema = schema_of(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for path in (CONFIGS / f"{kind}s").glob("*.yaml"):
        document = yaml.safe_load(path.read_text())
        assert list(validator.iter_errors(document)) == []
        assert list(validator.iter_errors({**document, "tpyo": 1}))
    if kind == "oven":
        document = yaml.safe_load(Path(CABINET).read_text())
        document["elements"]["power"] = 3
        assert list(validator.iter_errors(document))


def test_schema_says_what_each_key_means():
    def walk(node):
        for name, value in node.get("properties", {}).items():
            assert value.get("description"), name
        for value in node.get("$defs", {}).values():
            walk(value)

    for kind in ("oven", "schedule"):
        walk(schema_of(kind))
