"""Winding elements: against the makers' method with square centimetres per ohm (from memory), against Ohm, and over
drawn tasks."""

import dataclasses
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kilnctl.settings.oven import oven_from
from kilnctl.sizing import size, winding
from kilnctl.sizing.winding_findings import coil_findings, connected, wire_findings
from kilnctl.terms import Mark
from kilnctl.thermal.elements import resistance_factor
from kilnctl.thermal.heating_wire import NOT_WOUND, WIRE_ALLOYS, coil_of, series

FE, NI = WIRE_ALLOYS
KILN = winding.Task(FE, 3000.0, 230.0, 1100.0, coils=2)


def marks(findings):
    return {f.about: f.mark for f in findings}


def test_the_diameter_against_square_centimetres_per_ohm():
    """A maker's way: I²·Ct/p is the surface for each ohm; 1 mm wire has 17.0 cm²/ohm (31.4 cm²/m over 1.85 ohm/m, from
    memory), and it goes with d³. 1 kW on 230 V at 3 W/cm²: 18.9·1.04/3 = 6.55 cm²/ohm, 0.728 mm."""
    task = winding.Task(FE, 1000.0, 230.0, 1100.0)
    ampere = 1000.0 / 230.0
    wanted = (ampere**2 * 1.04 / 3.0 / 17.0) ** (1.0 / 3.0)
    assert 1e3 * winding.diameter_for_load_m(task, 30000.0) == pytest.approx(wanted, rel=0.003)


@given(
    st.sampled_from(WIRE_ALLOYS),
    st.floats(100.0, 10000.0),
    st.sampled_from((48.0, 115.0, 120.0, 230.0, 240.0, 400.0)),
    st.floats(100.0, 1000.0),
    st.sampled_from(((1, 1), (2, 1), (2, 2), (6, 2), (6, 6))),
    st.sampled_from(("line and neutral", "star", "delta")),
    st.floats(0.4e-3, 5e-3),
)
def test_wound_coils_obey_ohm_and_the_way_back_agrees(alloy, watts, volts, chamber, groups, connection, diameter):
    coils, series = groups
    phases = 1 if connection == "line and neutral" else 3
    task = winding.Task(alloy, watts, volts, chamber, connection, coils * phases, series)
    made = winding.wound(task, diameter)
    assert made.power_w == pytest.approx(watts, rel=1e-6)
    # All branches together, from the supply's side: P = U²/R, in star of the voltage to the middle.
    across = volts / math.sqrt(3.0) if connection == "star" else volts
    assert task.coils / series * across**2 / (series * made.hot_ohm) == pytest.approx(watts, rel=1e-6)
    assert made.hot_ohm / made.cold_ohm == pytest.approx(resistance_factor(alloy, made.wire_c), rel=1e-6)
    assert made.load_w_m2 * math.pi * diameter * made.wire_m * task.coils == pytest.approx(watts, rel=1e-6)
    back = winding.wound(task, diameter, made.wire_m)
    assert back.power_w == pytest.approx(watts, rel=1e-6) and back.wire_c == pytest.approx(made.wire_c, abs=1e-3)
    assert made.wire_c <= made.high_c


@given(
    st.sampled_from(WIRE_ALLOYS),
    st.floats(200.0, 6000.0),
    st.sampled_from((115.0, 230.0)),
    st.floats(100.0, 1250.0),
    st.booleans(),
)
def test_what_is_chosen_is_sound_and_the_next_thinner_gauge_is_not(alloy, watts, volts, chamber, american):
    assume(chamber < 1000.0 or alloy == FE)
    task = winding.Task(alloy, watts, volts, chamber)
    gauge, made = winding.chosen(task, american)
    assert marks(wire_findings(task, made)) == {"surface load": Mark.FINE, "wire's temperature": Mark.FINE}
    thinner = [g for g in series(american) if g.diameter_m < gauge.diameter_m]
    if thinner:
        assert not winding.sound(task, winding.wound(task, thinner[-1].diameter_m))


def test_verdicts_at_their_edges():
    advised = winding.advised_w_m2(KILN)
    gauge, made = winding.chosen(KILN, False)
    assert gauge.name == "1.0 mm"
    for share, mark in (
        (1.0, Mark.FINE),
        (1.04, Mark.FINE),
        (1.06, Mark.TIGHT),
        (1.49, Mark.TIGHT),
        (1.51, Mark.WRONG),
    ):
        w = dataclasses.replace(made, load_w_m2=share * advised)
        assert marks(wire_findings(KILN, w))["surface load"] is mark, share
    for wire_c, high_c, mark in ((1200, 1225, Mark.FINE), (1200, 1226, Mark.TIGHT), (1226, 1240, Mark.WRONG)):
        w = dataclasses.replace(made, wire_c=wire_c, high_c=high_c, bears_c=1225.0)
        assert marks(wire_findings(KILN, w))["wire's temperature"] is mark
    for watts, mark in ((3100.0, None), (3250.0, Mark.TIGHT), (3310.0, Mark.WRONG), (2650.0, Mark.WRONG)):
        w = dataclasses.replace(made, power_w=watts)
        assert marks(wire_findings(KILN, w)).get("power") is mark, watts


