"""What `size`, `check` and `new` say of supply, switching and vapour."""

import json
import re
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[2]
CABINET = (ROOT / "configs/ovens/curing-cabinet.yaml").read_text(encoding="utf-8")
CURE = (ROOT / "configs/schedules/powder-cure.yaml").read_text(encoding="utf-8")


@pytest.fixture
def edited(tmp_path):
    """(file of the cabinet, file of the cure) with texts replaced in them."""

    def make(oven=(), cure=()):
        paths = []
        for name, text, changes in (("oven.yaml", CABINET, oven), ("cure.yaml", CURE, cure)):
            for old, new in changes:
                assert old in text, old
                text = text.replace(old, new)
            (tmp_path / name).write_text(text, encoding="utf-8")
            paths.append(tmp_path / name)
        return paths

    return make


def test_a_breaker_too_large_stands_first_in_size_and_check(here, edited):
    path, _ = edited(oven=[("breaker: 16 A", "breaker: 63 A")])
    for command in ("size", "check"):
        done = here(command, path)
        lines = done.stdout.splitlines()
        assert done.returncode == 1 and lines[0] == "DANGER, before anything else:", command
        assert lines[1].startswith("  WRONG         plug's breaker: ") and "the plug burns before" in lines[1]
        assert lines[2].startswith("  WRONG         cable: ") and "16 A with 1.5 mm² would be the smallest" in lines[2]
        assert "a licensed electrician decide" in done.stdout
    found = json.loads(here("size", path, "--json").stdout)["wiring"]["findings"]
    assert [f["about"] for f in found if f["mark"] == "wrong"] == ["plug's breaker", "cable"]
    assert all(f["rule"] for f in found if f["mark"] == "wrong")


def test_a_sound_supply_is_called_fine_and_nothing_else(here, edited):
    path, _ = edited()
    said = here("size", path).stdout
    assert "DANGER" not in said and "TIGHT" not in said and "NOT DESCRIBED" not in said
    assert "  FINE          breaker: 13.0 A on a 16 A breaker (IEC 60364-4-43, 433.1, from memory)" in said
    assert "not described" not in here("check", path).stdout


def test_check_lists_what_is_not_described(here, edited):
    path, _ = edited(oven=[("  breaker: 16 A\n", ""), ("  feedback: mirror contact\n", "")])
    said = here("check", path).stdout
    assert "not described, so not judged: breaker, contactor's read-back" in said


@pytest.mark.slow
def test_24_volts_is_judged_and_does_not_crash(here, edited):
    path, _ = edited(oven=[("voltage: 230 V", "voltage: 24 V"), ("power: 3 kW", "power: 300 W")])
    done = here("size", path)
    assert done.returncode == 1 and "24 V comes from a transformer" in done.stdout.splitlines()[1]


def test_three_phases_are_told_with_the_current_of_each_line(here, edited):
    path, _ = edited(
        oven=[
            ("voltage: 230 V", "voltage: 400 V\n  connection: star"),
            ("power: 3 kW", "power: 9 kW"),
            ("meters: {supply: yes, current: yes}\n", ""),
        ]
    )
    assert "current 13.0 A in each line, star" in here("size", path).stdout


def test_too_little_air_is_refused_and_how_much_it_takes_is_told(here, edited):
    """Half a cubic metre an hour for a powder cure: once "understood, and can do it"."""
    flow = [("flow: 3 m³/h", "flow: 0.5 m³/h"), ("switch opens: 3 m³/h", "switch opens: 0.5 m³/h")]
    done = here("check", *edited(oven=flow))
    assert done.returncode == 2 and "too little air: 60 g of powder with 4 % volatiles" in done.stderr
    assert "25 % is allowed, which takes 1.45 m³/h" in done.stderr and "Traceback" not in done.stderr
    path, cure = edited(oven=flow)
    assert here("rehearse", path, cure, "--quiet").returncode == 2


@pytest.mark.slow
def test_the_sum_is_told_with_elements_door_and_dust(here, edited):
    done = here("check", *edited())
    assert "FINE          air against vapour" in done.stdout and "15 % of the lower explosive limit" in done.stdout
    assert "TIGHT         elements: at full power they get to about 360 °C" in done.stdout
    assert "explosive dust" in done.stdout
    wide = here("check", *edited(oven=[("surface: 0.28 m²", "surface: 0.8 m²")])).stdout
    assert "FINE          elements: at full power" in wide
    glowing = [("surface: 0.28 m²", "surface: 0.06 m²"), ("catch: gives way", "catch: holds")]
    said = here("check", *edited(oven=glowing)).stdout
    assert "TIGHT         elements" in said and "ignites by itself from 400 °C" in said
    assert "WRONG         door: its catch holds against a burst" in said
    sheet = "vapour: {given off: 2 g, lower explosive limit: 40 g/m³}"
    asked = here(
        "check", *edited(cure=[("vapour: {powder: 60 g, volatiles: 4 %, given off in: 10 min}", sheet)])
    ).stdout
    assert "at what temperature does this vapour ignite?" in asked


def test_a_load_that_is_not_described_is_asked_for(here, edited):
    done = here("check", *edited(cure=[("vapour: {powder: 60 g, volatiles: 4 %, given off in: 10 min}", "")]))
    assert done.returncode == 2 and "does not say how much: add 'vapour: {powder" in done.stderr


# ---- new -------------------------------------------------------------------------------------------------------------

FIRST = "Mine\npowder coat\n" + 12 * "\n"


@pytest.mark.parametrize(
    ("answers", "vent"),
    [
        ("\n", None),
        ("no\n", None),
        ("yes\n\n", None),
        ("yes\nnot known\n", None),
        ("yes\n6 cfm\n\n", {"flow": "6 cfm", "proved": False}),
        ("yes\n12 m³/h\nflow switch\n", {"flow": "12 m³/h", "proved": True, "proof": "flow switch"}),
    ],
)
def test_new_invents_no_ventilation(here, tmp_path, answers, vent):
    path = tmp_path / "oven.yaml"
    done = here("new", path, answers=FIRST + answers + "\n\n")
    assert done.returncode == 0, done.stderr
    assert yaml.safe_load(path.read_text()).get("vent") == vent
    assert here("check", path).returncode == 0


def test_new_refuses_what_proves_nothing_and_what_a_transformer_feeds(here, tmp_path):
    path = tmp_path / "oven.yaml"
    done = here("new", path, answers=FIRST + "yes\n6 m³/h\nthe fan runs\n")
    assert done.returncode == 2 and "one of: flow switch, differential pressure, nothing" in done.stderr
    done = here("new", path, answers="Mine\nlab\n" + 10 * "\n" + "24 V\n" + 4 * "\n")
    assert done.returncode == 2 and "not for transformers" in done.stderr and not path.exists()


def test_what_new_proposes_for_the_supply_is_fine_once_it_is_uncommented(here, tmp_path):
    path = tmp_path / "oven.yaml"
    assert here("new", path, "--defaults").returncode == 0
    kept = (
        "breaker|cable|circuits|earth|plug|residual|contactor|feedback|coil|relay|heat|cabinet|fuse|terminals|leads|"
        "resistance|reactance|watched"
    )
    path.write_text(re.sub(rf"^  # (?={kept})", "  ", path.read_text(), flags=re.M))
    said = here("check", path).stdout
    assert "DANGER" not in said and "TIGHT" not in said and "not judged" not in said
