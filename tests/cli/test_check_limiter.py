"""What `check` says of a control sensor that reads too low."""

import dataclasses

import pytest

from kilnctl import load_oven
from kilnctl.commands.check import tell_known, tell_limiter
from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import DAY_ZERO, coolest_of
from kilnctl.model.promise import promised_c
from kilnctl.model.uncertainty import uncertainty_of
from kilnctl.output import Units
from tests.plants.plant_cases import ROOT


@pytest.fixture
def kiln():
    oven = load_oven(ROOT / "configs/ovens/brick-kiln.yaml")
    return oven, day_zero(oven, oven.usual_load)


def told(capsys, oven, model, doubt, trip_c=1125.0):
    coolest = coolest_of(oven, oven.usual_load, model, doubt)
    tell_limiter(oven, coolest, model, trip_c, Units())
    return capsys.readouterr().out, coolest


def test_a_description_and_a_learnt_model(kiln, capsys):
    oven, model = kiln
    said, coolest = told(capsys, oven, model, DAY_ZERO)
    assert f"at {promised_c(coolest, model, 1125.0, True):.0f} °C" in said and "learn" in said and "meter" not in said
    said, coolest = told(capsys, oven, model, dataclasses.replace(DAY_ZERO, losses=1.06, leak=1.06, learnt=True))
    assert f"at {promised_c(coolest, model, 1125.0, True):.0f} °C" in said and "kilnctl learn" not in said


def test_the_promise_is_of_hours_alone(kiln, capsys):
    """A cabinet of which 336 °C was promised reached 394 °C within 80 min while its sensor read a half low."""
    oven, model = kiln
    said, _ = told(capsys, oven, model, DAY_ZERO)
    assert "held for hours at" in said and "heated fast, it can be hotter before that" in said


def test_without_a_meter_it_says_what_a_meter_gives(kiln, capsys):
    oven, model = kiln
    bare = dataclasses.replace(oven, meters=dataclasses.replace(oven.meters, supply=False, current=False))
    said, coolest = told(capsys, bare, model, DAY_ZERO)
    assert f"at {promised_c(coolest, model, 1125.0, False):.0f} °C" in said and "a meter of supply or current" in said


def test_it_promises_nothing_beyond_what_full_power_reaches(kiln, capsys):
    oven, model = kiln
    weak = model.but(power_w=0.3 * model.power_w)
    said, _ = told(capsys, oven, weak, DAY_ZERO)
    assert f"promises nothing below the {weak.highest_c():.0f} °C that full power holds" in said


def test_a_file_without_a_shelf_is_told_what_one_may_store(kiln, capsys):
    """±11 % was said of an oven with an unnamed hearth that stored a third more."""
    oven, _ = kiln
    tell_known(uncertainty_of(oven, None))
    assert "shelf" not in capsys.readouterr().out
    known = uncertainty_of(dataclasses.replace(oven, shelf=None), None)
    tell_known(known)
    said = capsys.readouterr().out
    assert known.unlisted > 0.05 and f"it may store {100 * known.unlisted:.0f} % more" in said and "(shelf)" in said
