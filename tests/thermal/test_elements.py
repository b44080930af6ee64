"""Elements and wiring against the laws of Ohm and Stefan, and against figures of standards."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.thermal import elements

FE_CR_AL = "iron-chromium-aluminium"
alloys = st.sampled_from(sorted(elements.ALLOYS))


def test_wire_against_makers_formula():
    """R = ρL/A: 1 mm Fe-Cr-Al wire has 1.846 ohm/m (ρ = 1.45 µohm·m, from memory), 4 % more at 1000 °C."""
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 1.0) == pytest.approx(1.846, abs=0.001)
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 1.0, 1000.0) == pytest.approx(1.846 * 1.04, abs=0.001)
    assert elements.wire_resistance_ohm("nickel-chromium", 2e-3, 3.0) == pytest.approx(1.09e-6 * 3.0 / (math.pi * 1e-6))
    # 3 kW on 230 V is 17.63 ohm: 9.55 m of that wire when cold.
    assert elements.wire_resistance_ohm(FE_CR_AL, 1e-3, 9.55) == pytest.approx(17.633, rel=1e-3)
    # 3 kW over 9.55 m of 1 mm: 10 W/cm², far too much.
    assert elements.surface_load_w_m2(3000.0, 1e-3, 9.55) == pytest.approx(99990.0, rel=1e-3)


@pytest.mark.parametrize(
    ("t", "factor"), [(20, 1.00), (400, 1.00), (600, 1.02), (800, 1.03), (900, 1.035), (1000, 1.04), (1200, 1.04)]
)
def test_temperature_factor_against_makers_table(t, factor):
    """Ct of Fe-Cr-Al (from memory), and between its points."""
    assert elements.resistance_factor(FE_CR_AL, float(t)) == pytest.approx(factor, abs=1e-9)


@pytest.mark.parametrize(("t", "low", "high"), [(900.0, 5.0, 6.0), (1100.0, 3.0, 4.0), (1300.0, 1.5, 2.0)])
def test_recommended_load_against_makers_figures(t, low, high):
    """Open Fe-Cr-Al coils: 5–6 W/cm² in a furnace of 900 °C, 3–4 at 1100, 1.5–2 at 1300 (from memory)."""
    assert low <= elements.recommended_load_w_m2(FE_CR_AL, t) / 1e4 <= high


@given(alloys, st.floats(-20.0, 1900.0), st.floats(1.0, 500.0))
def test_a_hotter_chamber_never_allows_more_load(alloy, t, more):
    assert elements.recommended_load_w_m2(alloy, t + more) <= elements.recommended_load_w_m2(alloy, t)


def test_beyond_its_table_the_load_falls_to_nothing():
    assert elements.recommended_load_w_m2("sheathed", 500.0) == pytest.approx(12000.0)
    assert elements.recommended_load_w_m2("sheathed", 600.0) == pytest.approx(5500.0)
    assert elements.recommended_load_w_m2("sheathed", 700.0) == 0.0


def test_step_of_the_supply_against_iec_60725_line():
    """3 kW at 230 V switched on the reference line, 0.4 + j0.25 ohm, dips it by 2.23 %."""
    w = elements.wiring(3000.0, 230.0)
    assert w.current_a == pytest.approx(13.043, abs=1e-3)
    assert 100.0 * w.step == pytest.approx(2.23, abs=0.005)
    assert elements.wiring(3000.0, 230.0, resistance_ohm=0.0, reactance_ohm=0.0).step == 0.0


def test_cable_and_heat_sink_by_hand():
    """10 m of 2.5 mm² there and back at 13.04 A: 2·1.9e-8·10/2.5e-6 = 0.152 ohm, 1.98 V, 0.86 %. Relay: 15.65 W, and 45
    K over that in a room of 20 °C, 25 K in a cabinet of 40 °C."""
    w = elements.wiring(3000.0, 230.0, cable_m2=2.5e-6, cable_m=10.0)
    assert w.voltage_drop == pytest.approx(0.00862, rel=1e-3)
    assert (w.relay_loss_w, w.sink_k_per_w) == (pytest.approx(15.652, rel=1e-3), pytest.approx(45.0 / 15.652, rel=1e-3))
    assert elements.wiring(3000.0, 230.0, ambient_c=40.0).sink_k_per_w == pytest.approx(25.0 / 15.652, rel=1e-3)
    with pytest.raises(ValueError, match="ambient_c"):
        elements.wiring(3000.0, 230.0, ambient_c=70.0)


@pytest.mark.parametrize(
    ("facts", "word"),
    [
        ({"breaker_a": 16.0}, "breaker"),
        ({"cable_m2": 1.0e-6}, "usually carries"),
        ({"cable_m2": 0.5e-6}, "too thin"),
        ({"cable_m2": 25.0e-6}, "beyond the table"),
        ({"cable_m2": 2.5e-6, "cable_m": 60.0}, "drops"),
        ({"relay_a": 25.0}, "relay carries"),
        ({"sink_k_per_w": 5.0}, "too small"),
        ({"resistance_ohm": 0.8}, "dips"),
        ({"sink_k_per_w": 2.5, "ambient_c": 45.0}, "too small"),
    ],
)
def test_each_hint_is_given_when_it_is_due_and_only_then(facts, word):
    notes = elements.wiring(3000.0, 230.0, **facts).notes
    assert len(notes) == 1 and word in notes[0]


def test_hints_print_the_figures_they_speak_of():
    [thin] = elements.wiring(3000.0, 230.0, cable_m2=0.5e-6).notes
    assert "a 0.50 mm² cable" in thin and "1 mm² is the least" in thin
    [thick] = elements.wiring(3000.0, 230.0, cable_m2=25e-6).notes
    assert "a 25 mm² cable" in thick and "ends at 16 mm²" in thick
    [warm] = elements.wiring(3000.0, 230.0, cable_m2=1e-6).notes
    assert "13.0 A is more than a 1.0 mm² cable usually carries (11 A" in warm
    # 2·1.9e-8·60/2.5e-6 = 0.912 ohm, 11.9 V, 5.2 %.
    [drop] = elements.wiring(3000.0, 230.0, cable_m2=2.5e-6, cable_m=60.0).notes
    assert "drops 5.2 %" in drop
    # 17.63/|18.43 + j0.25| = 0.9565
    [dip] = elements.wiring(3000.0, 230.0, resistance_ohm=0.8).notes
    assert "dips the supply by 4.3 %" in dip


def test_a_sound_installation_gets_no_hint():
    w = elements.wiring(1000.0, 230.0, breaker_a=16.0, cable_m2=2.5e-6, cable_m=10.0, relay_a=40.0, sink_k_per_w=1.0)
    assert w.notes == ()


@pytest.mark.parametrize(
    "call",
    [
        lambda: elements.resistance_factor("unobtainium", 20.0),
        lambda: elements.wire_resistance_ohm("unobtainium", 1e-3, 1.0),
        lambda: elements.recommended_load_w_m2("unobtainium", 20.0),
    ],
)
def test_an_unknown_alloy_is_refused(call):
    with pytest.raises(ValueError, match="alloy = 'unobtainium'"):
        call()


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, 0.0, 1.0), "diameter_m"),
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, 1e-3, -1.0), "length_m"),
        (lambda: elements.wire_resistance_ohm(FE_CR_AL, math.nan, 1.0), "diameter_m"),
        (lambda: elements.surface_load_w_m2(1.0, 1e-3, 0.0), "length_m"),
        (lambda: elements.wiring(0.0, 230.0), "power_w"),
        (lambda: elements.wiring(10.0, 0.0), "voltage_v"),
        (lambda: elements.wiring(10.0, math.nan), "voltage_v"),
    ],
)
def test_senseless_figures_are_refused_by_name(call, name):
    with pytest.raises(ValueError, match=name):
        call()
