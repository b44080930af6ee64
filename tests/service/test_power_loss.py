"""The clock of another boot counts only when it is known to be right; else the oven's own cooling is the clock, or a
person decides."""

import ctypes
import dataclasses
import math
import time
from types import SimpleNamespace

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.energy import CHAMBER
from kilnctl.safety import Trip, hot_surface, policy_for
from kilnctl.service import operating_system, resume, saved_state, saved_trips
from kilnctl.service.saved_state import SavedState, sound
from kilnctl.service.session import cooled_state, prepare

OVENS = ("curing-cabinet", "brick-kiln", "bench-muffle")
#: Chamber before the cut, °C, and how long the power really was out, s.
OUTAGES = [(c, h * 3600.0) for c in (26.0, 30.0, 40.0, 100.0, 200.0) for h in (0.5, 1.0, 4.0, 60.0)]


@pytest.fixture(scope="module")
def models(oven):

    return {name: day_zero(oven(name)) for name in OVENS}


def place_at(model, chamber_c):
    return {"chamber_c": chamber_c, "state_c": list(model.steady(chamber_c)[0])}


@pytest.mark.parametrize("name", OVENS)
@pytest.mark.parametrize(("then_c", "away_s"), OUTAGES)
def test_a_clock_that_begins_where_it_stood_takes_no_run_on_after_hours(models, name, then_c, away_s):
    """It shows 25 s: 47 of 72 such cases went on unattended."""
    model = models[name]
    place = place_at(model, then_c)
    x = cooled_state(model, place, away_s)
    assert x is not None
    verdict = resume.decide(place, "resume", model, 25.0, x[CHAMBER], clock_is_right=False)
    assert not verdict.go, verdict.words


def test_a_hot_oven_is_a_clock_by_itself(models):
    """It cools so fast that nothing but a short outage fits."""
    gone_on = 0
    for model in models.values():
        place = place_at(model, 600.0 if model is not models["curing-cabinet"] else 200.0)
        x = cooled_state(model, place, 25.0)
        assert x is not None
        verdict = resume.decide(place, "resume", model, 25.0, x[CHAMBER], clock_is_right=False)
        assert verdict.go or "person decides" in verdict.words
        assert resume.decide(place, "resume", model, 25.0, x[CHAMBER], clock_is_right=True).go
        gone_on += verdict.go
    assert gone_on, "where the cooling tells the time, no clock is needed"


@pytest.fixture
def view(oven, schedule, tmp_path, monkeypatch):
    """A service as resume sees it, 20 s after a cut in another boot, and a run that was interrupted there."""
    cabinet, cure = oven("curing-cabinet"), dataclasses.replace(schedule("powder-cure"), after_power_loss="resume")
    monkeypatch.setattr(resume, "load_schedule", lambda path: cure)
    prepared = []
    monkeypatch.setattr(resume, "prepare", lambda *a: prepared.append(a) or prepare(*a))
    run = {"folder": "x", "schedule": cure.file, "schedule_sha256": cure.sha256, "oven_sha256": cabinet.sha256}
    saved = {"boot": "another", "boottime_s": 10.0, "wall_s": time.time() - 20.0, "clock": "network"}
    return SimpleNamespace(oven=cabinet, saved=sound(saved), chamber_c=25.0), run, prepared


def test_what_needs_no_check_is_decided_before_anything_is_prepared(view):
    """The preparation takes seconds to minutes on a small computer."""
    service, run, prepared = view
    verdict, order = resume.judge(service, {**run, "place": None})
    assert not verdict.go and order is None and not prepared
    verdict, order = resume.judge(service, {**run, "oven_sha256": "x"})
    assert not verdict.go and not prepared
    place = place_at(prepare(service.oven, resume.load_schedule("")).model, 150.0)
    service.saved["wall_s"] = time.time() - 3600.0
    verdict, _ = resume.judge(service, {**run, "place": place})
    assert not verdict.go and "longer than" in verdict.words and not prepared


@pytest.mark.parametrize(
    ("then", "now", "right"), [("network", "battery", True), ("", "network", False), ("network", "", False)]
)
def test_both_wall_clocks_must_have_been_right(view, monkeypatch, then, now, right):
    service, run, _ = view
    seen = []
    monkeypatch.setattr(operating_system, "clock_source", lambda: now)
    monkeypatch.setattr(resume, "decide", lambda *a: seen.append(a[-1]) or resume.ResumeVerdict(False, "", 0.0))
    service.saved["clock"] = then
    resume.judge(service, {**run, "place": {"chamber_c": 100.0}})
    assert seen == [right]


