"""Commands to the rig at the end of a tick: the contactor first, heat only under a permit that is valid now."""

from collections.abc import Callable

from ..rig import RigDriver
from ..run.chain import Actuation
from .session import OFF


def command(rig: RigDriver, act: Actuation, now_s: Callable[[], float]) -> None:
    """Command contactor and relay as this tick decided. The relay is commanded even if the contactor's line fails. The
    clock is read again, so a permit that lapsed during the tick heats nothing. Raises RigLost."""
    permit = act.verdict.permit
    try:
        rig.contactor(act.contactor)
    finally:
        if permit is not None and permit.from_s <= now_s() <= permit.until_s:
            rig.heat(act.duty, act.burst, permit)
        else:
            rig.heat(0.0, OFF, None)


def cut(rig: RigDriver) -> None:
    """Contactor open and relay off. Raises RigLost after both were tried."""
    try:
        rig.contactor(False)
    finally:
        rig.heat(0.0, OFF, None)
