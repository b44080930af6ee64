"""Settings files: what is read, and what is refused with file:line:column and a hint."""

import dataclasses
import math
import re
from pathlib import Path

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kilnctl import SettingsError, load_oven, load_schedule
from kilnctl.safety import HARD_CEILINGS, HARD_FLOORS
from kilnctl.settings.document import MOST_BYTES
from kilnctl.settings.fields import examples_of, key_of, setting_fields
from kilnctl.settings.json_schema import schema_of
from kilnctl.settings.oven import Oven, Safety
from kilnctl.settings.schedule import Schedule
from kilnctl.units import parse

CONFIGS = Path(__file__).parents[2] / "configs"
CABINET = CONFIGS / "ovens" / "curing-cabinet.yaml"
CURE = CONFIGS / "schedules" / "powder-cure.yaml"


def written(tmp_path, text, name="oven.yaml"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def problems_of(load, path):
    with pytest.raises(SettingsError) as caught:
        load(path)
    return [str(p).removeprefix(str(path)) for p in caught.value.problems]


@pytest.mark.parametrize("path", sorted((CONFIGS / "ovens").glob("*.yaml")), ids=lambda p: p.stem)
def test_every_demo_oven_is_read(path):
    oven = load_oven(path)
    assert oven.elements.power_w > 0 and oven.sha256 and oven.file == str(path)
    c = oven.chamber
    whole = 2 * (c.width_m * c.depth_m + c.width_m * c.height_m + c.depth_m * c.height_m)
    assert sum(f.inner_area_m2 for f in oven.faces) == pytest.approx(whole)


def test_there_are_at_least_six_schedules_in_both_scales_and_all_are_read():
    paths = sorted((CONFIGS / "schedules").glob("*.yaml"))
    assert len(paths) >= 6
    assert all(load_schedule(path).steps for path in paths)
    texts = [path.read_text() for path in paths]
    assert any("°F" in t for t in texts) and any("°C" in t for t in texts)


def test_values_arrive_in_si():
    muffle = load_oven(CONFIGS / "ovens" / "bench-muffle.yaml")
    assert muffle.chamber.width_m == pytest.approx(0.1524)
    assert muffle.limits.highest_c == pytest.approx(1000.0)
    assert muffle.materials[0].conductivity[0] == (
        pytest.approx(93.3333333),
        pytest.approx(0.30 * 0.14422789, rel=1e-6),
    )
    temper = load_schedule(CONFIGS / "schedules" / "temper.yaml")
    assert temper.steps[1].to_c == pytest.approx((460 - 32) / 1.8)
    assert temper.steps[1].at_k_per_s == pytest.approx(5.0 / 60.0)
    assert temper.steps[1].within_k == pytest.approx(5 / 1.8)


def test_all_problems_of_a_file_at_once_each_at_its_place(tmp_path):
    text = CABINET.read_text()
    text = text.replace("  width: 600 mm", "  widht: 600 mm").replace("thickness: 80 mm", "thickness: -80 mm")
    text = (
        text.replace("power: 3 kW", "power: 3")
        .replace("voltage: 230 V", "voltage: 230 °C")
        .replace("opening: front", "opening: frnot")
    )
    found = problems_of(load_oven, written(tmp_path, text))
    lines = text.splitlines()
    expected = {
        "widht": "did you mean 'width'",
        "- {material: mineral wool 100": "above zero",
        "power: 3": "has no unit",
        "voltage: 230 °C": "not a unit of voltage",
        "opening: frnot": "did you mean 'front'",
    }
    for fragment, message in expected.items():
        number = next(i for i, line in enumerate(lines, 1) if fragment in line)
        assert any(p.startswith(f":{number}:") and message.split("above")[0] in p for p in found), (fragment, found)
    assert any("'chamber.width' is missing" in p for p in found)
    assert len(found) == 6
    column = lines[next(i for i, line in enumerate(lines) if "power: 3" in line)].index("3") + 1
    assert any(f":{column}: elements.power" in p for p in found)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "is empty"),
        ("# only a comment\n", "is empty"),
        ("~", "is empty|holds"),
        ("just words", "where 'key: value' lines belong"),
        ("- a\n- b\n", "holds a list"),
        ("oven: [unclosed", ":1:\\d+: is not YAML"),
        ("oven: 'unclosed\nabout: b\n", "quotation mark .* not closed .*line 1"),
        ("oven: a\n\tb: c", ":2:\\d+: is not YAML"),
        ("oven: !!python/object:os.system x", ":1:7: YAML tags"),
        ("oven: &a x\nabout: *a", ":1:7: anchors and aliases"),
        ("oven: a\n---\noven: b", "second YAML document"),
        ("oven: a\noven: b", ":2:1: 'oven' is given twice"),
        ("oven: " + "[" * 40 + "]" * 40, "nested deeper"),
        ("oven: " + "{a: " * 2000, "nested deeper"),
        (b"\xff\xfe\x00", "not UTF-8"),
        ("oven: \x07bell", "is not YAML"),
        ("x: 1\n" * 21000, "more than 20000|given twice"),
        ("? [a, b]\n: c", "key must be plain text"),
        ("oven:\n", ":1:6: oven is empty"),
    ],
)
def test_a_broken_file_is_refused_with_one_clear_message(tmp_path, text, expected):
    with pytest.raises(SettingsError, match=expected):
        load_oven(written(tmp_path, text))


