"""A minimum on that is too long for the elements: check says what it does to the chamber before anything is heated."""

import pytest

from tests.plants.plant_cases import ROOT

OVEN = ROOT / "configs" / "ovens" / "bench-muffle.yaml"


@pytest.mark.parametrize(
    ("minimum_on", "band", "told", "longer"),
    [("5 s", "1 K", True, True), ("5 s", "30 K", True, False), ("0.02 s", "1 K", False, False)],
)
def test_what_long_bursts_do_to_the_chamber(here, tmp_path, minimum_on, band, told, longer):
    text = OVEN.read_text(encoding="utf-8")
    assert text.count("switching: {pattern") == 1
    file, schedule = tmp_path / "oven.yaml", tmp_path / "soak.yaml"
    file.write_text(text.replace("switching: {", f"switching: {{minimum on: {minimum_on}, "), encoding="utf-8")
    schedule.write_text(f"schedule: soak\nsteps:\n  - {{to: 700 °C, hold: 1 h, within: {band}}}\n", encoding="utf-8")
    said = " ".join(here("check", str(file), str(schedule)).stdout.split())
    assert ("s will swing the chamber by about" in said and "control holds the mean" in said) is told
    assert ("so it takes longer" in said) is longer
    # One note about one cause, and it says what to do.
    assert said.count("note: bursts of") == told == said.count("without 'minimum on' the pattern")


def test_bursts_that_leave_the_chamber_alone_are_told_once_too(here, tmp_path):
    """The walls of a cabinet hold the chamber still: what they do to the elements is left."""
    file, schedule = tmp_path / "oven.yaml", tmp_path / "soak.yaml"
    text = OVEN.with_name("curing-cabinet.yaml").read_text(encoding="utf-8")
    assert text.count("switching:\n") == 1
    file.write_text(text.replace("switching:\n", "switching:\n  minimum on: 2.5 s\n"), encoding="utf-8")
    schedule.write_text("schedule: soak\nsteps:\n  - {to: 200 °C, hold: 1 h, within: 1 K}\n", encoding="utf-8")
    for args in ((str(file),), (str(file), str(schedule))):
        said = " ".join(here("check", *args).stdout.split())
        assert said.count("note: bursts of") == said.count("move these elements by") == 1, said
        assert said.count("without 'minimum on' the pattern") == 1


@pytest.mark.parametrize("minimum_on", ["5 s", "0.02 s"])
def test_a_rehearsal_says_that_the_bursts_and_not_the_schedule_are_at_fault(here, tmp_path, minimum_on):
    """ "Change the schedule as the first line says" was its advice, and the first line said nothing of bursts."""
    text = OVEN.read_text(encoding="utf-8")
    file, schedule = tmp_path / "oven.yaml", tmp_path / "soak.yaml"
    file.write_text(text.replace("switching: {", f"switching: {{minimum on: {minimum_on}, "), encoding="utf-8")
    schedule.write_text("schedule: soak\nsteps:\n  - {to: 200 °C, hold: 5 min, within: 1 K}\n", encoding="utf-8")
    said = here("rehearse", str(file), str(schedule), "--out", str(tmp_path)).stdout
    told = "allow shorter bursts in" in said and "bursts swing the chamber by about" in said
    assert told is (minimum_on == "5 s"), said
