"""By how much the place that records showed lets two sensors be apart: never by more than the description does."""

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import NEAR_ELEMENTS, NEAR_WALLS, day_zero_doubt, envelope_of
from kilnctl.model.place import placed_of
from kilnctl.safety.misplaced import Place


@pytest.mark.parametrize("elements, walls", [(0.1, 0.2), (0.0, 0.2), (0.1, 0.0), (0.9, 0.9), (0.0, 0.0)])
def test_what_was_seen_within_what_the_description_allows(oven, elements, walls):
    muffle = oven("bench-muffle")
    model = day_zero(muffle, None, 600.0)
    light = envelope_of(muffle, None, model, day_zero_doubt(muffle, None))[2]
    assert placed_of(muffle, None, model, None) == light, "nothing was seen"
    found = placed_of(muffle, None, model, Place(elements, walls))
    if elements == walls == 0.0:
        assert found is None
        return
    assert found is not None
    assert (found.near_elements, found.near_walls) == (min(NEAR_ELEMENTS, elements), min(NEAR_WALLS, walls))
    assert (found.element_j_per_k, found.film_m2) == (light.element_j_per_k, light.film_m2)
