"""Sound ovens of another structure than their file says, found by tools/bench/goals: no rule ends their heat-up."""

import dataclasses
from collections.abc import Callable
from functools import cache

import pytest
from invented_plants import STRUCTURES, Invented, told
from strange_plants import PLANTS

from kilnctl.commissioning import learning_run
from kilnctl.identification.fitting import fit
from kilnctl.identification.learning import lesson
from kilnctl.model.trained_file import TrainedModel, trained
from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import simulate
from kilnctl.safety.fault_table import by_id
from kilnctl.settings.oven import Oven, oven_from
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.terms import Outcome, Taught
from tests.generated.ovens import numbered


@pytest.mark.slow
@pytest.mark.parametrize(
    "number, structure, soak_c, seed",
    [
        (57, "two walls", 86.6, 1),  # 4.7 K in ten minutes of full power, by a heavy inner shell: heat-no-rise
        (121, "hearth", 772.0, 1),  # 5 K/s, and two sensors that are not equally late
        (187, "door", 864.0, 1),
        (7, "sensor near element", 144.0, 1),  # 1.6 times full power that only the sensor sees: unexplained-heat
        (72, "sensor near element", 120.2, 1),
        (92, "sensor near element", 168.0, 1),  # light elements beside the sensor: rise-too-fast
        (112, "sensor near element", 348.0, 1),  # 48 K more than the second sensor
        (133, "sensor near element", 86.1, 1),
        (156, "sensor near element", 352.0, 1),
        (200, "sensor near element", 84.0, 1),
        (31, "sensor near wall", 187.6, 1),  # 42 K less than the second sensor, in the air
        (20, "all", 937.4, 2),  # 51 K cooler than the coolest oven, by a heavy inner shell: energy-says-hotter
        (30, "sensor near element", 100.0, 2),  # a control that is far off, whose unexplained heat no reading shows
        (200, "sensor near element", 84.0, 2),
        (158, "wet load", 447.0, 1),  # bursts of 2 s move the reading by 13 K: sensor-noisy
        (186, "shells", 117.1, 1),  # 4.9 K in twenty minutes of full power: heat-no-rise
    ],
)
def test_a_sound_stranger_comes_to_its_soak(number, structure, soak_c, seed):
    oven = oven_from(numbered(500, number), f"500/{number}")
    oven = told(oven, seed) if structure in STRUCTURES else oven
    plant = PLANTS[structure](oven, soak_c, seed) if structure in PLANTS else Invented(oven, structure, seed)
    schedule = Schedule(name="soak", steps=(Step(to_c=soak_c, hold_s=600.0, within_k=10.0),))
    run = simulate(prepare(oven, schedule), plant, seed)
    assert not run.trips and run.outcome == Outcome.FINISHED


#: Ovens whose second sensor is far apart, in the air: number of the drawn oven, structure, soak in °C.
APART = [
    (7, "sensor near element", 144.0),
    (31, "sensor near wall", 187.6),
    (156, "sensor near element", 352.0),
]
SOAK_S = 600.0


class Drifting:
    """A plant whose control sensor drifts from `from_s` on, K/s."""

    def __init__(self, plant, from_s: float, k_per_s: float):
        self.plant, self.from_s, self.k_per_s, self.time_s = plant, from_s, k_per_s, 0.0

    def advance(self, dt_s, duty, contactor_closed):
        reading, self.time_s = self.plant.advance(dt_s, duty, contactor_closed), self.time_s + dt_s
        off_k = self.k_per_s * max(0.0, self.time_s - self.from_s)
        return dataclasses.replace(reading, chamber_c=reading.chamber_c + off_k)


def with_second(number: int) -> Oven:
    """A drawn oven; one without a second sensor gets one like the first."""
    oven = oven_from(numbered(500, number), f"500/{number}")
    if oven.sensors.limit is not None:
        return oven
    return dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, limit=oven.sensors.control))


def soaked(
    oven: Oven, structure: str, soak_c: float, seed: int, model=None, hold_s=SOAK_S, plant: Callable = lambda p: p
):
    schedule = Schedule(name="soak", steps=(Step(to_c=soak_c, hold_s=hold_s, within_k=1e3),))
    return simulate(prepare(oven, schedule, model), plant(PLANTS[structure](oven, soak_c, seed)), seed)


@cache
def learnt(number: int, structure: str, soak_c: float) -> TrainedModel:
    oven = with_second(number)
    record = learning_run.learn(oven, PLANTS[structure](oven, soak_c, 11), 11, load=oven.usual_load)
    return trained(fit(oven, record, validate=False))


@pytest.mark.slow
@pytest.mark.parametrize("number, structure, soak_c", APART)
def test_a_sound_stranger_is_left_alone_with_its_fit_too(number, structure, soak_c):
    """Each passed unfitted, and tripped sensors-disagree within four minutes once its learning run had taught it."""
    oven, model = with_second(number), learnt(number, structure, soak_c)
    assert model.guards and model.place is not None
    run = soaked(oven, structure, soak_c, 2, model)
    assert not run.trips and run.outcome == Outcome.FINISHED


@pytest.mark.slow
def test_what_a_place_explains_does_not_keep_an_ordinary_run_from_teaching():
    """More than a hundredth of its readings were apart by more than an oven without such a place may have: the lesson
    was refused, as if its two sensors disagreed."""
    number, structure, soak_c = APART[2]
    oven = with_second(number)
    found = lesson(oven, soaked(oven, structure, soak_c, 1), None)
    assert found.taught == Taught.LEARNT, found.words
    assert found.model is not None and found.model.place is not None


@pytest.mark.slow
@pytest.mark.parametrize("number, structure, soak_c", APART)
@pytest.mark.parametrize("k_per_h", [-20.0, 20.0])
def test_a_drift_ends_the_heat_of_a_fitted_stranger_within_the_time_of_the_table(number, structure, soak_c, k_per_h):
    oven, row, from_s = with_second(number), by_id("F14"), 1800.0
    assert row.detect_within_s is not None
    model = learnt(number, structure, soak_c)
    run = soaked(
        oven,
        structure,
        soak_c,
        2,
        model,
        hold_s=from_s + row.detect_within_s + 60.0,
        plant=lambda p: Drifting(p, from_s, k_per_h / 3600.0),
    )
    assert run.outcome == Outcome.TRIPPED and run.trips[0].time_s - from_s <= row.detect_within_s, run.trips


class Unheated:
    """A plant whose relay never conducts, and nobody measures what is fired."""

    def __init__(self, plant):
        self.plant = plant

    def advance(self, dt_s, duty, contactor_closed):
        return dataclasses.replace(self.plant.advance(dt_s, 0.0, contactor_closed), fired=None, current_a=None)


@pytest.mark.slow
def test_a_slow_stranger_rises_as_its_fit_says_and_does_not_rise_without_heat():
    """900/16, 157 W in two zones: 3.9 K in its first ten minutes of full power, as it had been learnt."""
    oven = told(oven_from(numbered(900, 16), "900/16"), 1)
    record = learning_run.learn(oven, Invented(oven, "two zones", 1), 11, load=oven.usual_load)
    model = trained(fit(oven, record, validate=False))
    schedule = Schedule(name="soak", steps=(Step(to_c=68.0, hold_s=SOAK_S, within_k=10.0),))
    for plant, ends in ((Invented(oven, "two zones", 1), []), (Unheated(Invented(oven, "two zones", 1)), [1200.0])):
        run = simulate(prepare(oven, schedule, model), plant, 4)
        assert [t.time_s for t in run.trips[:1]] == pytest.approx(ends, abs=60.0), run.trips
