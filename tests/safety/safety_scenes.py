"""A bench that feeds readings to the rules, and one scene for each rule: what trips it, and a near miss that must
not."""

import math
from typing import Any

from kilnctl import Reading
from kilnctl.safety import Permit, Policy, SafetyState, Tick, Verdict, judge
from kilnctl.safety.coolest import LumpedOven
from kilnctl.safety.judge import cause_stands

BASE: dict[str, Any] = dict(chamber_trip_c=300.0, schedule_trip_c=250.0)
#: Every field that a fully wired oven reports when all is well.
QUIET: dict[str, Any] = dict(limit_c=101.0, part_c=90.0, cold_junction_c=30.0, airflow_proved=True, door_open=False)


def steady(t):
    return 100.0 + 0.3 * math.sin(t)


class Bench:
    """Feeds readings to the rules, one a second. Every value may be a function of the seconds since the call."""

    verdict: Verdict  # of the last look, with its reading and tick
    reading: Reading
    tick: Tick

    def __init__(self, **policy):
        self.policy = Policy(**{**BASE, **policy})
        self.state, self.now, self.step = SafetyState(), 0.0, 0
        self.warnings: set[str] = set()
        self.dangers: set[str] = set()
        self.tripped_after: dict[str, float] = {}

    def feed(self, seconds: float, chamber: Any = steady, dt: Any = 1.0, tick: Any = None, **reading: Any):
        for i in range(round(seconds / dt)):
            t = i * dt
            self.now += dt
            self.step += 1
            here: dict[str, Any] = {k: v(t) if callable(v) else v for k, v in reading.items()}
            here.setdefault("sample", self.step)
            # A converter whose bits change even at a constant temperature.
            here.setdefault("bits", self.step.to_bytes(4, "big"))
            facts: dict[str, Any] = {k: v(t) if callable(v) else v for k, v in (tick or {}).items()}
            chamber_c: Any = chamber(t) if callable(chamber) else chamber
            self.reading = Reading(chamber_c, **here)
            self.tick = Tick(self.now, self.step, facts.pop("fired", 0.3), **facts)
            self.state, self.verdict = judge(self.state, self.policy, self.reading, self.tick)
            self.warnings |= set(self.verdict.warnings)
            self.dangers |= {self.verdict.danger} - {""}
            for trip in self.verdict.new_trips:
                self.tripped_after[trip.fault] = t + dt
        return self

    def later(self, **changes):
        """A tick one second after the last."""
        return Tick(self.now + 1.0, self.step + 1, changes.pop("fired", 0.0), **changes)

    @property
    def permit(self) -> Permit:
        """The permit of the last look; there must be one."""
        assert self.verdict.permit is not None, self.verdict.reason
        return self.verdict.permit

    @property
    def faults(self):
        return set(self.state.trips)


def level(value):
    """As still as a real reading is."""
    return lambda t: value + 0.001 * math.sin(t)


def back_to(goal, last):
    """From the last reading to `goal` as fast as an oven can."""
    start = last if math.isfinite(last) else goal(0.0)
    return lambda t: (
        goal(t)
        + (max(0.0, start - goal(0.0) - 5.0 * t) if start > goal(0.0) else min(0.0, start - goal(0.0) + 5.0 * t))
    )


def ramp(rate, start=100.0):
    return lambda t: start + rate * t


def spikes(every, size=150.0):
    return lambda t: steady(t) + (size if t % every < 1 else 0.0)


def words(name, for_s=math.inf):
    """A fault word of the converter with NaN, for that long."""
    return dict(chamber=lambda t: math.nan if t < for_s else steady(t), faults=lambda t: (name,) if t < for_s else ())


def jitter(size):
    return lambda t: 100.0 + (size if round(t) % 2 else -size)


def fell(depth, back_s=math.inf, rate=8.0):
    """Falls by `depth`, and comes back after back_s."""
    return lambda t: steady(t) + 100.0 - (min(depth, rate * t) if t < back_s else max(0.0, depth - 2.0 * (t - back_s)))


HOT: dict[str, Any] = dict(chamber=lambda t: steady(t) + 100.0, limit_c=201.0)
FULL: dict[str, Any] = dict(unexplained_w=0.0, full_power_w=3000.0)


#: A quick oven that takes 10 W/K from room air of 20 °C.
SMALL = LumpedOven(
    full_w=3000.0,
    power_share=1.0,
    unmetered_share=0.8,
    room_c=20.0,
    element_j_per_k=10.0,
    element_w_per_k=50.0,
    element_m2=0.0,
    chamber_j_per_k=100.0,
    film_w_per_k=100.0,
    film_m2=0.0,
    lining_j_per_k=(10.0, 10.0, 10.0, 10.0),
    lining_w_per_k=(4.0, 4.0, 4.0, 4.0),
    rise_per_k=(0.0, 0.0, 0.0, 0.0),
    capacity_rise_per_k=(0.0, 0.0, 0.0, 0.0),
    leak_w_per_k=9.01,
    leak_rise_per_k=0.0,
    contents_j_per_k=50.0,
    contents_w_per_k=20.0,
    contents_m2=0.0,
    extra_w=0.0,
    door_w_per_k=200.0,
    door_m2=0.0,
    water_j=0.0,
    lag_s=5.0,
    apart_k=12.0,
    apart_share=0.025,
)


