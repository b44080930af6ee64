"""The load lags behind the chamber; its range holds what the virtual oven does."""

from dataclasses import replace

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.sizing.load_heating import load_heating
from tests.plants.plant_cases import oven


@pytest.mark.parametrize(("name", "to_c"), [("curing-cabinet", 255.0), ("bench-muffle", 980.0)])
def test_the_virtual_ovens_load_is_as_far_behind_as_the_range_says(name, to_c):
    o = oven(name)
    plant = VirtualOven(o, o.usual_load, conditions=Conditions(supply_drift=0.0))
    while plant.chamber_c < to_c:
        plant.advance(5.0, 1.0, True)
    assert o.usual_load is not None and plant.part_c is not None
    lag = load_heating(o, o.usual_load, to_c)
    assert lag is not None
    assert lag.behind_k.low < lag.behind_k.value < lag.behind_k.high
    assert 0.8 * lag.behind_k.low < to_c - plant.part_c < 1.2 * lag.behind_k.high


def test_a_thicker_load_comes_later_and_a_wet_one_is_not_promised():
    o = oven("curing-cabinet")
    assert o.usual_load is not None
    usual = load_heating(o, o.usual_load, 200.0)
    heavy = load_heating(o, replace(o.usual_load, mass_kg=12.0), 200.0)
    assert usual is not None and heavy is not None
    assert heavy.later_s.value > 1.5 * usual.later_s.value > 0.0 and heavy.later_s.high > heavy.later_s.value
    assert load_heating(o, replace(o.usual_load, moisture_kg=1.0), 200.0) is None


@pytest.mark.parametrize("mass_kg", [4.0, 12.0])
def test_a_heavy_load_is_as_far_behind_as_the_range_says(mass_kg):
    """Three times the mass: 70 K behind in the virtual oven, and the lump of shelf and load said 36 to 59 K."""
    o = oven("curing-cabinet")
    assert o.usual_load is not None
    load = replace(o.usual_load, mass_kg=mass_kg)
    plant = VirtualOven(o, load, conditions=Conditions(supply_drift=0.0))
    while plant.chamber_c < 200.0:
        plant.advance(5.0, 1.0, True)
    lag = load_heating(o, load, 200.0)
    assert lag is not None and plant.part_c is not None
    assert lag.behind_k.low < 200.0 - plant.part_c < lag.behind_k.high


def test_the_load_s_coupling_does_not_hang_on_the_temperature_near_the_top():
    """Near its highest the cabinet's load is nearly as warm as its chamber: that moment decided the coupling, which
    fell to a fifth between 200 and 255 °C."""
    o = oven("curing-cabinet")
    found = [day_zero(o, o.usual_load, to_c).contents_w_per_k for to_c in (200.0, 225.0, 240.0, 250.0, 255.0)]
    assert max(found) < 1.1 * min(found)
