"""A heavy load of steel through 735 °C, where its heat capacity is eight times as large (EN 1993-1-2): day zero, no
trip, and the part in its band. The virtual oven's steel has the peak; the model's contents have one mean value."""

import dataclasses

import numpy as np
import pytest

from kilnctl import rehearse
from kilnctl.settings.construction import Load
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import schedule_of
from kilnctl.thermal.material_data import find

BOX = """oven: hardening box
chamber: {width: 240 mm, depth: 420 mm, height: 220 mm, opening: front}
walls:
  sides:
    - {material: insulating firebrick 26, thickness: 76 mm}
    - {material: calcium silicate board, thickness: 50 mm}
    - {material: steel, thickness: 1 mm}
elements: {power: 6 kW, alloy: iron-chromium-aluminium}
supply: {voltage: 400 V, frequency: 50 Hz}
sensors:
  control: {type: K, lag: 12 s, dead time: 2 s, noise: 0.2 K}
limits: {highest: 950 °C, trip: 980 °C, longest: 24 h}
"""
THICK_M = 0.03


def steel(mass_kg):
    """Flat pieces 30 mm thick."""
    area_m2 = 2.0 * mass_kg / (find("steel").density_kg_m3 * THICK_M)
    return Load(name="forgings", mass_kg=mass_kg, material="steel", area_m2=area_m2, thickness_m=THICK_M)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "mass_kg", "to_c"), [("kiln", 10.0, 850), ("box", 30.0, 900)])
def test_steel_through_its_peak(oven, name, mass_kg, to_c):
    described = oven("brick-kiln") if name == "kiln" else oven_from(BOX, "box")
    described = dataclasses.replace(described, usual_load=steel(mass_kg))
    plan = schedule_of(
        f"schedule: harden\nsteps:\n  - {{to: {to_c} °C, hold: 40 min, within: 5 K}}\n  - {{to: 650 °C, at: 60 K/h}}\n"
        "too fast: stretch\n",
        "harden.yaml",
    )
    run = rehearse(described, plan)
    assert run.outcome == "finished" and run.trips == ()
    # The chamber itself: a reading's noise and its steps of 1/64 K do not count.
    assert run.data["true_chamber_c"].max() - to_c < 2.0
    part, middle, sd = (run.data[c] for c in ("true_part_c", "part_estimate_c", "part_sd_k"))
    assert np.nanmax(part) > to_c - 6.0
    # The band is written with two decimals.
    assert np.mean(np.abs(part - middle) > 2.0 * sd + 0.1) < 0.01
