"""A start that waits for its hour: begins by itself, is called off by a stop or a trip, and never begins after a
restart."""

import dataclasses
import datetime
import time

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.panel.ready_at import next_time
from kilnctl.plants.injection import PlantFault
from kilnctl.record import care
from kilnctl.rig import VirtualRig
from kilnctl.service import later
from kilnctl.service.start_policy import StartPolicy, StartWishes
from tests.cli.test_options_of_services import CABINET, at_home
from tests.service.at_work import at_work

MAY = "schedule: brief\nunattended: yes\nsteps:\n  - {name: warm, to: 60 °C, hold: 10 min}\n"


@pytest.fixture
def brief(tmp_path):
    path = tmp_path / "brief.yaml"
    path.write_text(MAY, encoding="utf-8")
    return path


def waits(person, path, in_s=1.0, takes_s=0.0):
    return person.ask(
        "start", schedule=str(path), by="A. Founder", confirm=True, ready_s=time.time() + in_s, takes_s=takes_s
    )


def test_it_waits_says_so_and_begins_by_itself(oven, tmp_path, brief):
    with at_work(oven("curing-cabinet"), tmp_path, speed=20.0) as person:
        person.until(lambda a: a["state"] == "idle")
        # Twenty times as fast: 30 s before it is ready, 600 s of simulated time begin at once.
        said = waits(person, brief, in_s=32.0, takes_s=600.0)
        assert said["ok"] and "brief.yaml waits: it begins at" in said["words"]
        status = person.until(lambda a: a["waiting"])
        assert not status["running"] and status["waiting"] == said["words"] == status["reason"]
        assert not person.ask("start", schedule=str(brief))["ok"], "one start waits already"
        started = person.until(lambda a: a["running"], patience_s=30.0)
        assert started["schedule"] == "brief" and started["waiting"] == ""


def test_a_stop_calls_it_off(oven, tmp_path, brief):
    told = []
    with at_work(oven("curing-cabinet"), tmp_path, speed=20.0, tell=told.append) as person:
        person.until(lambda a: a["state"] == "idle")
        assert waits(person, brief)["ok"]
        assert person.ask("stop", by="the founder")["ok"]
        person.until(lambda a: any("called off" in words and "the founder" in words for words in told))
        time.sleep(1.5)
        assert not person.ask("status")["running"]


def test_too_late_and_too_far_are_refused(oven, tmp_path, brief):
    cabinet = oven("curing-cabinet")
    with at_work(cabinet, tmp_path, speed=20.0) as person:
        person.until(lambda a: a["state"] == "idle")
        assert "too late" in waits(person, brief, in_s=10.0, takes_s=900.0)["words"]
        assert "more than a day" in waits(person, brief, in_s=2.0 * 86400.0)["words"]
        assert waits(person, brief, in_s=0.5)["ok"]


def test_with_an_open_door_it_is_not_asked_for_and_does_not_begin(oven, tmp_path, brief):
    cabinet, told = oven("curing-cabinet"), []
    doors = (PlantFault("door open", 0.0, 60.0), PlantFault("door open", 200.0, 1e6))
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2, faults=doors)
    with at_work(cabinet, tmp_path, rig=rig, speed=20.0, tell=told.append) as person:
        person.until(lambda a: a.get("door_open"))
        assert "door is open" in waits(person, brief)["words"]
        person.until(lambda a: a["door_open"] is False)
        # Simulated time is twenty times as fast: it opens again within 7 s, and the start's hour comes after that.
        assert waits(person, brief, in_s=9.0)["ok"]
        person.until(lambda a: any("door is open" in words for words in told), patience_s=30.0)
        status = person.until(lambda a: a["waiting"] == "")
        assert status["door_open"] and not status["running"]


