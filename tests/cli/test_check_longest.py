"""A schedule that is longer than the longest run: check says so beside what it says of both."""

import pytest

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