@pytest.mark.parametrize(
    ("outside", "laid", "coil", "stretch"),
    [
        (6.0, 2.5, Mark.FINE, Mark.FINE),
        (4.5, 2.5, Mark.TIGHT, Mark.FINE),
        (3.5, 2.5, Mark.WRONG, Mark.FINE),
        (9.0, 2.5, Mark.TIGHT, Mark.FINE),
        (6.0, 1.5, Mark.FINE, Mark.TIGHT),
        (6.0, 5.0, Mark.FINE, Mark.TIGHT),
        (6.0, 1.1, Mark.FINE, Mark.WRONG),
    ],
)
def test_verdicts_on_the_coil(outside, laid, coil, stretch):
    made = winding.wound(KILN, 1e-3)
    closed = coil_of(1e-3, made.wire_m, outside * 1e-3).closed_m
    found = coil_findings(KILN, made, coil_of(1e-3, made.wire_m, outside * 1e-3, laid * closed))
    assert marks(found) == {"coil": coil, "stretch": stretch}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"alloy": "silicon carbide"}, "bought as rods"),
        ({"alloy": "MoSi2"}, "ten times the current"),
        ({"alloy": "sheathed"}, "not wound"),
        ({"alloy": "copper"}, "sold as wire are"),
        ({"power_w": 19.0}, "0.02 kW to 20 kW"),
        ({"power_w": 20001.0}, "0.02 kW to 20 kW"),
        ({"volts": 11.0}, "12 V to 480 V"),
        ({"volts": 481.0}, "12 V to 480 V"),
        ({"coils": 3, "series": 2}, "3 coils cannot be connected"),
        ({"coils": 4, "connection": "star"}, "three phases"),
        ({"chamber_c": 1350.0}, "too hot for elements"),
        ({"chamber_c": 1200.0, "alloy": NI}, "too hot for elements"),
        ({"chamber_c": 900.0, "limit_c": 900.0}, "which bear 900 °C"),
    ],
)
def test_tasks_outside_the_range_are_refused(change, message):
    with pytest.raises(ValueError, match=message):
        dataclasses.replace(KILN, **change)


def test_what_no_wire_in_stock_can_do_is_refused_with_the_reason():
    with pytest.raises(ValueError, match=r"even wire of 8.0 mm, .* and it bears 1350 °C"):
        winding.chosen(winding.Task(FE, 20000.0, 480.0, 1349.5), False)
    with pytest.raises(ValueError, match="take more groups"):
        winding.chosen(winding.Task(FE, 20000.0, 12.0, 300.0), False)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"coils": 1}, "one coil on 230 V"),
        ({}, "2 coils, each for itself, on 230 V"),
        ({"series": 2}, "2 coils in series on 230 V"),
        ({"coils": 6, "series": 2, "connection": "star"}, "3 branches of 2 coils in series on 230 V three-phase, star"),
    ],
)
def test_how_coils_hang_on_the_supply_is_said(change, words):
    assert connected(dataclasses.replace(KILN, **change)) == words


def test_neighbours_are_of_both_series():
    near = winding.neighbours(1.2e-3)
    assert {g.american for g in near} == {True, False} and "1.2 mm" in {g.name for g in near}
    assert [g.diameter_m for g in near] == sorted(g.diameter_m for g in near)


def test_the_wire_of_a_description_is_judged_at_the_wire_not_at_its_plates(oven):
    """The bench muffle's 60 in² are its plates: 1.15 kW on π·1.016 mm·6.706 m are 5.4 W/cm², not 3."""
    described = winding.described(oven("bench-muffle"))
    assert described is not None
    task, made = described
    assert made.load_w_m2 == pytest.approx(made.power_w / (math.pi * 1.016e-3 * 6.7056))
    assert made.load_w_m2 > 50000.0 and task.coils == 1
    assert marks(size(oven("bench-muffle")).wire)["surface load"] is Mark.TIGHT


def test_groups_that_only_fit_in_series_are_taken_as_in_series(oven):
    """The brick kiln's two groups of 11.75 m in parallel would make 12 kW."""
    described = winding.described(oven("brick-kiln"))
    assert described is not None
    task, made = described
    assert task.series == 2 and made.power_w == pytest.approx(3100.0, rel=0.05)
    assert winding.task_of(oven("brick-kiln"), series=1).series == 1


def test_an_oven_without_wire_has_no_verdict_on_it(oven):
    cabinet = oven("curing-cabinet")
    assert winding.described(cabinet) is None and size(cabinet).wire == ()


def test_elements_that_are_not_wound_are_refused_in_a_file_with_the_reason():
    source = (
        "oven: rods\nchamber: {width: 1 ft, depth: 1 ft, height: 1 ft}\n"
        "walls: {sides: [{material: insulating firebrick 26, thickness: 9 in}]}\n"
        "elements: {power: 3 kW, alloy: SiC}\nsupply: {voltage: 240 V, frequency: 60 Hz}\nlimits: {highest: 2000 °F}\n"
    )
    for written in ("SiC", "silicon carbide", "MoSi2"):
        with pytest.raises(Exception, match=NOT_WOUND[written.lower()][:40]) as told:
            oven_from(source.replace("SiC", written), "rods.yaml")
        assert "rods.yaml:4:" in str(told.value)
