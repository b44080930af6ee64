"""Walls warm up as in three dimensions: the virtual oven against the transient reference (`tools/lib/box_warming.py`;
its solver is validated by `tests/thermal/test_iso_10211.py`). `tools/bench/boxes --warming` prints many boxes."""

import math

import pytest
from box_draws import Box
from box_warming import converged_time_s, in_virtual_oven, oven_of, powered, split

from kilnctl.body import geometry_of
from kilnctl.thermal.material_data import find
from kilnctl.thermal.walls import WallLayer

BOXES = {
    "board": ((("ceramic fibre board 300", 0.062),), (0.418, 0.352, 0.387), 913.0),
    "brick": ((("insulating firebrick 28", 0.114), ("steel", 0.001)), (0.23, 0.27, 0.31), 1017.0),
    "dense brick before wool": ((("dense firebrick", 0.08), ("mineral wool 100", 0.06)), (0.3, 0.3, 0.35), 700.0),
}


def box_of(name):
    layers, inside, hot_c = BOXES[name]
    return Box(tuple(WallLayer(find(m), x) for m, x in layers), inside, hot_c, 0.9)


@pytest.mark.slow
@pytest.mark.parametrize("name", BOXES)
def test_heats_up_as_in_three_dimensions_and_one_layer_as_two(name):
    box = box_of(name)
    oven = powered(box)
    told = in_virtual_oven(oven, box.hot_c)
    assert told.time_s[-1] == pytest.approx(converged_time_s(box, told), rel=0.05)
    in_two = in_virtual_oven(oven_of(split(box), oven.elements.power_w), box.hot_c)
    assert in_two.time_s[-1] == pytest.approx(told.time_s[-1], rel=0.02)


@pytest.mark.parametrize("name", BOXES)
def test_slices_conduct_as_their_layer_and_begin_with_the_hot_face(name):
    oven = oven_of(box_of(name), 1000.0)
    for face in oven.faces:
        g = geometry_of(oven, face)
        for spread, slices in zip(g.spreads, g.slices, strict=True):
            assert sum(s.share for s in slices) == pytest.approx(1.0)
            assert sum(s.share / s.conducts for s in slices) == pytest.approx(1.0 / spread)
        assert g.slices[0][0].conducts == pytest.approx(1.0, abs=0.1)
        assert math.isclose(g.slices[0][0].holds, 1.0, abs_tol=0.1)
