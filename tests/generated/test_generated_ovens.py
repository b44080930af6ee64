"""Ovens drawn at random, through everything that a newcomer's would go through. What is asked stands in
`judging`.

`tools/zoo` runs many more of the same. An oven that failed once is kept as a file in `kept/` when its number would be
lost (a change of the generator
gives every number another oven)."""

import math
import random
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kilnctl import SettingsError, load_oven, size
from kilnctl.plants.conditions import Conditions
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.units import parse
from tests.generated.judging import judge
from tests.generated.known import OPEN
from tests.generated.ovens import numbered, oven_text
from tests.generated.spelling import Chance, Spelling

#: So many of them are tried by the quick set; all of them by .ci/run.
SEED, OVENS, QUICK = 20261128, 40, 10
#: A short soak here, begun warm: so far below it, K, with half as many ticks, which is harder for the control.
#: tools/zoo and the slow tests come from the cold and hold it for 45 min.
SHORT: dict[str, Any] = dict(below_k=60.0, hold_s=1200.0, most_ticks=3000, tick_s=2.0)
#: Ovens whose bursts alone swing them from tick to tick: they keep their own tick.
OWN_TICK = (11, 18, "much-wire")
#: Kept ovens that failed on their way up.
FROM_COLD = ("quick-heat-up", "quick-muffle", "drawn-199")
KEPT = sorted(Path(__file__).parent.joinpath("kept").glob("*.yaml"))


#: Eight minutes of full power to the soak, looked at five times a second.
SLOW = """oven: Slow
chamber: {width: 30 cm, depth: 30 cm, height: 30 cm}
walls: {sides: {layers: [{material: mineral wool 100, thickness: 100 mm}]}}
elements: {power: 500 W}
supply: {voltage: 230 V, frequency: 50 Hz}
limits: {highest: 300 °C}
control: {tick: 0.2 s}
"""


def failing(row) -> dict[str, str]:
    """What fails, but that a slow oven takes longer than there is time for here."""
    return {what: words for what, words in row.failures.items() if what != "soak too long"}


def short(key: int | str) -> dict[str, Any]:
    return {
        **SHORT,
        **({"below_k": math.inf} if key in FROM_COLD else {}),
        **({"tick_s": None} if key in OWN_TICK else {}),
    }


def expect(row, key) -> None:
    known, found = OPEN.get(key, {}), failing(row)
    assert {what: words for what, words in found.items() if what not in known} == {}
    assert sorted(known) == sorted(what for what in known if what in found), "no longer so: take it out of known.py"


@pytest.mark.parametrize("number", [pytest.param(k, marks=() if k < QUICK else pytest.mark.slow) for k in range(OVENS)])
def test_drawn_oven_through_check_size_agreement_and_a_soak(number, tmp_path):
    path = tmp_path / "oven.yaml"
    path.write_text(numbered(SEED, number), encoding="utf-8")
    expect(judge(path, number, size_text=number % 8 == 0, **short(number)), number)


@pytest.mark.slow
@pytest.mark.parametrize("number", range(20))
def test_drawn_oven_in_a_long_soak_from_the_cold(number, tmp_path):
    """The first of those that `tools/zoo --seed 1` shows."""
    path = tmp_path / "oven.yaml"
    path.write_text(numbered(1, number), encoding="utf-8")
    expect(judge(path, number), f"cold {number}")


@pytest.mark.slow
@pytest.mark.parametrize("path", KEPT, ids=lambda p: p.stem)
def test_oven_that_failed_once(path):
    expect(judge(path, size_text=False, **short(path.stem)), path.stem)


@pytest.mark.slow
@pytest.mark.parametrize("path", KEPT, ids=lambda p: p.stem)
def test_oven_that_failed_once_is_sized_in_words(path):
    row = judge(path, soak=False)
    assert row.crashes == {} and "size command" not in row.refused


def test_no_control_holds_what_the_fan_alone_passes():
    """The proof for the kept oven that cannot be held: without any heat it stays above the highest that it may have."""
    oven = load_oven(Path(__file__).parent / "kept" / "strong-fan.yaml")
    assert VirtualOven(oven, conditions=Conditions(supply_drift=0.0)).settle(0.0) > oven.limits.highest_c
    assert size(oven).power_w(oven.limits.highest_c) == 0.0


@pytest.mark.slow
def test_a_slow_oven_gets_longer_ticks_instead_of_no_verdict(tmp_path):
    path = tmp_path / "oven.yaml"
    path.write_text(SLOW, encoding="utf-8")
    as_written = judge(path, size_text=False, hold_s=600.0, most_ticks=1500)
    row = judge(path, size_text=False, hold_s=600.0, most_ticks=1500, longer_ticks=True)
    assert (as_written.outcome, as_written.ticked_s) == ("too long", None)
    assert row.outcome == "soaked" and row.ticked_s is not None and 0.2 < row.ticked_s <= 2.0


@pytest.mark.slow
@settings(max_examples=60)
@given(st.randoms(use_true_random=False))
@example(random.Random("1/2"))
def test_what_is_drawn_is_read_and_sized_or_refused_in_words(source):
    """No exception but our own, and the reader refuses nothing that the generator considers valid."""
    text = oven_text(source)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "oven.yaml"
        path.write_text(text, encoding="utf-8")
        oven = load_oven(path)
        try:
            sizing = size(oven)
        except SettingsError as error:
            assert all(p.line for p in error.problems), f"{error}\n{text}"
            return
        power = sizing.power_w(min(oven.limits.highest_c, sizing.max_chamber_c))
        assert power <= oven.elements.power_w * 1.001, text


def test_the_same_number_is_the_same_oven():
    assert numbered(7, 3) == numbered(7, 3) != numbered(7, 4)


def test_the_drawn_ovens_are_not_all_alike():
    """Every part of a description turns up among two hundred, in both systems of units, and some lack it."""
    texts = [numbered(SEED, n) for n in range(200)]
    for part in (
        "bridges:",
        "ports:",
        "fan:",
        "vent:",
        "shelf:",
        "usual load:",
        "part:",
        "limit:",
        "wire length:",
        "surface:",
        "opening: top",
        "moisture:",
        "resistance:",
        "conductivity polynomial:",
        "air gap",
        "°F",
        "BTU",
        "R-",
        "groups:",
        "calibration:",
        "24 V",
        "proved:",
        "contact resistance:",
    ):
        holding = sum(part in t for t in texts)
        assert 0 < holding < 200, part


def test_spelled_quantities_are_read_as_what_was_meant():
    """The generator's own arithmetic of units against the reader's."""
    for kind in ("metric", "imperial"):
        spell = Spelling(Chance(random.Random(kind)), kind)
        for _ in range(50):
            assert parse(spell.length(0.0517), "length") == pytest.approx(0.0517, rel=0.035)
            assert parse(spell.conductivity(0.123), "conductivity") == pytest.approx(0.123, rel=0.01)
            assert parse(spell.heat_capacity(950.0), "heat capacity") == pytest.approx(950.0, rel=0.01)
            assert parse(spell.flow(0.002), "volume flow") == pytest.approx(0.002, rel=0.01)
            assert parse(spell.temperature(815.0), "temperature") == pytest.approx(815.0, abs=1.0)
            assert parse(spell.insulance(2.3), "insulance") == pytest.approx(2.3, rel=0.01)
            assert parse(spell.mass(1.7), "mass") == pytest.approx(1.7, rel=0.01)
            assert parse(spell.area(0.12), "area") == pytest.approx(0.12, rel=0.01)
