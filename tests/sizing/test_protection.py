"""What `size` and `check` say of the limiter's setting, of the circulation fan, and of lamps on the line."""

import dataclasses
import json
import re

import pytest

from kilnctl import load_oven, size
from kilnctl.body.bursts import pattern_for
from kilnctl.firing import flicker
from kilnctl.settings.construction import Fan
from kilnctl.sizing.protection import fan_finding, flicker_finding, limiter_finding, quieter
from kilnctl.terms import Finding, Mark

OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")


def limited(oven, limiter_c, **elements):
    limits = dataclasses.replace(oven.limits, limiter_c=limiter_c)
    return size(dataclasses.replace(oven, limits=limits, elements=dataclasses.replace(oven.elements, **elements)))


def judged(verdict, oven) -> Finding:
    """That verdict, which is there."""
    found = verdict(oven)
    assert found is not None
    return found


def worst_of(oven) -> float:
    """Pst at the worst duty."""
    supply = flicker.supply_of(oven)
    assert supply is not None
    return flicker.worst(pattern_for(oven), oven.elements.rated_w, supply)[1]


# ---- limiter ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", OVENS)
def test_the_examples_limiter_is_fine_with_its_reason(oven, name):
    found = limiter_finding(size(oven(name)))
    assert found.mark is Mark.FINE
    assert "the lining bears" in found.words and "they bear" in found.words


def test_a_limiter_above_what_the_lining_bears_is_wrong_where_the_power_gets_there(oven):
    """Around the lining's own limit: above it wrong, just below it tight (a limiter may open late), well below fine."""
    kiln = oven("brick-kiln")
    strong = dict(power_w=2.0 * kiln.elements.power_w, surface_m2=1.0, limit_c=1390.0)
    bears_c = limited(kiln, 1150.0, **strong).lining_limit_c
    for above_k, mark in ((5.0, Mark.WRONG), (-5.0, Mark.TIGHT), (-60.0, Mark.FINE)):
        found = limiter_finding(limited(kiln, bears_c + above_k, **strong))
        assert found.mark is mark, found
    assert re.search(r"the lining \(\w+: [^)]+\) bears", limiter_finding(limited(kiln, bears_c + 5.0, **strong)).words)


def test_a_lining_that_full_power_cannot_hurt_is_fine(oven):
    weak = limited(oven("brick-kiln"), 1300.0, power_w=900.0)
    assert weak.max_chamber_range_c.high < weak.lining_limit_c < 1300.0
    assert "full power reaches no more than" in limiter_finding(weak).words


def test_elements_that_bear_less_than_the_limiter_or_melt_before_it_opens(oven):
    kiln = oven("brick-kiln")
    found = limiter_finding(limited(kiln, 1150.0, limit_c=1140.0))
    assert found.mark is Mark.WRONG and "the elements bear 1140 °C only" in found.words
    found = limiter_finding(limited(kiln, 1150.0, surface_m2=0.05, wire_diameter_m=None, wire_length_m=None))
    assert found.mark is Mark.TIGHT and "saves the lining, not them" in found.words
    found = limiter_finding(limited(kiln, 1150.0, surface_m2=0.01, wire_diameter_m=None, wire_length_m=None))
    assert found.mark is Mark.WRONG and "they melt at" in found.words


def test_a_guessed_surface_condemns_nothing(oven):
    kiln = oven("brick-kiln")
    bare = dict(surface_m2=None, wire_diameter_m=None, wire_length_m=None, mass_kg=None, power_w=20000.0)
    found = limiter_finding(limited(kiln, 1150.0, **bare))
    assert found.mark is not Mark.WRONG and "(their surface is guessed)" in found.words


def test_no_limiter_is_asked_for(oven):
    assert limiter_finding(limited(oven("brick-kiln"), None)).mark is Mark.ASKED


def test_a_wrong_limiter_stands_first_in_size_and_check(here, tmp_path):
    made = tmp_path / "oven.yaml"
    here("new", "--defaults", made)
    text = made.read_text(encoding="utf-8")
    made.write_text(text.replace("limit: 700 °C", "limit: 270 °C"), encoding="utf-8")
    for command in ("size", "check"):
        lines = here(command, made).stdout.splitlines()
        assert lines[0] == "DANGER, before anything else:" and lines[1].startswith("  WRONG         limiter: "), command
    found = json.loads(here("size", made, "--json").stdout)["protection"]
    assert [f["about"] for f in found if f["mark"] == "wrong"] == ["limiter"]


