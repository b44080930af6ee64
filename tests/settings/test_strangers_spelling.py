"""Slips of a stranger's first files, and what they are told: each once, with what to do."""

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.settings import load_oven
from kilnctl.settings.schedule import load_schedule, schedule_of
from kilnctl.units import UnitError, parse
from tests.plants.plant_cases import ROOT

STEPS = "schedule: s\nsteps:\n"


def told(lines: str) -> list[str]:
    with pytest.raises(KilnctlError) as refused:
        schedule_of(STEPS + lines, "s.yaml")
    return str(refused.value).splitlines()


def test_a_decimal_comma_in_braces_is_one_slip_and_not_an_unknown_key():
    """YAML reads {at: 2,5 K/min} as at: 2 and a key '5 K/min'."""
    (line,) = told("  - {to: 800 °C, at: 2,5 K/min, hold: 20 min}\n")
    assert line == "s.yaml:3:22: steps[1].at: '2,5 K/min': write a decimal point, and no thousands separator"
    # What is a key of its own stays one.
    assert any("unknown key '5 K'" in line for line in told("  - {to: 800 °C, 5 K: 3}\n"))


@pytest.mark.parametrize(
    ("lines", "place", "words"),
    [
        ("  - {to: 80 °C}\n - {to: 90 °C}\n", "s.yaml:4:2: ", "begins in the same column"),
        ("  - to: 80 °C\n    hold 20 min\n    at: 5 K/min\n", "s.yaml:", "without 'key: value'"),
        ("  - {to: 80 °C\n  - {to: 90 °C}\n", "s.yaml:4:", "is not closed"),
        ("\t- {to: 80 °C}\n", "s.yaml:3:1: ", "indent with spaces"),
    ],
)
def test_what_yaml_cannot_read_is_told_without_the_parsers_terms(lines, place, words):
    (line,) = told(lines)
    assert line.startswith(place) and words in line
    assert not any(term in line for term in ("<block", "block sequence", "scalar", "flow"))


def test_the_wrong_kind_of_file_is_one_problem():
    oven, schedule = ROOT / "configs" / "ovens" / "brick-kiln.yaml", ROOT / "configs" / "schedules" / "temper.yaml"
    with pytest.raises(KilnctlError, match=r"brick-kiln.yaml:2:1: this is the description of an oven.*belongs here$"):
        load_schedule(oven)
    with pytest.raises(KilnctlError, match=r"temper.yaml:1:1: this is a schedule.*belongs here$"):
        load_oven(schedule)


def test_an_empty_list_is_called_nothing():
    (line,) = told("\n")
    assert line.endswith("not nothing")


def test_a_round_chamber_is_told_its_square(tmp_path):
    text = (ROOT / "configs" / "ovens" / "brick-kiln.yaml").read_text(encoding="utf-8")
    file = tmp_path / "round.yaml"
    file.write_text(text.replace("  width: 300 mm\n", "  diameter: 300 mm\n"), encoding="utf-8")
    with pytest.raises(KilnctlError, match=r"round, give both sides 0\.89 of its diameter"):
        load_oven(file)
    assert pytest.approx(3.14159 / 4.0, rel=0.01) == 0.89**2


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("1400 J/kgK", "heat capacity", 1400.0),
        ("1.4 kJ/(kgK)", "heat capacity", 1400.0),
        ("0.25 BTU/lb°F", "heat capacity", 1046.7),
        ("0.25 BTU/lbF", "heat capacity", 1046.7),
        ("900 degrees Celsius", "temperature", 900.0),
        ("900 celsius", "temperature", 900.0),
        ("212 Fahrenheit", "temperature", 100.0),
        ("1800 Kelvin/h", "rate", 0.5),
        ("18 deg Fahrenheit/min", "rate", 1.0 / 6.0),
    ],
)
def test_spellings_of_sheets_and_sellers(text, dimension, value):
    assert parse(text, dimension) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("1:30", "time", "cannot read the unit ':30'; write for example 12 min or 1 h 30 min"),
        ("500 degrees/hour", "rate", "'degrees' says no scale; write for example 150 °C/h or 5 °F/min"),
    ],
)
def test_what_cannot_be_read_comes_with_an_example(text, dimension, words):
    with pytest.raises(UnitError) as refused:
        parse(text, dimension)
    assert words in str(refused.value)


def test_cooling_up_is_told():
    (line,) = told("  - {to: 300 °C}\n  - {hold: 5 min}\n  - {to: 400 °C, let cool: yes}\n")
    assert line == "s.yaml:3:3: step 3 lets cool to 400 °C, and the step before it is at 300 °C"
    schedule_of(STEPS + "  - {to: 60 °C, let cool: yes}\n  - {to: 200 °C, hold: 5 min}\n", "s.yaml")  # after a hot run
