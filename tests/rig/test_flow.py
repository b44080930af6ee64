"""Cycles that the board counts as commanded against this computer's plan, over hours with a different mains
frequency."""

import dataclasses
import math

import pytest

from kilnctl import Reading, firing
from kilnctl.firing import pattern_for
from kilnctl.firmware import logic
from kilnctl.rig.answers import Answer, flow_between
from kilnctl.rig.line import ARM, HELLO, FrameClient, beat, setup
from kilnctl.safety import Policy, SafetyState, Tick, judge

#: Registers of a MAX31856 at 100 °C, terminals 25 °C.
HOT_56 = bytes((25, 0, 6, 64, 0, 0))


class Mains:
    """The board's own logic on a mains frequency slightly different from this computer's; time is simulated."""

    def __init__(self, oven, hz):
        self.pattern, self.hz = pattern_for(oven), hz
        self.full = round(100.0 * oven.elements.power_w / oven.supply.voltage_v)
        self.board, self.client = logic.Board(0, 1, 0, self.pattern.groups, 50), FrameClient()
        self.board.supply = 2300
        self.phase = self.ms = 0.0
        self.step, self.duty, self.shorted = 0, 0, False
        self.cycle()
        pattern = self.pattern
        self.ask(setup(1200, groups=pattern.groups, shortest_run=pattern.shortest_run, smallest=1))
        assert self.ask(ARM).state == logic.ARMED

    def ask(self, request) -> Answer:
        answer = None
        for byte in self.client.frame(request):
            for answered in self.board.wire[: self.board.take(byte, int(self.ms))]:
                answer = self.client.take(answered)
        assert answer is not None
        return answer

    def beat(self):
        for byte in self.client.frame(beat(self.step, self.duty, True)):
            self.board.take(byte, int(self.ms))

    def cycle(self):
        board = self.board
        for channel in board.channels[:2]:
            channel.take_31856(HOT_56)
        self.ms += 1000.0 / self.hz
        board.contactor_closed = board.contactor
        board.current = self.full if self.shorted or board.relay_bits else 0
        board.cycle(int(self.ms))

    def second(self, duty):
        """One tick; the new duty arrives a few cycles late. Returns the answer at its end."""
        self.phase += self.hz
        cycles, self.phase = int(self.phase), self.phase % 1.0
        for i in range(cycles):
            if i == 3:
                self.step, self.duty = self.step + 1, round(duty * 10000)
            if i in (3, 20, 37):
                self.beat()
            self.cycle()
        return self.ask(HELLO)


def run_on(mains, oven, ticks, own_count, shorted_at=None):
    """The tick in which the rules trip, and why (0 and empty: never): with the board's count of what it was
    told, or with this computer's plan of it."""
    state, policy, fires = (
        SafetyState(),
        Policy(chamber_trip_c=1000.0, schedule_trip_c=1000.0),
        firing.ready(mains.pattern),
    )
    before = mains.second(0.0)
    for k in range(1, ticks):
        duty = 0.4 + 0.05 * math.sin(k / 300.0)
        fires, burst = firing.fire(mains.pattern, fires, duty, 1.0)
        mains.shorted = shorted_at is not None and k >= shorted_at
        after = mains.second(duty)
        flow, before = flow_between(before, after, oven), after
        assert flow is not None
        reading = Reading(
            500.0 + 0.1 * math.sin(0.7 * k),
            cold_junction_c=30.0 + 0.01 * math.sin(k),
            sample=k,
            fired=flow.fired,
            contactor_closed=True,
        )
        state, verdict = judge(
            state,
            policy,
            reading,
            Tick(float(k), k, flow.fired, commanded=flow.commanded if own_count else burst.fired, contactor=True),
        )
        if verdict.trips:
            return k, verdict.trips[0].fault
    return 0, ""


@pytest.mark.slow
def test_bursts_that_drift_against_the_plan_are_no_relay_that_conducts_unasked(cabinet):
    """Runs of 5 s at 50.05 Hz (a mains frequency of any day): within the hour the board's bursts lie opposite to the
    ones that this computer expects."""
    slow = dataclasses.replace(cabinet, switching=dataclasses.replace(cabinet.switching, minimum_on_s=5.0, relays=1))
    assert run_on(Mains(slow, 50.05), slow, 3600, own_count=False)[1] == "relay-on-unasked", (
        "the plan is no measure of it"
    )
    assert run_on(Mains(slow, 50.05), slow, 3600, own_count=True) == (0, "")
    tripped_at, fault = run_on(Mains(slow, 50.05), slow, 3600, own_count=True, shorted_at=3000)
    assert fault == "relay-on-unasked" and tripped_at < 3015