def test_hardware_that_does_not_switch_off_by_itself_needs_somebody(oven, tmp_path, brief):
    cabinet = oven("curing-cabinet")
    rig = VirtualRig(cabinet, load=cabinet.usual_load)
    rig.facts = dataclasses.replace(rig.facts, unattended=False)
    with at_work(cabinet, tmp_path, rig=rig, speed=20.0) as person:
        person.until(lambda a: a["state"] == "idle")
        assert "somebody has to be there" in waits(person, brief)["words"]


def test_a_schedule_without_its_word_does_not_begin(oven, tmp_path, brief):
    brief.write_text(MAY.replace("unattended: yes\n", ""), encoding="utf-8")
    told = []
    with at_work(oven("curing-cabinet"), tmp_path, speed=20.0, tell=told.append) as person:
        person.until(lambda a: a["state"] == "idle")
        assert waits(person, brief)["ok"]
        person.until(lambda a: any("does not say 'unattended: yes'" in words for words in told))
        assert not person.ask("status")["running"]


def test_after_a_restart_it_is_told_once_and_does_not_begin(oven, tmp_path, brief):
    cabinet = oven("curing-cabinet")
    with at_work(cabinet, tmp_path, speed=20.0) as person:
        person.until(lambda a: a["state"] == "idle")
        assert waits(person, brief, in_s=5.0)["ok"]
        person.until(lambda a: a["waiting"])
    for times in (1, 0):
        told = []
        policy = StartPolicy(StartWishes(), None)
        with at_work(cabinet, tmp_path, speed=20.0, tell=told.append, before=policy) as person:
            person.until(lambda a: a["state"] == "idle" and a["ticks"]["count"] > 200)
            assert not person.ask("status")["running"] and not person.ask("status")["waiting"]
        assert sum("does not begin by itself" in words and "brief.yaml" in words for words in told) == times


@pytest.mark.parametrize("kept", [None, 3, [], {}, ""])
def test_a_state_that_says_nothing_of_it_is_no_waiting_start(kept):
    assert later.forgotten({"waiting": kept}) == later.forgotten({}) == ""


def test_the_next_time_of_day():
    now = datetime.datetime(2031, 5, 4, 12, 0).astimezone()
    same, tomorrow = next_time("17:30", now), next_time("11:59", now)
    assert same - now.timestamp() == 5.5 * 3600.0 and tomorrow - now.timestamp() == 24 * 3600.0 - 60.0
    for wrong in ("", "25:00", "half past five", "17.30"):
        with pytest.raises(KilnctlError, match="no time of day"):
            next_time(wrong, now)


def test_the_command_asks_for_all_that_is_missing_and_then_lets_it_wait(here, oven, brief, tmp_path):
    home = at_home(tmp_path)
    soon = (datetime.datetime.now() + datetime.timedelta(hours=6)).strftime("%H:%M")
    brief.write_text(MAY.replace("unattended: yes\n", ""), encoding="utf-8")
    with at_work(oven("curing-cabinet"), tmp_path, speed=20.0) as person:
        person.until(lambda a: a["state"] == "idle")
        asked = ("start", CABINET, brief, "--home", home, "--confirm", "--ready-at", soon)
        refused = here(*asked)
        assert refused.returncode == 2
        for words in ("'unattended: yes'", "limiter's test is due", "--allowed-by NAME"):
            assert words in refused.stderr
        brief.write_text(MAY, encoding="utf-8")
        today = datetime.date.today().isoformat()
        care.add(home / "curing-cabinet", care.CareDone("limiter", today, "M. Marsh", "latched at 61 °C"))
        done = here(*asked, "--allowed-by", "M. Marsh")
        assert done.returncode == 0, done.stderr
        assert "by the model it takes" in done.stdout and "waits: it begins at" in done.stdout
        assert "insurer" in done.stderr
        person.until(lambda a: a["waiting"])  # the status is made once a tick
        assert "to be ready at" in here("status", CABINET, "--home", home).stdout
    assert here("start", CABINET, brief, "--allowed-by", "x").returncode == 2