# ---- circulation fan -------------------------------------------------------------------------------------------------


def test_a_fan_that_nothing_watches_is_asked_for(oven):
    cabinet = oven("curing-cabinet")
    assert judged(fan_finding, cabinet).mark is Mark.FINE and "airflow switch" in judged(fan_finding, cabinet).words
    alone = dataclasses.replace(cabinet, fan=Fan(air_speed_m_per_s=1.5))
    found = judged(fan_finding, alone)
    assert found.mark is Mark.ASKED and "sheathed elements lose their air" in found.words
    assert fan_finding(dataclasses.replace(cabinet, fan=None)) is None
    open_wire = dataclasses.replace(oven("brick-kiln"), fan=Fan(air_speed_m_per_s=1.5))
    assert "sheathed" not in judged(fan_finding, open_wire).words


# ---- flicker ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", OVENS)
def test_the_examples_keep_their_own_flicker_limit(oven, name):
    o = oven(name)
    found = judged(flicker_finding, o)
    assert found.mark is Mark.FINE, found
    assert worst_of(o) <= flicker.PLT_LIMIT


def test_a_new_oven_is_told_what_supply_it_needs_and_that_is_enough(here, tmp_path):
    """The impedance that is named, written down, makes the same oven fine."""
    made = tmp_path / "oven.yaml"
    here("new", "--defaults", made)
    said = judged(flicker_finding, load_oven(made))
    assert said.mark is Mark.TIGHT and "the reference impedance of IEC 60725" in said.words
    assert "IEC 61000-3-11" in said.words and "Never half waves" in said.words
    ohm, reactance = re.findall(r"([\d.]+) \+ j([\d.]+) ohm or less", said.words)[0]
    text = made.read_text(encoding="utf-8")
    text = text.replace("# resistance: 0.06 ohm", f"resistance: {ohm} ohm")
    text = text.replace("# reactance: 0.04 ohm", f"reactance: {reactance} ohm")
    made.write_text(text, encoding="utf-8")
    oven = load_oven(made)
    assert oven.supply.resistance_ohm == float(ohm) and judged(flicker_finding, oven).mark is Mark.FINE
    for command in ("size", "check"):
        assert "flicker" in here(command, made).stdout, command


def test_what_the_sum_assumes_for_120_and_240_volts(oven):
    muffle = oven("bench-muffle")
    public = dataclasses.replace(muffle.supply, resistance_ohm=0.4, reactance_ohm=0.25)
    said = judged(flicker_finding, dataclasses.replace(muffle, supply=public)).words
    assert "60 Hz is taken with lamps of 120 V" in said and "a 120/240 V service has another" in said
    kiln = dataclasses.replace(
        oven("brick-kiln"),
        supply=dataclasses.replace(oven("brick-kiln").supply, resistance_ohm=0.4, reactance_ohm=0.25),
    )
    assert "service" not in judged(flicker_finding, kiln).words and "120 V" not in judged(flicker_finding, kiln).words
    big = dataclasses.replace(kiln, elements=dataclasses.replace(kiln.elements, power_w=5000.0))
    assert judged(flicker_finding, big).rule.startswith("IEC 61000-3-11")
    assert judged(flicker_finding, kiln).rule.startswith("IEC 61000-3-3,")


def test_a_separate_low_voltage_is_not_judged(oven):
    kiln = oven("brick-kiln")
    low = dataclasses.replace(kiln, supply=dataclasses.replace(kiln.supply, voltage_v=24.0))
    assert flicker_finding(low) is None and quieter(low) is None


def test_the_quiet_pattern_is_offered_only_where_it_is_quieter(oven):
    cabinet, muffle = oven("curing-cabinet"), oven("bench-muffle")
    quiet = quieter(cabinet)
    assert quiet is not None
    assert quiet < 0.9 * worst_of(cabinet)
    assert quieter(muffle) is None
