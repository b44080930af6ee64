"""A thermocouple that cannot show the trip, and a limiter that would open too early or too late, are refused with their
places."""

from dataclasses import replace

import pytest

from kilnctl import SettingsError, load_oven
from kilnctl.firmware.logic import HIGHEST_CEILING
from kilnctl.rig.board_rig import board_ceiling_c
from kilnctl.settings.equipment import TYPE_HIGHEST_C, Rig
from kilnctl.settings.oven import LIMITER_ABOVE_K
from kilnctl.thermal.thermocouples import TYPES, range_c


def written(oven, tmp_path, *changes):
    with open(oven("bench-muffle").file, encoding="utf-8") as file:
        text = file.read()
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = tmp_path / "oven.yaml"
    path.write_text(text, encoding="utf-8")
    return path, text


@pytest.mark.parametrize(
    "kind, good",
    [("T", False), ("J", False), ("E", False), ("K", True), ("N", True), ("S", True), ("R", True), ("B", True)],
)
@pytest.mark.parametrize("which", ["control", "limit"])
def test_a_type_that_cannot_show_a_furnace_of_1000_degrees_is_refused_where_it_stands(
    oven, tmp_path, which, kind, good
):
    path, text = written(oven, tmp_path, (f"{which}: {{type: K", f"{which}: {{type: {kind}"))
    if good:
        assert getattr(load_oven(path).sensors, which).type == kind
        return
    before = text[: text.index(f"{which}: {{type: {kind}") + len(f"{which}: {{type: ")]
    place = f"{before.count(chr(10)) + 1}:{len(before) - before.rfind(chr(10))}"
    with pytest.raises(
        SettingsError,
        match=rf"oven.yaml:{place}: sensors.{which}: a type {kind} thermocouple is good to "
        rf"{TYPE_HIGHEST_C[kind] * 1.8 + 32:.0f} °F",
    ):
        load_oven(path)


def test_a_part_sensor_too(oven, tmp_path):
    path, _ = written(oven, tmp_path, ("  limit: {type: K", "  part: {type: T}\n  limit: {type: K"))
    with pytest.raises(SettingsError, match=r"sensors\.part: a type T"):
        load_oven(path)


def test_no_type_is_trusted_beyond_its_reference_function():
    """Against the reference functions of ITS-90 as this project computes them; J, T and E end earlier by their
    tolerance class."""
    assert set(TYPE_HIGHEST_C) == set(TYPES)
    for kind, highest in TYPE_HIGHEST_C.items():
        end = range_c(kind)[1]
        assert highest <= end + 0.2 and (highest < end - 40.0) is (kind in "JTE")


TRIP_C = (1875.0 - 32.0) / 1.8


@pytest.mark.parametrize(
    "limiter_c, words",
    [
        (TRIP_C - 20.0, "would open below or at the software's own trip"),
        (TRIP_C - 0.01, "would open below or at"),
        (TRIP_C + 0.01, ""),
        (TRIP_C + LIMITER_ABOVE_K - 0.01, ""),
        (TRIP_C + LIMITER_ABOVE_K + 0.01, "at most 108 °F above the software's trip"),
        (1390.0, "at most 108 °F above"),
    ],
)
def test_the_limiter_lies_between_the_trip_and_a_stated_margin_above_it(oven, tmp_path, limiter_c, words):
    path, text = written(oven, tmp_path, ("limiter: 1900 °F", f"limiter: {limiter_c:.3f} °C"))
    if not words:
        assert load_oven(path).limits.limiter_c == pytest.approx(limiter_c, abs=0.001)
        return
    line = text[: text.index("limiter:")].count("\n") + 1
    with pytest.raises(SettingsError, match=rf"oven.yaml:{line}:12: .*{words}"):
        load_oven(path)


def test_without_a_trip_of_its_own_the_usual_one_counts(oven, tmp_path):
    """15 K or 2 % above 1000 °C is 1020 °C, which a file in °F is told as 1868 °F."""
    for limiter, good in (("1015 °C", False), ("1030 °C", True)):
        path, _ = written(oven, tmp_path, ("  trip: 1875 °F\n", ""), ("limiter: 1900 °F", f"limiter: {limiter}"))
        if good:
            assert load_oven(path).limits.trip_at_c == pytest.approx(1020.0)
        else:
            with pytest.raises(SettingsError, match="1868 °F"):
                load_oven(path)


