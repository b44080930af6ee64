"""Each rule trips on its fault, stays quiet without it, and its latch gives way only to an acknowledgement with the cause gone."""

import ast
import math
from pathlib import Path

import pytest

from kilnctl import KilnctlError, Reading
from kilnctl.safety import CEILINGS, Policy, SafetyState, Tick, acknowledge, judge, policy_for
from kilnctl.safety.words import WORDS

PACKAGE = Path(__file__).parents[2] / "kilnctl"
BASE = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)


class Bench:
    """Feeds readings to the rules, one a second."""

    def __init__(self, **policy):
        self.policy = Policy(**{**BASE, **policy})
        self.state, self.now, self.step, self.verdict, self.reading, self.tick = SafetyState(), 0.0, 0, None, None, None

    def feed(self, seconds, chamber=lambda t: 100.0, dt=1.0, tick=None, **reading):
        """`chamber` and every keyword may be a value or a function of seconds since this call."""
        for i in range(int(seconds / dt)):
            t = i * dt
            self.now += dt
            self.step += 1
            here = {k: v(t) if callable(v) else v for k, v in reading.items()}
            value = chamber(t) if callable(chamber) else chamber
            if "sample" not in here:
                here["sample"] = self.step
            facts = {k: v(t) if callable(v) else v for k, v in (tick or {}).items()}
            fired = facts.pop("fired", 0.3)
            self.reading, self.tick = Reading(value, **here), Tick(self.now, self.step, fired, **facts)
            self.state, self.verdict = judge(self.state, self.policy, self.reading, self.tick)
        return self

    @property
    def faults(self):
        return set(self.state.trips)


def rising(rate, start=100.0):
    return lambda t: start + rate * t


SCENES = {
    "over-oven": (dict(chamber=305.0), dict(schedule_trip_c=299.0)),
    "over-schedule": (dict(chamber=260.0), {}),
    "over-part": (dict(part_c=220.0), dict(part_trip_c=210.0)),
    "sensor-open": (dict(chamber=math.nan, faults=("open",)), {}),
    "sensor-short-ground": (dict(chamber=math.nan, faults=("short-ground",)), {}),
    "sensor-short-supply": (dict(faults=("short-supply",)), {}),
    "sensor-no-chip": (dict(chamber=math.nan, faults=("no-chip",)), {}),
    "sensor-bus-error": (dict(faults=("bus-error",)), {}),
    "sensor-cold-junction": (dict(faults=("cold-junction",)), {}),
    "sensor-not-a-number": (dict(chamber=math.nan), {}),
    "sensor-jump": (dict(chamber=25.0), {}),
    "sensor-frozen": (dict(chamber=100.0, sample=5), {}),
    "sensor-noisy": (dict(chamber=lambda t: 100.0 + (150.0 if t % 3 < 1 else 0.0)), {}),
    "limit-sensor": (dict(limit_c=None), dict(has_limit_sensor=True)),
    "sensors-disagree": (dict(limit_c=180.0), dict(has_limit_sensor=True)),
    "cold-junction": (dict(cold_junction_c=95.0), {}),
    "heat-no-rise": (dict(tick=dict(fired=1.0)), {}),
    "rise-no-heat": (dict(chamber=lambda t: 100.0 + 0.05 * t, tick=dict(fired=0.0)), {}),
    "unexplained-heat": (dict(tick=dict(unexplained_w=2000.0, full_power_w=3000.0)), {}),
    "missing-heat": (dict(tick=dict(unexplained_w=-2000.0, full_power_w=3000.0)), {}),
    "ventilation": (dict(airflow_proved=False), dict(airflow_required=True)),
    "contactor-welded": (dict(contactor_closed=True, tick=dict(heating=False)), {}),
    "contactor-open": (dict(contactor_closed=False), {}),
    "energy": (dict(tick=dict(energy_j=2e7)), dict(most_energy_j=1e7)),
    "run-time": (dict(tick=dict(run_s=7000.0)), dict(longest_s=6000.0)),
    "board-lost": (dict(faults=("board-lost",)), {}),
    "board-fault": (dict(faults=("board-fault",)), {}),
}
QUIET = dict(limit_c=101.0, part_c=90.0, cold_junction_c=30.0, airflow_proved=True, door_open=False)


