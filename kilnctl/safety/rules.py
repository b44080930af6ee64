"""The rules: one pure `judge` a tick. Measured time and readings in; trips, warnings and a permit (or none) out.

Plain floats, no clock, no file. Nothing here trusts that anything else works: a missing, late, repeated or impossible
input ends the permit. A trip latches until its cause is gone and a person acknowledges it.
"""

import copy
import math
from dataclasses import dataclass, field

from ..reading import SENSOR_FAULTS, Reading
from .gate import LEASE_S, Permit
from .policy import Policy
from .words import WORDS


@dataclass(frozen=True, slots=True)
class Tick:
    """What the loop knows at this moment. Times of the monotonic clock.

    step          control step counter, one more each tick
    fired         share of full power since the last tick (read back if the rig can, else commanded)
    unexplained_w heat the model cannot explain, W: above 0 too hot, below 0 too cold; None without a model
    full_power_w  what full power is, W
    holding_w     what the model would need to hold this temperature for ever, W
    energy_j, run_s  used by this run so far
    heating       the run wants heat at all (False when idle or only cooling)
    wall_s        wall clock, only to notice that it and the monotonic clock part
    """

    time_s: float
    step: int
    fired: float
    unexplained_w: float | None = None
    full_power_w: float = math.inf
    holding_w: float = 0.0
    energy_j: float = 0.0
    run_s: float = 0.0
    heating: bool = True
    wall_s: float | None = None


