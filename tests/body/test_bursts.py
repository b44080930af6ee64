"""Bursts of heat are no longer than the elements can take: a pattern's name gives their largest length."""

import dataclasses
from pathlib import Path

import pytest

from kilnctl import load_oven
from kilnctl.body.bursts import ELEMENTS_SWING_K, bursts_note, elements_k_per_s, pattern_for
from kilnctl.firing import flicker
from kilnctl.settings.document import SettingsError

OVEN = "configs/ovens/brick-kiln.yaml"


def switched(pattern, minimum_on_s=None, mass_kg=None):
    oven = load_oven(OVEN)
    elements = oven.elements if mass_kg is None else dataclasses.replace(oven.elements, mass_kg=mass_kg)
    return dataclasses.replace(
        oven,
        elements=elements,
        switching=dataclasses.replace(oven.switching, pattern=pattern, minimum_on_s=minimum_on_s),
    )


@pytest.mark.parametrize("pattern", ["balanced", "quiet lights"])
def test_a_named_pattern_moves_light_elements_by_so_much_at_most(pattern):
    oven = switched(pattern)
    made = pattern_for(oven)
    run_s = made.shortest_run / made.frequency_hz
    # A run is a whole number of cycles.
    assert run_s * elements_k_per_s(oven) <= ELEMENTS_SWING_K + 0.5 * elements_k_per_s(oven) / made.frequency_hz
    assert pattern in bursts_note(oven)


def test_heavy_elements_get_the_runs_that_the_name_says():
    oven = switched("quiet lights", mass_kg=500.0)
    assert pattern_for(oven).shortest_run == 30 * 50 and bursts_note(oven) is None


def test_a_time_given_in_seconds_is_kept_and_spoken_of():
    oven = switched("balanced", minimum_on_s=5.0)
    assert pattern_for(oven).shortest_run == 250 and "minimum on" in (bursts_note(oven) or "")
    assert bursts_note(switched("fine")) is None and pattern_for(switched("fine")).shortest_run == 1


def test_flicker_of_a_supply_of_24_v_is_not_judged():
    oven = load_oven(OVEN)
    assert flicker.supply_of(dataclasses.replace(oven, supply=dataclasses.replace(oven.supply, voltage_v=24.0))) is None
    line = flicker.supply_of(oven)
    assert line is not None and line.volts == 230.0


def test_a_tick_beyond_the_lease_is_refused_by_the_reader(tmp_path):
    text = Path(OVEN).read_text(encoding="utf-8")
    path = tmp_path / "oven.yaml"
    path.write_text(text + "\ncontrol: {tick: 3 s}\n", encoding="utf-8")
    with pytest.raises(SettingsError, match="tick"):
        load_oven(path)
