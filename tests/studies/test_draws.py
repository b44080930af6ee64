"""One draw: it follows from seed and number alone, and lies where it was stated."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kilnctl.studies.inputs import INPUTS, deviates, load_vary, plant_seed, usual, virtual_of
from tests.studies.study_cases import STILL


def test_a_draw_follows_from_seed_and_number_alone(oven):
    cabinet = oven("curing-cabinet")
    assert deviates(1, 7, 0) == deviates(1, 7, 0) and deviates(1, 7, 5)[: len(INPUTS)] == deviates(1, 7, 0)
    assert deviates(1, 7, 0) != deviates(1, 8, 0) and deviates(2, 7, 0) != deviates(1, 7, 0)
    assert len({plant_seed(1, k) for k in range(500)}) == 500 and plant_seed(1, 0) > 0
    assert virtual_of(STILL, cabinet, deviates(1, 7, 0), 9) == virtual_of(STILL, cabinet, [0.0] * len(INPUTS), 9)
    assert virtual_of(STILL, cabinet, deviates(1, 7, 0), 9).conductivity == 1.0


def test_95_of_100_draws_lie_within_what_was_stated(oven):
    cabinet, vary = oven("curing-cabinet"), usual(oven("curing-cabinet"))
    drawn = [virtual_of(vary, cabinet, deviates(0, k, 0), 1) for k in range(4000)]
    limit = math.log1p(vary.conductivity)
    inside = np.mean([abs(math.log(v.conductivity)) <= limit for v in drawn])
    warm = np.mean([abs(v.ambient_c - cabinet.site.ambient_c) <= vary.ambient_k for v in drawn])
    # Four standard errors of a share of 0.95 in 4,000 draws: 0.014.
    assert inside == pytest.approx(0.95, abs=0.014) and warm == pytest.approx(0.95, abs=0.014)


def test_a_load_varies_as_far_as_its_file_says(oven):
    cabinet = oven("curing-cabinet")
    known = replace(cabinet.usual_load, known_within=0.05)
    assert usual(cabinet).load_mass == usual(replace(cabinet, usual_load=None)).load_mass == 0.2
    assert usual(cabinet, known).load_mass == usual(replace(cabinet, usual_load=known)).load_mass == 0.05


def test_vary_files_are_read_with_their_places(tmp_path):
    (tmp_path / "v.yaml").write_text("vary: mine\nconductivity: 20 %\nambient: 5 K\ncontrol offset: 2 K\n")
    found = load_vary(tmp_path / "v.yaml")
    assert (found.conductivity, found.ambient_k, found.control_offset_k, found.supply) == (0.2, 5.0, 2.0, 0.1)
