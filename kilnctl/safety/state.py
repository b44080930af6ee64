"""What the rules are told each tick, what they answer, and what they carry from tick to tick."""

import math
from dataclasses import dataclass, field, replace
from numbers import Real

from .gate import Permit
from .messages import LOUD, UNKNOWN, WORDS

#: There is heat that neither relay nor contactor keeps out.
DANGER = "HEAT CANNOT BE CUT FROM HERE. SWITCH OFF AT THE BREAKER OR PULL THE PLUG NOW, AND STAY WITH THE OVEN"


@dataclass(frozen=True, slots=True)
class Tick:
    """What the loop knows at this moment. Times of the monotonic clock (best one that goes on counting in suspend).

    step          control step counter, one more each tick
    fired         share of full power since the last tick (read back if the rig can, else commanded)
    unexplained_w heat the model cannot explain, W: above 0 too hot, below 0 too cold; None without a model or with the door open
    full_power_w  what full power is, W
    holding_w     what the model would need to hold this temperature for ever, W
    energy_j, run_s  used by this run so far
    heating       the run wants heat at all (False when idle or only cooling)
    wall_s        wall clock, only to notice that it and the monotonic clock part
    commanded     share that the relay was told to fire since the last tick; None: not known, then nothing is compared with it
    contactor     what the contactor's coil was told in the last tick; None: what the last verdict allowed
    recording     the record is being kept; None: there is none
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
    commanded: float | None = None
    contactor: bool | None = None
    recording: bool | None = None


@dataclass(frozen=True, slots=True)
class Trip:
    """A latched refusal of heat, in plain words. `fault` is a rule's id; the fault table says which faults it is a sign of."""

    fault: str
    time_s: float
    seen: str
    done: str
    check: str

    def __str__(self) -> str:
        return f"{self.fault}: {self.seen}. {self.done} Check: {self.check}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """permit is None when there must be no heat this tick; `reason` says why in plain words. The contactor is judged apart.

    usable    the control reading can be believed this tick
    danger    empty, or what to shout: there is heat that no command of ours can cut
    """

    permit: Permit | None
    contactor_allowed: bool
    trips: tuple[Trip, ...]
    new_trips: tuple[Trip, ...]
    warnings: tuple[str, ...]
    reason: str
    usable: bool = False
    danger: str = ""

    @property
    def heat_allowed(self) -> bool:
        return self.permit is not None

    @property
    def duty_limit(self) -> float:
        """Most that the gate passes this tick, 0..1."""
        return self.permit.duty_limit if self.permit is not None else 0.0


@dataclass(slots=True)
class SafetyState:
    """Carried from tick to tick; `judge` returns a new one and never changes the old. All times are tick-clock seconds."""

    trips: dict[str, Trip] = field(default_factory=dict)
    over: dict[str, float] = field(default_factory=dict)  # since when each condition has held without a break
    time_s: float | None = None
    step: int | None = None
    wall_ahead_s: float | None = None  # wall clock minus tick clock
    # sensor
    good_c: float | None = None
    good_s: float = 0.0
    before_c: float | None = None  # the good reading before the last good one
    rejects: float = 0.0  # separate jumps lately, old ones forgotten exponentially
    was_wild: bool = False
    reach_k: float = 0.0  # how far from the last good reading the next may be
    noise_k: float = 0.0
    second_k: float = 0.0  # the last second difference
    rejected: int | None = None  # the rig's counter of hidden wild conversions
    unsteady: float = 0.0  # share of the last minutes without an answer to be used
    raw: tuple = ()
    raw_since_s: float = 0.0
    sample: int | None = None
    sample_since_s: float = 0.0
    cold_c: float | None = None
    delayed_c: float | None = None  # the quicker of control and limit sensor, delayed to be as slow as the other
    # behaviour
    slow_c: float | None = None
    slope_k_per_s: float = 0.0
    second_c: float | None = None  # the same of the limit sensor
    second_slope: float = 0.0
    window: tuple[float, float] | None = None  # °C then, full-power seconds since
    sink: tuple[float, float] | None = None  # the same, since it last rose
    off_s: float = 0.0
    quiet_c: float | None = None  # without heat: the level above which a rise is unasked
    top_c: float = -math.inf  # highest lately: a rise below it is a recovery
    fall: tuple[float, float, float, float, float | None] | None = (
        None  # start s, from °C, lowest °C, duty cap, limit sensor then
    )
    settled_s: float = 0.0  # the missing-heat sum rests until then
    excess: float = 0.0
    past_open: float = 0.0  # the same sum, of what comes although contactor and relay are told to be off since a trip
    missing: float = 0.0
    fired_60: float = 0.0
    fired_300: float = 0.0
    # surroundings
    asked: float = 0.0  # mean commanded share of the last 10 s, and what was really conducted
    given: float = 0.0
    unasked: float = 0.0
    coil: bool | None = None  # the contactor's coil as last told, and since when
    coil_s: float = 0.0
    door_told: bool = False  # whether its switch has ever answered
    airless_s: float = 0.0
    purge_until_s: float = math.inf  # infinite: not purged yet
    danger: str = ""
    believed: dict[str, tuple[float, float]] = field(
        default_factory=dict
    )  # before each latched trip of DOUBTED: °C, and when, s

    def copied(self) -> "SafetyState":
        new = SafetyState.__new__(SafetyState)
        for name in _FIELDS:
            setattr(new, name, getattr(self, name))
        new.trips, new.over, new.believed = dict(self.trips), dict(self.over), dict(self.believed)
        return new

    def restart_timers(self) -> None:
        """Forget everything that measures spans of time: the clock jumped, or a person acknowledged."""
        self.over.clear()
        self.raw, self.sample, self.window, self.fall, self.quiet_c = (), None, None, None, None
        self.sink, self.was_wild = None, False
        self.rejects = self.unsteady = self.noise_k = self.off_s = self.excess = self.past_open = self.missing = (
            self.unasked
        ) = 0.0
        self.asked = self.given = self.slope_k_per_s = self.second_slope = self.airless_s = 0.0
        self.slow_c = self.second_c = self.before_c = self.good_c = self.cold_c = self.wall_ahead_s = self.coil = None
        self.delayed_c, self.second_k, self.rejected = None, 0.0, None
        self.top_c = self.settled_s = -math.inf
        # What the air did meanwhile nobody knows either: it is purged anew.
        self.purge_until_s = math.inf


_FIELDS = tuple(SafetyState.__slots__)


def finite(value) -> bool:
    """A number that can be compared: neither NaN nor infinite nor something else."""
    if type(value) is not float and not isinstance(value, Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond any float
        return False


#: Trips after which a reading counts again only where the chamber may be, judged by what was believed before.
DOUBTED = ("sensor-jump", "sensor-shorted", "reading-fell")


def trip(s: SafetyState, fault: str, time_s: float, **facts) -> None:
    """Latch, once."""
    if fault not in s.trips:
        if fault in DOUBTED:
            value, since = (
                (s.fall[1], s.fall[0]) if fault == "reading-fell" and s.fall is not None else (s.good_c, s.good_s)
            )
            if value is not None:
                s.believed[fault] = value, since
        seen, check, done = WORDS[fault]
        if fault in UNKNOWN and any(value != value for value in facts.values()):  # only NaN is unlike itself
            seen, check = UNKNOWN[fault]
        s.trips[fault] = Trip(fault, time_s, seen.format(**facts), LOUD if s.danger else done, check)


def endanger(s: SafetyState) -> None:
    """There is heat that nothing of ours keeps out: it is shouted, and no trip that stands goes on saying that it was cut."""
    s.danger = DANGER
    s.trips.update({fault: replace(t, done=LOUD) for fault, t in s.trips.items() if t.done != LOUD})


def number(value) -> float:
    """For words: the value, or NaN where it is none."""
    return float(value) if finite(value) else math.nan


def lasting(s: SafetyState, name: str, condition: bool, now_s: float, for_s: float) -> bool:
    """True once the condition has held without a break for that long."""
    if not condition:
        s.over.pop(name, None)
        return False
    return now_s - s.over.setdefault(name, now_s) >= for_s


def latch(s: SafetyState, found: Trip) -> SafetyState:
    """The state with that trip, which was found outside the rules; one of the same fault that stands already stays."""
    new = s.copied()
    new.trips.setdefault(found.fault, found)
    return new
