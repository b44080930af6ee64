"""Deadlines, lateness, the state's keeper, and what is asked of the operating system."""

import itertools
import math
import os
import socket
import threading
import time
import types

import pytest

from kilnctl import Reading, clock
from kilnctl.errors import KilnctlError
from kilnctl.record.columns import INDEX, NAMES
from kilnctl.rig.pins import LocalLine
from kilnctl.safety import Policy, SafetyState, Tick, judge
from kilnctl.service import operating_system
from kilnctl.service.live_curve import MOST_ROWS, LiveCurve
from kilnctl.service.pace import RealPace, SimulatedPace, TickDelays
from kilnctl.service.state_store import StateStore


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


class Never(threading.Event):
    """An event that nobody sets; waiting for it lets the clock go on."""

    def __init__(self, clock, late=0.0):
        super().__init__()
        self.clock, self.late = clock, late

    def wait(self, timeout=None):
        assert timeout is not None
        self.clock.now += timeout + self.late
        return False


def suspended(monkeypatch, known=True):
    """A computer that was suspended for an hour: the one clock has counted it (clock_gettime(2): CLOCK_BOOTTIME), the
    other has not."""
    times = types.SimpleNamespace(monotonic=lambda: 100.0)
    if known:
        times.clock_gettime = lambda which: {7: 3700.0}[which]
    monkeypatch.setattr(clock, "time", times)
    monkeypatch.setattr(clock, "COUNTS_SUSPEND", 7 if known else None)


def test_time_passes_while_the_computer_is_suspended(monkeypatch):
    pace = RealPace(1.0)
    before = pace.now_s()
    suspended(monkeypatch)
    assert (
        pace.now_s()
        == RealPace(1.0).now_s()
        == operating_system.boot()[1]
        == LocalLine.milliseconds() / 1000.0
        == 3700.0
        != before
    )
    suspended(monkeypatch, known=False)
    assert RealPace(1.0).now_s() == 100.0, "where the platform has no such clock"


def test_the_platform_s_clock_is_the_one_that_counts_suspend():
    assert clock.COUNTS_SUSPEND == time.CLOCK_BOOTTIME
    first, then = clock.passed_s(), time.clock_gettime(time.CLOCK_BOOTTIME)
    assert first <= then <= clock.passed_s()


def test_an_hour_of_suspend_is_a_stall_for_the_rules():
    now = Clock()
    pace, state = RealPace(1.0, now), SafetyState()
    policy = Policy(chamber_trip_c=300.0, schedule_trip_c=300.0)
    for k in range(1, 6):
        assert pace.wait(Never(now))
        now.now += 3600.0 * (k == 5)
        state, verdict = judge(state, policy, Reading(100.0, sample=k), Tick(pace.now_s(), k, 0.3))
        assert (verdict.permit is not None) is (1 < k < 5)
    assert set(state.trips) == {"loop-stalled"}


def test_a_late_tick_does_not_move_the_ones_after_it():
    clock = Clock()
    pace = RealPace(1.0, clock)
    begun = []
    for late in (0.0, 0.3, 0.0, 0.0):
        assert pace.wait(Never(clock, late))
        begun.append(clock.now)
    assert begun == pytest.approx([100.0, 101.3, 102.0, 103.0])
    assert pace.late.count == 4 and pace.late.overruns == 0 and pace.late.worst_s == pytest.approx(0.3)


def test_missed_ticks_are_left_out_and_counted():
    clock = Clock()
    pace = RealPace(1.0, clock)
    pace.wait(Never(clock))
    pace.wait(Never(clock, 3.4))
    pace.wait(Never(clock))
    assert clock.now == pytest.approx(105.0) and pace.late.overruns == 1


def test_a_stop_does_not_wait_for_the_tick():
    wake = threading.Event()
    pace = RealPace(1000.0)
    assert pace.wait(wake)
    wake.set()
    assert not pace.wait(wake)
    fast = SimulatedPace(1.0, math.inf)
    assert fast.wait(threading.Event()) and fast.now_s() == 1.0 and not fast.wait(wake) and fast.now_s() == 1.0


def test_quantiles_of_lateness_are_within_a_bin():
    late = TickDelays()
    assert late.quantile_s(0.5) == 0.0
    for k in range(1, 1001):
        late.add(k * 1e-4, 1.0)
    for share in (0.5, 0.9, 0.99):
        assert share * 0.1 <= late.quantile_s(share) <= share * 0.1 * 1.13
    assert late.quantile_s(1.0) == pytest.approx(0.1)


def test_one_owner_at_a_time(tmp_path):
    first = operating_system.Owner(tmp_path / "owner")
    with pytest.raises(KilnctlError, match=f"process {os.getpid()}"):
        operating_system.Owner(tmp_path / "owner")
    first.release()
    operating_system.Owner(tmp_path / "owner").release()


def test_the_watchdog_speaks_to_the_service_manager_and_never_waits(tmp_path):
    path = str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(path)
        dog = operating_system.Watchdog({"NOTIFY_SOCKET": path})
        dog.tell("WATCHDOG=1")
        assert manager.recv(100) == b"WATCHDOG=1"
        for _ in range(2000):  # nobody reads: its queue fills, and the tick goes on
            dog.tell("WATCHDOG=1")
        dog.close()
    operating_system.Watchdog({}).tell("READY=1")


def test_what_the_system_refuses_is_told(monkeypatch):
    def refuse(*a):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "sched_setscheduler", refuse)
    assert "LimitRTPRIO" in operating_system.real_time(20)


def test_places_follow_the_service_manager_and_the_user(monkeypatch, tmp_path):
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/kilnctl")
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/kilnctl")
    assert [str(p) for p in operating_system.places("Brick box kiln")] == [
        "/var/lib/kilnctl/brick-box-kiln",
        "/run/kilnctl/brick-box-kiln.socket",
    ]
    monkeypatch.delenv("STATE_DIRECTORY")
    monkeypatch.delenv("RUNTIME_DIRECTORY")
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    folder, path = operating_system.places("Brick box kiln")
    assert folder == tmp_path / "kilnctl" / "brick-box-kiln" and path == folder / "socket"


def test_the_newest_state_is_kept_and_an_urgent_one_at_once(tmp_path):
    keeper = StateStore(tmp_path / "state")
    assert keeper.load() == {}
    for k in range(100):
        keeper.keep({"k": k})
    keeper.keep({"k": 100}, urgent=True)
    keeper.close()
    assert StateStore(tmp_path / "state").load() == {"k": 100}


def test_a_state_that_cannot_be_kept_is_told(tmp_path, monkeypatch):
    keeper = StateStore(tmp_path / "state")
    keeper.path = tmp_path / "gone" / "state"
    keeper.keep({"k": 1}, urgent=True)
    keeper.close()
    assert "gone" in keeper.failure


def test_a_long_curve_is_thinned_and_keeps_its_peaks():
    curve = LiveCurve()
    peak = 1234
    for k in range(MOST_ROWS + 10):
        row = [20.0] * len(NAMES)
        row[INDEX["time_s"]], row[INDEX["chamber_c"]] = float(k), 999.0 if k == peak else 20.0 + k % 7
        curve.add(tuple(row))
    assert curve.thinned == 1 and len(curve) < MOST_ROWS
    first, columns = curve.since(0, MOST_ROWS)
    assert first == 0 and max(columns["chamber_c"]) == 999.0
    assert all(a < b for a, b in itertools.pairwise(columns["time_s"]))
    assert columns["time_s"][-1] > MOST_ROWS + 5, "the rest waits until there are as many as two rows stand for"
