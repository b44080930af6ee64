"""The uncertainty that a day-zero model states, compared with the body that it is made from and with what the file
leaves open."""

import dataclasses

import pytest

from kilnctl import load_oven, size
from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER
from kilnctl.model.heating import AS_FITTED, fine_heating, late_by, model_heating, trim_of
from kilnctl.model.uncertainty import true_holding_w, uncertainty_of
from tests.body.made_ovens import made
from tests.plants.plant_cases import OVENS, ROOT

#: Wool with thick poor insulation behind it: its lumps, fitted to small swings, heat up 9 % too soon.
SLOW_BACK = """
oven: Slow back
chamber: {width: 200 mm, depth: 200 mm, height: 250 mm}
walls:
  sides:
  - {material: ceramic fibre blanket 96, thickness: 52 mm}
  - {material: "perlite, loose", thickness: 34 mm}
  - {material: stainless steel, thickness: 1 mm}
elements: {power: 250 W}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 700 °C}
"""


def workshop(name: str):
    return load_oven(ROOT / "configs" / "ovens" / f"{name}.yaml")


def read(tmp_path, text: str):
    path = tmp_path / "oven.yaml"
    path.write_text(text, encoding="utf-8")
    return load_oven(path)


@pytest.mark.parametrize("seed", range(8))
def test_stated_structure_covers_what_is_found(seed, tmp_path):
    """Holding power at temperatures that were not compared, and the virtual oven's own heat-up in steps of 5 s."""
    oven = made(seed, tmp_path)
    sizing, room = size(oven), oven.site.ambient_c
    top = min(oven.limits.highest_c, sizing.max_chamber_c)
    model, stated = day_zero(oven, None, top), uncertainty_of(oven, None, top)
    for share in (0.43, 0.57, 0.74, 0.88, 0.97):
        t = room + share * (top - room)
        steady = sizing.at(t)
        off_w = true_holding_w(model, t) - float(steady.power_w)
        assert abs(off_w) <= stated.structure_loss * float(steady.power_w + steady.fan_w), share
    goal = room + 0.9 * (top - room)
    x, t_s = model.rest(room), 0.0
    takes_s = sizing.heat_up_s(room, goal)
    while x[CHAMBER] < goal and t_s < 3.0 * takes_s:
        x, t_s = model.step(x, model.power_w, max(1.0, takes_s / 400.0), room), t_s + max(1.0, takes_s / 400.0)
    assert abs(t_s / takes_s - 1.0) <= stated.structure_time + 0.01


def test_a_slow_back_is_kept_time_with(tmp_path):
    oven = read(tmp_path, SLOW_BACK)
    top = min(oven.limits.highest_c, size(oven).max_chamber_c)
    fine = fine_heating(oven, top, 1.0)
    assert late_by(day_zero(oven, None, top), fine) < 0.05


def test_the_trim_of_a_march_of_its_own_is_none(tmp_path):
    """A model that already heats up in the right time is not changed."""
    oven = workshop("bench-muffle")
    model = day_zero(oven)
    own = model_heating(model, fine_heating(oven, 700.0, 1.0).time_s)
    trim = trim_of(model, own)
    assert trim.capacity == pytest.approx(AS_FITTED.capacity, abs=0.02) and trim.film == pytest.approx(1.0, abs=0.02)
    assert late_by(model, own) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("name", OVENS)
def test_what_the_file_says_of_itself_counts(name):
    oven = workshop(name)
    known = uncertainty_of(oven)
    sure = dataclasses.replace(
        oven, uncertainty=dataclasses.replace(oven.uncertainty, conductivity=0.02, heat_capacity=0.02)
    )
    better = uncertainty_of(sure)
    assert better.loss < known.loss and better.capacity < known.capacity
    assert (better.structure_loss, better.structure_time) == (known.structure_loss, known.structure_time)


def test_meters_make_the_power_known():
    oven = workshop("brick-kiln")

    def power(supply: bool, current: bool) -> float:
        meters = dataclasses.replace(oven.meters, supply=supply, current=current)
        return uncertainty_of(dataclasses.replace(oven, meters=meters)).power

    assert power(True, True) < power(True, False) == power(False, True) < power(False, False)


def test_a_guessed_mass_of_the_elements_counts_more_than_a_given_one():
    oven = workshop("bench-muffle")
    without = dataclasses.replace(
        oven, elements=dataclasses.replace(oven.elements, mass_kg=None, wire_diameter_m=None, wire_length_m=None)
    )
    assert uncertainty_of(without).capacity > uncertainty_of(oven).capacity
