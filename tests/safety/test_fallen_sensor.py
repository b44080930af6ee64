"""A thermocouple that hangs outside, in air of varying temperature: it gets no more heat than before, and the heat ends
within the time of F12."""

import dataclasses
import math
from typing import Any

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.run.rehearsal import rehearse
from kilnctl.run.virtual_plant import virtual_oven
from kilnctl.safety import policy_for
from kilnctl.safety.fault_table import by_id
from kilnctl.settings.schedule import schedule_of
from tests.safety.safety_scenes import Bench


def alone(oven):
    """Without second sensor and without meters: only the reading shows the fault."""
    return dataclasses.replace(
        oven,
        sensors=dataclasses.replace(oven.sensors, limit=None),
        meters=dataclasses.replace(oven.meters, current=False),
    )


class Hanging:
    """A virtual oven whose control sensor hangs outside from `out_s` (s) on, in air of `base` ± `wavers` °C, with that
    lag."""

    def __init__(self, oven, out_s, base, wavers, period_s, lag_s):
        self.plant: Any = virtual_oven(oven, oven.usual_load)  # the detailed oven, which tells its time too
        self.out_s, self.base, self.wavers, self.period_s, self.lag_s = out_s, base, wavers, period_s, lag_s
        self.seen = 0.0

    def __getattr__(self, name):
        return getattr(self.plant, name)

    def advance(self, dt_s, duty, contactor_closed):
        reading = self.plant.advance(dt_s, duty, contactor_closed)
        out = self.plant.time_s - self.out_s
        if out < 0.0:
            self.seen = reading.chamber_c
            return reading
        air = self.base + self.wavers * math.sin(2.0 * math.pi * out / self.period_s) + 0.01 * out
        self.seen += (air - self.seen) * (1.0 - math.exp(-dt_s / self.lag_s))
        return dataclasses.replace(reading, chamber_c=self.seen + 0.1 * math.sin(1.7 * out))


@pytest.mark.parametrize("base, wavers, period_s, lag_s", [(60.0, 6.0, 150.0, 25.0), (100.0, 10.0, 200.0, 40.0)])
def test_a_draught_is_no_answer(oven, base, wavers, period_s, lag_s):
    muffle = alone(oven("bench-muffle"))
    plan = schedule_of("schedule: t\nsteps:\n  - {to: 600 °C, hold: 1 h, within: 10 K}\n", "t")
    plant = Hanging(muffle, 2400.0, base, wavers, period_s, lag_s)
    run = rehearse(muffle, plan, plant)
    assert run.outcome == "tripped"
    trip, row = run.trips[0], by_id("F12")
    assert row.detect_within_s is not None
    assert trip.fault in row.rules and trip.time_s - 2400.0 <= row.detect_within_s
    # 600 °C was the setpoint: the chamber itself, which no sensor measures any more, stays there.
    assert max(run.true_chamber_c) < 615.0


@pytest.mark.parametrize(("wavers", "answered"), [(6.0, False), (60.0, True)])
def test_what_counts_as_an_answer_grows_with_the_fall(oven, wavers, answered):
    """A fall of 140 K needs a rise of 35 K to end: the air in front of a hot furnace does not vary that much, a chamber
    whose door was shut again does."""
    muffle = alone(oven("bench-muffle"))
    bench = Bench()
    bench.policy = policy_for(muffle, None, day_zero(muffle, muffle.usual_load, 900.0))
    bench.feed(300, chamber=lambda t: 200.0 + 0.1 * math.sin(t))
    bench.feed(
        290,
        chamber=lambda t: 60.0 + 140.0 * math.exp(-t / 20.0) + wavers * math.sin(t / 20.0) + 0.1 * math.sin(1.7 * t),
    )
    limit = bench.permit.duty_limit
    assert bench.faults == set() and (limit == 1.0 if answered else limit < 0.31)
