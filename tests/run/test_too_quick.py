"""Ovens that are too quick for their sensors: refused before any heat, or told."""

import dataclasses
from pathlib import Path
from typing import Any

import pytest

from kilnctl import SettingsError, load_oven
from kilnctl.model.day_zero import day_zero
from kilnctl.run.prepare import prepare
from kilnctl.run.too_quick import LOOKED_AT_S, ahead_of_reading, mistaken_k_per_s
from kilnctl.safety import Policy, policy_for
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import Schedule, Step
from tests.generated.ovens import numbered

#: 4.6 kW on 110 g of wire in 3 litres. On a plant of thick shells it tripped sensor-jump 21 s after the start.
TOO_QUICK = numbered(500, 101)
SOAK = Schedule(name="soak", steps=(Step(to_c=700.0, hold_s=600.0),))


@pytest.fixture(scope="module")
def quick_muffle():
    return load_oven(Path(__file__).parents[1] / "generated" / "kept" / "quick-muffle.yaml")


def test_an_oven_whose_sound_reading_would_trip_is_refused_where_its_power_stands(tmp_path):
    file = tmp_path / "oven.yaml"
    file.write_text(TOO_QUICK, encoding="utf-8")
    line = next(i for i, words in enumerate(TOO_QUICK.splitlines(), 1) if words.startswith("  power:"))
    with pytest.raises(SettingsError, match="Use less power, or describe heavier elements") as refused:
        prepare(load_oven(file), SOAK)
    assert str(refused.value).startswith(f"{file}:{line}:10: elements: full power moves the reading of this oven by 6")
    with pytest.raises(SettingsError, match=r"^Drawn oven:28:10: elements"):
        prepare(oven_from(TOO_QUICK, "500/101"), SOAK)


def test_check_refuses_it_with_a_schedule_and_without(here, tmp_path):
    file, schedule = tmp_path / "oven.yaml", tmp_path / "soak.yaml"
    file.write_text(TOO_QUICK, encoding="utf-8")
    schedule.write_text("schedule: soak\nsteps:\n  - {to: 700 °C, hold: 10 min}\n", encoding="utf-8")
    for more in ((), (str(schedule),)):
        done = here("check", str(file), *more)
        assert done.returncode == 2 and "no rule can tell that from a failing sensor" in done.stderr


def test_with_half_the_power_or_twice_the_wire_it_is_not_refused():
    """What the refusal says helps."""
    oven = oven_from(TOO_QUICK, "quick")
    for changes in (dict(power_w=2300.0), dict(mass_kg=0.25)):
        other = dataclasses.replace(oven, elements=dataclasses.replace(oven.elements, **changes))
        assert mistaken_k_per_s(day_zero(other), policy_for(other), other.control.tick_s) is None


def test_a_quick_oven_that_runs_without_a_trip_is_not_refused(quick_muffle):
    assert mistaken_k_per_s(day_zero(quick_muffle), policy_for(quick_muffle), 1.0) is None


class Rising:
    """A model whose reading rises as `rates` say, K in each second, and then not at all."""

    ambient_c, power_w, lag_s, dead_s, delay_s = 0.0, 1000.0, 4.0, 2.0, 6.0

    def __init__(self, *rates, chamber=1.0):
        self.rates, self.chamber = rates, chamber

    def rest(self, ambient_c):
        return (0,) + (0.0,) * 7

    def step(self, x, power_w, dt, ambient_c):
        assert (power_w, ambient_c) == (self.power_w, 0.0)
        rise = self.rates[x[0]] * dt if x[0] < len(self.rates) else 0.0
        return (x[0] + 1, x[1] + self.chamber * rise, *x[2:7], x[7] + rise)


BELIEVED = Policy(chamber_trip_c=1300.0, schedule_trip_c=1300.0, wild_k_per_s=25.0, wild_jump_k=10.0)


def test_it_is_one_step_that_is_too_far_or_seconds_that_are_too_steep():
    def mistaken(*rates, policy=BELIEVED, tick_s=1.0):
        model: Any = Rising(*rates)
        return mistaken_k_per_s(model, policy, tick_s)

    assert mistaken(50.0) is None and mistaken(50.1) == pytest.approx(50.1)  # 10 K and 40 K/s
    assert mistaken(60.0, policy=dataclasses.replace(BELIEVED, wild_k_per_s=50.0)) is None
    assert mistaken(60.0, tick_s=0.5) is None and mistaken(60.2, tick_s=0.5) == pytest.approx(60.2)
    # 48 K/s: the slope, smoothed twice over 5 s, passes 40 K/s after some 15 s; 5 s more are too long.
    assert mistaken(*[48.0] * 17) is None and mistaken(*[48.0] * 22) == pytest.approx(48.0)
    assert mistaken(*[39.9] * 30) is None
    # Above its trip the heat is off.
    assert mistaken(*[48.0] * 26, policy=dataclasses.replace(BELIEVED, chamber_trip_c=700.0)) is None
    assert mistaken(*[0.0] * int(LOOKED_AT_S), 99.0) is None and mistaken(*[0.0] * int(LOOKED_AT_S - 1), 99.0)


def test_how_far_the_chamber_is_ahead_of_its_reading():
    double: Any = Rising(*[10.0] * 200, chamber=2.0)
    # 20 K/s; the reading is at half, and two seconds of dead time late.
    assert ahead_of_reading(double, 100.0, None) == (50.0 + 40.0, 5.0)
    assert ahead_of_reading(double, 100.1, None) == (60.0 + 40.0, 6.0)
    assert ahead_of_reading(double, 100.0, 20.0) == (90.0, 5.0)
    assert ahead_of_reading(double, 100.0, 0.5) == (3.0, 200.0)
    assert ahead_of_reading(double, 20.0 * LOOKED_AT_S, None)[1] == LOOKED_AT_S
    assert ahead_of_reading(double, 20.0 * LOOKED_AT_S + 1.0, None) == (0.0, 0.0)


@pytest.mark.parametrize(("at", "told"), [("", True), (", at: 30 K/min", False)])
def test_check_says_that_a_chamber_may_pass_its_trip_unseen(here, tmp_path, at, told):
    """On a plant of two zones it went 96 K over, and the schedule's trip ended it."""
    file, schedule = tmp_path / "oven.yaml", tmp_path / "soak.yaml"
    file.write_text(numbered(500, 99), encoding="utf-8")
    schedule.write_text(f"schedule: soak\nsteps:\n  - {{to: 436 °C{at}, hold: 10 min}}\n", encoding="utf-8")
    done = here("check", str(file), str(schedule))
    words = " ".join(done.stdout.split())
    assert ("and its sensor then shows" in words and "A slower rise (steps: at)" in words) is told
