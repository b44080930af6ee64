"""Sizing: sums that close, directions that are right, agreement with a sum done by hand. (Agreement with the virtual
oven is in tests/plants.)"""

import dataclasses
import itertools
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kilnctl import KilnctlError, SettingsError, load_oven, size
from kilnctl.body.steady import SteadyOven
from kilnctl.output import Units
from kilnctl.report.sizing_text import holding, sizing_text, temperature_range
from kilnctl.settings.construction import Chamber, Layer, Load, Wall, Walls
from kilnctl.sizing.ranges import Range
from kilnctl.sizing.sizing import Sizing

OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")

BOX = """
oven: Test box
chamber: {width: 500 mm, depth: 500 mm, height: 500 mm, emissivity: 0.9}
walls:
  sides:
    - {material: plain, thickness: 100 mm}
materials:
  - {name: plain, conductivity: 0.1 W/(m·K), density: 200 kg/m³, limit: 1000 °C}
door: {gap: 0 mm}
elements: {power: 1 kW}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 300 °C}
"""


def box(tmp_path, text=BOX, **changes):
    for old, new in changes.values():
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "box.yaml"
    path.write_text(text)
    return path


def with_wall(oven, face, index, **changes):
    wall = getattr(oven.walls, face)
    layers = tuple(dataclasses.replace(x, **changes) if i == index else x for i, x in enumerate(wall.layers))
    return dataclasses.replace(
        oven, walls=dataclasses.replace(oven.walls, **{face: dataclasses.replace(wall, layers=layers)})
    )


def test_whole_box_against_a_sum_done_by_hand(tmp_path):
    """A 0.5 m cube, 100 mm of k = 0.1: S = 6·0.25/0.1 + 12·0.54·0.5 + 8·0.15·0.1 = 18.36 m (Langmuir's rule), so k·S =
    1.836 W/K from hot face to cold face. With the hot faces a few K under the chamber and the cold ones about 20 K over
    the room, 200 °C takes between 1.836·150 and 1.836·180 W."""
    s = size(load_oven(box(tmp_path)))
    ledger = s.ledger_w(200.0)
    steady = s.at(200.0)
    conducted = sum(w for n, w in ledger.items())
    mean_hot = sum(w.hot_face_c for w in steady.walls.values()) / len(steady.walls)
    drops = [w.hot_face_c - w.cold_face_c for w in steady.walls.values()]
    assert 1.836 * min(drops) * 0.999 <= conducted <= 1.836 * max(drops) * 1.001
    assert 185.0 < mean_hot < 200.0 and 1.836 * 140.0 < conducted < 1.836 * 180.0
    # Between Langmuir's rounded rule and the exact 0.559 of a two-dimensional edge (conformal mapping, from memory).
    exact = 15.0 + 12.0 * 0.559 * 0.5 + 8.0 * 0.15 * 0.1
    assert (18.36 - 15.0) / 18.36 < ledger["edges and corners"] / conducted < (exact - 15.0) / exact


@pytest.mark.parametrize("name", OVENS)
def test_ledger_sums_to_the_power(oven, name):
    s = size(oven(name))
    fan = oven(name).fan.power_w if oven(name).fan else 0.0
    for share in (0.2, 0.5, 0.9):
        t = 20.0 + share * (s.top_c - 20.0)
        assert sum(s.ledger_w(t).values()) == pytest.approx(s.power_w(t) + fan, rel=1e-3)


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from(OVENS), more=st.floats(0.001, 0.3), data=st.data())
def test_more_insulation_never_lowers_the_highest_temperature(oven, name, more, data):
    described = oven(name)
    insulating = [i for i, layer in enumerate(described.walls.sides.layers) if layer.material != "steel"]
    index = data.draw(st.sampled_from(insulating))
    thicker = with_wall(described, "sides", index, thickness_m=described.walls.sides.layers[index].thickness_m + more)
    power = 0.25 * described.elements.power_w
    assert SteadyOven(thicker).highest(power) >= SteadyOven(described).highest(power) - 0.05


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from(OVENS), power=st.floats(30.0, 3000.0), factor=st.floats(1.0, 3.0))
def test_more_power_never_lowers_the_highest_temperature(oven, name, power, factor):
    s = SteadyOven(oven(name))
    assert s.highest(power * factor) >= s.highest(power) - 1e-3


