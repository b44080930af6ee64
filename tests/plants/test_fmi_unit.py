"""Co-simulation units through the reference FMI library, made here by two other libraries: FMI 2.0 and 3.0."""

import math
import subprocess
import sys
from pathlib import Path

import pytest

from kilnctl.cli import main
from kilnctl.errors import KilnctlError
from kilnctl.plants.outside import load_plant
from kilnctl.plants.plant import Plant, truth_of
from kilnctl.record.run_record import read_run

UNITS = Path(__file__).parent / "units"
CABINET = Path(__file__).resolve().parents[2] / "configs/ovens/curing-cabinet.yaml"


@pytest.fixture(scope="module")
def units(tmp_path_factory):
    """The folder with both units, built in processes of their own."""
    folder = tmp_path_factory.mktemp("units")
    for maker, source in (("pythonfmu", "fmi2_unit.py"), ("pythonfmu3", "fmi3_unit.py")):
        command = [
            sys.executable,
            "-W",
            "ignore",
            "-m",
            maker,
            "build",
            "-f",
            str(UNITS / source),
            "-d",
            str(folder),
        ]
        done = subprocess.run(command, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    return folder


def chamber(plant: Plant) -> float:
    """The unit's own, °C."""
    value = truth_of(plant).chamber_c
    assert value is not None
    return value


@pytest.mark.parametrize("name", ["Cabinet2.fmu", "Cabinet3.fmu"])
def test_a_unit_heats_as_its_equation_says(units, name):
    plant = load_plant(str(units / name))
    reading = plant.advance(1.0, 0.5, True)
    for _ in range(599):
        reading = plant.advance(1.0, 0.5, True)
    # One lump, by hand: T = 20 + P/G·(1 - exp(-t·G/C)).
    expected = 20.0 + 2250.0 / 6.0 * (1.0 - math.exp(-600.0 * 6.0 / 30e3))
    assert chamber(plant) == pytest.approx(expected, abs=0.1)
    assert reading.chamber_c == pytest.approx(expected, abs=1.0)
    hot = chamber(plant)
    plant.advance(10.0, 1.0, False)
    assert chamber(plant) < hot


def test_what_a_unit_does_not_tell_is_not_known(units):
    reading = load_plant(str(units / "Cabinet3.fmu")).advance(1.0, [1.0, 0.0], True)
    assert reading.limit_c is None and reading.door_open is None and reading.supply_v is None
    told = load_plant(str(units / "Cabinet2.fmu")).advance(1.0, 0.0, False)
    assert told.door_open is False and told.airflow_proved is True and told.cold_junction_c == 23.0


def test_groups_fired_apart_reach_their_own_inputs(units):
    plant = load_plant(str(units / "Cabinet3.fmu"))
    plant.advance(10.0, [1.0, 0.0], True)
    one = chamber(plant)
    plant.advance(10.0, [1.0, 1.0], True)
    assert chamber(plant) - one == pytest.approx(2.0 * (one - 20.0), rel=0.01)


def test_a_rehearsal_on_a_unit(units, tmp_path, capsys):
    (tmp_path / "s.yaml").write_text("schedule: Warm\nsteps:\n  - {to: 80 °C, hold: 3 min}\n", encoding="utf-8")
    arguments = ["rehearse", str(CABINET), str(tmp_path / "s.yaml"), "--plant", str(units / "Cabinet2.fmu")]
    assert main([*arguments, "--out", str(tmp_path / "runs"), "--quiet"]) in (0, 1)
    record = read_run(next((tmp_path / "runs").iterdir()))
    assert len(record.time_s) > 60 and record.true_chamber_c.max() > 70.0


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda p: p.write_bytes(b"no unit"), "is no unit that FMI allows"),
        (lambda p: p.unlink(), "no such file"),
    ],
)
def test_what_is_no_unit_is_refused_in_a_sentence(tmp_path, change, words):
    path = tmp_path / "x.fmu"
    path.touch()
    change(path)
    with pytest.raises(KilnctlError, match=words):
        load_plant(str(path))


def test_a_unit_without_its_variables_is_refused(units, tmp_path):
    source = (
        (UNITS / "fmi2_unit.py")
        .read_text(encoding="utf-8")
        .replace('Real("duty"', 'Real("power"')
        .replace("self.duty,", "self.power = 0.0; self.duty,")
    )
    (tmp_path / "unit.py").write_text(source, encoding="utf-8")
    command = [
        sys.executable,
        "-W",
        "ignore",
        "-m",
        "pythonfmu",
        "build",
        "-f",
        str(tmp_path / "unit.py"),
        "-d",
        str(tmp_path),
    ]
    subprocess.run(command, check=True, capture_output=True)
    with pytest.raises(KilnctlError, match="has no input 'duty'"):
        load_plant(str(tmp_path / "Cabinet2.fmu"))
