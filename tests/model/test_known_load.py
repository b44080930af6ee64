"""A load whose owner says how well it is known: a sensor that reads low is found while the oven heats up, and no sound
one is taken for it."""

import dataclasses
import itertools

import pytest

from kilnctl.model.load_range import load_range, load_share
from tests.model.test_together import WORKSHOP, described, made_of, sound_run

WITHIN = 0.1


@pytest.fixture(params=[*WORKSHOP, 0, 2, 4, 5, 13])
def loaded(request, tmp_path):
    """An oven of the workshop, or a drawn one, its model, and its usual load, known within a tenth. It has a meter:
    without one a low voltage may hide as much as a load."""
    oven, model = made_of(request.param, tmp_path)
    oven = dataclasses.replace(oven, meters=dataclasses.replace(oven.meters, supply=True))
    return oven, model, dataclasses.replace(oven.usual_load, known_within=WITHIN)


def holding(oven, model, area: float, thick: float):
    """The model with that many times the surface, and the mass for it, of the load."""
    share = load_share(oven, oven.usual_load)
    return model.but(
        contents_j_per_k=(1.0 + (area * thick - 1.0) * share) * model.contents_j_per_k,
        contents_w_per_k=(1.0 + (area - 1.0) * share) * model.contents_w_per_k,
        contents_m2=(1.0 + (area - 1.0) * share) * model.contents_m2,
    )


def test_sound_ovens_with_a_load_as_well_known_as_said_are_left_alone(loaded):
    oven, model, load = loaded
    off = (1.0 / (1.0 + WITHIN), 1.0, 1.0 + WITHIN)
    for seed, (mass, area) in enumerate(itertools.product(off, off)):
        tripped, chamber_c = sound_run(oven, model, seed, load, holding(oven, model, area, mass / area))
        assert not tripped and chamber_c > model.ambient_c + 30.0, f"{mass:.2f} times the mass, {area:.2f} the surface"


@pytest.mark.parametrize("low", [0.1, 0.11, 0.12, 0.13, 0.14, 0.15, 0.2, 0.3, 0.5])
def test_a_sensor_that_reads_low_from_the_start_is_found_in_time(loaded, low):
    """On the bench muffle a fifth less looks like a load 2.65 times as heavy (120 K above the goal when three times
    were taken as possible)."""
    oven, model, load = loaded
    room_c, trip_c = model.ambient_c, oven.limits.trip_at_c
    for said, seed in itertools.product((load, oven.usual_load), range(2)):
        _, chamber_c = sound_run(oven, model, seed, said, shows=1.0 - low)
        assert chamber_c <= room_c + 1.08 * (trip_c - room_c) + 15.0


def test_sound_ovens_with_up_to_half_as_much_again_and_nothing_said_are_left_alone(loaded):
    oven, model, _ = loaded
    for seed, (mass, area) in enumerate(itertools.product((0.4, 1.0, 1.5), (0.5, 1.0, 1.5))):
        tripped, chamber_c = sound_run(oven, model, seed, oven.usual_load, holding(oven, model, area, mass / area))
        assert not tripped and chamber_c > model.ambient_c + 30.0, f"{mass:.2f} times the mass, {area:.2f} the surface"


def test_a_load_heavier_than_the_file_says_is_found():
    """Lying by omission costs the run, not the oven: on the muffle it looks like a sensor that reads low."""
    oven, model = described("bench-muffle")
    assert oven.usual_load is not None
    heavy = holding(oven, model, 3.0, 1.0)
    for within, ends in ((WITHIN, True), (None, True), (2.0, False)):
        load = dataclasses.replace(oven.usual_load, known_within=within)
        assert sound_run(oven, model, 0, load, heavy)[0] == ends, f"known within {within}"


def test_a_wet_load_is_not_known_by_weighing_it():
    """How soon its water takes heat no scale tells: wet springs, weighed within 5 %, ended with energy-says-hotter."""
    oven, _ = described("bench-muffle")
    assert oven.usual_load is not None
    load = dataclasses.replace(oven.usual_load, known_within=0.05)
    assert load_range(oven, load).most == 1.05 and load_range(oven, load).declared
    wet = load_range(oven, dataclasses.replace(load, moisture_kg=0.07))
    assert wet.most == 3.0 and not wet.declared
