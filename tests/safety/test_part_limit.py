"""A limit of the part is guarded by a sensor or refused; no promise without a sensor."""

import dataclasses
import math
from pathlib import Path

import pytest

from kilnctl import KilnctlError, SettingsError, control, load_oven
from kilnctl.cli import main
from kilnctl.model.day_zero import day_zero
from kilnctl.run.rehearsal import rehearse
from kilnctl.safety import policy_for
from kilnctl.settings.schedule import schedule_of

PART_190 = "schedule: t\nfollows: part\nsteps:\n  - {to: 190 °C, hold: 10 min, within: 5 K}\nhighest: 235 °C\n"


def but(oven, part_sensor=True, part_highest_c=None):
    return dataclasses.replace(
        oven,
        sensors=oven.sensors if part_sensor else dataclasses.replace(oven.sensors, part=None),
        limits=dataclasses.replace(oven.limits, part_highest_c=part_highest_c),
    )


def test_a_part_limit_without_a_part_sensor_is_refused_in_oven_and_schedule(oven):
    cabinet, limited = oven("curing-cabinet"), schedule_of(PART_190 + "part highest: 205 °C\n", "t")
    with pytest.raises(KilnctlError, match=r"^t: 'part highest' is a limit that nobody can guard"):
        policy_for(but(cabinet, False), limited)
    for plan in (None, limited, schedule_of(PART_190, "t")):
        with pytest.raises(KilnctlError, match=r"curing-cabinet.yaml: 'part highest' is a limit that nobody can guard"):
            policy_for(but(cabinet, False, 200.0), plan)
    # Without a limit a part may be estimated.
    assert policy_for(but(cabinet, False), schedule_of(PART_190, "t")).part_trip_c == math.inf


def test_an_oven_file_with_a_part_limit_and_no_part_sensor_is_refused_with_its_place(oven, tmp_path):
    text = (
        Path(oven("curing-cabinet").file)
        .read_text(encoding="utf-8")
        .replace("  longest: 12 h", "  part highest: 200 °C\n  longest: 12 h")
    )
    path = tmp_path / "oven.yaml"
    path.write_text(text, encoding="utf-8")
    assert load_oven(path).limits.part_highest_c == 200.0
    path.write_text("\n".join(line for line in text.split("\n") if not line.startswith("  part: {")), encoding="utf-8")
    with pytest.raises(SettingsError, match=r"oven.yaml:\d+:\d+: .*there is no thermocouple on the part"):
        load_oven(path)


def test_both_part_limits_have_the_same_margin_and_the_lower_counts(oven):
    cabinet = oven("curing-cabinet")
    for own, plans, trip in ((190.0, None, 200.0), (None, 190.0, 200.0), (180.0, 190.0, 190.0), (200.0, 190.0, 200.0)):
        plan = schedule_of(PART_190 + (f"part highest: {plans:g} °C\n" if plans else ""), "t")
        assert policy_for(but(cabinet, True, own), plan).part_trip_c == trip


def test_a_schedule_may_not_take_the_part_above_the_ovens_limit_for_parts(oven):
    cabinet, plan = oven("curing-cabinet"), schedule_of(PART_190, "t")
    model = day_zero(cabinet, cabinet.usual_load, 190.0)
    with pytest.raises(
        KilnctlError, match=r"t:4:10: step 1 \('unnamed'\) takes the part to 190 °C; in .* no part may go above 180 °C"
    ):
        control.programme_of(but(cabinet, True, 180.0), plan, model, 20.0)
    assert control.programme_of(but(cabinet, True, 190.0), plan, model, 20.0)
    # Where the chamber is followed the part may stay below by itself; its trip watches.
    chamber = schedule_of("schedule: t\nsteps:\n  - {to: 190 °C, hold: 10 min}\n", "t")
    assert control.programme_of(but(cabinet, True, 180.0), chamber, model, 20.0)


def test_a_part_may_be_taken_to_the_very_limit_of_the_oven(oven):
    run = rehearse(but(oven("curing-cabinet"), True, 190.0), schedule_of(PART_190, "t"))
    assert run.outcome == "finished" and run.trips == ()


def test_check_says_that_an_estimated_part_is_not_guarded(tmp_path, oven, capsys):
    text = Path(oven("curing-cabinet").file).read_text(encoding="utf-8")
    with_part, without = tmp_path / "with.yaml", tmp_path / "without.yaml"
    with_part.write_text(text, encoding="utf-8")
    without.write_text(
        "\n".join(line for line in text.split("\n") if not line.startswith("  part: {")), encoding="utf-8"
    )
    plan = tmp_path / "plan.yaml"
    plan.write_text(PART_190, encoding="utf-8")
    for path, told in ((with_part, False), (without, True)):
        assert main(["check", str(path), str(plan)]) == 0
        assert ("only estimated, and nothing guards it" in capsys.readouterr().out) is told
