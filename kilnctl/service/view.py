"""What status, resume and the policy of starts may know of the service: values of one moment, which nobody changes."""

from dataclasses import dataclass

from ..record.recorder import RecorderState
from ..rig import RigFacts
from ..safety import Trip
from ..safety.hot_surface import HotSurface
from ..settings.oven import Oven
from .pace import Lateness
from .session import Session


@dataclass(frozen=True)
class ServiceView:
    """The service as it is after a tick.

    session    the run; None at rest. Read only.
    started    time of day at which the last run began, in words
    outcome    how the last run of this process ended; empty before its end
    folder     of the last run's record, as text; empty before the first
    rows       rows of the live curve
    trips      latched trips, times on the clock of the run that they ended
    doubted    whether one of them says that the control reading may be too low
    hot        last known heat of the oven
    chamber_c  control reading, °C; None where there is none or safety does not trust it
    refusal    why no run may start now; empty while one goes on, or when one may
    saved      the state that the process before this one left
    """

    oven: Oven
    rig: RigFacts
    late: Lateness
    session: Session | None
    started: str
    outcome: str
    folder: str
    rows: int
    trips: tuple[Trip, ...]
    doubted: bool
    hot: HotSurface | None
    chamber_c: float | None
    record: RecorderState | None
    refusal: str
    saved: dict
