"""The part's band, and what a thermocouple on it changes."""

import math
from dataclasses import replace

import numpy as np
import pytest

from kilnctl.control import part as parts
from kilnctl.control.decision import StepInput
from kilnctl.control.reference import Position
from kilnctl.model.part_body import PartBody, part_of
from kilnctl.reading import Reading
from kilnctl.run.prepare import prepare
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.thermal.constants import STEFAN_BOLTZMANN
from tests.tool_modules import tool_module

#: 3 mm of steel heated from both sides: 1.5 mm · 7850 kg/m³ · 500 J/(kg·K).
STEEL = PartBody(j_per_m2k=5890.0, inside_w=30000.0, film_w=10.0, radiant=0.0)


def after(body: PartBody, part: parts.Part, chamber_c: float, seconds: int, **more) -> parts.Part:
    for _ in range(seconds):
        part = parts.moved(body, part, chamber_c, 20.0, 0.0, 1.0, **more)
    return part


def test_thin_part_with_a_constant_film_is_the_exponential_of_its_time_constant():
    part = after(STEEL, parts.begin(STEEL, 20.0, 20.0), 200.0, 600)
    for slab in part.slabs:
        tau = STEEL.j_per_m2k * slab.mass / (STEEL.film_w * slab.film)
        assert slab.layers[0] == pytest.approx(200.0 - 180.0 * math.exp(-600.0 / tau), abs=0.6)


def test_surface_of_a_thick_part_is_the_half_space_of_the_handbook():
    # H. S. Carslaw and J. C. Jaeger, Conduction of Heat in Solids (1959), 2.7: with h√(αt)/k = x the surface has gone
    # 1 − exp(x²)·erfc(x) of the way. k = 1, ρc = 2e6, 0.1 m deep, 900 s: αt = 4.5e-4 m², x = 20·0.0212 = 0.424.
    body = PartBody(j_per_m2k=0.2e6, inside_w=1.0 / 0.1, film_w=20.0, radiant=0.0)
    slab = parts.Slab(1.0, 1.0, 0.0, (0.0,) * 4, 0.0)
    part = after(body, parts.Part(0.0, 0.0, (slab,)), 100.0, 900)
    x = 20.0 * math.sqrt(0.5e-6 * 900.0)
    assert part.slabs[0].layers[0] == pytest.approx(100.0 * (1.0 - math.exp(x * x) * math.erfc(x)), abs=4.0)


def test_radiation_alone_is_the_fourth_powers():
    body = PartBody(j_per_m2k=5890.0, inside_w=30000.0, film_w=1e-9, radiant=0.5)
    slab = parts.Slab(1.0, 1.0, 0.0, (20.0,) * 4, 0.0)
    ours = after(body, parts.Part(0.0, 0.0, (slab,)), 800.0, 300).slabs[0].layers[0]
    t = 293.15
    for _ in range(30000):
        t += 0.01 * 0.5 * STEFAN_BOLTZMANN * (1073.15**4 - t**4) / 5890.0
    assert ours == pytest.approx(t - 273.15, rel=0.02)


def test_water_keeps_the_slowest_part_at_the_boiling_point_until_it_is_gone():
    wet = replace(STEEL, latent_j=1e6)
    dry, damp = (after(b, parts.begin(b, 20.0, 20.0), 300.0, 1200) for b in (STEEL, wet))
    assert dry.low_c > 110.0 and damp.low_c < 101.0 and damp.high_c < dry.high_c + 1e-9
    assert after(wet, damp, 300.0, 6 * 3600).low_c > 250.0


def test_a_part_put_into_a_warm_oven_may_be_cold_and_the_band_says_so():
    part = parts.begin(STEEL, 180.0, 20.0)
    assert part.low_c < 20.0 and part.high_c > 180.0
    late = after(STEEL, part, 180.0, 6 * 3600)
    assert late.low_c > 170.0 and len(late.slabs) < len(part.slabs)


def test_its_thermocouple_is_the_part_and_the_estimate_goes_on_from_it():
    part = after(STEEL, parts.begin(STEEL, 20.0, 20.0), 200.0, 600, reads_c=120.0, lag_s=5.0)
    assert part.measured and part.middle_c == pytest.approx(120.0) and part.slowest_c == pytest.approx(120.0)
    # Class 2 of IEC 60584-1 (from memory): 2.5 K below 333 °C.
    assert part.high_c - part.middle_c == pytest.approx(2.5)
    lost = after(STEEL, part, 200.0, 5, reads_c=math.nan)
    assert not lost.measured and lost.low_c > 115.0


