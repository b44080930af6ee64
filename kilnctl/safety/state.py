"""What the rules get each tick, what they answer, and what they keep from tick to tick."""

import math
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import NamedTuple, TypeGuard

from .coolest import Lumps
from .gate import Permit
from .messages import LOUD, UNKNOWN, WORDS, lines
from .possible_loads import NO_LOADS, Loads

#: There is heat that neither relay nor contactor keeps off.
DANGER = (
    "SWITCH OFF AT THE MAIN SWITCH NOW: HEAT CANNOT BE CUT FROM HERE. Leave it shut. Watch from a distance. Smoke? Get "
    "out, call the fire brigade"
)
#: There is none now, but only one part keeps it off.
WELDED = (
    "SWITCH OFF AT THE MAIN SWITCH NOW: THE CONTACTOR DOES NOT OPEN, AND ONLY THE RELAY KEEPS THE HEAT OUT. Leave it "
    "shut. Watch from a distance"
)
#: After these trips a reading is believed again only if the chamber can have that temperature, judged by the last
#: believed one.
DOUBTED = ("sensor-jump", "sensor-shorted", "reading-fell")


class Tick(NamedTuple):  # a frozen dataclass takes three times as long to make
    """What the loop knows now. Times are of the monotonic clock (if there is one, of the kind that counts in suspend
    too).

    step          control step counter, one more each tick
    fired         share of full power since the last tick (read back if the rig can, else commanded)
    unexplained_w heat that the model cannot explain, W: above 0 too hot, below 0 too cold; None without a model or with
                  the door open
    full_power_w  what full power is, W
    holding_w     what holds this temperature for ever by the model, W
    energy_j, run_s  energy, J, and time, s, of this run so far
    power_w       electric power since the last tick, W, measured or else commanded; None: not known
    heating       the run wants heat at all (False when idle or only cooling)
    wall_s        wall clock, only to notice that it and the monotonic clock part
    commanded     share that the relay was commanded to fire since the last tick; None: unknown, and nothing is compared
    contactor     command to the contactor's coil in the last tick; None: what the last verdict allowed
    recording     the record is being written; None: there is none
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
    power_w: float | None = None
    wall_s: float | None = None
    commanded: float | None = None
    contactor: bool | None = None
    recording: bool | None = None


@dataclass(frozen=True, slots=True)
class Trip:
    """A latched refusal of heat, in plain words: what to do now, what was seen, what to check. `fault` is the rule's
    id, as in the fault table."""

    fault: str
    time_s: float
    act: str
    seen: str
    check: str

    @property
    def lines(self) -> tuple[str, str, str]:
        """Its sentences, in the order in which a person needs them."""
        return lines(self.act, self.seen, self.check)

    def __str__(self) -> str:
        return f"{' '.join(self.lines)} ({self.fault})"


class EachTime(str):
    """A warning of something that happened in this tick alone: whoever tells warnings tells each one of these."""


class Verdict(NamedTuple):  # as a tick
    """The answer to one tick. `permit` is None when there must be no heat; `reason` says why. The contactor is judged
    apart.

    usable    the control reading can be believed this tick
    danger    empty, or the danger message: there is heat that no command can cut
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
    def duty_limit(self) -> float:
        """The most that the gate passes this tick, 0..1."""
        return self.permit.duty_limit if self.permit is not None else 0.0


class Fall(NamedTuple):
    """A fall of the control reading: when it began, s; the chamber before it and its lowest reading since, °C; the most
    that the duty may be meanwhile, 0..1; the limit sensor before it, °C."""

    since_s: float
    before_c: float
    lowest_c: float
    duty_cap: float
    second_c: float | None


class Span(NamedTuple):
    """Heat given since a start: the chamber then, °C, and full-power seconds since."""

    start_c: float
    full_power_s: float