def scene(trip, miss, policy=None, before=None, seconds=1500):
    return dict(trip=trip, miss=miss, policy=policy or {}, before=before or {}, seconds=seconds)


#: Rule → scene: `trip` and `miss` are keywords of `Bench.feed`, fed after a quiet minute of `before`.
SCENES = {
    "over-oven": scene(
        dict(chamber=level(301.0)),
        dict(chamber=level(299.9)),
        dict(schedule_trip_c=300.0),
        dict(chamber=level(297.0), limit_c=290.0),
    ),
    "over-schedule": scene(
        dict(chamber=level(251.0)), dict(chamber=level(249.9)), {}, dict(chamber=level(247.0), limit_c=240.0)
    ),
    "over-part": scene(dict(part_c=211.0), dict(part_c=210.0), dict(part_trip_c=210.0)),
    "part-sensor": scene(
        dict(part_c=None),
        dict(part_c=lambda t: None if t < 9.0 else 90.0),
        dict(part_trip_c=210.0, has_part_sensor=True),
    ),
    "sensor-open": scene(words("open"), words("open", 8.0)),
    "sensor-short-ground": scene(words("short-ground"), words("short-ground", 8.0)),
    "sensor-short-supply": scene(words("short-supply"), words("short-supply", 8.0)),
    "sensor-no-chip": scene(words("no-chip"), words("no-chip", 8.0)),
    "sensor-bus-error": scene(words("bus-error"), words("bus-error", 8.0)),
    "sensor-cold-junction": scene(words("cold-junction"), words("cold-junction", 8.0)),
    "sensor-not-a-number": scene(dict(chamber=math.nan), dict(chamber=lambda t: math.nan if t < 8.0 else steady(t))),
    "sensor-jump": scene(dict(chamber=level(180.0)), dict(chamber=lambda t: 180.0 if t < 8.0 else steady(t)), {}, {}),
    "sensor-shorted": scene(
        dict(chamber=level(31.0)), dict(chamber=lambda t: 31.0 if t < 8.0 else steady(t)), seconds=60
    ),
    "sensor-frozen": scene(dict(sample=5), dict(sample=lambda t: int(t / 4.0))),
    "sensor-noisy": scene(dict(chamber=spikes(3)), dict(chamber=spikes(12))),
    # A wire that is open for 8 s of every 10 s, and one that is open once for the longest wait.
    "sensor-unsteady": scene(
        dict(
            chamber=lambda t: math.nan if t % 10.0 < 8.0 else steady(t),
            faults=lambda t: ("open",) if t % 10.0 < 8.0 else (),
        ),
        words("open", 9.0),
        seconds=60,
    ),
    "limit-sensor": scene(
        dict(limit_c=None), dict(limit_c=lambda t: None if t < 9.0 else 101.0), dict(has_limit_sensor=True)
    ),
    "sensors-disagree": scene(dict(limit_c=141.0), dict(limit_c=139.0), dict(has_limit_sensor=True)),
    "cold-junction": scene(dict(cold_junction_c=81.0), dict(cold_junction_c=80.0), {}, dict(cold_junction_c=78.0)),
    "rise-too-fast": scene(
        dict(chamber=lambda t: min(240.0, 100.0 + 4.0 * t) + steady(t) - 100.0),
        dict(chamber=lambda t: min(240.0, 100.0 + 2.8 * t) + steady(t) - 100.0),
        dict(rise_k_per_s=3.0),
    ),
    "reading-fell": scene(
        dict(chamber=fell(100.0), limit_c=None), dict(chamber=fell(100.0, 120.0), limit_c=None), {}, HOT, 400
    ),
    "falls-when-heated": scene(
        dict(chamber=ramp(-0.2, 30.0), tick=dict(fired=1.0)),
        dict(chamber=ramp(0.2, 30.0), tick=dict(fired=1.0)),
        {},
        dict(chamber=level(30.0), limit_c=30.0),
        300,
    ),
    "heat-no-rise": scene(
        dict(tick=dict(fired=1.0)), dict(tick=dict(fired=1.0, full_power_w=3000.0, holding_w=2200.0))
    ),
    # 100 °C takes some 800 W; the sensor may be wrong by 14 K.
    "energy-says-hotter": scene(dict(tick=dict(power_w=1200.0)), dict(tick=dict(power_w=850.0)), dict(coolest=SMALL)),
    "rise-no-heat": scene(
        dict(chamber=ramp(0.05), tick=dict(fired=0.0)),
        dict(chamber=lambda t: 100.0 + min(0.05 * t, 5.0), tick=dict(fired=0.0)),
        seconds=900,
    ),
    "unexplained-heat": scene(
        dict(tick={**FULL, "unexplained_w": 1400.0}), dict(tick={**FULL, "unexplained_w": 1000.0})
    ),
    "missing-heat": scene(dict(tick={**FULL, "unexplained_w": -1400.0}), dict(tick={**FULL, "unexplained_w": -1000.0})),
    "relay-on-unasked": scene(dict(fired=0.6, tick=dict(commanded=0.3)), dict(fired=0.34, tick=dict(commanded=0.3))),
    "relay-open": scene(
        dict(fired=0.0, contactor_closed=True, tick=dict(commanded=0.3)),
        dict(fired=0.05, contactor_closed=True, tick=dict(commanded=0.3)),
    ),
    "supply-lost": scene(
        dict(supply_v=20.0), dict(supply_v=lambda t: 20.0 if t < 9.0 else 230.0), dict(nominal_v=230.0)
    ),
    "ventilation": scene(
        dict(airflow_proved=False), dict(airflow_proved=lambda t: t > 28.0), dict(airflow_required=True, purge_s=30.0)
    ),
    "contactor-welded": scene(
        dict(contactor_closed=True, tick=dict(heating=False)),
        dict(contactor_closed=lambda t: t < 1.0, tick=dict(heating=False)),
    ),
    "contactor-open": scene(dict(contactor_closed=False), dict(contactor_closed=lambda t: t > 0.5)),
    "energy": scene(dict(tick=dict(energy_j=1.01e7)), dict(tick=dict(energy_j=1e7)), dict(most_energy_j=1e7)),
    "run-time": scene(dict(tick=dict(run_s=6001.0)), dict(tick=dict(run_s=6000.0)), dict(longest_s=6000.0)),
    "loop-stalled": scene(dict(dt=2.6, seconds=2.6), dict(dt=2.5, seconds=250)),
    "board-lost": scene(dict(faults=("board-lost",)), dict(faults=("something else",))),
    "board-fault": scene(dict(faults=("board-fault",)), dict(faults=())),
}
#: Rules whose cause a reading shows while it lasts; for the others a person's confirmation is enough.
CAUSE_SHOWS = {
    "over-oven",
    "over-schedule",
    "over-part",
    "part-sensor",
    "sensor-open",
    "sensor-short-ground",
    "sensor-short-supply",
    "sensor-no-chip",
    "sensor-bus-error",
    "sensor-cold-junction",
    "sensor-not-a-number",
    "sensor-jump",
    "sensor-shorted",
    "sensor-frozen",
    "sensor-noisy",
    "sensor-unsteady",
    "limit-sensor",
    "sensors-disagree",
    "cold-junction",
    "reading-fell",
    "energy-says-hotter",
    "relay-on-unasked",
    "supply-lost",
    "ventilation",
    "contactor-welded",
    "energy",
    "run-time",
    "board-lost",
    "board-fault",
}