def test_within_one_boot_its_own_clock_is_right(view, monkeypatch):
    service, run, _ = view
    seen = []
    monkeypatch.setattr(operating_system, "clock_source", lambda: "")
    monkeypatch.setattr(resume, "decide", lambda *a: seen.append(a[-1]) or resume.ResumeVerdict(False, "", 0.0))
    service.saved["boot"] = operating_system.boot()[0]
    resume.judge(service, {**run, "place": {"chamber_c": 100.0}})
    assert seen == [True]


# ---- what is known of the clock ----


@pytest.fixture
def unsynchronised(monkeypatch):
    monkeypatch.setattr(operating_system, "clock_synchronised", lambda: False)


@pytest.mark.parametrize(
    ("sets", "apart_s", "source"), [("1", 0, "battery"), ("1", 3600, ""), ("1", -3600, ""), ("0", 0, "")]
)
def test_a_battery_clock_counts_when_it_set_the_time_and_agrees(unsynchronised, tmp_path, sets, apart_s, source):
    device = tmp_path / "rtc0"
    device.mkdir()
    (device / "hctosys").write_text(f"{sets}\n")
    (device / "since_epoch").write_text(f"{round(time.time()) + apart_s}\n")
    assert operating_system.clock_source(tmp_path) == source


def test_without_any_nothing_is_known(unsynchronised, tmp_path):
    assert operating_system.clock_source(tmp_path) == "" == operating_system.clock_source(tmp_path / "none")


@pytest.mark.parametrize(
    ("state", "status", "right"), [(0, 0x2001, True), (5, 0x40, False), (0, 0x40, False), (-1, 0, False)]
)
def test_the_kernel_says_whether_it_is_synchronised(monkeypatch, state, status, right):
    """Values of adjtimex(2): TIME_ERROR is 5, STA_UNSYNC 0x0040."""

    class Timex(ctypes.Structure):
        _fields_ = (
            ("modes", ctypes.c_uint),
            *((n, ctypes.c_long) for n in ("offset", "freq", "maxerror", "esterror")),
            ("status", ctypes.c_int),
        )

    def adjtimex(buffer):
        Timex.from_buffer(buffer).status = status
        return state

    monkeypatch.setattr(operating_system.ctypes, "CDLL", lambda *a, **m: SimpleNamespace(adjtimex=adjtimex))
    assert operating_system.clock_synchronised() is right


# ---- what ages: by the boot's clock ----


@pytest.mark.parametrize("set_by_s", [20 * 3600.0, 4.6 * 86400.0, -12 * 3600.0])
def test_a_wall_clock_that_was_set_ages_neither_trip_nor_heat(oven, tmp_path, monkeypatch, set_by_s):
    """A pulled-out thermocouple at 379 °C could be acknowledged, and the notice was gone."""
    cabinet = oven("curing-cabinet")
    first = SavedState(tmp_path, cabinet, 1.0)
    first.hot = hot_surface.seen(379.0, operating_system.boot()[1], 20.0, 6 * 3600.0)
    believed = {"reading-fell": (379.0, 5.0)}
    trip = Trip("reading-fell", 0.0, "seen", "done", "check")
    first.save(None, None, (trip,), believed, policy_for(cabinet), True)
    first.close()
    wall = time.time
    monkeypatch.setattr(saved_state.time, "time", lambda: wall() + set_by_s)
    again = SavedState(tmp_path, cabinet, 1.0)
    (_, ago_s) = saved_trips.from_saved(again.before["trips"], again.wall_then_s)[1]["reading-fell"]
    assert 5.0 <= ago_s < 60.0
    assert again.hot is not None and "379" in hot_surface.notice(again.hot, operating_system.boot()[1])
    again.close()


def test_another_boot_with_a_clock_that_nobody_knows_counts_as_no_time(oven, tmp_path, monkeypatch):
    cabinet = oven("curing-cabinet")
    first = SavedState(tmp_path, cabinet, 1.0)
    first.hot = hot_surface.seen(379.0, operating_system.boot()[1], 20.0, 6 * 3600.0)
    first.save(None, None, (), {}, policy_for(cabinet), True)
    first.close()
    monkeypatch.setattr(operating_system, "boot", lambda: ("another", 3.0))
    monkeypatch.setattr(operating_system, "clock_source", lambda *a: "")
    monkeypatch.setattr(saved_state, "passed_s", lambda: 3.0)
    wall = time.time
    monkeypatch.setattr(saved_state.time, "time", lambda: wall() + 5 * 86400.0)
    again = SavedState(tmp_path, cabinet, 1.0)
    assert again.hot is not None and "379" in hot_surface.notice(again.hot, 3.0)
    assert math.isnan(saved_state.away(again.before))
    again.close()
