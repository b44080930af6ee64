"""A schedule that takes more time or energy than a run may, or a load beyond what it bears: check says so beside what
it says of both."""

from dataclasses import replace

import pytest

from kilnctl.control.feasibility import least_energy_j
from kilnctl.run.prepare import prepare
from tests.plants.plant_cases import ROOT

OVEN = ROOT / "configs" / "ovens" / "bench-muffle.yaml"  # 24 h at most


@pytest.mark.parametrize(("in_h", "told"), [(20, False), (30, True)])
def test_ramps_and_soaks_that_outlast_the_longest_run(here, tmp_path, in_h, told):
    file = tmp_path / "slow.yaml"
    file.write_text(f"schedule: slow\nsteps:\n  - {{to: 500 °C, in: {in_h} h, hold: 1 h}}\n", encoding="utf-8")
    said = here("check", str(OVEN), str(file)).stdout
    assert f"ramps and soaks take {in_h + 1} h" in said and "24 h after the start" in said
    assert ("the heat is cut before its end (limits: longest" in said) is told
    # It once said "can do it" above the note that it cannot.
    assert ("can do it" in said) is not told and ("can follow it, but not to its end" in said) is told


@pytest.mark.parametrize(("most", "words"), [("1 kWh", "too much energy"), ("200 kWh", "can do it")])
def test_soaks_that_take_more_energy_than_a_run_may(here, tmp_path, most, words):
    file = tmp_path / "hungry.yaml"
    file.write_text(f"schedule: hungry\nmost energy: {most}\nsteps:\n  - {{to: 800 °C, hold: 4 h}}\n", encoding="utf-8")
    said = here("check", str(OVEN), str(file)).stdout
    assert f"bench muffle {words}" in said.lower() or f"to its end: it takes {words}" in said
    assert ("and the heat is cut after 1 kWh" in said) is (most == "1 kWh")


def test_the_least_energy_is_of_soaks_and_contents(oven, schedule):
    ready = prepare(oven("bench-muffle"), schedule("anneal"))
    model, soaks = ready.programme.model, [leg for leg in ready.programme.legs if leg.kind == "hold"]
    held_j = sum(leg.hold_s * model.holding_w(leg.target_c) for leg in soaks)
    warmed_j = model.contents_j_per_k * (max(leg.target_c for leg in soaks) - ready.programme.ambient_c)
    assert held_j > 0.0 and warmed_j > 0.0
    assert least_energy_j(ready.programme) == pytest.approx(held_j + warmed_j)
    assert least_energy_j(replace(ready.programme, legs=ready.programme.legs[:0])) == 0.0


@pytest.mark.parametrize(("material", "told"), [("wood", True), ("steel", False)])
def test_a_load_that_does_not_bear_the_schedule(here, tmp_path, material, told):
    file = tmp_path / "hot.yaml"
    load = f"{{name: boards, mass: 2 kg, material: {material}, area: 0.5 m²}}"
    file.write_text(f"schedule: hot\nload: {load}\nsteps:\n  - {{to: 200 °C, hold: 30 min}}\n", encoding="utf-8")
    said = here("check", "configs/ovens/curing-cabinet.yaml", str(file)).stdout
    assert ("boards: wood is known to bear 130 °C" in said and "it may burn" in said) is told