@dataclass
class SafetyState:
    """Carried from tick to tick; `judge` returns a new one and never changes the old. Times are of the tick clock."""

    trips: dict[str, Trip] = field(default_factory=dict)
    over: dict[str, float] = field(default_factory=dict)  # since when each condition has held without a break, s
    time_s: float | None = None  # the last tick, and its step
    step: int = 0
    wall_ahead_s: float | None = None  # wall clock minus tick clock
    # sensors
    good_c: float | None = None  # the last good control reading, and when
    good_s: float = 0.0
    before_c: float | None = None  # the good reading before that
    rejects: float = 0.0  # recent separate jumps, forgotten exponentially
    was_wild: bool = False  # the last reading was too far away
    reach_k: float = 0.0  # how far from the last good reading the next may be
    noise_k: float = 0.0  # standard deviation of the noise
    second_k: float = 0.0  # the last second difference
    rejected: int | None = None  # the rig's counter of hidden wild conversions
    unsteady: float = 0.0  # share of the last minutes without a usable answer
    raw: tuple[float | bytes | None, ...] = ()  # the last answer of the converter, and since when
    raw_since_s: float = 0.0
    sample: int | None = None  # the last conversion counter, and since when
    sample_since_s: float = 0.0
    cold_c: float | None = None  # the terminals' usual temperature
    delayed_c: float | None = None  # the quicker of control and limit sensor, delayed to be as slow as the other
    # heat
    slow_c: float | None = None  # smoothed control reading, and its slope
    slope_k_per_s: float = 0.0
    second_c: float | None = None  # the same of the limit sensor
    second_slope: float = 0.0
    window: Span | None = None  # full power without a rise
    sink: Span | None = None  # heat since the reading last rose
    off_s: float = 0.0  # time without heat
    quiet_c: float | None = None  # without heat: the level above which a rise is unasked
    top_c: float = -math.inf  # the recent top: a rise below it is a recovery
    fall: Fall | None = None
    settled_s: float = 0.0  # the missing-heat sum rests until then
    shut_s: float = 0.0  # after a door that a switch told: the sum of unexplained heat rests until then
    excess: float = 0.0  # sum of unexplained heat, full-power seconds
    past_open: float = 0.0  # the same sum since a trip switched contactor and relay off
    missing: float = 0.0  # sum of missing heat
    fired_60: float = 0.0  # share of full power, means of one and of five minutes
    fired_300: float = 0.0
    lumps: Lumps | None = None  # the coolest oven that the energy allows
    lumps_c: float = math.nan  # its chamber, as late as a reading, °C
    loads: Loads = NO_LOADS  # the same with each load that may be in
    held: tuple[Lumps, ...] = ()  # the ovens of `policy.envelope`, their chambers at the reading
    placed: Lumps | None = None  # the same of a light oven whose sensor lies near its elements
    place_share: float = 0.0  # the heat that it lately seemed to show, share of full power
    shown_k: float = 0.0  # by how much that sensor shows more than its chamber, K
    above_k: float = 0.0  # the most of that, and of the heat that elements give, W, within the lag of a sensor
    given_w: float = 0.0
    held_s: float = 0.0  # time since their last step, and the energy in it, J
    held_j: float = 0.0
    excused_high: float = 0.0  # what the model's uncertainty explains, shares of full power: too much heat,
    excused_low: float = 0.0  # and too little
    needed: float = math.inf  # the most heat that a described oven round this reading lacks, share of full power
    glow: float = 0.0  # what the heaviest elements that it allows give to the chamber now, share of full power,
    taken: float = 0.0  # and what the heaviest lining and contents take from it, share of the least power
    # surroundings
    asked: float = 0.0  # commanded and conducted share, means of ten seconds
    given: float = 0.0
    unasked: float = 0.0  # sum of power beyond what was asked for, full-power seconds
    coil: bool | None = None  # the last command to the contactor's coil, and since when
    coil_s: float = 0.0
    door_told: bool = False  # the door switch has answered before
    airless_s: float = 0.0  # time without proved air
    purge_until_s: float = math.inf  # infinite: not purged yet
    unasked_open: float = 0.0  # the same sum, of looks in which the contactor should have been open all the time
    danger: str = ""
    danger_by: frozenset[str] = frozenset()  # what shows the danger: "power", "heat", "contactor"
    danger_top_c: float = -math.inf  # the highest level of the chamber since the danger began, °C
    cut_s: float = -math.inf  # when it was withdrawn, s
    believed: dict[str, tuple[float, float]] = field(default_factory=dict)  # before each trip of DOUBTED: °C, and when

    def copied(self) -> "SafetyState":
        """A copy that shares nothing that changes."""
        new = object.__new__(SafetyState)
        new.__dict__.update(self.__dict__)  # a quarter of the time that sixty arguments take
        new.trips, new.over, new.believed = dict(self.trips), dict(self.over), dict(self.believed)
        return new

    def restart_timers(self) -> None:
        """Forget everything that measures spans of time: the clock jumped, or a person acknowledged."""
        self.over.clear()
        self.raw, self.sample, self.window, self.fall, self.quiet_c = (), None, None, None, None
        self.sink, self.was_wild = None, False
        self.rejects = self.unsteady = self.noise_k = self.off_s = 0.0
        self.excess = self.past_open = self.missing = self.unasked = self.unasked_open = 0.0
        self.asked = self.given = self.slope_k_per_s = self.second_slope = self.airless_s = 0.0
        self.slow_c = self.second_c = self.before_c = self.good_c = self.cold_c = self.wall_ahead_s = self.coil = None
        self.delayed_c, self.second_k, self.rejected, self.lumps, self.loads = None, 0.0, None, None, NO_LOADS
        self.held, self.excused_high, self.excused_low, self.glow, self.taken = (), 0.0, 0.0, 0.0, 0.0
        self.held_s = self.held_j = self.shown_k = self.above_k = self.given_w = self.place_share = 0.0
        self.placed, self.needed = None, math.inf
        self.top_c = self.settled_s = self.shut_s = -math.inf
        # What the air did meanwhile is unknown too: the chamber is purged again.
        self.purge_until_s = math.inf