def test_imperial_and_si_descriptions_of_the_same_oven_agree(tmp_path):
    metric = box(tmp_path)
    si = size(load_oven(metric))
    text = (
        BOX.replace("500 mm", f"{500 / 25.4!r} in")
        .replace("100 mm", f"{100 / 304.8!r} ft")
        .replace("0.1 W/(m·K)", f"{0.1 / 0.14422788886428262!r} BTU·in/(h·ft²·°F)")
    )
    text = (
        text.replace("200 kg/m³", f"{200 / 16.018463373960142!r} lb/ft³")
        .replace("1000 °C", "1832 °F")
        .replace("300 °C", "572 °F")
    )
    path = tmp_path / "imperial.yaml"
    path.write_text(text)
    imperial = size(load_oven(path))
    for t in (100.0, 200.0, 300.0):
        assert imperial.power_w(t) == pytest.approx(si.power_w(t), rel=1e-6)
        assert imperial.shell_c(t) == pytest.approx(si.shell_c(t), rel=1e-6)
    assert imperial.max_chamber_c == pytest.approx(si.max_chamber_c, rel=1e-6)


@pytest.mark.parametrize("name", OVENS)
def test_ranges_hold_the_figure_and_low_supply_is_colder(oven, name):
    s = size(oven(name))
    r = s.power_range_w(s.top_c)
    assert r.low < r.value < r.high and 0.05 < (r.high - r.low) / r.value < 0.6
    m = s.max_chamber_range_c
    assert m.low <= m.value <= m.high
    assert s.max_at_low_supply_c <= s.max_chamber_c


def test_r_value_layer_is_its_resistance(tmp_path):
    """R-10 is 1.761 m²·K/W: 100 mm of k = 0.0568, which stays so in a material of one conductivity."""
    r = size(
        load_oven(
            box(
                tmp_path,
                change=(
                    "{material: plain, thickness: 100 mm}",
                    "{material: plain, thickness: 100 mm, resistance: R-10}",
                ),
            )
        )
    )
    k = size(load_oven(box(tmp_path, change=("0.1 W/(m·K)", f"{0.1 / (10 * 0.17611018368230585)!r} W/(m·K)"))))
    assert r.power_w(250.0) == pytest.approx(k.power_w(250.0), rel=1e-6)


def test_heat_up_is_longer_with_a_load_and_never_beyond_the_highest(oven):
    cabinet = oven("curing-cabinet")
    s = size(cabinet)
    empty, loaded = s.heat_up_s(20.0, 200.0), s.heat_up_s(20.0, 200.0, cabinet.usual_load)
    assert 600.0 < empty < loaded < 3600.0
    assert s.heat_up_s(20.0, s.max_chamber_c + 1.0) == math.inf
    with pytest.raises(ValueError):
        s.heat_up_s(200.0, 100.0)


def test_stored_heat_is_of_the_size_of_mass_times_heat_capacity(tmp_path):
    """The cube's insulation: 18.36·0.1 m² × 0.1 m × 200 kg/m³ × 900 J/(kg·K), on average a little over half as warm as
    the chamber."""
    s = size(load_oven(box(tmp_path)))
    whole = 1.836 * 0.1 * 200.0 * 900.0 * 180.0
    assert 0.4 * whole < s.stored_j(200.0) < 0.9 * whole


def test_thickening_the_worst_wall_is_advised_first(oven):
    savings = size(oven("curing-cabinet")).savings
    thicker = [s for s in savings if " mm more " in s.change.words]
    assert thicker[0].change.face == "sides" and thicker[0].change.material == "mineral wool 100"
    assert all(a.saved_w >= b.saved_w for a, b in itertools.pairwise(savings))


