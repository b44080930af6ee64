"""New settings of supply, switching, ventilation and vapour: read with their units, refused at their place."""

from pathlib import Path

import pytest

from kilnctl import SettingsError, load_oven
from kilnctl.settings.flammable import Vapour
from kilnctl.settings.schedule import schedule_of


@pytest.fixture
def edited(oven, tmp_path):
    """The cabinet with one line of its file changed."""
    text = Path(oven("curing-cabinet").file).read_text(encoding="utf-8")

    def make(old, new):
        assert text.count(old) == 1
        path = tmp_path / "oven.yaml"
        path.write_text(text.replace(old, new), encoding="utf-8")
        return path

    return make


def test_the_workshops_supply_is_read(oven):
    o = oven("curing-cabinet")
    assert (o.supply.plug, o.supply.cable_laid, o.supply.residual) == ("IEC 60309 16 A", "on a wall", "30 mA type A")
    assert o.supply.earth_area_m2 == pytest.approx(2.5e-6) and o.supply.cable_at_c == 35.0
    s = o.switching
    assert (s.relay_i2t_a2s, s.fuse_i2t_a2s, s.cabinet_air_c) == (1500.0, 800.0, 40.0)
    assert (s.contactor_poles, s.feedback, s.coil_circuit) == (2, "mirror contact", "24 V")
    assert o.vent.proof == "flow switch" and o.door.catch == "gives way"
    assert oven("bench-muffle").switching.cabinet_air_c == pytest.approx(35.0)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "  plug: IEC 60309 16 A",
            "  plug: wall",
            r"oven\.yaml:\d+:9: supply\.plug: 'wall' is none of: fixed connection",
        ),
        ("  relay i2t: 1500 A²s", "  relay i2t: 1500 A", r"oven\.yaml:\d+:14: switching\.relay i2t: .*1200 A²s"),
        ("  circuits together: 1", "  circuits together: 0", r"supply\.circuits together: 0 must lie from 1 to 20"),
        ("  cable at: 35 °C ", "  cable at: 35 ", r"supply\.cable at: '35' has no unit"),
        ("  switch opens: 3 m³/h", "  switch opens: 4 m³/h", r"oven\.yaml:\d+:17: the switch would open at more air"),
        ("  catch: gives way ", "  catch: magnet ", r"door\.catch: 'magnet' is none of: gives way, holds"),
        ("  coil circuit: 24 V", "  coil circuit: 24V", r"did you mean '24 V'"),
    ],
)
def test_what_is_wrong_is_told_at_its_place(edited, old, new, message):
    with pytest.raises(SettingsError, match=message):
        load_oven(edited(old, new))


def test_a_resistance_says_too_little_of_three_phases(edited):
    path = edited("  power: 3 kW", "  resistance: 17.6 ohm")
    assert load_oven(path).elements.power_w == pytest.approx(3000.0, rel=0.06)
    path.write_text(path.read_text().replace("  voltage: 230 V", "  voltage: 400 V\n  connection: star"))
    with pytest.raises(SettingsError, match="with three phases give the 'power'"):
        load_oven(path)


STEPS = "steps:\n  - {to: 180 °C, hold: 10 min}\n"


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ("{powder: 60 g, volatiles: 4 %}", Vapour(powder_kg=0.06, volatiles=0.04)),
        ("{powder: 2 oz, metallic: yes}", Vapour(powder_kg=2 * 0.45359237 / 16, metallic=True)),
        ("{solvent: xylene, solvent mass: 2 g}", Vapour(solvent="xylene", solvent_kg=0.002)),
        ("{solvent: chlorinated solvent}", Vapour(solvent="chlorinated solvent")),
        (
            "{given off: 2.5 g, lower explosive limit: 40 g/m³, ignition: 410 °C, given off in: 8 min}",
            Vapour(given_off_kg=0.0025, lower_limit_kg_per_m3=0.04, ignition_c=410.0, over_s=480.0),
        ),
    ],
)
def test_vapour_is_read(given, expected):
    plan = schedule_of(f"schedule: cure\nflammable vapour: yes\nvapour: {given}\n{STEPS}", "cure.yaml")
    made = plan.vapour
    assert made is not None and {
        k: pytest.approx(v) if isinstance(v, float) else v for k, v in vars(expected).items()
    } == vars(made)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ("{}", r"cure\.yaml:3:9: say what gives off the vapour"),
        ("{powder: 60}", r"cure\.yaml:3:18: vapour\.powder: '60' has no unit"),
        ("{solvent: xylene}", r"'solvent' and 'solvent mass' belong together"),
        ("{solvent: petrol, solvent mass: 2 g}", r"cure\.yaml:3:19: vapour\.solvent: 'petrol' is none of"),
        ("{given off: 2 g}", r"cure\.yaml:3:21: 'given off' and 'lower explosive limit'"),
        (
            "{solvent: xylene, solvent mass: 2 g, volatiles: 4 %}",
            r"cure\.yaml:3:57: 'volatiles' is a share of the powder",
        ),
        ("{solvent: xylene, solvent mass: 2 g, metallic: yes}", r"'metallic' says what the powder is"),
    ],
)
def test_half_a_description_of_vapour_is_refused_at_its_place(given, message):
    with pytest.raises(SettingsError, match=message):
        schedule_of(f"schedule: cure\nflammable vapour: yes\nvapour: {given}\n{STEPS}", "cure.yaml")


def test_vapour_that_is_not_marked_flammable_is_refused():
    with pytest.raises(SettingsError, match=r"cure\.yaml:2:9: .*say 'flammable vapour: yes' too"):
        schedule_of(f"schedule: cure\nvapour: {{powder: 60 g}}\n{STEPS}", "cure.yaml")


def test_an_old_file_without_any_of_it_stays_valid(edited):
    """What is new is optional."""
    path = edited("  plug: IEC 60309 16 A\n", "")
    new = ("cable laid", "cable at", "circuits", "earth", "residual", "cabinet", "relay i2t", "fuse", "contactor ",
           "feedback", "coil", "proof", "switch opens", "catch")  # fmt: skip
    kept = [line for line in path.read_text().splitlines() if not line.strip().startswith(new)]
    path.write_text("\n".join(kept))
    old = load_oven(path)
    assert old.supply.earth_area_m2 is old.switching.coil_circuit is old.door.catch is None
