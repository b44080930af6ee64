"""What may be fitted: bad records are refused with a message that says where and what to do; tables from
elsewhere are understood."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl import KilnctlError, fit, rehearse
from kilnctl.identification.records import Log, as_log
from kilnctl.settings.schedule import Schedule, Step
from tests.identification.apparatus_records import synthetic, truth_of


@pytest.fixture(scope="module")
def cabinet(oven):
    return oven("curing-cabinet")


@pytest.fixture(scope="module")
def log(cabinet):
    return synthetic(truth_of(cabinet), hours=1.0)


def spoil(log: Log, **changes) -> Log:
    return replace(log, **changes)


def with_nan(values: np.ndarray, share: float) -> np.ndarray:
    out = values.copy()
    out[: int(share * len(out))] = np.nan
    return out


BAD = {
    "empty": (lambda g: Log("bad", np.array([]), np.array([]), np.array([])), "empty"),
    "lengths": (lambda g: spoil(g, power_w=g.power_w[:-1]), "as many"),
    "short": (lambda g: Log("bad", g.time_s[:20], g.reading_c[:20], g.power_w[:20]), "too few"),
    "constant": (lambda g: spoil(g, reading_c=np.full(len(g.time_s), 21.0)), "does not move"),
    "all NaN": (lambda g: spoil(g, reading_c=np.full(len(g.time_s), np.nan)), "are numbers"),
    "mostly NaN": (lambda g: spoil(g, reading_c=with_nan(g.reading_c, 0.8)), "are numbers"),
    "time backwards": (
        lambda g: spoil(g, time_s=np.r_[g.time_s[:300], g.time_s[:-300]]),
        "does not go forward at row 301",
    ),
    "time twice": (
        lambda g: spoil(g, time_s=np.r_[g.time_s[:1], g.time_s[:-1]]),
        "does not go forward at row 2",
    ),
    "no time": (lambda g: spoil(g, time_s=with_nan(g.time_s, 0.01)), "row 1 has no time"),
    "kelvin": (lambda g: spoil(g, reading_c=g.reading_c + 273.15), "no °C of an oven"),
    "fahrenheit": (lambda g: spoil(g, reading_c=1.8 * g.reading_c + 32.0 + 0.6 * (g.reading_c - 20.0)), "°F"),
    "kilowatts": (lambda g: spoil(g, power_w=g.power_w / 1000.0), "kW"),
    "milliwatts": (lambda g: spoil(g, power_w=g.power_w * 1000.0), "check the unit"),
    "negative power": (lambda g: spoil(g, power_w=g.power_w - 100.0), "cannot be negative"),
    "no power": (lambda g: spoil(g, power_w=np.zeros(len(g.time_s))), "no power was ever fired"),
    "power missing": (lambda g: spoil(g, power_w=with_nan(g.power_w, 0.5)), "power is missing"),
    "saturated": (lambda g: spoil(g, reading_c=np.minimum(g.reading_c, 90.0)), "end of its range"),
    "coarse": (lambda g: spoil(g, time_s=g.time_s * 60.0), "too coarse"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_records_are_refused(cabinet, log, name):
    make, says = BAD[name]
    with pytest.raises(KilnctlError, match=says) as error:
        fit(cabinet, make(log))
    assert str(error.value).startswith(("synthetic: ", "bad: "))


def test_no_record_at_all(cabinet):
    with pytest.raises(KilnctlError, match="no record"):
        fit(cabinet, [])
    with pytest.raises(KilnctlError, match="too many"):
        fit(cabinet, ["x"] * 41)


def test_a_table_from_elsewhere(cabinet, log, tmp_path):
    """Minutes, °F, per cent, semicolons and decimal commas: the same record as ours."""
    path = tmp_path / "from-a-logger.csv"
    share = log.power_w / 3000.0
    rows = [
        f"{t / 60.0:.6f};{1.8 * y + 32.0:.4f};{100.0 * s:.5f}".replace(".", ",")
        for t, y, s in zip(log.time_s, log.reading_c, share, strict=True)
    ]
    path.write_text("minutes;T1;output\n" + "\n".join(rows) + "\n", encoding="utf-8")
    columns = {"time": "minutes:min", "chamber": "T1:°F", "fired": "output:%"}
    read = as_log(cabinet, path, columns)
    assert read.time_s == pytest.approx(log.time_s, abs=1e-3)
    assert read.reading_c == pytest.approx(log.reading_c, abs=1e-3)
    assert read.power_w == pytest.approx(log.power_w, abs=0.01)


def test_duty_speaks_of_the_time_to_come_and_voltage_counts(cabinet, log, tmp_path):
    """Without a meter, the duty of a sample is what is fired until the next one; power goes with the voltage
    squared."""
    path = tmp_path / "duty.csv"
    duty = np.r_[log.power_w[1:], 0.0] / 3000.0
    lines = [f"{t:.1f},{y:.4f},{d:.6f},207.0" for t, y, d in zip(log.time_s, log.reading_c, duty, strict=True)]
    path.write_text("time_s,chamber_c,duty,supply_v\n" + "\n".join(lines), encoding="utf-8")
    assert as_log(cabinet, path).power_w == pytest.approx(0.81 * log.power_w, abs=0.01)


def test_a_door_column(cabinet, log, tmp_path):
    path = tmp_path / "door.csv"
    lines = [
        f"{t:.1f},{y:.4f},{p:.2f},{int(1000.0 <= t < 1060.0)}"
        for t, y, p in zip(log.time_s, log.reading_c, log.power_w, strict=True)
    ]
    path.write_text("time_s,chamber_c,power_w,door_open\n" + "\n".join(lines), encoding="utf-8")
    assert as_log(cabinet, path).doors == ((1000.0, 1060.0),)


@pytest.mark.parametrize(
    "text, columns, says",
    [
        ("", {}, "empty"),
        ("time_s,chamber_c\n1,2\n", {}, "no usable column for power"),
        ("t,T1,P\n1,2,3\n", {}, "no usable column for time and for chamber"),
        ("t,T1,P\n1,2,3\n", {"time": "tt"}, "no column 'tt'"),
        ("t,T1,P\n1,2,3\n", {"time": "t:weeks"}, "no unit for 'time'"),
        ("t,T1,P\n1,2,3\n", {"colour": "t"}, "'colour' is none of them"),
        ("t,t,P\n1,2,3\n", {}, "same name"),
        ("time_s,chamber_c,power_w\n1,warm,3\n2,hot,3\n", {}, "'warm' is not a number"),
        ("time_s,chamber_c,duty\n" + "\n".join(f"{i},{20 + i},{50}" for i in range(700)), {}, "per cent"),
    ],
)
def test_tables_that_cannot_be_read(cabinet, tmp_path, text, columns, says):
    path = tmp_path / "table.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KilnctlError, match=says):
        as_log(cabinet, path, columns)


def test_a_missing_file(cabinet, tmp_path):
    with pytest.raises(KilnctlError, match="no such file"):
        as_log(cabinet, tmp_path / "nothing.csv")
    with pytest.raises(KilnctlError, match="no such file"):
        as_log(cabinet, tmp_path)


def test_another_ovens_record_is_refused(cabinet, tmp_path):
    (tmp_path / "run.json").write_text('{"oven": {"name": "Brick box kiln"}, "load": null}', encoding="utf-8")
    (tmp_path / "samples.csv").write_text("time_s,chamber_c,power_w\n1,20,0\n", encoding="utf-8")
    with pytest.raises(KilnctlError, match="of 'Brick box kiln'"):
        as_log(cabinet, tmp_path)


def test_a_run_of_the_service_has_no_seed_to_be_named_by(cabinet):

    run = rehearse(cabinet, Schedule(name="Short", steps=(Step(to_c=40.0, hold_s=660.0),)))
    assert as_log(cabinet, replace(run, seed=None)).name == "Short"
    assert as_log(cabinet, run).name == "Short (seed 0)"