def test_a_trip_that_no_board_can_guard_is_refused_before_a_start(oven):
    muffle = oven("bench-muffle")
    hot = replace(muffle.limits, highest_c=1350.0, trip_c=1399.0)
    board = Rig(kind="board", port="/dev/x")
    limits = dict(limits=hot, elements=replace(muffle.elements, limit_c=1400.0))
    assert board_ceiling_c(replace(muffle, rig=board, **limits)) == HIGHEST_CEILING
    assert not list(replace(muffle, rig=board, **limits).problems())
    hot = replace(hot, trip_c=1401.0)
    ((where, words),) = replace(muffle, rig=board, **limits | {"limits": hot}).problems()
    assert where == "rig" and "1400 °C" in words
    assert not list(replace(muffle, **limits | {"limits": hot}).problems()), "a virtual oven has no board"


@pytest.mark.parametrize(
    "ceiling_c, words",
    [
        (TRIP_C - 0.01, "must not lie below the trip"),
        (TRIP_C + 0.01, ""),
        (TRIP_C + LIMITER_ABOVE_K - 0.01, ""),
        (TRIP_C + LIMITER_ABOVE_K + 0.01, "at most 108 °F above the software's trip"),
        (1400.0, "at most 108 °F above"),
    ],
)
def test_the_boards_own_ceiling_lies_where_the_limiter_may(oven, tmp_path, ceiling_c, words):
    with open(oven("bench-muffle").file, encoding="utf-8") as file:
        text = (
            "\n".join(line for line in file.read().splitlines() if not line.startswith("rig:"))
            + f"\nrig: {{kind: board, port: /dev/x, ceiling: {ceiling_c:.3f} °C}}\n"
        )
    path = tmp_path / "oven.yaml"
    path.write_text(text, encoding="utf-8")
    if not words:
        assert load_oven(path).rig.ceiling_c == pytest.approx(ceiling_c, abs=0.001)
        return
    with pytest.raises(SettingsError, match=rf"oven.yaml:{text.count(chr(10))}:6: .*{words}"):
        load_oven(path)


@pytest.mark.parametrize(
    "words, problem",
    [
        ("{bad reading: 4 s, sensors apart: 27 °F, no rise: 5 min, purge: 30 min}", ""),
        ("{gap: 1.2 s}", ""),
        ("{bad reading: 11 s}", r"1:23: safety.bad reading: 11 s is more than 10 s"),
        ("{purge: 5 s}", r"1:17: safety.purge: 5 s must be at least 30 s"),
        ("{sensors apart: 61 K}", "is more than 60"),
        ("{no rise: 21 min}", "is more than 1200 s"),
        ("{gap: 2.6 s}", "is more than 2.5 s"),
        ("{sensor apart: 20 K}", r"1:10: unknown key 'sensor apart' in safety; did you mean 'sensors apart'"),
        ("{bad reading: 10}", "1:23: safety.bad reading"),
        ("{gap: 1.1 s}", r"1:9: 'gap' must be a fifth longer than the tick at least \(1.2 s\)"),
    ],
)
def test_thresholds_of_the_rules_are_read_strictly_and_within_their_bounds(oven, tmp_path, words, problem):
    with open(oven("bench-muffle").file, encoding="utf-8") as file:
        text = file.read()
    assert "\nsafety:" not in text and "\ncontrol:" not in text
    path = tmp_path / "oven.yaml"
    path.write_text(f"safety: {words}\n{text}", encoding="utf-8")
    if problem:
        with pytest.raises(SettingsError, match=f"oven.yaml:.*{problem}|oven.yaml:{problem}"):
            load_oven(path)
        return
    own = load_oven(path).safety
    if "gap" in words:
        assert own.stall_s == 1.2
    else:
        assert (own.sensor_coast_s, own.disagreement_k, own.no_rise_s, own.purge_s) == (
            4.0,
            pytest.approx(15.0),
            300.0,
            1800.0,
        ) and own.stall_s is None
