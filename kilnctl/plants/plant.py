"""The plant protocol."""

import math
from collections.abc import Sequence
from typing import NamedTuple, Protocol, runtime_checkable

from ..reading import Reading


@runtime_checkable
class Plant(Protocol):
    """Anything that can be heated in simulated time. Control, rehearsal and commissioning use only this protocol.

    A plant may offer more: see `truth_of` and `computer_of`.
    """

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """Let `dt_s` seconds pass (above 0) with the relay on for the share `duty` of it (0..1; a sequence
        when element groups are fired apart) and the contactor's coil driven or not; then return what the sensors
        show."""
        ...


class Truth(NamedTuple):
    """True temperatures that no sensor shows, °C: of the chamber and of the part; None: not known."""

    chamber_c: float | None = None
    part_c: float | None = None


class ComputerFaults(NamedTuple):
    """Faults of the controlling computer, as a plant simulates them: its loop stands still; its clock jumped by
    clock_jump_s, s."""

    loop_stalled: bool = False
    clock_jump_s: float = 0.0


def truth_of(plant: Plant | None) -> Truth:
    """The plant's own `chamber_c` and `part_c`, if it has them."""
    return Truth(getattr(plant, "chamber_c", None), getattr(plant, "part_c", None))


def computer_of(plant: Plant) -> ComputerFaults:
    """The plant's `loop_stalled` and `clock_jump_s`, if it has them."""
    return ComputerFaults(getattr(plant, "loop_stalled", False), getattr(plant, "clock_jump_s", 0.0))


def check_command(dt_s: float, duty: Sequence[float]) -> None:
    """Raises ValueError for a command that no hardware can carry out."""
    if not (math.isfinite(dt_s) and dt_s > 0.0):
        raise ValueError(f"dt_s must be above zero and finite, not {dt_s!r}")
    for share in duty:
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"duty must lie from 0 to 1, not {share!r}")
