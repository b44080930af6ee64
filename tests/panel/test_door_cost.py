"""What an open door costs is told as it was: time, kelvins, energy; of the newest opening of this run alone."""

import pytest

from kilnctl.panel.door_cost import after


def told(*rows, run="a", **more):
    """The cost after rows of (time s, chamber °C, door open, W that the model cannot explain)."""
    cost = None
    for time_s, chamber_c, door, watts in rows:
        status = {"running": True, "folder": run, "run_s": time_s, "chamber_c": chamber_c, "door_open": door}
        cost = after(cost, status | {"ledger_w": {"unexplained": watts}} | more)
    return cost


def seen(*rows):
    """What the page is told after them."""
    cost = told(*rows)
    assert cost is not None
    return cost.view()


OPENED = [(0.0, 150.0, False, 0.0), (10.0, 150.0, True, 0.0), (20.0, 140.0, True, 500.0), (40.0, 120.0, True, 500.0)]


def test_an_open_door_is_counted_while_it_is_open():
    said = seen(*OPENED)
    assert said == {"is_open": True, "open_s": 30.0, "fell_k": 30.0, "back_s": None, "lost_j": pytest.approx(15000.0)}


def test_it_is_over_when_the_chamber_is_back():
    shut = [*OPENED, (50.0, 118.0, False, 500.0), (100.0, 140.0, False, 0.0)]
    assert seen(*shut)["back_s"] is None
    said = seen(*shut, (130.0, 149.5, False, 0.0), (900.0, 60.0, False, 0.0))
    # Till it was shut: 40 s. What came after it was back is not the door's.
    assert said["open_s"] == 40.0 and said["back_s"] == 120.0 and said["fell_k"] == 32.0
    assert said["lost_j"] == pytest.approx(500.0 * 40.0) and not said["is_open"]


def test_the_newest_opening_counts():
    said = seen(*OPENED, (50.0, 118.0, False, 0.0), (60.0, 119.0, True, 0.0), (70.0, 117.0, True, 0.0))
    assert said["open_s"] == 10.0 and said["fell_k"] == 2.0


def test_without_an_opening_there_is_nothing_and_a_new_run_begins_anew():
    assert told((0.0, 20.0, False, 0.0), (5.0, 30.0, None, 0.0)) is None
    cost = told(*OPENED)
    assert after(cost, {"running": True, "folder": "b", "run_s": 1.0, "chamber_c": 20.0, "door_open": False}) is None
    assert after(cost, {"running": False, "folder": "a"}) is cost


def test_a_missing_reading_or_status_harms_nothing():
    cost = told(*OPENED, (45.0, None, True, None))
    assert cost is not None and cost.open_s == 35.0
    # The panel slept for an hour: that hour is not the door's.
    late = after(cost, {"running": True, "folder": "a", "run_s": 3645.0, "chamber_c": 90.0, "door_open": True})
    assert late is not None and late.open_s == 95.0
    assert told((0.0, None, True, 0.0)) is None


def test_the_fall_counts_from_before_the_door_was_opened():
    """Statuses come a second apart, at a demo's speed 40 s: the first one with an open door is cold already."""
    hot = {"running": True, "folder": "a", "run_s": 0.0, "chamber_c": 140.0, "door_open": False}
    open_now = hot | {"run_s": 40.0, "chamber_c": 62.0, "door_open": True}
    cost = after(after(None, hot), open_now, hot)
    assert cost is not None and cost.view()["fell_k"] == 78.0
    # A reading of another run says nothing.
    other = after(None, open_now, hot | {"folder": "b"})
    assert other is not None and other.view()["fell_k"] == 0.0
