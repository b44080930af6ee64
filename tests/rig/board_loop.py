"""What a control loop does with a board rig, and what a line can do to it, for tests."""

import math
from types import ModuleType

from kilnctl.firing import Burst
from kilnctl.reading import Reading
from kilnctl.rig import RigLost
from kilnctl.rig.board_rig import BoardRig
from kilnctl.safety import Permit
from tests.rig.simulated_time import SimulatedTime

NOTHING = Burst(0, (0,), (), 0.0)


def tick(rig: BoardRig, step: int, duty: float = 0.5, contactor: bool = True) -> None:
    rig.contactor(contactor)
    rig.heat(
        duty, Burst(50, (round(50 * duty),), (), duty) if duty else NOTHING, Permit(0.0, 2.0, step) if duty else None
    )


def hold(
    time: ModuleType | SimulatedTime,
    rig: BoardRig,
    seconds: float,
    duty: float = 0.5,
    contactor: bool = True,
    every_s: float = 0.2,
) -> Reading:
    """A tick every `every_s` for so long, by `time`; the reading after the last."""
    end, step = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        step += 1
        tick(rig, step, duty, contactor)
        time.sleep(every_s)
    return rig.read()


def heard(line, change):
    """Lets `change(request, answer)` answer instead."""
    ask = line.ask
    line.ask = lambda request, patience_s=0.1: change(request, ask(request, patience_s))


def lost_after_s(clock: SimulatedTime, rig: BoardRig) -> tuple[float, str]:
    """How long until the rig says that it is lost, s, and why; 30 s are waited for."""
    began_s = clock.monotonic()
    while clock.monotonic() < began_s + 30.0:
        try:
            rig.read()
        except RigLost as error:
            return clock.monotonic() - began_s, str(error)
        clock.sleep(0.01)
    return math.inf, ""
