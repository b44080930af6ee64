"""The plants of tools/bench/strange: each one heats, cools and can be read, and differs from its description."""

import math

import pytest
from strange_plants import PLANTS, described

from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER


@pytest.mark.parametrize("name", PLANTS)
def test_it_heats_and_cools_and_shows_it(oven, name):
    cabinet = described(name, oven("curing-cabinet"))
    plant = PLANTS[name](cabinet, 200.0, 1)
    before = plant.truth_c
    readings = [plant.advance(1.0, 1.0, True) for _ in range(240)]
    hot = plant.truth_c
    assert hot > before + 15.0 and all(math.isfinite(r.chamber_c) for r in readings)
    assert before - 1.0 < readings[-1].chamber_c < hot, "a sensor follows"
    cooling = [plant.advance(1.0, 0.0, True) for _ in range(900)]
    assert plant.truth_c < hot - 5.0 and cooling[-1].chamber_c == pytest.approx(plant.truth_c, abs=3.0)


@pytest.mark.parametrize(
    "name", ["wire on a carrier", "two walls", "film falls", "element twice", "sensor near element"]
)
def test_it_is_not_what_the_description_says(oven, name):
    cabinet = oven("curing-cabinet")
    model, plant = day_zero(cabinet, cabinet.usual_load, 200.0), PLANTS[name](cabinet, 200.0, 1)
    x, apart_k = model.rest(model.ambient_c), 0.0
    for _ in range(7200):
        x = model.step(x, model.power_w, 1.0, model.ambient_c)
        plant.advance(1.0, 1.0, True)
        apart_k = max(apart_k, abs(x[CHAMBER] - plant.truth_c))
    assert apart_k > 3.0