def finite(value: object) -> TypeGuard[float]:
    """A number that can be compared: neither NaN nor infinite nor something else."""
    if type(value) is float:
        return math.isfinite(value)
    if value is None or not isinstance(value, Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond any float
        return False


def number(value: object) -> float:
    """For words: the value, or NaN where it is no number."""
    return float(value) if finite(value) else math.nan


def latch(state: SafetyState, found: Trip) -> SafetyState:
    """The state with a trip that was found outside the rules; an earlier trip of the same fault stays as it is."""
    new = state.copied()
    new.trips.setdefault(found.fault, found)
    return new


def trip(state: SafetyState, fault: str, time_s: float, **facts: object) -> None:
    """Latch a trip, once. `facts` fill in its words. For a trip of DOUBTED, keep what was believed before it."""
    if fault in state.trips:
        return
    if fault in DOUBTED:
        before = (state.good_c, state.good_s)
        if fault == "reading-fell" and state.fall is not None:
            before = (state.fall.before_c, state.fall.since_s)
        if before[0] is not None:
            state.believed[fault] = before[0], before[1]
    act, seen, check = WORDS[fault]
    if fault in UNKNOWN and any(value != value for value in facts.values()):  # only NaN is unlike itself
        seen, check = UNKNOWN[fault]
    act = LOUD if state.danger else act
    state.trips[fault] = Trip(fault, time_s, act, seen.format(**facts), check.format(**facts))


def endanger(state: SafetyState, cause: str = "heat") -> None:
    """Raise the danger message: there is heat that neither relay nor contactor keeps off. Every standing trip then says
    first what to do. `cause`: "power" is measured, the temperature shows "heat", or only the "contactor" stays
    closed."""
    state.danger_by |= {cause}
    state.danger = WELDED if state.danger_by == {"contactor"} else DANGER
    state.trips.update({fault: replace(trip, act=LOUD) for fault, trip in state.trips.items() if trip.act != LOUD})
