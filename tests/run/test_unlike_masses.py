"""Ovens whose elements or loads weigh other than their description says: nothing trips, and heat that is really missing
is still found."""

import dataclasses

import pytest

from kilnctl import load_oven, rehearse
from kilnctl.plants.conditions import Variation
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.schedule import schedule_of
from tests.generated.ovens import numbered

#: Runs are cut here, s: long after the trips that these ovens had.
CUT_S = 420.0


def up_to(oven, share=0.9, hold="1 min"):
    top_c = oven.site.ambient_c + share * (oven.limits.highest_c - oven.site.ambient_c)
    return schedule_of(f"schedule: up\nsteps:\n  - {{to: {top_c:.0f} °C, hold: {hold}, within: 10 K}}\n", "up.yaml")


@pytest.mark.parametrize(("name", "was_s"), [("bench-muffle", 239), ("drawn 2", 146), ("drawn 5", 107)])
def test_elements_six_times_as_heavy_are_no_missing_heat(oven, tmp_path, name, was_s):
    """They keep their heat for minutes; the file gives the wire at best. `was_s`: when `missing-heat` came."""
    if name.startswith("drawn"):
        (tmp_path / "oven.yaml").write_text(numbered(20, int(name.split()[1])), encoding="utf-8")
        described = load_oven(tmp_path / "oven.yaml")
    else:
        described = oven(name)
    described = dataclasses.replace(described, limits=dataclasses.replace(described.limits, longest_s=CUT_S))
    plan = dataclasses.replace(up_to(described), flammable_vapour=False, longest_s=CUT_S)
    plant = VirtualOven(described, load=described.usual_load, seed=0, variation=Variation(element_mass=6.0))
    run = rehearse(described, plan, plant)
    assert was_s < CUT_S - 60.0 and {t.fault for t in run.trips} <= {"run-time"}
    assert run.time_s[-1] >= CUT_S or run.outcome == "finished"