def play(rule, part):
    """A bench after a quiet minute and then the scene's `trip` or `miss`."""
    it = SCENES[rule]
    before = {**QUIET, **it["before"]}
    bench = Bench(**it["policy"]).feed(60, **before)
    assert bench.faults == set() and bench.verdict.permit is not None, "quiet before the fault"
    bench.tripped_after.clear()
    return bench.feed(**{"seconds": it["seconds"], **before, **it[part]})


#: An oven with every option, and what its rig reports when all is well.
EVERYTHING = Policy(
    **BASE,
    has_limit_sensor=True,
    has_part_sensor=True,
    part_trip_c=200.0,
    nominal_v=200.0,
    airflow_required=True,
    door_switch=True,
)
ALL_WELL: dict[str, Any] = {**QUIET, "supply_v": 200.0}


def warm(**values):
    """After some good ticks, the last at 100 s, and a purge until 50 s."""
    known: dict[str, Any] = dict(
        time_s=100.0, step=100, good_c=100.0, good_s=100.0, before_c=100.0, slow_c=100.0, top_c=100.0
    )
    return SafetyState(**{**known, "coil": True, "purge_until_s": 50.0, **values})


def stands(
    fault, chamber: Any = 100.0, s: Any = None, policy: Any = EVERYTHING, tick: Any = None, **reading: Any
) -> bool:
    """Whether the cause of a trip still stands, 100 s later."""
    facts: dict[str, Any] = {"time_s": 200.0, "step": 200, "fired": 0.0, **(tick or {})}
    now = Tick(**facts)
    return cause_stands(fault, s or warm(), policy, Reading(chamber, **{**ALL_WELL, **reading}), now)
