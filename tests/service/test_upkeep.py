"""Files that the service needs disappear while it runs: it reports that while it lasts, and makes again what it can."""

import errno
import os
import shutil
import time

import pytest

from kilnctl.errors import KilnctlError
from kilnctl.service import operating_system, pace, run_log, state_store, upkeep
from kilnctl.service.pace import TickDelays
from kilnctl.service.socket_server import SocketServer, ask
from kilnctl.service.upkeep import Upkeep
from tests.service.at_work import at_work


def until(what, patience_s=30.0):
    end = time.monotonic() + patience_s
    while not what():
        assert time.monotonic() < end, "never"
        time.sleep(0.01)


def test_a_folder_and_a_socket_that_are_removed_are_made_again(oven, tmp_path):
    """`kilnctl stop` could not reach the oven any more, and nothing was reported."""
    with at_work(oven("curing-cabinet"), tmp_path, speed=50.0) as person:
        person.until(lambda a: a["state"] == "idle")
        shutil.rmtree(tmp_path / "home")
        (tmp_path / "socket").unlink()
        until(lambda: (tmp_path / "socket").exists() and (tmp_path / "home" / "owner").exists())
        until(lambda: (tmp_path / "home" / "state").exists())
        assert person.ask("status")["ok"]
        with pytest.raises(KilnctlError, match="already runs"):
            operating_system.Owner(tmp_path / "home" / "owner")


def test_a_state_that_cannot_be_kept_is_shouted_about_while_it_lasts(oven, tmp_path, monkeypatch):
    told = []

    def refused(*_):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    with at_work(oven("curing-cabinet"), tmp_path, tell=told.append) as person:
        person.until(lambda a: a["state"] == "idle")
        monkeypatch.setattr(state_store, "save_state", refused)
        said = person.until(lambda a: a["warnings"])
        assert any("cannot be kept" in w for w in said["warnings"])
        until(lambda: any(line.startswith("TROUBLE: the state cannot be kept") for line in told))


def test_trouble_is_told_at_once_and_every_ten_minutes():
    told, now = [], [0.0]
    troubles = run_log.Troubles(told.append, lambda: now[0])
    for now[0] in range(0, 1300, 10):
        troubles.tick((f"the disk has not answered for {now[0]} s",))
    assert len(told) == 3
    troubles.tick(())
    troubles.tick(("the disk has not answered for 1 s",))
    assert len(told) == 4, "a trouble that comes back is a new one"


def test_trouble_is_told_once_at_any_simulated_speed(oven, tmp_path, monkeypatch):
    """Ten simulated minutes pass in six milliseconds at this speed, which no computer keeps."""
    told = []
    with at_work(oven("curing-cabinet"), tmp_path, tell=told.append, speed=1e5) as person:
        person.until(lambda a: a["state"] == "idle")
        simulated = person.service.pace
        assert isinstance(simulated, pace.SimulatedPace)
        monkeypatch.setattr(simulated.late, "watch", lambda *a: None)  # its window is half a minute long
        simulated.late.behind = "the speed of 1e+05 cannot be kept by this computer: it is about 40"
        begun_s = simulated.time_s
        until(lambda: simulated.time_s > begun_s + 1300.0)
    assert len([line for line in told if line.startswith("TROUBLE")]) == 1


def test_a_look_that_hangs_is_told_and_close_returns(monkeypatch):
    monkeypatch.setattr(upkeep, "STALLED_S", 0.0)
    monkeypatch.setattr(Upkeep, "close", lambda self: self._ended.set())
    made = Upkeep([lambda: time.sleep(1.0) or ""], every_s=0.01)
    until(lambda: any("not answered" in words for words in made.words))
    made.close()


def test_a_socket_that_is_another_s_is_taken_back(tmp_path):
    server = SocketServer(tmp_path / "s", lambda request: {"ok": True, "words": "mine"})
    try:
        assert server.renewed() == ""
        (tmp_path / "s").unlink()
        assert server.renewed() == "" and ask(tmp_path / "s", {"ask": "status"})["words"] == "mine"
        shutil.rmtree(tmp_path / "gone", ignore_errors=True)
    finally:
        server.close()
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize(
    ("missed", "speed", "words"),
    [
        (0, 1.0, ""),
        (1, 1.0, "does not keep up: 50%"),
        (1, 1000.0, "cannot be kept by this computer: it is about 500"),
    ],
)
def test_a_pace_that_cannot_be_kept_is_told(missed, speed, words):
    late, now_s = TickDelays(), 100.0
    for _ in range(300):
        now_s += 1.0
        late.watch(missed, now_s, speed)
    assert (words in late.behind) if words else late.behind == ""
    for _ in range(3 * round(pace.WATCH_S)):
        now_s += 1.0
        late.watch(0, now_s, speed)
    assert late.behind == "", "and it is taken back"