def test_a_layer_above_its_limit_is_an_error_with_its_place(tmp_path):
    path = box(tmp_path, a=("1000 °C", "250 °C"))
    with pytest.raises(SettingsError, match=r"box.yaml:6:7: walls.sides.layers\[1\]: .*its service limit is 250 °C"):
        size(load_oven(path))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("thickness: 100 mm", "thickness: 0 mm", "above zero"),
        ("power: 1 kW", "power: 0 W", "above zero"),
        ("    - {material: plain, thickness: 100 mm}", "    []", "1 to 12 entries"),
        ("walls:\n  sides:\n    - {material: plain, thickness: 100 mm}\n", "", "'walls' is missing"),
        ("conductivity: 0.1 W/(m·K)", "conductivity: 0 W/(m·K)", "above zero"),
        ("conductivity: 0.1 W/(m·K)", "conductivity: {100 °C: 0.1 W/(m·K), 300 °C: -0.2 W/(m·K)}", "above zero"),
    ],
)
def test_descriptions_that_make_no_oven_are_refused_with_their_place(tmp_path, old, new, message):
    with pytest.raises(SettingsError, match=rf"box.yaml:\d+:\d+: .*{message}"):
        size(load_oven(box(tmp_path, change=(old, new))))


def test_a_gap_too_wide_to_be_still_air_is_refused(tmp_path):
    with pytest.raises((KilnctlError, ValueError), match="still air"):
        size(
            load_oven(
                box(tmp_path, change=("{material: plain, thickness: 100 mm}", "{material: air gap, thickness: 80 mm}"))
            )
        )


def test_material_outside_its_data_is_flagged(tmp_path):
    s = size(load_oven(box(tmp_path, change=("0.1 W/(m·K)", "{50 °C: 0.1 W/(m·K), 200 °C: 0.12 W/(m·K)}"))))
    assert any("continued to" in note for note in s.notes)


def test_what_is_beyond_the_formulas_is_said():
    """Films of faces higher than was measured, and contents with more surface than the chamber."""
    kiln = load_oven(Path(__file__).resolve().parents[2] / "configs" / "ovens" / "brick-kiln.yaml")
    assert not any("extrapolated" in note or "outline" in note for note in size(kiln).notes)
    sides = Wall(layers=(Layer(material="insulating firebrick 23", thickness_m=0.06),))
    tall = dataclasses.replace(
        kiln,
        chamber=Chamber(width_m=0.6, depth_m=0.6, height_m=5.0),
        walls=dataclasses.replace(kiln.walls, sides=sides),
        elements=dataclasses.replace(kiln.elements, power_w=20000.0),
        site=dataclasses.replace(kiln.site, ambient_c=-30.0),
        usual_load=Load(name="racks", mass_kg=5.0, area_m2=20.0),
    )
    notes = size(tall).notes
    assert any(note.startswith("sides") and "extrapolated" in note for note in notes)
    assert any("'racks'" in note and "outline" in note for note in notes)


def test_what_the_fan_alone_holds_asks_for_no_power(oven):
    cabinet = oven("curing-cabinet")
    strong = dataclasses.replace(cabinet, fan=dataclasses.replace(cabinet.fan, power_w=600.0))
    sizing, level_c = Sizing(strong), cabinet.site.ambient_c + 10.0
    assert sizing.at(level_c).power_w < 0.0
    found = sizing.power_range_w(level_c)
    assert sizing.power_w(level_c) == 0.0 and found.value == found.low == 0.0 <= found.high
    assert holding(found, Units()) == "the fan alone holds it"
    assert "W" in holding(sizing.power_range_w(cabinet.limits.highest_c), Units())


