"""A latch outlives its process on a full disk too."""

import time

import pytest

from kilnctl.service import state_store
from kilnctl.service.state_store import LATCH, StateStore

TRIP = {"fault": "contactor-welded", "seen": "it stays closed", "act": "pull the plug", "check": "the contacts"}


def full(*arguments):
    raise OSError(28, "No space left on device")


def kept(made: StateStore, state: dict) -> None:
    made.keep(state, urgent=True)
    made.close()


def test_what_is_kept_is_read_again(tmp_path):
    kept(StateStore(tmp_path), {"trips": [TRIP], "oven": "a"})
    assert StateStore(tmp_path).load() == {"trips": [TRIP], "oven": "a"}


def test_a_trip_on_a_full_disk_latches_and_goes_with_its_acknowledgement(tmp_path, monkeypatch):
    kept(StateStore(tmp_path), {"trips": [], "run": {"folder": "x"}})
    monkeypatch.setattr(state_store, "save_state", full)
    made = StateStore(tmp_path)
    kept(made, {"trips": [TRIP], "run": None})
    assert "No space left" in made.failure
    again = StateStore(tmp_path)
    assert again.load() == {"trips": [TRIP], "run": {"folder": "x"}}
    # Acknowledged while the disk is full still, and once more with room.
    kept(again, {"trips": []})
    assert StateStore(tmp_path).load()["trips"] == []
    kept(StateStore(tmp_path), {"trips": [TRIP]})
    monkeypatch.undo()
    kept(StateStore(tmp_path), {"trips": []})
    assert StateStore(tmp_path).load() == {"trips": []} and (tmp_path / "latch").read_bytes() == b" " * LATCH


@pytest.mark.parametrize("text", [b"{broken", b"7"])
def test_a_damaged_latch_stands(tmp_path, text):
    StateStore(tmp_path).close()
    (tmp_path / "latch").write_bytes(text.ljust(LATCH))
    assert StateStore(tmp_path).load()["trips"] == [{}]


def test_more_trips_than_there_is_room_for(tmp_path, monkeypatch):
    monkeypatch.setattr(state_store, "save_state", full)
    kept(StateStore(tmp_path), {"trips": [TRIP] + [{**TRIP, "seen": "x" * 1500}] * 5})
    found = StateStore(tmp_path).load()["trips"]
    assert found[0] == TRIP and len(found) == 3


def test_where_not_even_the_latch_can_be_written_both_are_told(tmp_path, monkeypatch):
    made = StateStore(tmp_path)
    monkeypatch.setattr(state_store, "save_state", full)
    (tmp_path / "latch").unlink()
    made.keep({"trips": [TRIP]}, urgent=True)
    end = time.monotonic() + 10.0
    while "latch" not in made.failure and time.monotonic() < end:
        time.sleep(0.01)
    made.close()
    assert "No space left" in made.failure and "latch" in made.failure
