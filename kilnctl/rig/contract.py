"""What a rig is: five methods, a description of itself, and a lease on every command."""

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from ..errors import KilnctlError
from ..firing import Burst
from ..reading import Reading
from ..safety import Permit


class RigLost(KilnctlError):
    """The hardware cannot be reached any more. It has switched off, or will when its lease is over; only a new start
    reaches it again."""


@dataclass(frozen=True, slots=True)
class RigFacts:
    """A rig about itself.

    kind        "virtual", "board" or "pins"
    name        what to call it in messages (a port, a board's serial number)
    lease_s     how long it keeps the last command without a new request, s
    unattended  whether it switches off by itself when this program freezes; an unattended run needs that
    unproved    what it cannot tell or guarantee, each in plain words, for the record and for the person
    """

    kind: str
    name: str
    lease_s: float
    unattended: bool
    unproved: tuple[str, ...] = ()


@runtime_checkable
class RigDriver(Protocol):
    """One oven's hardware. Not thread-safe: one loop owns it. Every method raises `RigLost` when the hardware is
    gone."""

    facts: RigFacts

    def read(self) -> Reading:
        """The newest reading of the oven; waits 0.2 s at most. A dead sensor is a word in `Reading.faults`, not an
        exception."""
        ...

    def heat(self, duty: float, burst: Burst, permit: Permit | None) -> None:
        """Fire what the gate allows for the coming tick: `duty` (share of full power) for a rig that times mains cycles
        itself, `burst` (the same in whole cycles) for one that does not. Raises ValueError for heat without a
        permit."""
        ...

    def contactor(self, closed: bool) -> None:
        """Close or open the contactor. Opening works in any state of the relay."""
        ...

    def clear(self) -> None:
        """For a person's acknowledgement: ask hardware that latches a fault of its own to clear it; it does so if the
        cause is gone. May be called from any thread."""
        ...

    def close(self) -> None:
        """Relay off, contactor open, then release the hardware. May be called twice; never raises."""
        ...


def check_heat(duty: float, burst: Burst, permit: Permit | None) -> None:
    """Raises ValueError for heat without a permit, above it, or for anything but finite numbers from 0 to 1."""
    if not (0.0 <= duty <= 1.0 and 0.0 <= burst.fired <= 1.0):
        raise ValueError(f"duty = {duty!r} and fired = {burst.fired!r} must lie from 0 to 1")
    if duty == 0.0 and burst.fired > 0.0:
        raise ValueError("cycles to fire without a duty that the gate let through")
    if duty > 0.0 and (type(permit) is not Permit or not duty <= permit.duty_limit):
        raise ValueError("heat without a permit for it")