@pytest.mark.parametrize("fault", SCENES)
def test_rule_trips_on_its_fault_and_not_before(fault):
    scene, policy = SCENES[fault]
    bench = Bench(**policy).feed(60, chamber=lambda t: 100.0 + 0.3 * math.sin(t), **QUIET)
    assert bench.faults == set(), "quiet before the fault"
    assert bench.verdict.permit is not None
    bench.feed(1500, **{**QUIET, **scene})
    assert fault in bench.faults
    assert bench.verdict.permit is None and not bench.verdict.contactor_allowed
    trip = bench.state.trips[fault]
    assert trip.seen and trip.check and "{" not in trip.seen and trip.time_s > 60.0


@pytest.mark.parametrize("fault", SCENES)
def test_latch_holds_until_the_cause_is_gone_and_somebody_acknowledges(fault):
    scene, policy = SCENES[fault]
    bench = Bench(**policy).feed(60, chamber=lambda t: 100.0 + 0.3 * math.sin(t), **QUIET).feed(1500, **{**QUIET, **scene})
    standing_causes = {"over-oven", "over-schedule", "over-part", "sensor-open", "sensor-short-ground", "sensor-short-supply", "sensor-no-chip",
                       "sensor-bus-error", "sensor-cold-junction", "sensor-not-a-number", "limit-sensor", "ventilation", "contactor-welded",
                       "energy", "run-time", "board-lost", "board-fault"}  # fmt: skip
    if fault in standing_causes:
        tick = Tick(bench.now + 1.0, bench.step + 1, bench.tick.fired, bench.tick.unexplained_w, bench.tick.full_power_w, 0.0,
                    bench.tick.energy_j, bench.tick.run_s, bench.tick.heating)  # fmt: skip
        _, standing = acknowledge(bench.state, bench.policy, bench.reading, tick)
        assert fault in standing, "the cause is still there"
    # The cause goes away by itself: the trip does not.
    bench.feed(30, chamber=lambda t: 100.0 + 0.3 * math.sin(t), tick=dict(fired=0.0, heating=True), **QUIET)
    assert fault in bench.faults and bench.verdict.permit is None
    tick = Tick(bench.now + 1.0, bench.step + 1, 0.0)
    bench.state, standing = acknowledge(bench.state, bench.policy, Reading(100.0, sample=10**6, **QUIET), tick)
    assert standing == ()
    bench.now, bench.step = bench.now + 1.0, bench.step + 1
    bench.feed(5, chamber=lambda t: 100.0 + 0.3 * math.sin(t), **QUIET)
    assert bench.faults == set() and bench.verdict.permit is not None


def test_every_trip_has_words_and_every_word_a_test():
    assert set(WORDS) == set(SCENES) | {"loop-stalled", "clock"}


def test_a_stalled_loop_and_a_clock_that_stands_trip():
    bench = Bench().feed(10, **QUIET)
    bench.now += 10.0
    assert "loop-stalled" in bench.feed(1, **QUIET).faults
    for dt, forward in ((0.0, 1), (-3.0, 1), (1.0, 0), (math.nan, 1)):
        bench = Bench().feed(10, **QUIET)
        state, verdict = judge(bench.state, bench.policy, bench.reading, Tick(bench.now + dt, bench.step + forward, 0.0))
        assert "clock" in state.trips and verdict.permit is None
    assert "clock" not in Bench().feed(100, **QUIET).faults


def test_heat_is_off_at_the_first_bad_reading_and_comes_back_if_it_heals():
    bench = Bench().feed(30, **QUIET)
    bench.feed(4, chamber=math.nan, faults=("open",), **{k: v for k, v in QUIET.items()})
    assert bench.verdict.permit is None and not bench.faults and bench.verdict.contactor_allowed
    bench.feed(2, **QUIET)
    assert bench.verdict.permit is not None and not bench.faults


def test_one_wild_sample_is_not_believed_and_costs_one_tick():
    bench = Bench().feed(30, chamber=200.0, **{**QUIET, "limit_c": 200.0}).feed(1, chamber=320.0, **QUIET)
    assert bench.verdict.permit is None and not bench.verdict.usable and bench.faults == set()
    assert bench.feed(1, chamber=200.1, **QUIET).verdict.permit is not None