def test_the_lag_of_its_thermocouple_is_taken_out():
    part = parts.begin(STEEL, 20.0, 20.0)
    for second in range(300):
        part = parts.moved(STEEL, part, 200.0, 20.0, 0.0, 1.0, reads_c=20.0 + 0.2 * (second - 10.0), lag_s=10.0)
    assert part.middle_c == pytest.approx(20.0 + 0.2 * 299.0, abs=0.1)


def test_a_load_that_was_weighed_has_a_narrower_band_that_still_holds_it(oven):
    cabinet = oven("curing-cabinet")
    usual = cabinet.usual_load
    assert usual is not None
    said, weighed = (part_of(cabinet, load, 200.0) for load in (usual, replace(usual, known_within=0.2)))
    assert said is not None and weighed is not None
    wide, narrow = (after(b, parts.begin(b, 20.0, 20.0), 200.0, 1200) for b in (said, weighed))
    assert narrow.high_c - narrow.low_c < 0.5 * (wide.high_c - wide.low_c)
    assert narrow.slowest_c > wide.slowest_c + 5.0
    for mass in (0.83, 1.0, 1.2):
        true = parts.Part(0.0, 0.0, (parts.Slab(mass, 1.0, 0.0, (20.0,) * 4, 0.0),))
        assert narrow.low_c < after(weighed, true, 200.0, 1200).slabs[0].layers[0] < narrow.high_c


def test_no_load_is_no_part(oven):
    assert part_of(oven("curing-cabinet"), None, 200.0) is None


def test_a_soak_of_the_part_counts_only_once_the_slowest_load_is_there(oven):
    cabinet = oven("curing-cabinet")
    cabinet = replace(cabinet, sensors=replace(cabinet.sensors, part=None))
    schedule = Schedule(name="part", follows="part", steps=(Step(to_c=100.0, hold_s=600.0, within_k=3.0),))
    run = prepare(cabinet, schedule)
    state = run.controller.start(run.programme, Reading(chamber_c=100.0))
    state = replace(state, position=Position(leg=1, reference_c=100.0))

    def counted(slowest_c: float) -> float:
        slabs = tuple(slab._replace(layers=(slowest_c,) * len(slab.layers)) for slab in state.part.slabs)
        here = replace(state, part=state.part._replace(slabs=slabs))
        given = StepInput(Reading(chamber_c=100.0), 1.0, 0.0)
        return run.controller.step(run.programme, here, given)[0].position.counted_s

    assert counted(90.0) == 0.0 and counted(99.0) == 1.0


@pytest.mark.parametrize(
    ("shows", "measured"),
    [
        (Reading(chamber_c=100.0, part_c=80.0), True),
        (Reading(chamber_c=100.0, part_c=80.0, faults=("part-open",)), False),
        (Reading(chamber_c=100.0, part_c=1e4), False),
        (Reading(chamber_c=100.0, part_c=math.nan), False),
        (Reading(chamber_c=100.0), False),
    ],
)
def test_a_faulty_thermocouple_on_the_part_measures_nothing(oven, shows: Reading, measured: bool):
    run = prepare(oven("curing-cabinet"), Schedule(name="soak", steps=(Step(to_c=100.0, hold_s=600.0),)))
    state = run.controller.start(run.programme, shows)
    state, decision = run.controller.step(run.programme, state, StepInput(shows, 1.0, 0.0))
    assert state.part.measured is measured and decision.part_c is not None and decision.part_sd_k is not None
    assert not measured or decision.part_c == pytest.approx(80.0)
    assert decision.part_c + 2.0 * decision.part_sd_k <= 110.0


@pytest.mark.slow
@pytest.mark.parametrize("load", ["third", "triple", "thick", "light"])
def test_true_part_lies_in_the_band(oven, load: str):
    with tool_module("bench/part") as bench:
        said = bench.without_part_sensor(oven("curing-cabinet"))
        rows, _ = bench.run_of(said, bench.true_load(said.usual_load, *bench.LOADS[load]), 150.0, 600.0)
        found = bench.figures(rows)
    assert found["in"] >= 95.0 and found["warm"] <= 8.0 and np.isfinite(found["mean"])


def test_in_a_fall_the_band_holds_a_light_part_at_the_coldest_place():
    """It leads the fall: once all light loads of the band stood at the warmest place."""
    body = replace(STEEL, colder_k_per_w=0.02, warmer_k_per_w=0.02)
    part, light = parts.begin(body, 800.0, 800.0), parts.Slab(0.5, 1.0, -0.01, (800.0,) * 4, 0.0)
    true = parts.Part(0.0, 0.0, (light,))
    for second in range(1800):
        chamber_c = 800.0 - 0.05 * second
        part, true = (parts.moved(body, p, chamber_c, 20.0, 500.0, 1.0) for p in (part, true))
        assert part.low_c <= true.slabs[0].layers[0] <= part.high_c
