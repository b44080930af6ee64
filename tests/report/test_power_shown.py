"""What pictures, pages and the history make of power that was measured, and of power that was only commanded."""

import dataclasses
import math
import shutil

import numpy as np
import pytest

from kilnctl import rehearse
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.record.folder import new_folder
from kilnctl.record.power_columns import basis, fired_share
from kilnctl.report import ageing, run_curves, run_report
from kilnctl.report.finishing import finish
from kilnctl.report.summary_text import summary_text
from kilnctl.run.summary import summarise
from kilnctl.run.virtual_plant import virtual_oven
from kilnctl.settings.equipment import Meters
from kilnctl.settings.schedule import Schedule, Step
from tests.record.made_runs import OVEN, made, saved

WARM = Schedule(name="warm", steps=(Step(name="warm", to_c=120.0, hold_s=900.0),))


BARE = dataclasses.replace(OVEN, meters=Meters(supply=False, current=False))


@pytest.fixture(scope="module")
def bare():
    """A run of the cabinet without any meter, with a purge before it."""
    return rehearse(BARE, dataclasses.replace(WARM, load=OVEN.usual_load), seed=1)


def test_without_a_meter_the_commanded_share_is_shown_and_said(bare):
    share, measured = fired_share(bare.data)
    summary = summarise(bare)
    assert not measured and not np.isfinite(bare.fired).any() and summary.power_by.startswith("what was commanded")
    assert share.max() == 1.0 and share.mean() == pytest.approx(bare.duty.mean(), rel=0.02)
    assert float(np.sum(bare.power_w)) * 1.0 == pytest.approx(bare.energy_j, rel=1e-6)
    assert summary.switchings_per_h > 0.0
    assert "commanded" in summary_text(summary) and "proof of heat" in run_report.run_page(bare, summary)
    picture = run_curves.curves(bare, summary)
    assert "duty as commanded" in picture and "heat as commanded" in picture


def test_with_meters_it_is_the_measured_one():
    run = rehearse(OVEN, WARM, plant=None, seed=1)
    assert basis(run.data) == "measured voltage and current"
    assert "duty as measured" in run_curves.curves(run, summarise(run)) and "billing meter" in run_report.run_page(
        run, summarise(run)
    )


def test_watts_while_the_gate_lets_nothing_pass_are_none_and_no_more_than_the_oven_has():
    """A purge of 200 s in which the control asks for all there is, and then a balance that wants more than there is."""
    run = made()
    n = len(run.time_s)
    purge = run.time_s < 200.0
    run.data.update(
        {
            "demand_w": np.full(n, 3000.0),
            "feedforward_w": np.full(n, 5900.0),
            "trim_w": np.full(n, -2900.0),
            "duty": np.where(purge, 0.0, 1.0),
            "fired": np.full(n, math.nan),
            "commanded": np.where(purge, 0.0, 1.0),
            "power_w": np.where(purge, 0.0, 3000.0),
        }
    )
    heat, balance, trim = run_curves.watts(run)
    for values in (heat, balance, trim):
        assert not values[purge].any()
    assert (heat[~purge] == 3000.0).all() and (balance[~purge] == 3000.0).all() and (trim[~purge] == 0.0).all()


@pytest.mark.slow
def test_a_rehearsal_s_purge_shows_no_heat(oven, schedule):
    cabinet = oven("curing-cabinet")
    run = rehearse(dataclasses.replace(cabinet, meters=Meters(supply=False, current=False)), schedule("powder-cure"))
    purge = run.time_s < 1300.0
    assert run.demand_w[purge].max() > 1000.0, "the control asks for heat from the first second on"
    assert all(not values[purge].any() for values in run_curves.watts(run)) and not run.commanded[purge].any()


def ran(place, oven, seed, strength=1.0, vent=1.0):
    """One run of an oven whose elements, or whose vent, are not what its description says."""
    real = dataclasses.replace(oven, vent=dataclasses.replace(oven.vent, flow_m3_per_s=oven.vent.flow_m3_per_s * vent))
    plant = virtual_oven(real, None, seed)
    assert isinstance(plant, VirtualOven)
    plant.electrics.rated_w *= strength
    run = rehearse(oven, WARM, plant=plant, seed=seed)
    finish(new_folder(place, oven.name, WARM.name), run, summarise(run))
    return run, plant


@pytest.mark.slow
def test_elements_that_fade_by_three_per_cent_a_run_are_told_as_less_power_going_in(tmp_path):
    for k in range(7):
        run, plant = ran(tmp_path, OVEN, k + 1, 0.97**k)
        assert run.energy_j == pytest.approx(plant.energy_j, rel=1e-3)
    told = ageing.read_history(tmp_path)
    (strength,) = [f for f in told.findings if f.figure.what == "strength"]
    assert (
        strength.change == pytest.approx(0.97**6 / 0.97**2.5 - 1.0, abs=0.01)
        and "less power goes in" in strength.warning
    )
    (hold,) = [f for f in told.findings if f.figure.what == "hold"]
    assert (
        abs(hold.change) < 0.04
        and not hold.warning
        and not any("more heat gets out than before" in w for w in told.warnings)
    )


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Four runs of a sound oven without meters."""
    place = tmp_path_factory.mktemp("sound")
    for k in range(4):
        ran(place, BARE, k + 1)
    return place


@pytest.mark.slow
@pytest.mark.parametrize(
    ("wear", "words", "not_words"),
    [
        ({"strength": 0.88}, "less power goes in", "more heat gets out than before"),
        ({"vent": 3.0}, "more heat gets out than before", "less power goes in"),
    ],
)
def test_without_a_meter_weaker_elements_and_a_greater_loss_are_told_apart(sound, tmp_path, wear, words, not_words):
    place = tmp_path / "runs"
    shutil.copytree(sound, place)
    ran(place, BARE, 9, **wear)
    (hold,) = [f for f in ageing.read_history(place).findings if f.figure.what == "hold"]
    assert (
        hold.change > 0.05
        and words in hold.warning
        and not_words not in hold.warning
        and "as commanded" in hold.warning
    )


def test_where_holding_takes_much_of_the_power_nobody_can_tell_without_a_meter(tmp_path):
    for _ in range(4):
        saved(tmp_path, hold_w=1500.0, oven=BARE, **without_meters())
    saved(tmp_path, hold_w=1700.0, oven=BARE, **without_meters(hold_w=1700.0))
    (warning,) = ageing.read_history(tmp_path).warnings
    assert "either more heat gets out, or less goes in" in warning


def without_meters(hold_w=1500.0) -> dict:
    data = made(hold_w=hold_w).data
    return {"data": {**data, "commanded": data["fired"], "fired": np.full(len(data["fired"]), math.nan)}}
