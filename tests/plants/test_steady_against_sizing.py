"""The virtual oven left alone ends where the sizing says: two solvers of one description, one marching, one
balancing."""

import pickle

import numpy as np
import pytest

from kilnctl.body.steady import SteadyOven
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.sizing import size
from tests.plants.plant_cases import OVENS, oven, readings_of

POINTS = [
    ("curing-cabinet", 60.0),
    ("curing-cabinet", 260.0),
    ("brick-kiln", 300.0),
    ("brick-kiln", 1100.0),
    ("bench-muffle", 300.0),
    ("bench-muffle", 1000.0),
]


@pytest.mark.parametrize("name, chamber_c", POINTS)
def test_settled_oven_against_sizing(name, chamber_c):
    """Within 0.5 K at the same power; shells within 0.5 K, the ledger's lines within 1 %."""
    expected = size(oven(name)).at(chamber_c)
    plant = VirtualOven(oven(name), conditions=Conditions(supply_drift=0.0))
    assert plant.settle(expected.power_w) == pytest.approx(chamber_c, abs=0.5)
    assert plant.radiant_c == pytest.approx(expected.radiant_c, abs=0.5)
    for face, shell_c in plant.shell_c.items():
        assert shell_c == pytest.approx(expected.shells_c[face], abs=0.5)
    # And by the losses of ten minutes at that power, booked by the running plant.
    groups = plant.layout.groups
    for _ in range(120):
        plant.core.step(5.0, np.full(groups, expected.power_w / groups))
    ledger, seconds = plant.ledger_j(), 600.0
    theirs = dict(expected.ledger_w)
    walls = sum(theirs.pop(face) for face in plant.shell_c) + theirs.pop("edges and corners")
    assert sum(ledger[f"{face} wall"] for face in plant.shell_c) / seconds == pytest.approx(walls, rel=0.01)
    assert ledger["leak"] / seconds == pytest.approx(theirs.get("door leak", 0.0), rel=0.02)
    assert ledger["vent"] / seconds == pytest.approx(theirs.get("vent", 0.0), rel=0.01)
    assert sum(ledger[n] for n in ledger if n not in ("elements", "fan")) == pytest.approx(
        ledger["elements"] + ledger["fan"], rel=1e-3
    )


@pytest.mark.parametrize("name", OVENS)
def test_settled_at_a_temperature_it_stays_there(name):
    o = oven(name)
    plant = VirtualOven(o, o.usual_load, conditions=Conditions(supply_drift=0.0))
    wanted = 0.8 * o.limits.highest_c
    power = SteadyOven(o, o.usual_load).at(wanted).power_w
    assert plant.settle(power) == plant.chamber_c == pytest.approx(wanted, abs=0.5)
    assert plant.part_c == pytest.approx(wanted, abs=25.0)
    assert plant.time_s == 0.0 and plant.energy_j == 0.0
    factor = plant.elements.factor(plant.element_c) / plant.elements.factor(o.limits.highest_c)
    reading = readings_of(plant, 300, power / o.elements.power_w * factor)[-1]
    assert plant.chamber_c == pytest.approx(wanted, abs=1.0)
    assert reading.chamber_c == pytest.approx(wanted, abs=2.0)


def test_settled_oven_is_saved_like_any_other():
    plant = VirtualOven(oven("bench-muffle"))
    plant.settle(900.0)
    twin = pickle.loads(pickle.dumps(plant))
    assert [repr(plant.advance(1.0, 0.4, True)) for _ in range(50)] == [
        repr(twin.advance(1.0, 0.4, True)) for _ in range(50)
    ]


@pytest.mark.slow
def test_runaway_ends_with_a_burnt_element_and_not_with_an_exception():
    """Relay shorted and contactor welded, with no person there: wire melts at some 1500 °C, and the oven cools."""
    plant = VirtualOven(
        oven("bench-muffle"),
        conditions=Conditions(supply_share=1.25),
        faults=[PlantFault("relay shorted"), PlantFault("contactor welded")],
    )
    highest = 0.0
    for _ in range(4 * 3600):
        plant.advance(2.0, 0.0, False)
        highest = max(highest, plant.chamber_c)
    assert plant.electrics.burnt == [True] and plant.power_w == 0.0
    assert 1200.0 < highest < 1500.0 and plant.chamber_c < 500.0
