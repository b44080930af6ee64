"""What every rule is given, and the record of a rule."""

from collections.abc import Callable
from dataclasses import dataclass, field

from ..reading import Reading
from .limits import Policy
from .messages import WORDS
from .state import SafetyState, Tick, trip


@dataclass(slots=True)
class Look:
    """One look at the oven: what a rule may know. Rules change `state` and `warnings`, nothing else.

    dt_s     time since the last look, s; 0 for the first one and after a stall
    fired    share of full power since the last look, 0..1
    usable   the control reading is believed
    powered  there is mains
    """

    state: SafetyState
    policy: Policy
    reading: Reading
    tick: Tick
    dt_s: float = 0.0
    fired: float = 0.0
    usable: bool = False
    powered: bool = True
    warnings: list[str] = field(default_factory=list)

    @property
    def now_s(self) -> float:
        """Tick clock, s."""
        return self.tick.time_s

    @property
    def door_is_open(self) -> bool:
        """See `Reading.door_is_open`."""
        return self.reading.door_is_open

    def trip(self, rule: str, **facts: object) -> None:
        """Latch the trip of this rule; `facts` fill in its words."""
        trip(self.state, rule, self.now_s, **facts)

    def lasting(self, name: str, condition: bool, for_s: float) -> bool:
        """True once the condition has held without a break for that long; `name` keeps conditions apart."""
        # Written out: a tick asks this twenty times.
        over = self.state.over
        if not condition:
            over.pop(name, None)
            return False
        now_s = self.tick.time_s
        return now_s - over.setdefault(name, now_s) >= for_s

    def warn(self, text: str) -> None:
        """Add a warning for people; it does not affect the heat."""
        self.warnings.append(text)


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule, whole.

    id          the id of its trip
    tripped_by  the function that latches it
    cause_gone  whether the cause is gone, as far as this look shows; only then can a trip be acknowledged
    """

    id: str
    tripped_by: Callable[..., object]
    cause_gone: Callable[[Look], bool]

    @property
    def words(self) -> tuple[str, str, str]:
        """(act, seen, check): what to do now, what was seen, what to check."""
        return WORDS[self.id]

    @property
    def rows(self) -> tuple[str, ...]:
        """Ids of the rows of the fault table that this rule answers."""
        from .fault_table import FAULTS  # noqa: PLC0415 - reads its file; the rules work without it

        return tuple(fault.id for fault in FAULTS if self.id in fault.rules)


def at_a_persons_word(look: Look) -> bool:
    """For a cause that shows only under heat: a person's confirmation is enough. If the cause is still there, the start
    test and the rules find it again."""
    return True
