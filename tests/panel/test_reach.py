"""What an oven can follow, behind a schedule's curve: the edges are what the model does with all heat and with none."""

import numpy as np
import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER
from kilnctl.panel.reach import MOMENTS, region, walks

AMBIENT_C = 20.0
OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")


@pytest.fixture(params=OVENS)
def model(request, oven):
    made = oven(request.param)
    return day_zero(made, made.usual_load)


def test_the_walks_rise_with_all_heat_and_fall_without_any(model):
    top = 0.6 * model.highest_c(AMBIENT_C)
    up, down = walks(model, AMBIENT_C, top, AMBIENT_C)
    assert up[0, 1] == pytest.approx(AMBIENT_C) and up[-1, 1] >= top
    assert down[0, 1] == pytest.approx(top, abs=0.5) and down[-1, 1] < 0.5 * top
    assert (np.diff(up[:, 1]) > -1e-9).all() and (np.diff(down[:, 1]) < 1e-9).all()
    # The same as the model itself, stepped here.
    x = model.rest(AMBIENT_C)
    for _ in range(20):
        x = model.step(x, model.power_w, 10.0, AMBIENT_C)
    assert up[20] == pytest.approx((200.0, x[CHAMBER]))


def test_a_top_that_the_oven_cannot_reach_ends_the_walk_at_what_it_can(model):
    up, down = walks(model, AMBIENT_C, 5000.0, AMBIENT_C)
    highest = model.highest_c(AMBIENT_C)
    assert up[-2, 1] <= highest and down[0, 1] <= highest


def test_the_region_begins_at_each_stretch_and_holds_what_lies_between(model):
    top = 0.5 * model.highest_c(AMBIENT_C)
    up, down = walks(model, AMBIENT_C, top, AMBIENT_C)
    half = 0.5 * (AMBIENT_C + top)
    found = {k: np.array(v) for k, v in region(up, down, [(0.0, 600.0, AMBIENT_C), (600.0, 4000.0, half)]).items()}
    assert len(found["time_s"]) == 2 * MOMENTS and (np.diff(found["time_s"]) >= 0.0).all()
    assert (found["low"] <= found["high"] + 0.11).all()
    for at, c in ((0, AMBIENT_C), (MOMENTS, half)):
        assert found["high"][at] == pytest.approx(c, abs=0.6)
    assert found["low"][MOMENTS] == pytest.approx(half, abs=0.6)
    # To hold the temperature is within it.
    assert (found["low"][MOMENTS:] <= half + 0.6).all() and (found["high"][MOMENTS:] >= half - 0.6).all()


def test_an_instant_stretch_has_a_width():
    walk = np.array([(0.0, 20.0), (100.0, 120.0)])
    found = region(walk, walk[:, [0, 1]] * (1, -1) + (0, 140), [(50.0, 50.0, 70.0)])
    assert found["time_s"][0] == 50.0 and found["time_s"][-1] == 51.0
    assert found["high"][-1] == pytest.approx(71.0) and found["low"][-1] == pytest.approx(69.0)