def test_a_missing_file_a_folder_and_a_huge_file(tmp_path):
    with pytest.raises(SettingsError, match=r"nowhere\.yaml: there is no such file"):
        load_oven(tmp_path / "nowhere.yaml")
    with pytest.raises(SettingsError, match="this is a folder"):
        load_oven(tmp_path)
    with pytest.raises(SettingsError, match="larger than 256 KiB"):
        load_oven(written(tmp_path, b"#" * (MOST_BYTES + 1)))


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("highest: 260 °C", "highest: 5000 °C", "is more than 1320 °C"),
        ("highest: 260 °C", "highest: nan °C", "not a number"),
        ("trip: 275 °C", "trip: 250 °C", "trip must lie"),
        ("limiter: 290 °C", "limiter: 200 °C", "limiter would open below"),
        ("limit: 700 °C", "limit: 200 °C", "may not get as hot"),
        ("frequency: 50 Hz", "frequency: 55 Hz", "50 Hz or 60 Hz"),
        ("conductance: 0.6 W/K", "count: 2", "a bridge wants either"),
        ("mineral wool 100", "mineral wol 100", "mineral wool 100"),
        ("switch: yes", "switch: perhaps", "neither yes nor no"),
        ("groups: 3", "groups: 3.5", "not a whole number"),
        ("groups: 3", "groups: 99", "must lie from 1 to 6"),
        ("mass: 2.4 kg", "mass: 0 kg", "must be above zero"),
        ("walls:\n  sides:", "walls:\n  sides: []\n  roof:", "wants 1 to 12 entries"),
    ],
)
def test_a_bad_value_is_refused(tmp_path, old, new, expected):
    text = CABINET.read_text()
    assert old in text
    with pytest.raises(SettingsError, match=expected):
        load_oven(written(tmp_path, text.replace(old, new, 1)))


def test_an_oven_that_opens_at_the_top_has_a_lid_and_no_roof(tmp_path):
    text = (
        CABINET.read_text()
        .replace("opening: front", "opening: top")
        .replace("  floor:", "  roof:\n    - {material: steel, thickness: 1 mm}\n  floor:")
    )
    with pytest.raises(SettingsError, match="lid as 'door'"):
        load_oven(written(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("schedule: a\nsteps: []", "wants 1 to 100 entries"),
        ("schedule: a\nsteps:\n  - {hold: 5 min}", "first step needs 'to'"),
        ("schedule: a\nsteps:\n  - {to: 90 °C, at: 2 K/min, in: 5 min}", ":3:10: give only one of 'at', 'in'"),
        ("schedule: a\nsteps:\n  - {to: 90 °C}\n  - {at: 2 K/min}", "a step needs 'to'"),
        ("schedule: a\nsteps:\n  - {to: 90}", "has no unit"),
        ("schedule: a\nsteps:\n  - {to: 9000 °C}", "more than 1320"),
        ("schedule: a\nhighest: 80 °C\nsteps:\n  - {to: 90 °C}", ":2:10: a step goes to 90 °C, above"),
        ("schedule: a\nsteps:\n  - {to: 90 °C, at: 5 °C}", "not a unit of rate"),
        ("schedule: a\nsteps:\n  - {to: 90 °C, hold: -5 min}", "must be at least 0"),
        ("schedule: a\nsteps: 3", "wants a list"),
    ],
)
def test_a_bad_schedule_is_refused(tmp_path, text, expected):
    with pytest.raises(SettingsError, match=expected):
        load_schedule(written(tmp_path, text))


