"""Sound ovens of another structure than their file says are left alone, and what an invented one is."""

import dataclasses
from pathlib import Path

import pytest

from kilnctl import load_oven, load_schedule
from kilnctl.plants.outside import load_plant
from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import simulate
from tests.tool_modules import tool_module

HERE = Path(__file__).parent / "two_zones"


@pytest.mark.slow
@pytest.mark.parametrize("name, tick_s", [("heavy_zones", 1.0), ("light_zones", 2.0), ("without_hearth", 2.0)])
def test_no_rule_ends_a_sound_run_of_two_zones(name, tick_s):
    oven, plan = load_oven(HERE / "oven.yaml"), load_schedule(HERE / "soak.yaml")
    oven = dataclasses.replace(oven, control=dataclasses.replace(oven.control, tick_s=tick_s))
    run = simulate(prepare(oven, plan), load_plant(f"{HERE / 'two_zone_plants.py'}:{name}", oven))
    assert [str(t) for t in run.trips] == []


def test_an_invented_oven_conserves_heat_and_differs_by_seed_and_structure():
    """The room's share is known: what the links to it carried."""
    oven = load_oven(HERE / "oven.yaml")
    with tool_module("bench/invented") as bench:
        assert bench.told(load_oven(bench.oven_file("brick-kiln")), 1).shelf is None
        ends = {}
        for structure, seed in [*((s, 1) for s in bench.STRUCTURES), ("all", 2)]:
            plant = bench.Invented(oven, structure, seed)
            lost_j, shown_c = 0.0, 0.0
            for _ in range(300):
                lost_j += sum(w * (plant.t[one] - plant.room_c) for one, other, w, _ in plant.links if other == "room")
                shown_c = plant.advance(1.0, 0.5, True).chamber_c
            held_j = sum(c * (plant.t[name] - plant.room_c) for name, c in plant.nodes.items())
            assert held_j == pytest.approx(plant.energy_j - lost_j, rel=2e-3)
            assert plant.room_c < plant.chamber_c and abs(shown_c - plant.chamber_c) < 30.0
            ends[structure, seed] = plant.chamber_c
        assert len(set(ends.values())) == len(ends)
