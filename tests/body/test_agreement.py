"""Sizing, virtual oven and day-zero model solve one body: over ovens drawn at random they say the same.

Seeds that once failed stay in the lists: 21 (a bare steel door next to thick wool), 24 and 19 (a vent near the highest
temperature), 27 (fibre that conducts eight times as well hot), 45 and 54 (a strong fan and a heavy shelf), 62, 104 and
149.
"""

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER
from kilnctl.model.uncertainty import uncertainty_of
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.sizing.sizing import Sizing
from tests.body.made_ovens import made

SEEDS = (1, 5, 8, 12, 14, 15, 19, 21, 24, 27, 45, 54, 62, 67, 104, 149)
HEATED = (1, 5, 7, 9, 12, 15, 19, 21, 25, 27, 63, 99)


def reach(sizing: Sizing) -> float:
    return min(sizing.top_c, sizing.max_chamber_c)


def fan_w(oven) -> float:
    return oven.fan.power_w if oven.fan else 0.0


@pytest.mark.parametrize("seed", SEEDS)
def test_ledger_sums_to_power_and_fan(tmp_path, seed):
    sizing = Sizing(made(seed, tmp_path))
    room, top = sizing.oven.site.ambient_c, reach(sizing)
    for share in (0.05, 0.4, 0.7, 1.0):
        state = sizing.at(room + share * (top - room))
        assert sum(state.ledger_w.values()) == pytest.approx(state.power_w + state.fan_w, rel=1e-4)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [s for s in SEEDS if s != 149])
def test_settled_virtual_oven_is_where_sizing_says(tmp_path, seed):
    """At sizing's power the virtual oven ends where 1 % of power and fan make the difference at most."""
    sizing = Sizing(made(seed, tmp_path))
    oven, room = sizing.oven, sizing.oven.site.ambient_c
    wanted = room + 0.7 * (reach(sizing) - room)
    power = sizing.power_w(wanted)
    settled = VirtualOven(oven, conditions=Conditions(supply_drift=0.0)).settle(power)
    slope = (sizing.power_w(wanted + 1.0) - power) / 1.0
    assert abs(settled - wanted) * slope < 0.01 * (power + fan_w(oven))


@pytest.mark.slow
@pytest.mark.parametrize("seed", [s for s in SEEDS if s != 149])
def test_day_zero_holds_with_the_power_that_sizing_says(tmp_path, seed):
    sizing = Sizing(made(seed, tmp_path))
    oven, room, model = sizing.oven, sizing.oven.site.ambient_c, day_zero(sizing.oven)
    for share in (0.4, 0.7, 0.95):
        t = room + share * (reach(sizing) - room)
        state, rated = model.steady(t)
        watts = rated / (1.0 + model.resistance_rise_per_k * (state[0] - model.rated_c))
        expected = sizing.at(t).power_w + fan_w(oven)
        # 1 W besides: a small cabinet near the room takes next to nothing.
        tolerance = 0.05 if reach(sizing) > 0.9 * sizing.top_c else 0.08
        assert watts + fan_w(oven) == pytest.approx(expected, rel=tolerance, abs=1.0)


@pytest.mark.slow
@pytest.mark.parametrize("seed", HEATED)
def test_day_zero_heats_up_as_fast_as_the_virtual_oven(tmp_path, seed):
    sizing = Sizing(made(seed, tmp_path))
    room = sizing.oven.site.ambient_c
    goal = room + 0.9 * (reach(sizing) - room)
    model = day_zero(sizing.oven, None, goal)  # a run makes the model for its own highest temperature
    x, before, seconds = model.rest(room), model.rest(room), 0.0
    while x[CHAMBER] < goal and seconds < 172800.0:
        before, x, seconds = x, model.step(x, model.power_w, 5.0, room), seconds + 5.0
    seconds -= 5.0 * (x[CHAMBER] - goal) / (x[CHAMBER] - before[CHAMBER])
    # Within a tenth, or within what the model states of its own low order (one film for wall faces that take up heat at
    # different paces).
    stated = uncertainty_of(sizing.oven, None, goal).structure_time
    assert seconds == pytest.approx(sizing.heat_up_s(room, goal), rel=max(0.1, stated))
