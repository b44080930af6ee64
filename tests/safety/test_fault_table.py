"""The fault table is true: every row with rules trips in time and not without its fault; the others name what covers
them."""

import math

import pytest

from kilnctl.plants.injection import FAULT_KINDS
from kilnctl.safety import LEASE_S, Permit, Policy, pass_duty
from kilnctl.safety.fault_table import FAULTS, by_id
from kilnctl.safety.messages import WORDS
from tests.safety.safety_scenes import HOT, QUIET, SCENES, Bench, fell, level, play, steady, words

DETECTED = [f.id for f in FAULTS if f.rules]


def tripped(rule):
    """A bench on which that rule has tripped."""
    if rule != "clock":
        return play(rule, "trip")
    bench = Bench().feed(60, **QUIET)
    bench.now -= 30.0
    return bench.feed(1, **QUIET)


def test_the_first_31_are_those_of_the_analysis_and_ids_are_in_order():
    assert [f.id for f in FAULTS] == [f"F{i:02d}" for i in range(1, len(FAULTS) + 1)] and len(FAULTS) >= 31


@pytest.mark.parametrize("fault", [f.id for f in FAULTS])
def test_a_row_is_whole(fault):
    row = by_id(fault)
    assert row.cause and row.seen and row.reaction and row.hardware and row.rationale
    assert row.rules or row.elsewhere, "either a rule answers, or it says who does"
    assert set(row.rules) <= set(WORDS) and set(row.inject) <= set(FAULT_KINDS)
    assert bool(row.threshold) is bool(row.rules)
    assert (row.detect_within_s is None) or row.rules
    if not row.rules:
        assert row.hardware != "–" or not row.latched or "refused" in row.elsewhere


#: What a rule needs that not every oven has. A row that it answers must say so, or its time is not true for every oven.
NEEDS = {
    "contactor-welded": "read-back",
    "contactor-open": "read-back",
    "supply-lost": "supply meter",
    "relay-on-unasked": "current sensing",
    "relay-open": "current sensing",
    "sensors-disagree": "second sensor",
    "limit-sensor": "second sensor",
    "part-sensor": "sensor on the part",
    "over-part": "sensor on the part",
    "ventilation": "airflow switch",
    "board-lost": "I/O board",
    "board-fault": "I/O board",
    "sensor-frozen": "counter",
    "cold-junction": "terminals",
    "sensor-short-ground": "the converter's fault word",
}


@pytest.mark.parametrize("fault", [f.id for f in FAULTS])
def test_a_row_says_what_has_to_be_wired_for_it(fault):
    row = by_id(fault)
    assert [(r, NEEDS[r]) for r in row.rules if r in NEEDS and NEEDS[r] not in row.needs] == []
    for word, claim in (("lease", "I/O board"), ("flow switch", "airflow switch" if fault == "F26" else "")):
        assert word not in row.elsewhere or claim in row.needs


def test_the_fault_table_tells_the_defaults():
    p = Policy(chamber_trip_c=300.0, schedule_trip_c=250.0)
    told = {
        "F01": (
            f"{p.unasked_on_s:g} s of full power unasked",
            (
                f"unexplained heat {100.0 * p.unexplained_share:g} % + {100.0 * p.explained_per_fired:g} % of the "
                f"power fired"
            ),
            f"summed to {p.excess_share_s:g} full-power seconds",
        ),
        "F02": (
            f"{p.unasked_on_s:g} s of full power unasked",
            f"after {p.unasked_rise_s:g} s without heat, {p.unasked_rise_k:g} K of rise",
        ),
        "F04": (f"{p.no_rise_s:g} s of full power for less than {p.no_rise_k:g} K",),
        "F06": (f"{p.outage_s:g} s (15 min where the schedule resumes): trip",),
        "F07": (f"for {2.0 * p.contactor_s:g} s",),
        "F08": (f"for {2.0 * p.contactor_s:g} s",),
        "F09": (f"{p.sensor_coast_s:g} s: trip",),
        "F10": (f"{p.sensor_coast_s:g} s: trip",),
        "F11": (
            f"further than {p.wild_jump_k:g} K + {p.wild_k_per_s:g} K/s",
            f"the second sensor's {p.disagreement_k:g} K for {p.disagreement_s:g} s",
        ),
        "F12": (
            f"beyond {p.wild_jump_k:g} K + {p.wild_k_per_s:g} K/s",
            f"for {p.sensor_coast_s:g} s; else second sensor",
            f"{p.fall_s:g} s of wanted heat ({0.2 * p.fall_s:g} s where a door switch says",
        ),
        "F14": (
            f"the greater of {p.disagreement_k:g} K and {100.0 * p.disagreement_share:g} % for {p.disagreement_s:g} s",
        ),
        "F16": (f"counter {p.frozen_s:g} s",),
        "F17": (f"{p.noise_rejects:g} separate jumps within {p.noise_window_s:g} s",),
        "F18": (
            (
                f"outside −{-p.cold_junction_low_c:g}…{p.cold_junction_high_c:g} °C, or a sudden change of "
                f"{p.cold_junction_jump_k:g} K"
            ),
        ),
        "F20": (f"gap above {p.stall_s:g} s",),
        "F24": (f"{p.outage_s:g} s (15 min where the schedule resumes)",),
        "F26": (f"again after {p.airflow_s:g} s without air",),
        "F27": (f"{p.over_confirm_s:g} s above the limit",),
        "F29": (f"a gap above {p.stall_s:g} s",),
        "F36": (
            f"the greater of {p.disagreement_k:g} K and {100.0 * p.disagreement_share:g} % for {p.disagreement_s:g} s",
        ),
    }
    assert [
        (fault, words)
        for fault, all_words in told.items()
        for words in all_words
        if words not in by_id(fault).threshold
    ] == []


