"""Steady states of ovens whose frozen coefficients swing to and fro, and films of a fan where natural ones are as
strong."""

import numpy as np
import pytest

from kilnctl import load_oven, size
from kilnctl.plants.assembly import assemble
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.settling import settle
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.thermal.constants import ZERO_C
from kilnctl.thermal.surfaces import inner_film

THIN = """
oven: Thin brick
chamber: {width: 457 mm, depth: 432 mm, height: 408 mm}
walls:
  sides: [{material: insulating firebrick 28, thickness: 25.5 mm}, {material: stainless steel, thickness: 1.1 mm}]
elements: {power: 9 kW}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 970 °C}
"""
GAP = """
oven: Two skins
chamber: {width: 147 mm, depth: 132 mm, height: 105 mm}
walls:
  sides: [{material: steel, thickness: 1 mm}, {material: air gap, thickness: 16 mm}, {material: steel, thickness: 1 mm}]
elements: {power: 1 kW, alloy: sheathed}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 400 °C}
"""
STIRRED = """
oven: Slow fan
chamber: {width: 535 mm, depth: 424 mm, height: 562 mm}
walls:
  sides: [{material: steel, thickness: 2 mm}, {material: wood, thickness: 16 mm}, {material: steel, thickness: 1 mm}]
fan: {air speed: 0.54 m/s, power: 20 W}
elements: {power: 1 kW, alloy: sheathed}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 80 °C}
"""


def read(tmp_path, text: str):
    path = tmp_path / "oven.yaml"
    path.write_text(text, encoding="utf-8")
    return load_oven(path)


@pytest.mark.parametrize("text, at_c", [(THIN, 398.0), (GAP, 380.0), (STIRRED, 70.0)])
def test_settles_where_sizing_balances(text, at_c, tmp_path):
    """To half a kelvin: the same equations, solved in another way."""
    oven = read(tmp_path, text)
    power = size(oven).power_w(at_c)
    plant = VirtualOven(oven, conditions=Conditions(supply_drift=0.0))
    assert plant.settle(power) == pytest.approx(at_c, abs=0.5)


@pytest.mark.parametrize("text, at_c", [(THIN, 398.0), (GAP, 380.0)])
def test_what_has_settled_stays(text, at_c, tmp_path):
    """An hour of short steps at the same power moves nothing."""
    oven = read(tmp_path, text)
    power = size(oven).power_w(at_c)
    plant = VirtualOven(oven, conditions=Conditions(supply_drift=0.0))
    before_c = plant.settle(power)
    for _ in range(720):
        plant.core.step(5.0, np.full(plant.layout.groups, power / plant.layout.groups))
    assert plant.chamber_c == pytest.approx(before_c, abs=0.05)


def test_no_steady_state_is_no_answer(tmp_path, monkeypatch):
    monkeypatch.setattr("kilnctl.plants.settling.MOST_STEPS", 5)
    core = VirtualOven(read(tmp_path, THIN)).core
    with pytest.raises(ArithmeticError, match="no steady state within 5 steps"):
        settle(core, np.full(1, 100.0))


def test_film_of_a_slow_fan_is_the_larger_of_forced_and_natural(tmp_path):
    """Over differences on both sides of where they cross, against the law itself: within 1 %."""
    oven = read(tmp_path, STIRRED)
    films = assemble(oven).stirred.inner_films
    sides = next(f for f in oven.faces if f.name == "sides")
    air_c = 68.0
    for below_k in (1.0, 3.0, 8.0, 13.0, 15.0, 17.0, 19.0, 25.0, 45.0):
        surfaces = np.full(len(films.functions), air_c - below_k + ZERO_C)
        law = inner_film(air_c - below_k, air_c, oven.chamber.height_m, sides.orientation, oven.fan.air_speed_m_per_s)
        assert films(surfaces, air_c + ZERO_C)[0] == pytest.approx(law, rel=0.01), below_k
