"""Uniformity and accuracy from loose thermocouples, on a rehearsed run with invented loggers."""

import numpy as np
import pytest

from kilnctl.cli import main
from kilnctl.errors import KilnctlError
from kilnctl.record.run_record import read_run
from kilnctl.report.uniformity import (
    CLASSES_K,
    Loose,
    accuracy,
    accuracy_text,
    read_loose,
    survey,
    survey_text,
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    out = tmp_path_factory.mktemp("runs")
    (out / "soak.yaml").write_text(
        "schedule: soak\nsteps:\n  - {to: 120 °C, hold: 15 min, within: 3 K}\n", encoding="utf-8"
    )
    assert (
        main(
            [
                "rehearse",
                "configs/ovens/curing-cabinet.yaml",
                str(out / "soak.yaml"),
                "--out",
                str(out / "runs"),
                "--quiet",
            ]
        )
        == 0
    )
    return next((out / "runs").iterdir())


@pytest.fixture(scope="module")
def run(folder):
    return read_run(folder)


def logger(run, offsets, noise=0.0):
    """Thermocouples that follow the true chamber, each off by so much, read every 10 s."""
    time_s = run.time_s[::10]
    generator = np.random.default_rng(0)
    return Loose(
        time_s,
        {
            f"T{i}": run.true_chamber_c[::10] + k + noise * generator.standard_normal(len(time_s))
            for i, k in enumerate(offsets)
        },
        "logger.csv",
    )


def test_the_classes_against_the_published_ones():
    """SAE AMS 2750, classes of uniformity 1 to 6 (from memory; ../shared/facts/references.md)."""
    assert CLASSES_K == {1: 3.0, 2: 6.0, 3: 8.0, 4: 10.0, 5: 14.0, 6: 28.0}


@pytest.mark.parametrize(
    ("offsets", "reached"),
    [
        ((-2.0, 0.0, 2.0), 1),
        ((-2.0, 0.0, 4.5), 2),
        ((-7.0, 0.0, 1.0), 3),
        ((-8.8, 0.0, 9.0), 4),
        ((-13.0, 5.0, 2.0), 5),
        ((20.0, 0.0, -25.0), 6),
        ((-40.0, 0.0, 0.0), None),
    ],
)
def test_the_class_is_the_best_that_every_sensor_stayed_within(run, offsets, reached):
    (found,) = survey(run, logger(run, offsets))
    assert found.reached == reached
    assert found.spread_k == pytest.approx(max(offsets) - min(offsets), abs=1e-6)
    assert [p.mean_k for p in found.places] == pytest.approx(list(offsets), abs=0.4)


def test_too_hot_before_the_soak_costs_the_class(run):
    loose = logger(run, (0.0, 0.0, 0.0))
    (found,) = survey(run, loose)
    early = int(np.searchsorted(loose.time_s, found.soak.settled_s)) - 5
    loose.readings_c["T1"][early] = found.soak.target_c + 9.0
    assert survey(run, loose)[0].reached == 4 and found.reached == 1


def test_the_accuracy_is_the_mean_difference_and_gives_the_calibration_point(run):
    (found,) = accuracy(run, logger(run, (1.5,), noise=0.2))
    assert found.difference_k == pytest.approx(-1.5, abs=0.1) and found.steady
    assert found.reference_c - found.control_c == pytest.approx(1.5, abs=0.1)
    (shaky,) = accuracy(run, logger(run, (0.0,), noise=4.0))
    assert not shaky.steady


def test_a_survey_says_its_verdict_first(run):
    assert survey_text(survey(run, logger(run, (1.0, -1.0, 0.0)))).startswith("within class ")
    uneven = survey_text(survey(run, logger(run, (40.0, 0.0, 0.0))))
    assert uneven.startswith("outside every class (the widest is ±28 K)")


def test_a_reference_that_is_far_off_gives_no_calibration(run):
    far = accuracy_text(accuracy(run, logger(run, (60.0,))))
    assert "60 K apart is more than any calibration corrects" in far and "reads:" not in far
    assert "reads:" in accuracy_text(accuracy(run, logger(run, (2.0,))))


def test_commands_write_pages(folder, run, tmp_path, capsys):
    path = tmp_path / "logger.csv"
    rows = ["time_min,left,middle,right_f"] + [
        f"{t / 60.0:.4f},{c - 1:.2f},{c:.2f},{(c + 2) * 1.8 + 32:.2f}"
        for t, c in zip(run.time_s[::10], run.true_chamber_c[::10], strict=True)
    ]
    path.write_text("\n".join(rows))
    assert main(["survey", str(folder), str(path)]) == 0
    said = capsys.readouterr().out
    assert "within class 1" in said and "spread 3.0 K" in said
    page = (folder / "survey.html").read_text()
    assert (
        "Uniformity survey" in page and "no certificate" in page and "http" not in page.replace("http://www.w3.org", "")
    )
    assert main(["accuracy", str(folder), str(path), "--reference", "middle"]) == 0
    assert "reads:" in capsys.readouterr().out and "System accuracy check" in (folder / "accuracy.html").read_text()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n", "there should be one column"),
        ("time_s,a,b,c\n1,20,20,20\n1,20,20,20\n", ":3: time does not go forward"),
        ("time_s,a,b\n1,20,20\n2,20,20\n", "at least 3"),
        ("time_s,a,b,c\n1,20,20,20\n2,20,20,20\n", "meet no soak"),
        ("time_s,a,b,c\n1,20,9999,20\n2,20,20,20\n", "no thermocouple shows"),
        ("time_s,a\nx,20\n", "not a number"),
        ("time_s,a\n1,\n2,\n", "no column holds"),
    ],
)
def test_a_bad_logger_is_told_where(folder, tmp_path, capsys, text, words):
    path = tmp_path / "bad.csv"
    path.write_text(text)
    assert main(["survey", str(folder), str(path)]) == 2
    assert words in capsys.readouterr().err


def test_gaps_and_wrong_names_are_told(run, folder, tmp_path):
    loose = logger(run, (0.0, 1.0, 2.0))
    loose.readings_c["T1"][:] = np.nan
    with pytest.raises(KilnctlError, match="'T1' has 0 readings"):
        survey(run, loose)
    with pytest.raises(KilnctlError, match="say which is the reference"):
        accuracy(run, logger(run, (0.0, 1.0)))
    path = tmp_path / "l.csv"
    path.write_text("time_s,a\n1,2\n")
    with pytest.raises(KilnctlError, match="there is no column 'b'"):
        read_loose(path, only=("b",))