def test_what_is_claimed_only_under_a_condition():
    """Times and latches that hold for some ovens and schedules only."""
    assert (
        "15 min where the schedule resumes" in by_id("F06").threshold
        and "15 min where the schedule resumes" in by_id("F24").threshold
    )
    assert "marked `flammable vapour`" in by_id("F26").needs and "75 s" in by_id("F10").threshold
    for fault in ("F19", "F23"):
        assert by_id(fault).latch == "by the board, until `kilnctl board OVEN --clear`" and by_id(fault).latched
    assert by_id("F25").latch == "an open door: no; a fall that stays: yes" and not by_id("F25").latched
    assert not by_id("F28").latched and not by_id("F31").latched


def test_every_rule_belongs_to_a_row_and_every_injectable_fault_too():
    assert {r for f in FAULTS for r in f.rules} == {w for w in WORDS if not w.startswith("start-")}
    assert {k for f in FAULTS for k in f.inject} == set(FAULT_KINDS)


def test_an_unknown_row_is_a_key_error():
    with pytest.raises(KeyError):
        by_id("F99")


@pytest.mark.parametrize("fault", DETECTED)
def test_a_row_trips_within_its_time(fault):
    """By its first rule (the quickest); every rule's own trip and near miss are in test_trips_and_latches."""
    row = by_id(fault)
    rule = row.rules[0]
    bench = tripped(rule)
    assert rule in bench.faults
    assert bench.verdict.permit is None and not bench.verdict.contactor_allowed
    if row.detect_within_s is not None:
        assert bench.tripped_after[rule] <= max(row.detect_within_s, 2.6)


@pytest.mark.parametrize("fault", DETECTED)
def test_a_row_does_not_trip_without_its_fault(fault):
    for rule in by_id(fault).rules:
        if rule != "clock":
            assert not play(rule, "miss").faults & set(by_id(fault).rules)


@pytest.mark.parametrize("fault", [f.id for f in FAULTS if f.latched and f.rules])
def test_a_latched_row_does_not_come_back_by_itself(fault):
    rule = by_id(fault).rules[0]
    bench = tripped(rule).feed(60, **{**QUIET, **SCENES.get(rule, {"before": {}})["before"]})
    assert rule in bench.faults and bench.verdict.permit is None


def test_the_rows_without_rules_that_this_package_still_serves():
    """F05, F30 and F37 only warn; F19 and F23: no command outlives its lease."""
    assert Bench().feed(90, fired=0.2, contactor_closed=True, tick=dict(commanded=0.3), **QUIET).warnings
    assert Bench().feed(12, tick=dict(recording=False), **QUIET).warnings
    assert Bench(nominal_v=230.0).feed(2, supply_v=180.0, **QUIET).warnings
    permit = Bench().feed(5, **QUIET).verdict.permit
    assert isinstance(permit, Permit) and pass_duty(1.0, permit, permit.from_s + LEASE_S + 0.001, permit.step) == 0.0


def test_f12_a_sensor_that_slips_out_slowly_never_brings_more_heat():
    """The loop would ask for full power; the gate passes only the earlier duty, and then nothing."""
    bench, most = Bench().feed(600, **{**QUIET, **HOT}), 0.0
    out = fell(175.0, rate=6.0)
    for t in range(400):
        bench.feed(1, chamber=lambda _, t=t: out(t), **{**QUIET, "limit_c": None}, tick=dict(fired=0.3))
        if t > 5:
            most = max(most, pass_duty(1.0, bench.verdict.permit, bench.now, bench.step))
    assert most <= 0.31 and "reading-fell" in bench.faults


def test_f25_a_door_without_a_switch_brings_no_more_heat_and_a_minute_of_it_no_trip():
    bench = Bench().feed(600, **{**QUIET, **HOT}).feed(60, chamber=fell(120.0), **{**QUIET, "limit_c": None})
    assert bench.permit.duty_limit < 0.31
    bench.feed(60, chamber=lambda t: steady(t) - 20.0 + 2.0 * t, **{**QUIET, "limit_c": None})
    assert bench.faults == set() and bench.permit.duty_limit == 1.0


def test_f33_two_closed_contacts_raise_the_danger_message_at_once():
    bench = Bench().feed(30, fired=0.3, contactor_closed=True, tick=dict(commanded=0.3), **QUIET)
    bench.feed(3, fired=1.0, contactor_closed=True, tick=dict(commanded=0.0, heating=False, contactor=False), **QUIET)
    assert "MAIN SWITCH NOW" in bench.verdict.danger


def test_f34_numbers_that_are_none():
    for odd in (math.nan, math.inf, -math.inf):
        assert "sensor-not-a-number" in Bench().feed(30, **QUIET).feed(20, chamber=odd, **QUIET).faults
    assert Bench().feed(30, **QUIET).feed(15, **words("open")).faults == {"sensor-open"}
    assert Bench().feed(30, chamber=level(100.0), **QUIET).faults == set()
