"""What status, resume and start policy may know of the service: values of one moment, read only."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..record.recorder import RecorderState
from ..rig import RigFacts
from ..safety import Trip
from ..safety.hot_surface import HotSurface
from ..settings.oven import Oven
from .pace import TickDelays
from .session import Session

if TYPE_CHECKING:
    from .loop import OvenService


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
    troubles   what is wrong with the service itself
    waiting    the start that waits for its hour, in words; empty when none does
    models     folder of the oven's models
    lesson     what the last run taught the oven's model (see `report.lessons.Told`); empty before the first
    refusal    why no run may start now; empty while one goes on, or when one may
    saved      the state that the process before this one left
    """

    oven: Oven
    rig: RigFacts
    late: TickDelays
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
    waiting: str
    models: str
    lesson: dict
    refusal: str
    troubles: tuple[str, ...]
    saved: dict


def troubles_of(service: "OvenService") -> tuple[str, ...]:
    """What is wrong with the service itself, in words. Waits for nothing."""
    kept = (f"the state cannot be kept: {service.saved.failure}",) if service.saved.failure else ()
    behind = service.pace.late.behind
    return (*kept, *service.upkeep.words, *((behind,) if behind else ()))


def view_of(service: "OvenService") -> ServiceView:
    """The service as it is now. Waits for nothing."""
    return ServiceView(
        oven=service.oven,
        rig=service.rig.facts,
        late=service.pace.late,
        session=service.session,
        started=service.started,
        outcome=service.outcome,
        folder=str(service.folder or ""),
        rows=len(service.curve),
        trips=service.trips(),
        doubted=service.doubted(),
        hot=service.saved.hot,
        chamber_c=service.trusted_c,
        record=service.recorder.state() if service.recorder is not None else None,
        waiting=service.starts.later.words,
        models=str(service.models.store.folder),
        lesson=service.house.lesson,
        refusal="" if service.session is not None else service.refusal(),
        troubles=troubles_of(service),
        saved=service.saved.before,
    )