def test_open_door_or_lost_airflow_takes_the_heat_and_gives_it_back():
    bench = Bench(door_switch=True, airflow_required=True).feed(10, **QUIET)
    assert bench.verdict.permit is not None
    assert bench.feed(5, **{**QUIET, "door_open": True}).verdict.permit is None
    assert bench.feed(2, **QUIET).verdict.permit is not None
    assert bench.feed(5, **{**QUIET, "airflow_proved": None}).verdict.permit is None
    assert bench.faults == set()


def test_a_fast_falling_reading_is_not_answered_with_more_heat():
    bench = Bench().feed(200, chamber=lambda t: 200.0 + 0.2 * math.sin(t), tick=dict(fired=0.3), **QUIET)
    bench.feed(8, chamber=lambda t: 200.0 - 4.0 * t, tick=dict(fired=0.3), **QUIET)
    assert bench.verdict.permit is None or bench.verdict.permit.duty_limit < 0.4


def test_a_long_soak_near_the_top_of_the_oven_is_not_taken_for_a_broken_element():
    bench = Bench().feed(3000, chamber=lambda t: 200.0 + 0.2 * math.sin(t), tick=dict(fired=0.95, full_power_w=3000.0, holding_w=2800.0), **QUIET)
    assert bench.faults == set()


@pytest.mark.parametrize("name", CEILINGS)
def test_no_setting_lifts_a_ceiling(name):
    with pytest.raises(KilnctlError, match="no setting may lift"):
        Policy(**{**BASE, name: CEILINGS[name] * 1.01})
    assert Policy(**{**BASE, name: CEILINGS[name]})


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan])
def test_a_threshold_that_is_no_number_above_zero_is_refused(bad):
    with pytest.raises(KilnctlError):
        Policy(**{**BASE, "frozen_s": bad})


def test_policy_follows_the_description_and_the_schedule(oven, schedule):
    p = policy_for(oven("curing-cabinet"), schedule("powder-cure"))
    assert (p.chamber_trip_c, p.schedule_trip_c) == (275.0, 240.0)
    assert p.airflow_required and p.has_limit_sensor and p.longest_s == 6 * 3600.0
    assert policy_for(oven("brick-kiln")).chamber_trip_c == 1125.0


def test_judge_changes_nothing_it_is_given():
    bench = Bench().feed(20, **QUIET)
    before = (dict(bench.state.trips), dict(bench.state.over), bench.state.good_c, bench.state.time_s)
    judge(bench.state, bench.policy, Reading(math.nan, faults=("board-lost",)), Tick(bench.now + 1.0, bench.step + 1, 0.0))
    assert (dict(bench.state.trips), dict(bench.state.over), bench.state.good_c, bench.state.time_s) == before


def test_only_the_chain_passes_duty_to_firing_and_only_loops_drive_a_plant():
    """One door: `pass_duty` is called in the chain alone, `fire` likewise, and a plant or rig is driven only with a chain's answer."""
    callers: dict[str, set[str]] = {"pass_duty": set(), "fire": set(), "heat": set(), "advance": set()}
    for path in PACKAGE.rglob("*.py"):
        relative = path.relative_to(PACKAGE).as_posix()
        if relative.startswith(("plants/", "firmware/")):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                if name in callers and not (name == "advance" and "reference" in ast.unparse(node.func)):
                    callers[name].add(relative)
    assert callers["pass_duty"] == {"chain.py"}
    assert callers["fire"] == {"chain.py"}
    assert callers["advance"] <= {"rehearsal.py", "model/learn.py", "rig/virtual.py"}
    assert all(c.startswith(("service/", "rig/")) for c in callers["heat"])


def test_safety_needs_no_numpy():
    for path in (PACKAGE / "safety").glob("*.py"):
        names = {n.names[0].name for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.Import)}
        names |= {n.module or "" for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.ImportFrom)}
        assert not {n for n in names if n.split(".")[0] in ("numpy", "scipy", "time", "os", "threading")}, path
