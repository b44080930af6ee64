"""What a command prints ends with the next step, and a run's verdict comes first."""

import shlex
from pathlib import Path

import pytest

from kilnctl.commands.new import PURPOSES

CABINET, DRY = "configs/ovens/curing-cabinet.yaml", "configs/schedules/dry.yaml"
SHORT = """schedule: Short
steps:
  - {name: soak, to: 60 °C, hold: 1 min}
cure: {at: 90 °C, time: 5 min, activation energy: 80 kJ/mol}
"""


@pytest.mark.parametrize(
    "words, following",
    [
        (("check", CABINET), f"next: kilnctl size {CABINET}, or kilnctl check {CABINET} SCHEDULE"),
        (("check", CABINET, DRY), f"next: kilnctl rehearse {CABINET} {DRY}"),
        (("size", CABINET), f"next: kilnctl rehearse {CABINET} SCHEDULE"),
    ],
)
def test_the_next_step_is_the_last_line(here, words, following):
    assert here(*words).stdout.strip().splitlines()[-1] == following


def test_the_next_step_of_due_works_as_it_is_printed(here, tmp_path):
    last = here("due", CABINET, "--home", tmp_path).stdout.strip().splitlines()[-1]
    words = shlex.split(last[last.index("kilnctl due") :])[1:]
    done = here(*words, "--home", tmp_path)
    assert "7 of 8 tests are due" in done.stdout and "last" in done.stdout


def test_doctor_says_its_verdict_first_and_the_next_step_last(here, tmp_path):
    lines = here("doctor", CABINET, "--home", tmp_path, "--out", tmp_path).stdout.strip().splitlines()
    assert "stands in the way" in lines[0] or "to mend" in lines[0]
    assert lines[-1].startswith("next: ")


def test_a_rehearsal_whose_part_is_not_cured_says_so_first(here, tmp_path):
    (tmp_path / "short.yaml").write_text(SHORT, encoding="utf-8")
    done = here("rehearse", CABINET, tmp_path / "short.yaml", "--quiet", "--out", tmp_path / "runs")
    assert "NOT CURED" in done.stdout and done.stdout.index("NOT CURED") < done.stdout.index("overshoot")
    assert done.stdout.splitlines()[-1].startswith("next: change the schedule as the first line says")
    told = here("report", tmp_path / "runs" / "curing-cabinet-short").stdout
    assert "NOT CURED" in told and "as asked:" not in told
    told = here("history", tmp_path / "runs").stdout
    assert "finished, not as asked" in told


@pytest.mark.parametrize(
    "power, words",
    [("3 kW", "up to 260 °C: its power is enough"), ("300 W", "up to 260 °C: its power is NOT ENOUGH")],
)
def test_size_says_first_whether_the_power_is_enough(here, tmp_path, power, words):
    text = Path(CABINET).read_text(encoding="utf-8")
    assert "power: 3 kW" in text
    path = tmp_path / "oven.yaml"
    path.write_text(text.replace("power: 3 kW", f"power: {power}"), encoding="utf-8")
    assert words in here("size", path).stdout.splitlines()[0]


def test_a_stop_that_reaches_no_service_says_what_to_do_at_the_oven_first(here, tmp_path):
    done = here("stop", CABINET, "--home", tmp_path)
    assert done.returncode == 2
    assert done.stderr.startswith("NOT STOPPED. If the oven may be heating: main switch off.\nno kilnctl service")


def test_the_plan_of_a_learning_run_ends_with_the_run(here):
    assert here("learn", CABINET, "--plan").stdout.splitlines()[-1] == f"next: kilnctl learn {CABINET}"


@pytest.mark.parametrize("purpose", PURPOSES)
def test_an_oven_of_each_purpose_is_written_and_understood(here, tmp_path, purpose):
    path = tmp_path / "mine.yaml"
    said = here("new", path, "--defaults", "--purpose", purpose).stdout
    assert said.splitlines()[-1] == f"next: kilnctl check {path}"
    assert f"highest: {PURPOSES[purpose][0]}" in path.read_text(encoding="utf-8")
    done = here("check", path)
    assert done.returncode == 0 and "understood" in done.stdout, done.stderr


def test_a_purpose_alone_is_refused_before_anything_is_asked(here, tmp_path):
    done = here("new", tmp_path / "mine.yaml", "--purpose", "lab")
    assert done.returncode == 2 and "goes with --defaults" in done.stderr and not list(tmp_path.iterdir())


def test_the_next_step_names_files_as_a_shell_takes_them(here, tmp_path):
    """A path with spaces and accents, printed bare, made the next command fail."""
    folder = tmp_path / "mes fours d'émail"
    folder.mkdir()
    oven, schedule = folder / "étuve à émail.yaml", folder / "cuisson n° 1.yaml"
    oven.write_text(Path(CABINET).read_text(encoding="utf-8"), encoding="utf-8")
    schedule.write_text(Path(DRY).read_text(encoding="utf-8"), encoding="utf-8")
    said = [here(*words).stdout for words in (("check", oven), ("check", oven, schedule), ("size", oven))]
    last = [shlex.split(text.strip().splitlines()[-1]) for text in said]
    assert str(oven) in last[0][:-1] and last[1][2:] == ["rehearse", str(oven), str(schedule)]
    assert last[2][2:] == ["rehearse", str(oven), "SCHEDULE"]
    assert f"kilnctl size {shlex.quote(str(oven))} --buy" in said[2]


def test_the_thermostat_tries_what_ours_has_tried(here, tmp_path):
    """The comparison gave the thermostat a model without its doubt, so that a ramp a little too steep was refused with
    exit status 2 once our own rehearsal of it was over and recorded."""
    steep = tmp_path / "steep.yaml"
    steep.write_text("schedule: Steep\nsteps:\n  - {to: 90 °C, at: 24 °C/min, hold: 1 min}\n", encoding="utf-8")
    done = here("rehearse", CABINET, steep, "--compare", "--quiet", "--out", tmp_path / "runs")
    assert "so the run is tried" in done.stdout
    assert "with an on/off thermostat" in done.stdout and "the record lies in" in done.stdout
    assert done.returncode < 2, done.stderr


def test_what_injected_faults_did_is_not_blamed_on_the_schedule(here, tmp_path):
    """After a rehearsal with faults the next step was to change the schedule, or the oven's file."""
    soak, faults = tmp_path / "soak.yaml", tmp_path / "faults.yaml"
    soak.write_text("schedule: Soak\nsteps:\n  - {to: 60 °C, hold: 5 min}\n", encoding="utf-8")
    for fault, status in (("door open, at: 5 min, for: 2 min", 1), ("thermocouple open, at: 1 min", 3)):
        faults.write_text(f"faults:\n  - {{kind: {fault}}}\n", encoding="utf-8")
        done = here("rehearse", CABINET, soak, "--faults", faults, "--quiet", "--out", tmp_path / "runs")
        assert done.returncode == status, done.stdout
        last = done.stdout.strip().splitlines()[-1]
        assert last.startswith(f"next: kilnctl rehearse {CABINET} {soak} (the same without the faults")
