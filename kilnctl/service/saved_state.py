"""What the service knows about the oven beyond one process: limits, the run, its trips, the oven's heat, and who
acknowledged last. The file is written by a thread of its own (`state_store`)."""

import math
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from ..errors import KilnctlError
from ..reading import Reading
from ..safety import Policy, Trip, hot_surface
from ..settings.oven import Oven
from . import operating_system, saved_trips
from .session import Session
from .state_store import EVERY_S, StateStore


@dataclass(frozen=True)
class TrippedRun:
    """The run whose trip has not been acknowledged: the folder of its record, and how long it had lasted, s."""

    folder: str
    lasted_s: float


@dataclass(frozen=True)
class Acknowledgement:
    """A person's word that the causes of these trips are gone. `wall_s`: of the wall clock."""

    by: str
    faults: tuple[str, ...]
    wall_s: float


class SavedState:
    """`before` is what the last process left; `newest` is what the next one will find. `hot`: last known heat of the
    oven; `tripped_run` and `acknowledged`: see these classes, None where there is none. Raises KilnctlError where
    nothing can be kept in `home`. `speed`: of a simulated clock, in times real time."""

    def __init__(self, home: Path, oven: Oven, speed: float):
        try:
            self._store = StateStore(home, EVERY_S / min(1000.0, speed))
        except OSError as error:
            raise KilnctlError(f"{home}: the service's state cannot be kept there: {error.strerror}") from None
        self._oven_name, self._ambient_c = oven.name, oven.site.ambient_c
        self.newest = self.before = self._store.load()
        self.hot = hot_surface.from_mapping(self.before.get("hot") or {})
        self.tripped_run = _tripped_run(self.before)
        self.acknowledged: Acknowledgement | None = None
        self._acknowledged_before = self.before.get("acknowledged")

    @property
    def failure(self) -> str:
        """Why the disk has not what is newest; empty when it has."""
        return self._store.failure

    @property
    def limits(self) -> dict | None:
        """The limits of the last run."""
        return self.newest.get("limits")

    def see_heat(
        self, reading: Reading, usable: bool, tau_s: float, believed: Iterable[tuple[float, float]] | None
    ) -> None:
        """Renew `hot`: by the control reading where it is `usable`; and, while a trip says that this reading may be too
        low, by the second sensor and by what was `believed` before that trip, each (°C, how many s ago). `tau_s`:
        cooling time constant. `believed`: None without such a trip."""
        values, doubted = [(reading.chamber_c, 0.0)] if usable else [], believed is not None
        if believed is not None:
            values += believed
            if reading.limit_c is not None and math.isfinite(reading.limit_c):
                values.append((reading.limit_c, 0.0))
        wall = time.time()
        for value_c, ago_s in values:
            seen = hot_surface.seen(value_c, wall - ago_s, self._ambient_c, tau_s)
            self.hot = hot_surface.renewed(self.hot, seen, wall, doubted)

    def save(
        self,
        run: dict | None,
        limits: dict | None,
        trips: tuple[Trip, ...],
        believed: saved_trips.Believed,
        tripped_by: Policy,
        urgent: bool,
    ) -> None:
        """Hand the state to the store: written at once when `urgent`. `run`: from `run_to_saved`."""
        boot_id, boottime_s = operating_system.boot()
        wall = time.time()
        self.newest = {
            "oven": self._oven_name,
            "boot": boot_id,
            "boottime_s": boottime_s,
            "wall_s": wall,
            "limits": limits,
            "run": run,
            "hot": hot_surface.to_mapping(self.hot) if self.hot else None,
            "trips": saved_trips.to_saved(trips, believed, wall),
            "tripped_by": saved_trips.limits_to_saved(tripped_by),
            "tripped_run": asdict(self.tripped_run) if self.tripped_run else None,
            "acknowledged": asdict(self.acknowledged) if self.acknowledged else self._acknowledged_before,
        }
        self._store.keep(self.newest, urgent)

    def close(self) -> None:
        """Write what is newest, and stop."""
        self._store.close()


def run_to_saved(session: Session, folder: Path, started: str) -> dict:
    """A run as JSON values, enough to go on with it after a power cut."""
    order = session.order
    return {
        "folder": str(folder),
        "schedule": order.schedule.file,
        "schedule_sha256": order.schedule.sha256,
        "oven_sha256": order.oven.sha256,
        "model": order.model_file,
        "started": started,
        "place": session.place(),
        "run_s": session.time_s,
    }


def _tripped_run(before: dict) -> TrippedRun | None:
    """The run that tripped in an earlier process: one that had ended, or one that was still watched when it was cut
    off. None where there is none, or what was saved of it cannot be read."""
    if not before.get("trips"):
        return None
    for told, lasted in ((before.get("tripped_run"), "lasted_s"), (before.get("run"), "run_s")):
        if isinstance(told, dict) and isinstance(told.get("folder"), str) and told["folder"]:
            return TrippedRun(told["folder"], saved_trips.number(told.get(lasted)) or 0.0)
    return None
