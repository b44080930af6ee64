"""A plant from a file: loaded, made, refused with a clear message."""

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.plants.outside import load_plant
from kilnctl.plants.plant import Plant, truth_of
from kilnctl.reading import Reading
from tests.plants.plant_cases import ROOT, oven, readings_of

EXAMPLE = ROOT / "configs" / "plants" / "four_masses.py"


def test_example_plant_heats_and_cools():
    plant = load_plant(f"{EXAMPLE}:FourMasses", oven("curing-cabinet"))
    assert isinstance(plant, Plant)
    reading = readings_of(plant, 600)[-1]
    assert isinstance(reading, Reading) and 80.0 < reading.chamber_c < 160.0
    reading = readings_of(plant, 3600, contactor=False)[-1]
    assert reading.chamber_c < 90.0 and reading.contactor_closed is False


@pytest.mark.parametrize(
    "source, name",
    [
        ("class P:\n    def advance(self, dt_s, duty, contactor_closed):\n        return Reading(dt_s)\n", "P"),
        (
            (
                "class P:\n    def __init__(self, oven):\n        self.oven = oven\n"
                "    def advance(self, dt_s, *given):\n        return Reading(self.oven.site.ambient_c)\n"
            ),
            "P",
        ),
        (
            "class P:\n    def advance(self, *given):\n        return Reading(1.0)\nready = P()\n",
            "ready",
        ),
        (
            (
                "class P:\n    def advance(self, dt_s, duty, contactor_closed):\n        return Reading(1.0)\n"
                "def make(oven=None):\n    return P()\n"
            ),
            "make",
        ),
    ],
)
def test_class_instance_and_maker_are_taken(tmp_path, source, name):
    file = tmp_path / "mine.py"
    file.write_text("from kilnctl import Reading\n" + source)
    assert load_plant(f"{file}:{name}", oven("brick-kiln")).advance(1.0, 0.0, True).chamber_c >= 1.0


@pytest.mark.parametrize(
    "body, said",
    [
        ("return 1 / (dt_s - 1.0)", r"mine\.py:3: its code failed: ZeroDivisionError"),
        ("return 25.0", r"mine\.py:P: advance\(\) gave a float, not a kilnctl\.Reading"),
        ("import math; math.sqrt(-1.0)", r"mine\.py:3: its code failed: ValueError"),
    ],
)
def test_what_fails_in_a_plants_own_code_is_no_fault_of_ours(tmp_path, monkeypatch, body, said):
    """It was called a fault of kilnctl's own, to be reported to its makers."""
    file = tmp_path / "mine.py"
    file.write_text(f"class P:\n    def advance(self, dt_s, duty, contactor_closed):\n        {body}\n")
    with pytest.raises(KilnctlError, match=said):
        load_plant(f"{file}:P").advance(1.0, 0.0, True)
    monkeypatch.chdir(tmp_path)
    with pytest.raises(KilnctlError, match=f"^{said}"):
        load_plant("mine.py:P").advance(1.0, 0.0, True)


def test_what_a_plant_offers_beyond_the_protocol_is_still_there(tmp_path):
    file = tmp_path / "mine.py"
    file.write_text("class P:\n    chamber_c = 21.5\n    def advance(self, *given): ...\n")
    assert truth_of(load_plant(f"{file}:P")).chamber_c == 21.5


@pytest.mark.parametrize(
    "source, name, said",
    [
        ("x = 1\n", "x", "not a plant|cannot be called"),
        ("x = 1\n", "y", "has no 'y'"),
        ("def f():\n    return 3\n", "f", "not a plant"),
        ("raise RuntimeError('boom')\n", "P", "its code failed: RuntimeError: boom"),
        ("def not Python\n", "P", "its code failed: SyntaxError"),
        (
            "class P:\n    def __init__(self, oven):\n        raise ValueError('no')\n    def advance(self): ...\n",
            "P",
            "could not be made",
        ),
    ],
)
def test_what_is_not_a_plant_is_refused(tmp_path, source, name, said):
    file = tmp_path / "mine.py"
    file.write_text(source)
    with pytest.raises(KilnctlError, match=said):
        load_plant(f"{file}:{name}", oven("brick-kiln"))


@pytest.mark.parametrize("where", ["nothing.py:P", "four_masses.py", ":P", "x.py:", "x.py:a-b", "plain"])
def test_a_place_that_is_none_is_refused(where):
    with pytest.raises(KilnctlError):
        load_plant(where)
