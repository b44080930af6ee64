"""What is reported, and how often: statuses in, notices out."""

import pytest

from kilnctl.notify.watch import REMEMBERED, Watched, step
from kilnctl.settings.notification import Channel, Notify

FILE = Notify(
    name="a workshop",
    door_after_s=120.0,
    behind_after_s=600.0,
    silent_after_s=30.0,
    channels=(Channel(name="x", by="command", command="true"),),
)
RUNNING = {
    "oven": "kiln", "state": "soak", "running": True, "outcome": "", "danger": "", "trips": [], "warnings": [],
    "notice": "HOT", "chamber_c": 600.0, "reference_c": 600.0, "door_open": False, "run_s": 30.0,
    "schedule": "anneal", "step": 2, "folder": "runs/1", "started": "09:00",
}  # fmt: skip
IDLE = RUNNING | {"state": "idle", "running": False, "run_s": 0.0}
TRIP = {
    "fault": "over-temperature",
    "seen": "it read 730 °C",
    "act": "Leave it shut.",
    "check": "Check the limit.",
    "time_s": 1.0,
}


def told(statuses, every_s=1.0, before=None):
    """Kinds of the notices of a series of answers, and what was known at its end."""
    watched, kinds, now = before or Watched(), [], 0.0
    for status in statuses:
        watched, notices = step(watched, status, now, FILE)
        kinds += [n.kind for n in notices]
        now += every_s
    return kinds, watched


def test_a_quiet_run_tells_only_its_end():
    assert told([RUNNING] * 50 + [IDLE | {"outcome": "finished"}] * 50)[0] == ["done"]


@pytest.mark.parametrize("outcome, kinds", [("stopped", ["done"]), ("lost", ["lost"]), ("tripped", [])])
def test_each_end_of_a_run(outcome, kinds):
    assert told([RUNNING, IDLE | {"outcome": outcome}])[0] == kinds


def test_a_trip_is_told_once_however_long_it_stands_and_again_in_another_run():
    tripped = RUNNING | {"trips": [TRIP]}
    kinds, watched = told([RUNNING, *[tripped] * 100])
    assert kinds == ["trip"]
    assert told([tripped | {"folder": "runs/2"}], before=watched)[0] == ["trip"]


def test_a_trip_says_what_was_done_before_what_was_seen_and_what_to_check():
    _, notices = step(Watched(), RUNNING | {"trips": [TRIP]}, 0.0, FILE)
    assert notices[0].words == "Leave it shut. It read 730 °C. Check the limit."
    assert notices[0].chamber_c == 600.0


def test_a_danger_is_told_again_every_ten_minutes_while_it_stands():
    danger = RUNNING | {"danger": "heat cannot be cut: pull the plug"}
    assert told([danger] * 11, every_s=120.0)[0] == ["danger"] * 3
    assert told([danger, RUNNING, danger])[0] == ["danger"] * 2


@pytest.mark.parametrize("taught, kinds", [("learnt", []), ("changed", ["oven changed"]), ("kept aside", [])])
def test_what_a_run_taught_is_told_once_where_a_person_should_know(taught, kinds):
    lesson = {"taught": taught, "words": "model 3 is kept aside: it would miss this run by 2 K", "run": "runs/1"}
    ended = IDLE | {"outcome": "finished"}
    assert told([RUNNING, ended, *[ended | {"lesson": lesson}] * 50])[0] == ["done", *kinds]
    # As it was before this watch began.
    assert told([IDLE | {"lesson": lesson}] * 10)[0] == []


@pytest.mark.parametrize("seconds, kinds", [(120, []), (121, ["door"]), (900, ["door"])])
def test_a_door_that_stands_open_is_told_once_after_its_time(seconds, kinds):
    assert told([RUNNING | {"door_open": True}] * seconds)[0] == kinds


def test_a_door_open_at_a_cool_oven_is_no_news_and_each_opening_counts_afresh():
    assert told([IDLE | {"door_open": True, "notice": ""}] * 500)[0] == []
    open_ = [RUNNING | {"door_open": True}] * 200
    assert told([*open_, RUNNING, *open_])[0] == ["door", "door"]


@pytest.mark.parametrize("below_k, kinds", [(23.0, []), (23.4, ["cannot follow"])])
def test_far_behind_is_four_percent_of_the_way_up(below_k, kinds):
    # 4 % of 600 - 20 = 23.2 K.
    assert told([RUNNING | {"chamber_c": 600.0 - below_k}] * 700)[0] == kinds


def test_behind_for_less_than_its_time_or_while_cooling_is_nothing():
    behind = RUNNING | {"chamber_c": 500.0}
    assert told([behind] * 590)[0] == []
    assert told([*[behind] * 590, RUNNING, *[behind] * 590])[0] == []
    assert told([behind | {"state": "cooling"}] * 700)[0] == []


def test_a_warning_whose_numbers_change_is_one_warning():
    assert told([RUNNING | {"warnings": [f"the supply sags by {v} %"]} for v in range(50)])[0] == ["warning"]


def test_silence_is_told_once_after_its_time_and_so_is_the_return():
    kinds, watched = told([RUNNING, *[None] * 100])
    assert kinds == ["silent"]
    again = RUNNING | {"run_s": 900.0}
    watched, notices = step(watched, again, 200.0, FILE)
    assert [n.kind for n in notices] == ["power back"] and "goes on" in notices[0].words
    assert step(watched, again, 201.0, FILE)[1] == []


def test_a_short_silence_is_none():
    assert told([RUNNING, *[None] * 29, RUNNING])[0] == []


def test_after_a_power_cut_a_run_that_does_not_go_on_is_told():
    _, watched = told([RUNNING, *[None] * 100])
    _, notices = step(watched, IDLE, 200.0, FILE)
    assert [n.kind for n in notices] == ["power back"] and "does not go on" in notices[0].words


def test_two_silences_are_told_twice():
    assert told([RUNNING, *[None] * 40, RUNNING, *[None] * 40])[0].count("silent") == 2


def test_cool_after_a_finished_run_is_told_and_after_a_stopped_one_not():
    cool = IDLE | {"outcome": "finished", "notice": ""}
    assert told([RUNNING, IDLE | {"outcome": "finished"}, cool, cool])[0] == ["done", "part ready"]
    assert told([RUNNING, IDLE | {"outcome": "stopped"}, cool | {"outcome": "stopped"}])[0] == ["done"]


def test_what_is_remembered_has_an_end():
    _, watched = told([RUNNING | {"trips": [TRIP], "folder": f"runs/{i}"} for i in range(REMEMBERED + 50)])
    assert len(watched.told) == REMEMBERED