def test_an_oven_that_its_fan_alone_holds_is_sized_without_savings(oven):
    """No power is used that thicker insulation could save (four of 196 drawn ovens ended in a division by zero)."""
    cabinet = oven("curing-cabinet")
    blown = dataclasses.replace(cabinet, fan=dataclasses.replace(cabinet.fan, power_w=1900.0))
    sizing = size(blown)
    assert sizing.power_w(min(sizing.top_c, sizing.max_chamber_c)) == 0.0 and sizing.savings == ()


def test_ranges_hold_a_room_that_is_a_little_colder_or_warmer(oven):
    """A well insulated cabinet's outside follows the room kelvin for kelvin, and hardly anything else."""
    cabinet = oven("curing-cabinet")
    wool = dataclasses.replace(cabinet.walls.sides.layers[1], thickness_m=0.3)
    walls = Walls(sides=dataclasses.replace(cabinet.walls.sides, layers=(wool,)))
    described = Sizing(dataclasses.replace(cabinet, walls=walls, bridges=(), vent=None))
    span, power, highest = described.shell_range_c(150.0), described.power_range_w(150.0), described.max_chamber_range_c
    for apart_k in (-2.9, 2.9):
        site = dataclasses.replace(cabinet.site, ambient_c=cabinet.site.ambient_c + apart_k)
        other = Sizing(dataclasses.replace(described.oven, site=site))
        assert span.low < other.shell_c(150.0) < span.high
        assert power.low < other.power_w(150.0) < power.high and highest.low < other.max_chamber_c < highest.high
    assert span.high - span.value < 5.0


def test_a_shell_of_metal_whose_paint_is_not_described_is_named_with_its_bare_temperature(tmp_path):
    skin = ("thickness: 100 mm}\n", "thickness: 100 mm}\n    - {material: aluminium, thickness: 1 mm}\n")
    (said,) = (n for n in size(load_oven(box(tmp_path, skin=skin))).notes if "taken as painted" in n)
    told = float(said.split("at about ")[1].split(" °C")[0])
    text = BOX.replace("  sides:\n", "  sides:\n    layers:\n").replace(
        "    - {material: plain", "      - {material: plain"
    )
    bare = (
        "thickness: 100 mm}\n",
        "thickness: 100 mm}\n      - {material: aluminium, thickness: 1 mm}\n    outer emissivity: 0.1\n",
    )
    described = size(load_oven(box(tmp_path, text, skin=bare)))
    assert told == pytest.approx(described.shell_c(300.0), abs=3.0) and told > 20.0 + 1.3 * 20.0
    assert not any("taken as painted" in n for n in described.notes)


def test_a_conductive_hot_face_must_end_behind_the_insulation(tmp_path):
    """In three dimensions a box of dense brick before light brick loses 1.8 times as much where it runs through."""
    layers = (
        "    - {material: plain, thickness: 100 mm}",
        "    - {material: NAME, thickness: 60 mm}\n    - {material: plain, thickness: 60 mm}",
    )
    for name, said in (("dense firebrick", True), ("calcium silicate board", False)):
        changed = (layers[0], layers[1].replace("NAME", name))
        notes = size(load_oven(box(tmp_path, layers=changed))).notes
        assert any("must end behind the insulation" in n for n in notes) is said


def test_a_wire_that_does_not_make_the_power_comes_before_anything_else(oven):
    kiln = oven("brick-kiln")
    short = dataclasses.replace(kiln, elements=dataclasses.replace(kiln.elements, wire_length_m=10.0))
    assert Sizing(kiln).wrong == () and "power" in [f.about for f in Sizing(short).wrong]


def test_a_highest_temperature_beyond_what_is_looked_at_is_more_than_that():
    metric = Units()
    assert temperature_range(Range(1500.0, 1497.0, 1500.0), metric) == "more than 1500 °C"
    assert temperature_range(Range(1400.0, 1300.0, 1500.0), metric) == "1400 °C (1300 °C or more)"


def test_a_vent_that_takes_most_is_named_beside_smaller_savings(oven):
    cabinet = Sizing(oven("curing-cabinet"))
    assert "the vent takes 247 W, more than any of these saves" in sizing_text(cabinet, Units())