def test_defaults_that_stand_for_facts_are_listed_as_assumptions(tmp_path):
    text = CABINET.read_text().replace("  gap: 0.3 mm\n", "")
    assert any(a.startswith("door.gap: 0.2 mm") for a in load_oven(written(tmp_path, text)).assumptions)
    assert not any(a.startswith("door.gap") for a in load_oven(CABINET).assumptions)


def test_yaml_words_stay_words(tmp_path):
    """`no`, `1e3` and `12:30` mean something else to YAML; a name is the text that was written."""
    text = (
        CURE.read_text()
        .replace("schedule: Powder cure", "schedule: no", 1)
        .replace("name: heat and cure", "name: 12:30")
    )
    schedule = load_schedule(written(tmp_path, text))
    assert (schedule.name, schedule.steps[0].name) == ("no", "12:30")


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_file_damaged_anywhere_is_read_or_refused_never_a_traceback(tmp_path, data):
    text = CABINET.read_text()
    start = data.draw(st.integers(0, len(text) - 1))
    length = data.draw(st.integers(0, 30))
    put = data.draw(
        st.one_of(
            st.text(max_size=12),
            st.sampled_from([":", "- ", "{", "]", "nan", "inf", "\n\n  ", "!!x ", "&a ", "'", "\t"]),
        )
    )
    path = written(tmp_path, (text[:start] + put + text[start + length :]).encode("utf-8", "surrogatepass"))
    try:
        oven = load_oven(path)
    except SettingsError as error:
        assert error.problems and all(p.message for p in error.problems)
    else:
        assert dataclasses.is_dataclass(oven)


scalars = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=10))
trees = st.recursive(
    scalars,
    lambda t: (
        st.lists(t, max_size=4)
        | st.dictionaries(
            st.one_of(
                st.sampled_from(["oven", "walls", "chamber", "elements", "supply", "limits", "layers", "sides"]),
                st.text(max_size=5),
            ),
            t,
            max_size=5,
        )
    ),
    max_leaves=25,
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tree=trees)
def test_any_tree_is_read_or_refused(tmp_path, tree):
    path = written(tmp_path, yaml.safe_dump(tree, allow_unicode=True).encode("utf-8", "surrogatepass"))
    with pytest.raises(SettingsError):
        load_oven(path)
    with pytest.raises(SettingsError):
        load_schedule(path)


def test_a_setting_of_an_earlier_version_says_what_became_of_it(tmp_path):
    text = CABINET.read_text()
    assert "\ncontrol:" not in text
    line = text.count("\n") + 2
    (said,) = problems_of(load_oven, written(tmp_path, text + "control:\n  robustness: 1.4\n"))
    assert (
        said.startswith(f":{line}:3: 'control.robustness': it never changed how an oven is controlled")
        and "delete this line" in said
    )


# ---- elements in ohms, the file's own units, what the schema offers --------------------------------------------------


def test_elements_measured_in_ohms_have_the_power_of_the_hot_wire(tmp_path):
    """Pouillet and Ohm: 17.6 ohm cold at 230 V is 3006 W cold, and 5 % less once sheathed alloy is hot (resistance
    factor, makers' tables)."""
    text = CABINET.read_text()
    oven = load_oven(written(tmp_path, text.replace("power: 3 kW", "resistance: 17.6 ohm")))
    cold = 230.0**2 / 17.6
    assert 0.94 * cold < oven.elements.power_w < 0.98 * cold
    assert any(a.startswith("elements.power: ") and "17.6 ohm measured cold" in a for a in oven.assumptions)
    assert dataclasses.replace(oven, supply=dataclasses.replace(oven.supply)).elements.power_w == oven.elements.power_w