@dataclass(frozen=True, slots=True)
class Trip:
    """A latched refusal of heat, in plain words. `fault` is the id of a row of the fault table."""

    fault: str
    time_s: float
    seen: str
    done: str
    check: str

    def __str__(self) -> str:
        return f"{self.fault}: {self.seen}. {self.done} With the power off, check: {self.check}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """permit is None when there must be no heat this tick; `reason` says why in plain words. The contactor is judged apart.
    `usable`: the control reading can be believed this tick."""

    permit: Permit | None
    contactor_allowed: bool
    trips: tuple[Trip, ...]
    new_trips: tuple[Trip, ...]
    warnings: tuple[str, ...]
    reason: str
    usable: bool = False


@dataclass(slots=True)
class SafetyState:
    """Carried from tick to tick; `judge` returns a new one and never changes the old. All times are tick-clock seconds."""

    trips: dict[str, Trip] = field(default_factory=dict)
    time_s: float | None = None
    wall_s: float | None = None
    step: int | None = None
    good_c: float | None = None
    good_s: float = 0.0
    suspect: int = 0
    rejects: float = 0.0
    raw: tuple = ()
    raw_since_s: float = 0.0
    over: dict[str, float] = field(default_factory=dict)
    slow_c: float | None = None
    window: tuple[float, float, float] | None = None  # start s, start °C, full-power seconds since
    quiet: tuple[float, float] | None = None  # since when no heat, lowest °C since
    off_s: float = 0.0
    excess_s: float = 0.0
    lack_s: float = 0.0
    mean_fired: float = 0.0
    commanded: bool | None = None  # the contactor, as last allowed
    commanded_s: float = 0.0


def judge(state: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> tuple[SafetyState, Verdict]:
    """One look. Pure: same arguments, same answer; `state` is not changed."""
    s = copy.copy(state)
    s.trips, s.over = dict(state.trips), dict(state.over)
    before = set(s.trips)
    warnings: list[str] = []

    if not _clock_is_sound(s, policy, tick):
        # Without a clock nothing else can be judged; the state keeps what it knew.
        return s, _verdict(s, tick, before, warnings, 0.0, "the control loop's clock cannot be trusted")
    dt = 0.0 if state.time_s is None else tick.time_s - state.time_s
    s.time_s, s.step, s.wall_s = tick.time_s, tick.step, tick.wall_s
    fired = tick.fired if _finite(tick.fired) and 0.0 <= tick.fired <= 1.0 else 1.0
    s.mean_fired += (fired - s.mean_fired) * min(1.0, dt / 30.0)

    usable = _sensor(s, policy, reading, tick, dt, warnings)
    _temperatures(s, policy, reading, tick, usable, warnings)
    limit = 1.0
    if usable:
        limit = _behaviour(s, policy, reading.chamber_c, tick, dt, fired)
    _surroundings(s, policy, reading, tick, warnings)

    reason = "all rules are content"
    if not usable and not s.trips:
        reason = "no trustworthy reading at the moment: heat is off, waiting a few seconds for it to come back"
        limit = 0.0
    if policy.door_switch and reading.door_open:
        reason, limit = "the door is open", 0.0
    if policy.airflow_required and reading.airflow_proved is not True:
        reason, limit = "the ventilation is not proved", 0.0
    return s, _verdict(s, tick, before, warnings, limit, reason, usable)


def _verdict(s: SafetyState, tick: Tick, before: set, warnings: list[str], limit: float, reason: str, usable: bool = False) -> Verdict:
    trips = tuple(s.trips.values())
    new = tuple(t for t in trips if t.fault not in before)
    if trips:
        reason, limit = trips[0].seen, 0.0
    permit = None
    if limit > 0.0 and tick.heating:
        permit = Permit(tick.time_s, tick.time_s + LEASE_S, tick.step, limit)
    elif limit > 0.0:
        reason = "no heat is wanted"
    allowed = not trips and tick.heating
    if allowed != s.commanded:
        s.commanded, s.commanded_s = allowed, tick.time_s if _finite(tick.time_s) else s.commanded_s
    return Verdict(permit, allowed, trips, new, tuple(warnings), reason, usable)


def _finite(value) -> bool:
    return isinstance(value, (int, float)) and math.isfinite(value)


def _trip(s: SafetyState, fault: str, time_s: float, **facts) -> None:
    if fault not in s.trips:
        seen, check = WORDS[fault]
        time_s = time_s if _finite(time_s) else (s.time_s or 0.0)
        s.trips[fault] = Trip(fault, time_s, seen.format(**facts), "The heat was cut and the contactor opened.", check)


def _lasting(s: SafetyState, name: str, condition: bool, now_s: float, for_s: float) -> bool:
    """True once the condition has held without a break for that long."""
    if not condition:
        s.over.pop(name, None)
        return False
    return now_s - s.over.setdefault(name, now_s) >= for_s


def _clock_is_sound(s: SafetyState, policy: Policy, tick: Tick) -> bool:
    if not _finite(tick.time_s) or type(tick.step) is not int:
        _trip(s, "clock", tick.time_s, what="the time of the control loop is not a number")
        return False
    if s.time_s is not None:
        if tick.time_s <= s.time_s or tick.step <= s.step:
            _trip(s, "clock", tick.time_s, what="the control loop's time or step counter did not advance")
            return False
        if tick.time_s - s.time_s > policy.stall_s:
            _trip(s, "loop-stalled", tick.time_s, gap=tick.time_s - s.time_s)
            # The stall is over, the clock is sound again: go on judging, with the trip latched.
    return True


def _sensor(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, dt: float, warnings: list[str]) -> bool:
    """Whether the control reading can be trusted this tick. Keeps the last good one, and trips when trust stays away."""
    now, value = tick.time_s, reading.chamber_c
    faults = [f for f in reading.faults if f in SENSOR_FAULTS]
    if "board-lost" in reading.faults:
        _trip(s, "board-lost", now)
    if "board-fault" in reading.faults:
        _trip(s, "board-fault", now)
    if faults:
        bad = faults[0]
    elif not _finite(value) or not -60.0 <= value <= 1820.0:
        bad = "not-a-number"
    else:
        bad = ""
    wild = not bad and s.good_c is not None and abs(value - s.good_c) > policy.wild_jump_k + 3.0 * max(0.0, now - s.good_s)
    s.rejects += ((1.0 if wild else 0.0) - s.rejects) * min(1.0, dt / policy.noise_window_s)
    if s.rejects > policy.noise_rejects:
        _trip(s, "sensor-noisy", now, share=100.0 * s.rejects)
    if wild:
        bad = "jump"

    # A reading that does not move at all, to the last bit, is not being made any more.
    raw = (reading.chamber_c, reading.cold_junction_c, reading.sample)
    if raw != s.raw or reading.chamber_c != reading.chamber_c:
        s.raw, s.raw_since_s = raw, now
    if now - s.raw_since_s >= policy.frozen_s and not faults:
        _trip(s, "sensor-frozen", now, time=now - s.raw_since_s)

    if not bad:
        s.good_c, s.good_s = value, now
    elif now - s.good_s > policy.sensor_coast_s or s.good_c is None:
        if s.good_c is None and not _lasting(s, "first", True, now, policy.sensor_coast_s):
            return False
        what = f"sensor-{bad}" if f"sensor-{bad}" in WORDS else "sensor-bus-error"
        _trip(s, what, now, last=s.good_c if s.good_c is not None else math.nan, time=now - s.good_s)
    cold = reading.cold_junction_c
    if cold is not None:
        outside = not _finite(cold) or not policy.cold_junction_low_c <= cold <= policy.cold_junction_high_c
        if _lasting(s, "cold", outside, now, 5.0):
            _trip(s, "cold-junction", now, value=cold)
        elif not outside and cold > policy.cold_junction_high_c - 15.0:
            warnings.append(f"the terminals of the thermocouple are at {cold:.0f} °C: the electronics box is getting too warm")
    return not bad


def _temperatures(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, usable: bool, warnings: list[str]) -> None:
    now, chamber = tick.time_s, reading.chamber_c
    if usable:
        if _lasting(s, "oven", chamber > policy.chamber_trip_c, now, policy.over_confirm_s):
            _trip(s, "over-oven", now, value=chamber, limit=policy.chamber_trip_c)
        if _lasting(s, "schedule", chamber > policy.schedule_trip_c, now, policy.over_confirm_s):
            _trip(s, "over-schedule", now, value=chamber, limit=policy.schedule_trip_c)
    if reading.part_c is not None and _finite(reading.part_c):
        if _lasting(s, "part", reading.part_c > policy.part_trip_c, now, policy.over_confirm_s):
            _trip(s, "over-part", now, value=reading.part_c, limit=policy.part_trip_c)
    if not policy.has_limit_sensor:
        return
    second = reading.limit_c
    absent = second is None or not _finite(second) or any(f.startswith("limit-") for f in reading.faults)
    if _lasting(s, "second", absent, now, policy.sensor_coast_s):
        _trip(s, "limit-sensor", now)
    if not absent:
        if _lasting(s, "oven-second", second > policy.chamber_trip_c, now, policy.over_confirm_s):
            _trip(s, "over-oven", now, value=second, limit=policy.chamber_trip_c)
        if usable:
            allowed = max(policy.disagreement_k, policy.disagreement_share * max(chamber, second))
            apart = abs(second - chamber)
            if _lasting(s, "apart", apart > allowed, now, policy.disagreement_s):
                _trip(s, "sensors-disagree", now, first=chamber, second=second)
            elif apart > 0.8 * allowed:
                warnings.append(f"the two sensors are {apart:.0f} K apart")


def _behaviour(s: SafetyState, policy: Policy, value: float, tick: Tick, dt: float, fired: float) -> float:
    """Heat without rise, rise without heat, heat the model cannot explain. Returns a limit on the duty."""
    now = tick.time_s
    before = s.slow_c
    s.slow_c = value if s.slow_c is None else s.slow_c + (value - s.slow_c) * min(1.0, dt / 10.0)

    # Full power and no rise: broken element, open relay, dead supply, or a sensor that is not in the chamber. Not near the
    # top of what the oven can do, where full power is what holding takes.
    near_top = tick.holding_w > 0.7 * tick.full_power_w
    if s.window is None or fired < 0.9 or near_top or s.slow_c > s.window[1] + policy.no_rise_k:
        s.window = (now, s.slow_c, 0.0)
    else:
        s.window = (s.window[0], s.window[1], s.window[2] + fired * dt)
        if s.window[2] > policy.no_rise_s:
            _trip(s, "heat-no-rise", now, time=s.window[2], rise=s.slow_c - s.window[1])

    # No heat and yet a rise: a relay that stays on. The elements' own stored heat gets its time first.
    s.off_s = 0.0 if fired > 0.02 else s.off_s + dt
    if s.off_s < policy.unasked_rise_s:
        s.quiet = None
    elif s.quiet is None or s.slow_c < s.quiet[1]:
        s.quiet = (now, s.slow_c)
    elif s.slow_c > s.quiet[1] + policy.unasked_rise_k:
        _trip(s, "rise-no-heat", now, rise=s.slow_c - s.quiet[1], time=s.off_s)

    # The estimator's unexplained heat, against a share of full power: too much (relay shorted) or too little (element
    # broken, sensor slipped out). It has to last; a door opening does not.
    if tick.unexplained_w is not None and _finite(tick.unexplained_w) and _finite(tick.full_power_w):
        share = tick.unexplained_w / tick.full_power_w
        s.excess_s = max(0.0, s.excess_s + (dt if share > policy.unexplained_share else -2.0 * dt))
        s.lack_s = max(0.0, s.lack_s + (dt if share < -policy.unexplained_share else -2.0 * dt))
        if s.excess_s > policy.unexplained_s:
            _trip(s, "unexplained-heat", now, watts=tick.unexplained_w)
        if s.lack_s > policy.unexplained_s:
            _trip(s, "missing-heat", now, watts=-tick.unexplained_w)

    # A reading that falls faster than a closed oven can cool is no reason for more heat than before.
    if before is not None and dt > 0.0 and (s.slow_c - before) / dt < -policy.fall_k_per_s:
        return max(0.02, min(1.0, s.mean_fired))
    return 1.0


def _surroundings(s: SafetyState, policy: Policy, reading: Reading, tick: Tick, warnings: list[str]) -> None:
    now = tick.time_s
    if policy.airflow_required and tick.heating:
        if _lasting(s, "airflow", reading.airflow_proved is not True, now, policy.airflow_s + 28.0):
            _trip(s, "ventilation", now)
    if reading.contactor_closed is not None and s.commanded is not None:
        settled = now - s.commanded_s >= policy.contactor_s
        if _lasting(s, "welded", settled and not s.commanded and reading.contactor_closed, now, policy.contactor_s):
            _trip(s, "contactor-welded", now)
        if _lasting(s, "absent", settled and s.commanded and not reading.contactor_closed, now, policy.contactor_s):
            _trip(s, "contactor-open", now)
    if not _finite(tick.energy_j) or tick.energy_j > policy.most_energy_j:
        _trip(s, "energy", now, energy=tick.energy_j / 3.6e6, limit=policy.most_energy_j / 3.6e6)
    if not _finite(tick.run_s) or tick.run_s > policy.longest_s:
        _trip(s, "run-time", now, hours=tick.run_s / 3600.0, limit=policy.longest_s / 3600.0)
    if tick.wall_s is not None and s.wall_s is None:
        warnings.append("the wall clock was set; control goes by its own clock and is not affected")


def acknowledge(state: SafetyState, policy: Policy, reading: Reading, tick: Tick) -> tuple[SafetyState, tuple[str, ...]]:
    """Clear the latched trips whose cause is gone, on a person's explicit word. Returns the state and what still stands.

    The rules are asked afresh, as if nothing had been latched: what trips again at once stays.
    """
    fresh = copy.copy(state)
    fresh.trips, fresh.over = {}, {}
    fresh.rejects, fresh.excess_s, fresh.lack_s = 0.0, 0.0, 0.0
    fresh.window, fresh.quiet = None, None
    if _finite(reading.chamber_c) and not reading.faults:
        # A person has looked: what the sensor shows now is where trust starts again.
        fresh.good_c, fresh.good_s, fresh.slow_c = reading.chamber_c, tick.time_s, reading.chamber_c
    standing = []
    probe, verdict = judge(fresh, policy, reading, tick)
    instant = {
        "over-oven": _finite(reading.chamber_c) and reading.chamber_c > policy.chamber_trip_c - 2.0,
        "over-schedule": _finite(reading.chamber_c) and reading.chamber_c > policy.schedule_trip_c - 2.0,
        "over-part": reading.part_c is not None and reading.part_c > policy.part_trip_c - 2.0,
        "contactor-welded": bool(reading.contactor_closed),
        "energy": tick.energy_j > policy.most_energy_j,
        "run-time": tick.run_s > policy.longest_s,
        "ventilation": policy.airflow_required and reading.airflow_proved is not True,
        "limit-sensor": policy.has_limit_sensor and (reading.limit_c is None or not _finite(reading.limit_c)),
    }
    sensor_bad = bool(reading.faults) or not _finite(reading.chamber_c)
    for fault, trip in state.trips.items():
        stands = instant.get(fault, False) or (fault.startswith(("sensor", "board", "cold")) and sensor_bad)
        if stands or fault in probe.trips:
            fresh.trips[fault] = trip
            standing.append(fault)
    return fresh, tuple(standing)
