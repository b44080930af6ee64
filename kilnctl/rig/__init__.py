"""The hardware side, behind one protocol: a serial I/O board, this computer's own pins, or the virtual oven."""

from typing import Any

from ..settings.oven import Oven
from .contract import RigDriver, RigFacts, RigLost
from .virtual_rig import VirtualRig

__all__ = ["RigDriver", "RigFacts", "RigLost", "VirtualRig", "open_rig"]


def open_rig(oven: Oven, **how: Any) -> RigDriver:
    """The rig that the oven's file chooses (`rig: {kind: …}`). `how` goes to the rig's maker.

    Raises KilnctlError where it cannot be reached. What is opened is disarmed: nothing heats before the first permit.
    """
    if oven.rig.kind == "board":
        from .board_rig import BoardRig  # noqa: PLC0415 - only the rig that the file chooses is loaded

        return BoardRig(oven, **how)
    if oven.rig.kind == "pins":
        from .pins import PinsRig  # noqa: PLC0415 - only the rig that the file chooses is loaded

        return PinsRig(oven, **how)
    return VirtualRig(oven, **how)
