"""Limits that differ from the last run's are shown before there is heat, each with its name and its old value."""

import dataclasses
import json
import math
from typing import Any

import pytest

from kilnctl.safety import Policy, changed_limits, policy_for
from kilnctl.settings.equipment import CalibrationPoint, Rig
from kilnctl.settings.oven import Safety

BASE: dict[str, Any] = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)


def changed(name: str, value: Any) -> dict[str, Any]:
    return {**BASE, name: value}


def test_the_same_limits_need_no_word_and_survive_a_file():
    for policy in (
        Policy(**BASE),
        Policy(**BASE, part_trip_c=200.0, most_energy_j=1e8, nominal_v=230.0, door_switch=True),
    ):
        assert changed_limits.unlike(policy, json.loads(json.dumps(changed_limits.to_mapping(policy)))) == ()


@pytest.mark.parametrize("name", changed_limits.WATCHED)
def test_each_watched_limit_that_differs_is_named(name):
    words, _, same = changed_limits.WATCHED[name]
    base = dict(BASE, part_trip_c=200.0, most_energy_j=1e8, nominal_v=230.0, board_ceiling_c=305.0)
    last = changed_limits.to_mapping(Policy(**base))
    value = getattr(Policy(**base), name)
    assert changed_limits.unlike(dataclasses.replace(Policy(**base), **{name: value - 0.99 * same}), last) == ()
    found = changed_limits.unlike(dataclasses.replace(Policy(**base), **{name: value - 1.01 * same}), last)
    assert len(found) == 1 and words in found[0] and f"{value:g}" in found[0]
    for damage in ({k: v for k, v in last.items() if k != name}, {**last, name: "much"}, {**last, name: math.nan}):
        assert changed_limits.unlike(Policy(**base), damage) == (f"{words} is not in the record of the last run",)


def test_what_is_taken_as_no_change():
    assert {name: same for name, (_, _, same) in changed_limits.WATCHED.items()} == {
        "chamber_trip_c": 1.0,
        "part_trip_c": 1.0,
        "longest_s": 60.0,
        "most_energy_j": 1e4,
        "sensor_coast_s": 0.5,
        "disagreement_k": 1.0,
        "rise_k_per_s": 1.0,
        "unexplained_share": 0.01,
        "nominal_v": 1.0,
        "board_ceiling_c": 1.0,
        "stall_s": 0.1,
        "disagreement_s": 1.0,
        "no_rise_s": 10.0,
        "unasked_rise_k": 0.5,
        "wild_k_per_s": 5.0,
        "airflow_s": 0.5,
        "purge_s": 1.0,
    }
    last = changed_limits.to_mapping(Policy(**BASE))
    for trip_c, unlike in ((301.0, 0), (299.0, 0), (301.01, 1), (298.99, 1)):
        assert len(changed_limits.unlike(Policy(chamber_trip_c=trip_c, schedule_trip_c=250.0), last)) == unlike


@pytest.mark.parametrize("name", changed_limits.SWITCHES)
def test_each_switch_that_differs_is_named(name):
    last = changed_limits.to_mapping(Policy(**BASE))
    assert changed_limits.unlike(Policy(**changed(name, True)), last) == (
        f"that {changed_limits.SWITCHES[name]}: yes now, no in the last run",
    )
    assert changed_limits.unlike(Policy(**BASE), {**last, name: True}) == (
        f"that {changed_limits.SWITCHES[name]}: no now, yes in the last run",
    )


@pytest.mark.parametrize("name", changed_limits.TEXTS)
def test_a_sensor_that_reads_differently_is_named(name):
    last = changed_limits.to_mapping(Policy(**changed(name, "type K")))
    assert changed_limits.unlike(Policy(**changed(name, "type K")), last) == ()
    assert changed_limits.unlike(Policy(**changed(name, "type N")), last) == (
        f"{changed_limits.TEXTS[name]} is type N; in the last run it was type K",
    )
    for damage in ({k: v for k, v in last.items() if k != name}, {**last, name: 3.0}, {**last, name: None}):
        assert changed_limits.unlike(Policy(**changed(name, "type K")), damage) == (
            f"{changed_limits.TEXTS[name]} is not in the record of the last run",
        )


def test_another_type_a_correction_and_the_boards_ceiling_do_not_pass_for_the_last_runs(oven):
    cabinet = oven("curing-cabinet")
    last = changed_limits.to_mapping(policy_for(cabinet))
    control = cabinet.sensors.control
    wrong = (CalibrationPoint(reads_c=20.0, true_c=20.0), CalibrationPoint(reads_c=220.0, true_c=191.0))
    for changed, words in (
        ({"type": "N"}, "the control sensor is type N"),
        ({"calibration": wrong}, "220 °C is 191 °C"),
        ({"front_end": "max31855"}, "on max31855"),
    ):
        other = dataclasses.replace(
            cabinet, sensors=dataclasses.replace(cabinet.sensors, control=dataclasses.replace(control, **changed))
        )
        assert [w for w in changed_limits.unlike(policy_for(other), last) if words in w]
    assert changed_limits.unlike(policy_for(dataclasses.replace(cabinet, rig=Rig(ceiling_c=300.0))), last) == (
        "the board's ceiling is 300 °C; in the last run it was not set",
    )


def test_every_number_that_the_ovens_file_may_set_is_watched(oven):
    cabinet = oven("curing-cabinet")
    for f in dataclasses.fields(Safety):
        other = dataclasses.replace(
            cabinet, safety=Safety(**{f.name: {"purge_s": 31.0, "stall_s": 1.5}.get(f.name, f.metadata["low"])})
        )
        assert len(changed_limits.unlike(policy_for(other), changed_limits.to_mapping(policy_for(cabinet)))) == 1, (
            f.name
        )


def test_a_limit_that_was_or_is_not_set_is_named():
    none, some = Policy(**BASE), Policy(**BASE, part_trip_c=200.0, nominal_v=230.0)
    assert changed_limits.unlike(some, changed_limits.to_mapping(none)) == (
        "the part's limit is 200 °C; in the last run it was not set",
        "the nominal supply is 230 V; in the last run it was not set",
    )
    assert "the part's limit is not set; in the last run it was 200 °C" in changed_limits.unlike(
        none, changed_limits.to_mapping(some)
    )


def test_a_first_run_is_not_said_to_be_unlike_another():
    assert changed_limits.to_confirm(changed_limits.unlike(Policy(**BASE), None)).startswith("this is the first run")
    said = changed_limits.to_confirm(("the part's limit is 200 °C; in the last run it was not set", "b"))
    assert said.startswith("these limits are unlike the last run's:\n  the part's limit is 200 °C")
    assert said.endswith("\n  b\nif that is right, say --confirm")


@pytest.mark.parametrize("last", [None, {}])
def test_a_first_run_needs_a_word_too(last):
    assert changed_limits.unlike(Policy(**BASE), last) == (
        "there is no earlier run of this oven to compare its limits with",
    )


def test_another_ovens_file_does_not_pass_for_this_one(oven, schedule):
    cabinet, kiln = policy_for(oven("curing-cabinet")), policy_for(oven("brick-kiln"))
    assert any(
        "the oven's trip is 1125 °C; in the last run it was 275 °C" in w
        for w in changed_limits.unlike(kiln, changed_limits.to_mapping(cabinet))
    )
    # Schedules differ from run to run; the oven's own policy is compared.
    assert changed_limits.unlike(policy_for(oven("curing-cabinet")), changed_limits.to_mapping(cabinet)) == ()
