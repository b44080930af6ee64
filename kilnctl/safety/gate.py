"""The permit and the gate: the only way to the heater, closed unless something fresh opens it.

A permit is a lease: `judge` makes it from one healthy tick, it names that tick, and it expires by itself. The gate
passes a duty only with a permit for exactly this step and time, and only if every number it looks at is finite and in
range.
"""

import math
from dataclasses import dataclass

#: How long a permit lasts, s. The I/O board's own lease is of the same length. It stays a power of two: the gate
#: refuses a longer lease, and with 1.4 s or 2.6 s rounding alone would make half of them longer.
LEASE_S = 2.0


@dataclass(frozen=True, slots=True)
class Permit:
    """Permission to heat: from `from_s` until `until_s` of the tick clock (s), for control step `step`, up to
    `duty_limit`."""

    from_s: float
    until_s: float
    step: int
    duty_limit: float = 1.0


def desk_permit(now_s: float, step: int) -> Permit:
    """A permit for the guided test of the I/O board at a desk, with the heater disconnected. A test holds that nothing
    else calls it."""
    return Permit(now_s, now_s + LEASE_S, step)


def pass_duty(duty: float, permit: Permit | None, now_s: float, step: int) -> float:
    """What may reach the heater: `duty`, or less, or nothing. Never raises; anything not clearly right gives 0.0.

    Refused: no permit, another step's permit, an expired or future-dated one, a lease longer than LEASE_S, and any
    number that is NaN, infinite, or not a number at all. A duty above the permit's limit is cut to it, one below 0 is
    nothing.
    """
    if type(permit) is not Permit:
        return 0.0
    values = (duty, now_s, permit.from_s, permit.until_s, permit.duty_limit)
    # A whole number too large for a float would make isfinite raise; no real time or duty is that large.
    if any((type(v) is not float and (type(v) is not int or abs(v) > 10**15)) or not math.isfinite(v) for v in values):
        return 0.0
    if type(step) is not int or type(permit.step) is not int or permit.step != step:
        return 0.0
    if not permit.from_s <= now_s <= permit.until_s or permit.until_s - permit.from_s > LEASE_S:
        return 0.0
    if not 0.0 < permit.duty_limit <= 1.0:
        return 0.0
    # The range check comes last, on exactly the number that is passed on.
    passed = float(min(duty, permit.duty_limit))
    return passed if 0.0 < passed <= 1.0 else 0.0


class Gate:
    """`pass_duty` with a memory: each step passes heat once at most, and steps and time only go forward.

    A program that hangs and repeats its last good command passes it once, and never again.
    """

    __slots__ = ("_now_s", "_step")

    def __init__(self) -> None:
        self._step: int | None = None
        self._now_s = -math.inf

    def pass_duty(self, duty: float, permit: Permit | None, now_s: float, step: int) -> float:
        """As the function `pass_duty`; 0.0 also when `step` or `now_s` has not advanced since heat was last passed."""
        passed = pass_duty(duty, permit, now_s, step)
        if passed == 0.0 or (self._step is not None and step <= self._step) or now_s <= self._now_s:
            return 0.0
        self._step, self._now_s = step, now_s
        return passed
