"""A trip that doubts the reading keeps the last believed value; the reading is believed again only where the chamber
may be."""

import dataclasses

import pytest

from kilnctl import Reading
from kilnctl.safety import Tick, acknowledge, judge
from kilnctl.safety.start_test import begin, failed
from kilnctl.safety.state import DOUBTED, SafetyState, trip
from tests.safety.safety_scenes import QUIET, Bench, level, play

AWAY = {
    "sensor-jump": level(600.0),
    "sensor-shorted": level(31.0),
    "reading-fell": lambda t: max(600.0, 800.0 - 8.0 * t) + 0.001 * (t % 2),
}


@pytest.mark.parametrize("fault", DOUBTED)
def test_a_reading_that_went_away_counts_again_where_the_chamber_may_be(fault):
    hot = {**QUIET, "chamber": level(800.0), "limit_c": None}
    bench = (
        Bench(chamber_trip_c=1000.0, schedule_trip_c=1000.0)
        .feed(60, **hot)
        .feed(400, **{**hot, "chamber": AWAY[fault]}, tick=dict(fired=0.0))
    )
    then_c, then_s = bench.state.believed[fault]
    # After smoothing over a few seconds the fall is known to within one second, which is 8 K.
    assert then_c == pytest.approx(800.0, abs=8.0) and then_s == pytest.approx(62.0, abs=4.0)
    # At 10 K of slack and 0.1 K/s the chamber cannot be 5 K below that. The last good reading may have changed since;
    # the trip keeps the value of its own time.
    cooler = then_c - 10.0 - 0.1 * (bench.now + 301.0 - then_s) - 5.0
    bench.feed(300, **{**QUIET, "chamber": level(cooler), "limit_c": None}, tick=dict(fired=0.0, heating=False))

    def seen(value):
        reading = Reading(value, **{**QUIET, "limit_c": None})
        return acknowledge(bench.state, bench.policy, reading, bench.later(), "the founder")[1]

    assert (
        fault in seen(cooler)
        and fault not in seen(cooler + 10.0)
        and fault not in seen(then_c)
        and fault in seen(then_c + 15.0)
    )


def test_a_sensor_outside_that_is_warmed_is_still_outside():
    """Fallen from 200 to 100 °C seven minutes ago, and at 112 °C now: a closed oven would be at 140 °C or above."""
    bench = play("reading-fell", "trip")
    bench.feed(
        60,
        **{**QUIET, "chamber": lambda t: 100.0 + min(12.0, 0.5 * t), "limit_c": None},
        tick=dict(fired=0.0, heating=False),
    )
    # Both if the rule counts the rise as the end of the fall, and if it does not.
    for state in (bench.state, dataclasses.replace(bench.state, fall=None)):
        assert acknowledge(state, bench.policy, bench.reading, bench.tick, "k")[1] == ("reading-fell",)


@pytest.mark.parametrize("fault", DOUBTED)
def test_a_trip_stands_while_the_believed_value_is_unknown(fault):
    state = SafetyState()
    trip(state, fault, 1.0, last="the start", time=10.0, fall=50.0)
    assert fault in state.trips and state.believed == {}
    assert acknowledge(state, Bench().policy, Reading(24.0), Tick(1e6, 9, 0.0), "k")[1] == (fault,)
    known = dataclasses.replace(state, believed={fault: (24.0, 0.0)})
    cleared, standing = acknowledge(known, Bench().policy, Reading(24.0), Tick(1e6, 9, 0.0), "k")
    assert standing == () and cleared.believed == {} and known.believed, "cleared with its trip, in the new state only"


def test_judging_on_leaves_what_was_believed_and_shares_it_with_no_other_state():
    bench = Bench().feed(30, **QUIET).feed(20, **{**QUIET, "chamber": level(180.0)})
    before = dict(bench.state.believed)
    assert before["sensor-jump"][0] == pytest.approx(100.0, abs=1.0)
    new, _ = judge(bench.state, bench.policy, bench.reading, bench.later())
    assert new.believed == before and new.believed is not bench.state.believed


def test_a_frozen_sensor_is_gone_when_the_samples_go_on_and_not_before():
    """The acknowledgement looks at the reading that was judged last; seeing it a second time does not make it
    frozen."""
    bench = play("sensor-frozen", "trip")
    assert acknowledge(bench.state, bench.policy, bench.reading, bench.tick, "k")[1] == ("sensor-frozen",)
    bench.feed(1, **{**QUIET, "sample": 6})
    assert acknowledge(bench.state, bench.policy, bench.reading, bench.tick, "k")[1] == ()
    bench.feed(5, **{**QUIET, "sample": 6})
    assert acknowledge(bench.state, bench.policy, bench.reading, bench.tick, "k")[1] == ("sensor-frozen",)
    unknown = dataclasses.replace(bench.reading, sample=None)
    assert acknowledge(bench.state, bench.policy, unknown, bench.tick, "k")[1] == (), (
        "a rig that does not count its samples"
    )


@pytest.mark.parametrize(("closed", "stands"), [(True, True), (False, False), (None, False)])
def test_a_contactor_that_failed_the_start_test_has_to_read_open(closed, stands):
    broken, _ = failed(begin(0.0)[0], 3.0, "start-contactor", "the contactor reads closed with its coil off")
    assert broken.trip is not None
    state = SafetyState(trips={"start-contactor": broken.trip})
    assert (
        bool(acknowledge(state, Bench().policy, Reading(24.0, contactor_closed=closed), Tick(9.0, 9, 0.0), "k")[1])
        is stands
    )
