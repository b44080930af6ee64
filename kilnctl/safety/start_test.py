"""The test before each run: relay and contactor can each keep the heat off alone, and the sensor responds to heat.

1. contactor open, relay on   → nothing may flow (finds a welded contactor)
2. relay off, contactor closed → nothing may flow (finds a shorted relay)
3. a short heat                → the chamber must rise (elements, supply, sensor in place and the right way round)

It runs only while heat is allowed: an open door, ventilation that is not proved or still purging, and lost mains are no
fault of relay or elements. The test waits for them with everything off, and then starts again.

Pure: `begin`, then `step` once a tick; the loop does what the `Command` says, and its heat passes the gate too.
"""

from dataclasses import dataclass, replace

from ..reading import Reading
from .messages import WORDS
from .rule import Look, Rule, at_a_persons_word
from .rules_supply import flowing
from .state import Trip, finite

#: How long each of the first two parts lasts, s, and how much of it the read-backs may take to follow, s.
HOLD_S, FOLLOW_S = 4.0, 1.5  # ±30 %: none
#: Duty while the relay is tested with the contactor open, and duty of the short heat (shares of full power).
PROBE_DUTY, HEAT_DUTY = 0.5, 0.6  # ±30 %: none
#: The rise that proves the heat, K (or this many standard deviations of the noise, if that is more), and how long it
#: may take, s.
RISE_K, RISE_SIGMAS, LONGEST_HEAT_S = 3.0, 8.0, 180.0  # ±30 %: none
#: A fall of this much, K, during the short heat means swapped wires.
FALL_K = 4.0  # ±30 %: none


@dataclass(frozen=True, slots=True)
class StartTest:
    """State of the test.

    phase     "relay alone", "contactor alone", "heat", "passed" or "failed"; it began at since_s
    first_c   the first reading, at first_s
    base_c    the reading when heat began
    low_c     the lowest reading since: an oven that starts warm goes on cooling for a while before the heat is felt
    noise_k   standard deviation of the control sensor's noise
    trip      why it failed
    unproved  what this rig's read-backs could not show
    waiting   why it waits; empty while it goes on
    """

    phase: str
    since_s: float
    base_c: float | None = None
    low_c: float | None = None
    first_c: float | None = None
    first_s: float = 0.0
    noise_k: float = 0.15
    trip: Trip | None = None
    unproved: tuple[str, ...] = ()
    waiting: str = ""

    @property
    def over(self) -> bool:
        """It has passed or failed."""
        return self.phase in ("passed", "failed")


@dataclass(frozen=True, slots=True)
class Command:
    """What the loop must do in the coming tick: `duty` (asked of the gate), `contactor` (coil)."""

    duty: float
    contactor: bool


OFF = Command(0.0, False)


def begin(now_s: float, noise_k: float = 0.15) -> tuple[StartTest, Command]:
    """The test's first command. Raises ValueError for a time that is not a number or noise that is not above 0."""
    if not finite(now_s) or not (finite(noise_k) and noise_k > 0.0):
        raise ValueError("now_s must be a number and noise_k above zero")
    return StartTest("relay alone", now_s, noise_k=noise_k), Command(PROBE_DUTY, False)


def step(test: StartTest, reading: Reading, now_s: float, waiting: str = "") -> tuple[StartTest, Command]:
    """The next state and command. `waiting`: why there must be no heat just now; empty when there may be. Time that
    does not advance, or a reading that is no number, fails the test."""
    if test.over:
        return test, OFF
    if not finite(now_s) or now_s < test.since_s:
        return failed(test, test.since_s, "start-no-rise", "the clock did not advance")
    if waiting:
        return replace(begin(now_s, test.noise_k)[0], waiting=waiting), OFF
    test = replace(test, waiting="")
    if test.first_c is None and finite(reading.chamber_c):
        test = replace(test, first_c=reading.chamber_c, first_s=now_s)
    if test.phase == "relay alone":
        return relay_alone(test, reading, now_s)
    if test.phase == "contactor alone":
        return contactor_alone(test, reading, now_s)
    return short_heat(test, reading, now_s)