@pytest.mark.parametrize(("highest", "alloy"), [("400 °C", "sheathed"), ("1700 °F", "iron-chromium-aluminium")])
def test_an_unnamed_alloy_is_the_one_that_is_usual_at_this_temperature(tmp_path, highest, alloy):
    """A sheath fails near 750 °C (makers' tables, from memory): an enamelling box was taken to have sheathed ones."""
    path = written(
        tmp_path,
        "oven: box\nchamber: {width: 23 cm, depth: 27 cm, height: 18 cm}\n"
        "walls: {sides: [{material: insulating firebrick 26, thickness: 114 mm}]}\n"
        f"elements: {{power: 2.3 kW}}\nsupply: {{voltage: 240 V, frequency: 60 Hz}}\nlimits: {{highest: {highest}}}\n",
    )
    oven = load_oven(path)
    assert oven.elements.alloy == alloy
    assert any(a.startswith(f"elements.alloy: {alloy} (") for a in oven.assumptions)
    path.write_text(path.read_text().replace("power: 2.3 kW", "power: 2.3 kW, alloy: sheathed"))
    assert load_oven(path).elements.alloy == "sheathed"
    assert not any("elements.alloy" in a for a in load_oven(path).assumptions)


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ("power: 3 kW\n  resistance: 17.6 ohm", "not both"),
        ("emissivity: 80 %", "want 'power'"),
        ("resistance: 1 ohm", "0.02 kW to 20 kW is accepted"),
    ],
)
def test_elements_want_power_or_ohms(tmp_path, change, expected):
    text = CABINET.read_text()
    assert "  power: 3 kW" in text
    assert any(expected in p for p in problems_of(load_oven, written(tmp_path, text.replace("power: 3 kW", change))))


def test_the_units_of_a_file_are_those_of_its_temperatures(tmp_path):
    assert (
        load_oven(CABINET).units == "metric" and load_oven(CONFIGS / "ovens" / "bench-muffle.yaml").units == "imperial"
    )
    mixed = CABINET.read_text().replace("highest: 260 °C", "highest: 500 °F").replace("width: 600 mm", "width: 24 in")
    assert load_oven(written(tmp_path, mixed)).units == "metric", "most of its temperatures are in °C"


def test_what_a_file_in_fahrenheit_does_wrong_is_told_in_fahrenheit_and_inches(tmp_path):
    text = (CONFIGS / "ovens" / "bench-muffle.yaml").read_text()
    found = problems_of(load_oven, written(tmp_path, text.replace("trip: 1875 °F", "trip: 1833 °F")))
    assert any("5 °F to 108 °F above the highest chamber temperature (1832 °F)" in p for p in found)
    found = problems_of(
        load_oven,
        written(tmp_path, text.replace("width: 6 in", "width: 1/4 in").replace("limit: 2280 °F", "limit: 5000 °F")),
    )
    assert any("1/4 in must be at least 0.787 in" in p for p in found) and any("more than 3272 °F" in p for p in found)


@pytest.mark.parametrize("kind", ["oven", "schedule"])
def test_every_example_of_the_schema_is_accepted_where_it_is_offered(kind):
    """An example outside the field's own bounds, or of another sort ("14 AWG" for an element's surface), misleads."""

    def fields(cls):
        for f in setting_fields(cls):
            if f.metadata["kind"] == "quantity":
                yield cls.__name__, f
            elif f.metadata["kind"] in ("one", "many"):
                yield from fields(f.metadata["cls"])

    definitions = schema_of(kind)["$defs"] | {"Oven": schema_of("oven"), "Schedule": schema_of("schedule")}
    for name, f in fields({"oven": Oven, "schedule": Schedule}[kind]):
        low, high = f.metadata["low"], f.metadata["high"]
        offered = definitions[name]["properties"][key_of(f)]
        assert offered["examples"] == examples_of(f) and offered["examples"]
        for example in offered["examples"]:
            value = parse(example, f.metadata["dimension"])
            assert (low is None or value >= low) and (high is None or value <= high), (name, f.name, example)
            assert "AWG" not in example or f.name in ("cable_area_m2", "earth_area_m2")
            assert "pattern" not in offered or re.search(offered["pattern"], example), (name, f.name, example)


def test_a_tick_is_no_longer_than_heat_is_given_for(tmp_path):
    """Heat is given for 2 s at most (safety: the permit), so a longer tick could never run."""
    text = CABINET.read_text()
    assert load_oven(written(tmp_path, text + "control:\n  tick: 2 s\n")).control.tick_s == 2.0
    (said,) = problems_of(load_oven, written(tmp_path, text + "control:\n  tick: 2.1 s\n"))
    assert "control.tick: 2.1 s" in said and "2 s" in said.split("2.1 s", 1)[1]


def test_bounds_of_safety_settings_are_those_of_the_rules():
    for f in setting_fields(Safety):
        name, bounds = f.name, f.metadata
        assert name in HARD_CEILINGS or name in HARD_FLOORS
        assert bounds["high"] <= HARD_CEILINGS.get(name, math.inf), name
        assert bounds["low"] >= HARD_FLOORS.get(name, 0.0), name
        if name in HARD_CEILINGS:
            assert bounds["high"] == HARD_CEILINGS[name], name
