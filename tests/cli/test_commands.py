"""The commands as a user meets them: exit statuses, messages, records; never a traceback."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kilnctl.commands.command_line import COMMANDS
from kilnctl.record.folder import new_folder
from kilnctl.report.finishing import finish_record

ROOT = Path(__file__).parents[2]
OVENS, SCHEDULES = ROOT / "configs" / "ovens", ROOT / "configs" / "schedules"
CABINET, CURE = OVENS / "curing-cabinet.yaml", SCHEDULES / "powder-cure.yaml"
#: All that the powder cure has but the 23 minutes of purging before it.
SHORT = """schedule: Short cure
steps:
  - {name: heat and cure, to: 80 °C, hold: 6 min, within: 3 K}
  - {name: cool, to: 70 °C, let cool: yes}
cure: {at: 50 °C, time: 1 min, activation energy: 80 kJ/mol}
"""


def kilnctl(*arguments, cwd=ROOT):
    done = subprocess.run(
        [sys.executable, "-m", "kilnctl", *map(str, arguments)], cwd=cwd, capture_output=True, text=True, timeout=110
    )
    assert "Traceback" not in done.stderr, done.stderr
    return done


@pytest.fixture(scope="module")
def short(tmp_path_factory):
    path = tmp_path_factory.mktemp("schedules") / "short.yaml"
    path.write_text(SHORT)
    return path


@pytest.fixture(scope="module")
def cure(tmp_path_factory, short):
    """One cure with comparison, and where its record lies."""
    out = tmp_path_factory.mktemp("runs")
    done = kilnctl("rehearse", CABINET, short, "--compare", "--out", out, "--seed", 3)
    assert done.returncode == 0, done.stderr
    return done, out / "curing-cabinet-short-cure"


def test_help_names_every_command_and_each_explains_itself(here):
    assert all(name in kilnctl("--help").stdout for name in COMMANDS)
    for name, purpose in COMMANDS.items():
        done = here(name, "--help")
        assert (
            done.returncode == 0 and f"kilnctl {name}" in done.stdout and purpose[1:] in " ".join(done.stdout.split())
        )


def test_check_says_what_it_understood():
    done = kilnctl("check", CABINET, CURE)
    assert done.returncode == 0
    assert "Curing cabinet can do it" in done.stdout and "assumed" in done.stdout and "3.00 kW" in done.stdout
    assert "if the control sensor reads too low, the energy limiter ends the heat before" in done.stdout
    assert "a learning run brings that down" in done.stdout


def test_rehearse_prints_a_summary_and_the_thermostat_beside_it(cure):
    out = cure[0].stdout
    for word in (
        "overshoot",
        "energy",
        "highest chamber",
        "worst",
        "thermostat ±3 °C",
        "swing during the soak",
        "the record lies in",
        "cure",
    ):
        assert word in out


def test_rehearse_leaves_a_whole_record(cure):
    folder = cure[1]
    names = {p.name for p in folder.iterdir()}
    assert {"samples.csv", "run.json", "events.csv", "curves.svg", "run.html", "oven.yaml", "schedule.yaml"} <= names
    about = json.loads((folder / "run.json").read_text())
    assert about["outcome"] == "finished" and about["seed"] == 3 and about["trips"] == []
    page = (folder / "run.html").read_text()
    assert (
        page.startswith("<!doctype html>")
        and "<script" not in page
        and "http" not in page.replace("http://www.w3.org/2000/svg", "")
    )
    assert (folder / "oven.yaml").read_bytes() == CABINET.read_bytes()


@pytest.mark.slow
def test_same_inputs_and_seed_give_a_bit_identical_record_and_another_seed_does_not(here, cure, short, tmp_path):
    args = ("rehearse", CABINET, short, "--quiet", "--out")
    again = tmp_path / "again"
    assert kilnctl(*args, again, "--seed", 3).returncode == 0
    for name in ("samples.csv", "run.json", "events.csv", "curves.svg"):
        assert (again / "curing-cabinet-short-cure" / name).read_bytes() == (cure[1] / name).read_bytes(), name
    other = tmp_path / "other"
    assert here(*args, other, "--seed", 4).returncode == 0
    assert (other / "curing-cabinet-short-cure" / "samples.csv").read_bytes() != (cure[1] / "samples.csv").read_bytes()


def test_a_second_run_never_overwrites_the_first(tmp_path):

    first, second = (new_folder(tmp_path, "An oven", "A schedule") for _ in range(2))
    assert first != second and first.is_dir() and second.is_dir()


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (None, "there is no such file"),
        (("power: 3 kW", "power: 3 kg"), "not a unit of power"),
        (("thickness: 80 mm", "thickness: -80 mm"), "above zero"),
        (("power: 3 kW", "power: nan kW"), "not a number"),
        (("power: 3 kW", "power: inf kW"), "not a number"),
    ],
)
def test_bad_oven_files_end_with_status_2_and_one_message(here, tmp_path, change, expected):
    path = tmp_path / "oven.yaml"
    if change:
        path.write_text(CABINET.read_text().replace(*change))
    for command in (("check", path), ("rehearse", path, CURE, "--out", tmp_path / "runs")):
        done = here(*command)
        assert done.returncode == 2 and expected in done.stderr and done.stdout == ""
        assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "runs").exists()


def test_problems_of_both_files_are_reported_together(here, tmp_path):
    oven, schedule = tmp_path / "oven.yaml", tmp_path / "schedule.yaml"
    oven.write_text(CABINET.read_text().replace("3 kW", "3"))
    schedule.write_text("schedule: x\nsteps:\n  - {to: 90}\n")
    done = here("check", oven, schedule)
    assert done.returncode == 2
    assert f"{oven}:" in done.stderr and f"{schedule}:3:10: " in done.stderr


def test_a_schedule_above_the_ovens_limit_is_refused_before_the_start(here, tmp_path):
    done = here("rehearse", CABINET, SCHEDULES / "anneal.yaml", "--out", tmp_path / "runs")
    assert done.returncode == 2 and "may not go above 260 °C" in done.stderr and "step 1" in done.stderr
    # The schedule's place leads the line; the sentence names the oven's file without its folder.
    assert re.search(r"anneal\.yaml:\d+:\d+: step 1", done.stderr), done.stderr
    assert "(limits: highest in curing-cabinet.yaml)" in done.stderr
    assert not (tmp_path / "runs").exists()


def test_a_ramp_that_is_too_steep_is_told_with_its_power_and_the_feasible_rate(here, tmp_path):
    path = tmp_path / "steep.yaml"
    path.write_text(
        "schedule: steep\nsteps:\n  - {to: 60 °C, at: 1 °C/min, hold: 5 min}\n"
        "  - {name: too steep, to: 240 °C, at: 900 °C/h}\n"
    )
    done = here("check", CABINET, path)
    assert done.returncode == 2
    assert "step 2 ('too steep')" in done.stderr and "kW" in done.stderr and "K/h is feasible" in done.stderr
    path.write_text(path.read_text() + "too fast: stretch\n")
    done = here("check", CABINET, path)
    assert done.returncode == 0 and "will take the time it needs" in done.stdout


def test_a_temperature_that_full_power_cannot_hold_is_told(here, tmp_path):
    oven, schedule = tmp_path / "weak.yaml", tmp_path / "hot.yaml"
    oven.write_text(CABINET.read_text().replace("power: 3 kW", "power: 500 W"))
    schedule.write_text("schedule: hot\ntoo fast: stretch\nsteps:\n  - {to: 250 °C, hold: 5 min}\n")
    done = here("check", oven, schedule)
    assert done.returncode == 2 and "only to be held" in done.stderr and "gets to about" in done.stderr


def test_flammable_vapour_needs_proved_ventilation(here, tmp_path):
    oven = tmp_path / "oven.yaml"
    oven.write_text(CABINET.read_text().replace("proved: yes", "proved: no"))
    done = here("check", oven, CURE)
    assert done.returncode == 2 and "ventilation" in done.stderr


@pytest.mark.skipif(os.geteuid() == 0 and not Path("/proc").exists(), reason="needs a place that cannot be written")
def test_a_place_that_cannot_be_written_is_told(here, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    done = here("rehearse", CABINET, CURE, "--out", blocked / "runs")
    assert done.returncode == 2 and "no record can be written" in done.stderr


def test_ctrl_c_leaves_a_readable_record(tmp_path):
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "kilnctl",
            "rehearse",
            str(OVENS / "brick-kiln.yaml"),
            str(SCHEDULES / "tile-firing.yaml"),
            "--out",
            str(tmp_path),
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # Children of a shell's background job ignore Ctrl-C; a person's do not.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )
    samples = tmp_path / "brick-box-kiln-tile-firing" / "samples.csv"
    for _ in range(600):
        if samples.exists() and samples.stat().st_size > 100_000:
            break
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130 and "Traceback" not in err
    assert "interrupted; the record lies in" in out
    about = json.loads((samples.parent / "run.json").read_text())
    assert about["outcome"] == "interrupted"
    lines = samples.read_text().splitlines()
    assert len(lines) > 500 and all(line.count(",") >= lines[0].count(",") for line in lines)


def test_a_plant_from_outside_is_driven_and_said_to_run_its_code(here, short, tmp_path):
    help_text = here("rehearse", "--help").stdout
    assert "RUNS THAT FILE'S CODE" in " ".join(help_text.split())
    masses = ROOT / "configs" / "plants" / "four_masses.py:FourMasses"
    done = here("rehearse", CABINET, short, "--plant", masses, "--out", tmp_path, "--quiet")
    # It is no cabinet as described: the soak waits until the readings have come to rest in its band.
    assert done.returncode == 0 and "as asked" in done.stdout and "finished" in done.stdout, done.stdout + done.stderr
    for where, expected in (
        ("nowhere.py:X", "no such file"),
        (f"{ROOT}/configs/plants/four_masses.py:Nothing", "has no 'Nothing'"),
        ("x", "FILE.py:NAME"),
    ):
        done = here("rehearse", CABINET, CURE, "--plant", where, "--out", tmp_path / "none")
        assert done.returncode == 2 and expected in done.stderr


def test_faults_from_a_file_trip_the_run_and_are_told_with_what_to_check(here, tmp_path):
    done = here(
        "rehearse",
        CABINET,
        CURE,
        "--faults",
        ROOT / "configs" / "faults" / "bad-day.yaml",
        "--out",
        tmp_path,
        "--quiet",
    )
    assert done.returncode == 3 and "TRIP at" in done.stdout and "Then check the relay" in done.stdout
    page = next(tmp_path.glob("*/run.html")).read_text()
    assert 'role="alert"' in page
    broken = tmp_path / "faults.yaml"
    broken.write_text("faults:\n  - {kind: relay shortde, at: 5 min}\n")
    done = here("rehearse", CABINET, CURE, "--faults", broken, "--out", tmp_path / "none")
    assert done.returncode == 2 and ":2:" in done.stderr and "relay shorted" in done.stderr


def test_files_and_options_come_in_any_order(here):
    between = here("check", CABINET, "--units", "imperial", CURE)
    assert between.returncode == 0 and between.stdout == here("check", CABINET, CURE, "--units", "imperial").stdout
    assert "°F" in between.stdout
    assert here("rehearse", CABINET, "--seed", "3", "no-such.yaml").returncode == 2
    assert "--sped: not known here" in here("check", CABINET, "--sped", CURE).stderr


def test_an_unknown_command_ends_with_status_2():
    done = kilnctl("bake")
    assert done.returncode == 2 and "there is no command 'bake'" in done.stderr


def test_output_cut_off_by_a_pager_is_no_fault():
    done = subprocess.run(
        f"{sys.executable} -m kilnctl check {CABINET} | head -n 1", shell=True, cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0 and done.stderr == "" and "understood" in done.stdout


@pytest.mark.parametrize("command", ["survey", "accuracy"])
def test_an_offset_may_be_written_with_or_without_a_blank(here, cure, tmp_path, command):
    """argparse takes "-90s" for an option; "-90 s" and "=-90s" always got through."""
    readings = tmp_path / "logger.csv"
    said = []
    # They rise by 0.9 K in 90 s, so a shift, and its sign, show.
    rows = [f"{t},{77 + 0.01 * t:.2f},{77.1 + 0.01 * t:.2f},{76.9 + 0.01 * t:.2f}" for t in range(0, 3000, 10)]
    readings.write_text("time_s,T1,T2,T3\n" + "\n".join(rows) + "\n")
    for offset in (["--offset", "-90s"], ["--offset", "-90 s"], ["--offset=-90s"]):
        only = ["--only", "T1,T2,T3"] if command == "survey" else ["--reference", "T2"]
        done = here(command, cure[1], readings, *only, *offset, "--out", tmp_path / "page.html")
        assert done.returncode in (0, 1) and done.stdout, done.stderr
        said.append(done.stdout)
    plain = here(command, cure[1], readings, *only, "--out", tmp_path / "page.html").stdout

    def shown(text):
        word = "mean" if command == "survey" else "reference"
        return float(text.partition(word)[2].split()[0])

    assert said[0] == said[1] == said[2] != plain
    assert shown(said[0]) - shown(plain) == pytest.approx(0.9, abs=0.11), (
        "what the logger wrote 90 s late was warmer by 0.9 K"
    )


def test_a_survey_is_told_in_fahrenheit_when_asked(here, cure, tmp_path):
    readings = tmp_path / "logger.csv"
    readings.write_text("time_s,T1,T2,T3\n" + "\n".join(f"{t},80.4,80.1,79.9" for t in range(0, 3000, 10)) + "\n")
    done = here("survey", cure[1], readings, "--units", "imperial", "--out", tmp_path / "page.html")
    page = (tmp_path / "page.html").read_text()
    assert done.returncode == 0 and "176 °F" in done.stdout
    assert "°C" not in done.stdout and " K" not in done.stdout and "176 °F" in page and "°C" not in page


def test_a_rehearsal_and_its_report_follow_the_ovens_units(here, tmp_path):
    """An oven described in °F: notes, table and page in °F; the record itself stays in °C by its column names."""
    path = tmp_path / "short.yaml"
    path.write_text("schedule: Short\nsteps:\n  - {to: 160 °F, hold: 2 min}\n")
    done = here("rehearse", OVENS / "bench-muffle.yaml", path, "--out", tmp_path / "runs", "--quiet")
    assert (
        done.returncode == 0 and "°F" in done.stdout and "160 °F" in done.stdout and "cut above 250 °F" in done.stdout
    )
    assert "°C" not in done.stdout and not any(f"{n} K" in done.stdout for n in range(10))
    folder = next((tmp_path / "runs").iterdir())
    row = next(line for line in done.stdout.splitlines() if line.startswith("step 1"))
    assert row in here("report", folder).stdout, "71.11 °C in the record is the 160 °F that the schedule asks for"
    made = (folder / "run.html").read_text()
    finish_record(folder)  # as the service's own process does it
    for page in (made, (folder / "run.html").read_text()):
        assert "160 °F" in page and "71 °C" not in page
    for units, there, absent in ((), "°F", "°C"), (("--units", "metric"), "°C", "°F"):
        told = here("report", folder, *units)
        assert told.returncode == 0 and there in told.stdout and absent not in told.stdout