def relay_alone(test: StartTest, reading: Reading, now_s: float) -> tuple[StartTest, Command]:
    """Contactor open, relay on: nothing may flow."""
    spent_s = now_s - test.since_s
    if spent_s >= FOLLOW_S:
        if reading.contactor_closed is True:
            return failed(test, now_s, "start-contactor", "the contactor reads closed with its coil off")
        if flowing(reading):
            return failed(test, now_s, "start-contactor", "current flowed with the contactor's coil off")
    if spent_s < HOLD_S:
        return test, Command(PROBE_DUTY, False)
    unproved = test.unproved
    if reading.contactor_closed is None and flowing(reading) is None:
        unproved += ("that the contactor opens (no read-back, no current sensor)",)
    return replace(test, phase="contactor alone", since_s=now_s, unproved=unproved), Command(0.0, True)


def contactor_alone(test: StartTest, reading: Reading, now_s: float) -> tuple[StartTest, Command]:
    """Contactor closed, relay off: nothing may flow."""
    spent_s = now_s - test.since_s
    if spent_s >= FOLLOW_S:
        if reading.contactor_closed is False:
            return failed(test, now_s, "start-no-rise", "the contactor reads open with its coil on")
        if flowing(reading):
            return failed(test, now_s, "start-relay", "current flowed with the relay's input off")
    if spent_s < HOLD_S:
        return test, Command(0.0, True)
    if not finite(reading.chamber_c):
        return failed(test, now_s, "start-no-rise", "the control sensor gave no reading")
    unproved = test.unproved
    if flowing(reading) is None:
        unproved += ("that the relay blocks (no current sensor); watch for a rise without heat",)
    start_c = reading.chamber_c
    heated = replace(test, phase="heat", since_s=now_s, base_c=start_c, low_c=start_c, unproved=unproved)
    return heated, Command(HEAT_DUTY, True)


def short_heat(test: StartTest, reading: Reading, now_s: float) -> tuple[StartTest, Command]:
    """Both closed: the chamber must rise. It may first go on cooling as before the heat, but then it has to rise; with
    swapped wires the reading falls faster than that."""
    if test.base_c is None or test.low_c is None or test.first_c is None or not finite(reading.chamber_c):
        return failed(test, now_s, "start-no-rise", "the control sensor gave no reading")
    wanted_k = max(RISE_K, RISE_SIGMAS * test.noise_k)
    low_c = min(test.low_c, reading.chamber_c)
    spent_s, before_s = now_s - test.since_s, test.since_s - test.first_s
    slope = min(0.0, (test.base_c - test.first_c) / before_s) if before_s > 0.0 else 0.0
    rise_k, fall_k = reading.chamber_c - low_c, test.base_c + slope * spent_s - reading.chamber_c
    if rise_k >= wanted_k:
        return replace(test, phase="passed", since_s=now_s), Command(0.0, True)
    if fall_k >= max(FALL_K, wanted_k):
        fell_k = test.base_c - reading.chamber_c
        return failed(test, now_s, "start-no-rise", f"heat made the reading fall by {fell_k:.1f} K")
    if spent_s >= LONGEST_HEAT_S:
        what = f"{spent_s:.0f} s of heat raised it only {rise_k:.1f} K"
        return failed(test, now_s, "start-no-rise", what)
    return replace(test, low_c=low_c), Command(HEAT_DUTY, True)


def failed(test: StartTest, now_s: float, fault: str, what: str) -> tuple[StartTest, Command]:
    """The test has failed, with this trip."""
    act, seen, check = WORDS[fault]
    return replace(test, phase="failed", trip=Trip(fault, now_s, act, seen.format(what=what), check)), OFF


def contactor_does_not_read_closed(look: Look) -> bool:
    """As far as there is a read-back. What a current has shown can only be checked under heat."""
    return look.reading.contactor_closed is not True


RULES = (
    Rule("start-contactor", relay_alone, contactor_does_not_read_closed),
    Rule("start-relay", contactor_alone, at_a_persons_word),
    Rule("start-no-rise", short_heat, at_a_persons_word),
)
