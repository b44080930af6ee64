"""size, new, materials and schema as a beginner meets them."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from kilnctl.cli import main
from kilnctl.settings.json_schema import schema_of

CONFIGS = Path(__file__).parents[2] / "configs"
CABINET = str(CONFIGS / "ovens" / "curing-cabinet.yaml")


def kilnctl(*arguments, answers=""):
    done = subprocess.run(
        [sys.executable, "-m", "kilnctl", *map(str, arguments)],
        input=answers,
        capture_output=True,
        text=True,
        timeout=100,
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done


def test_size_for_people(capsys, tmp_path):
    assert main(["size", CABINET, "--out", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    for word in (
        "highest by power",
        "heat-up, empty",
        "where the watts go",
        "edges and corners",
        "door leak",
        "25 mm more",
        "assumed",
        "hottest outside face",
        "heat sink",
    ):
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
    path, cure = tmp_path / "mine.yaml", CONFIGS / "schedules" / "powder-cure.yaml"
    assert here("new", path, "--defaults").returncode == 0
    for command in (("check", path), ("size", path)):
        done = here(*command)
        assert done.returncode == 0, done.stderr
    # Nobody has said that air goes through it: powder is refused until its fan and switch are described.
    done = here("check", path, cure)
    assert done.returncode == 2 and "no proved ventilation" in done.stderr
    path.write_text(path.read_text() + "vent: {flow: 3 m³/h, proved: yes, proof: flow switch}\n")
    done = here("check", path, cure)
    assert done.returncode == 0, done.stderr
    # What the oven is made for begins with minutes of purging: a short one shows the same.
    (tmp_path / "short.yaml").write_text("schedule: short\nsteps:\n  - {to: 80 °C, hold: 5 min}\n")
    done = here("rehearse", path, tmp_path / "short.yaml", "--out", tmp_path / "runs", "--quiet")
    assert done.returncode == 0 and "finished" in done.stdout


def test_new_by_pipe_in_any_unit(here, tmp_path):
    path = tmp_path / "kiln.yaml"
    answers = (
        "Little kiln\nceramics\n2100 F\n12 x 12 x 14 in\ntop\n\n4 1/2 in\n\n2 in\n3 kW\n\n\n240 V\n60 Hz\nno\n\n\n"
    )
    done = kilnctl("new", path, answers=answers)
    assert done.returncode == 0, done.stderr
    assert here("size", path).returncode == 0
    again = here("new", path, answers=answers)
    assert again.returncode == 2 and "not overwritten" in again.stderr


@pytest.mark.parametrize(
    ("printed", "at", "keys"),
    [
        ("R-13", "", "resistance: R-13, mean temperature: 24 °C}"),
        ("0.04 W/(m·K)", "50 °C", "conductivity: 0.04 W/(m·K), mean temperature: 50 °C}"),
    ],
)
def test_what_the_seller_prints_stands_in_the_file(here, tmp_path, printed, at, keys):
    path = tmp_path / "dryer.yaml"
    done = here("new", path, answers=f"Mine\ndrying\n{13 * chr(10)}{printed}\n{at}\n")
    assert done.returncode == 0, done.stderr
    assert keys in path.read_text()
    assert "along the curve of mineral wool 100" in here("size", path).stdout
    wrong = here("new", tmp_path / "other.yaml", answers=f"Mine\ndrying\n{13 * chr(10)}warm\n")
    assert wrong.returncode == 2 and "an R-value such as R-13" in wrong.stderr


@pytest.mark.slow
@pytest.mark.parametrize("purpose", ["powder coat", "drying", "heat treatment", "ceramics", "lab"])
def test_every_purpose_makes_an_oven_that_can_be_sized(here, tmp_path, purpose):
    path = tmp_path / "oven.yaml"
    assert here("new", path, answers=f"Mine\n{purpose}\n" + 17 * "\n").returncode == 0
    assert here("size", path, "--json").returncode == 0
    assert here("check", path).returncode == 0


WOOL = "Shop oven\nheat treatment\n{hot}\n500x450x450 mm\nfront\n{wool}\n{thick}\n"


def test_answers_that_end_too_soon_write_nothing(here, tmp_path):
    path = tmp_path / "oven.yaml"
    done = here("new", path, answers="Mine\ndrying\n150 °C\n")
    assert (
        done.returncode == 2
        and "end before question 4" in done.stderr
        and "nothing was written" in done.stderr
        and not path.exists()
    )


def test_an_answer_that_the_files_check_would_refuse_is_refused_at_once(here, tmp_path):
    path = tmp_path / "oven.yaml"
    done = here("new", path, answers=WOOL.format(hot="650 °C", wool="mineral wool", thick="100 mm") + 17 * "\n")
    assert (
        done.returncode == 2
        and "answer 6 ('mineral wool')" in done.stderr
        and "bears 640 °C" in done.stderr
        and not path.exists()
    )
    done = here("new", path, answers=WOOL.format(hot="1250 °F", wool="mineral wool", thick="4 in") + 17 * "\n")
    assert done.returncode == 2 and "bears 1184 °F" in done.stderr and "1250 °F" in done.stderr
    # The second layer is judged where it is, behind the first.
    behind = (
        WOOL.format(hot="1000 °C", wool="insulating firebrick 23", thick="30 mm")
        + "mineral wool 60\n100 mm\n"
        + 17 * "\n"
    )
    done = here("new", path, answers=behind)
    assert (
        done.returncode == 2
        and "answer 9 ('100 mm')" in done.stderr
        and "mineral wool 60" in done.stderr
        and not path.exists()
    )
    weak = WOOL.format(hot="1000 °C", wool="insulating firebrick 23", thick="114 mm") + "none\n200 W\n" + 17 * "\n"
    done = here("new", path, answers=weak)
    assert done.returncode == 2 and "('200 W'): only to hold 1000 °C takes" in done.stderr and not path.exists()


def test_answers_in_fahrenheit_give_a_file_in_round_fahrenheit_and_inches(here, tmp_path):
    path = tmp_path / "oven.yaml"
    assert here("new", path, answers="Shop\npowder coat\n450 °F\n20 x 20 x 30 in\n" + 17 * "\n").returncode == 0
    text = path.read_text()
    limits = yaml.safe_load(text)["limits"]
    assert limits == {"highest": "450 °F", "trip": "480 °F", "limiter": "510 °F"}
    assert yaml.safe_load(text)["supply"] == {"voltage": "240 V", "frequency": "60 Hz"}
    thickness = [layer["thickness"] for layer in yaml.safe_load(text)["walls"]["sides"]["layers"]]
    assert thickness == ["20 gauge steel", "80 mm", "20 gauge steel"] and "°C" not in text
    said = here("check", path).stdout
    assert "450 °F" in said and "480 °F" in said and "°C" not in said and "20.0 in" in said


def test_a_metric_240_volts_is_of_50_hertz_and_120_volts_of_60(here, tmp_path):
    for volts, hertz in (("240 V", "50 Hz"), ("120 V", "60 Hz")):
        path = tmp_path / f"{volts}.yaml"
        assert here("new", path, answers="Mine\nlab\n" + 10 * "\n" + f"{volts}\n" + 5 * "\n").returncode == 0
        assert yaml.safe_load(path.read_text())["supply"] == {"voltage": volts, "frequency": hertz}


def test_elements_that_are_known_stand_in_the_file(here, tmp_path):
    for given, keys in (
        ("60 in²", {"surface": "60 in²"}),
        ("8 mm x 12 m", {"wire diameter": "8 mm", "wire length": "12 m"}),
    ):
        path = tmp_path / f"{len(keys)}.yaml"
        assert here("new", path, answers="Mine\nlab\n" + 9 * "\n" + f"{given}\n" + 7 * "\n").returncode == 0
        assert keys.items() <= yaml.safe_load(path.read_text())["elements"].items()


# ---- units -----------------------------------------------------------------------------------------------------------


MUFFLE = str(CONFIGS / "ovens" / "bench-muffle.yaml")


def test_a_file_in_fahrenheit_is_sized_in_fahrenheit_inches_and_btu_throughout(here):
    said = here("size", MUFFLE).stdout
    assert not [word for word in ("°C", " mm", "W/cm²", "kWh", " K:") if word in said]
    assert "BTU/h" in said and "W/in²" in said and "2.00 in" in said
    rows = [line.split(" °F")[0].strip() for line in said.splitlines() if line.count("BTU/h") == 3]
    assert rows == ["400", "800", "1200", "1600", "1832"], "round in the reader's scale, and the oven's highest"
    assert re.search(r"heat-up, loaded +\d+ min \(\d+ min to \d+ min\)", said)
    assert "1000 °C" in here("size", MUFFLE, "--units", "metric").stdout


@pytest.mark.parametrize(
    "command",
    [
        "check",
        "size",
        "rehearse",
        "study",
        "learn",
        "fit",
        "run",
        "report",
        "history",
        "survey",
        "accuracy",
        "status",
        "materials",
        "start",
        "hold",
    ],
)
def test_every_command_that_prints_quantities_has_the_one_option(here, command):
    said = here(command, "--help").stdout
    assert "--units {metric,imperial}" in said and "fahrenheit" not in said


def test_what_check_refuses_in_a_file_in_fahrenheit_is_told_in_fahrenheit(here, tmp_path):
    schedule = tmp_path / "steep.yaml"
    schedule.write_text(
        "schedule: steep\nsteps:\n  - {to: 500 °F, at: 4000 °F/h, hold: 5 min}\n  - {to: 300 °F, at: 4000 °F/h}\n"
    )
    done = here("check", MUFFLE, schedule)
    assert (
        done.returncode == 2
        and "falls at 4000 °F/h" in done.stderr
        and "K/h" not in done.stderr
        and "°C" not in done.stderr
    )
    schedule.write_text("schedule: fine\nsteps:\n  - {to: 465 °F, at: 200 °F/h, hold: 5 min}\n")
    said = here("check", MUFFLE, schedule).stdout
    assert "465 °F" in said and "cut above 555 °F" in said and "°C" not in said


def test_size_says_what_an_r_value_becomes_when_it_is_hot(here, tmp_path):
    text = (
        Path(CABINET)
        .read_text()
        .replace(
            "{material: mineral wool 100, thickness: 80 mm}",
            "{material: mineral wool 100, thickness: 80 mm, resistance: R-13}",
        )
    )
    assert "R-13" in text
    path = tmp_path / "r.yaml"
    path.write_text(text)
    said = here("size", path).stdout
    assert "the seller's 0.0349 W/(m·K) at a mean of 24 °C is" in said and "along the curve of mineral wool 100" in said
    assert "walls.sides.layers[2].mean temperature: 24 °C" in said
    assert "seller's" not in here("size", CABINET).stdout


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
