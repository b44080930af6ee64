"""What the service knows about the oven beyond one process: limits, the run, its trips, the oven's heat, and who
acknowledged last. The file is written by a thread of its own (`state_store`)."""

import math
import time
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ..clock import passed_s
from ..errors import KilnctlError
from ..reading import Reading
from ..safety import Policy, Trip, hot_surface
from ..settings.oven import Oven
from . import operating_system, saved_trips
from .session import Session, is_place
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
            self._store = StateStore(home, EVERY_S / min(1000.0, speed), _clock)
        except OSError as error:
            raise KilnctlError(f"{home}: the service's state cannot be kept there: {error.strerror}") from None
        self._oven_name, self._ambient_c = oven.name, oven.site.ambient_c
        self.newest = self.before = sound(self._store.load())
        away_s = away(self.before)
        #: When this process began, on the clock of the saved state. If the clock is not known to be right, no time
        #: counts as passed: what was believed then is treated as new.
        self.wall_then_s = (self.before["wall_s"] or 0.0) + (away_s if math.isfinite(away_s) else 0.0)
        hot = hot_surface.from_mapping(self.before["hot"])
        self.hot = hot and replace(hot, wall_s=passed_s() - max(0.0, self.wall_then_s - hot.wall_s))
        self.tripped_run = _tripped_run(self.before)
        self.acknowledged: Acknowledgement | None = None
        self._acknowledged_before = self.before.get("acknowledged")

    @property
    def failure(self) -> str:
        """Why the newest state is not on the disk; empty when it is."""
        return self._store.failure

    def acknowledge(self, by: str, faults: tuple[str, ...]) -> tuple[TrippedRun | None, Acknowledgement]:
        """Keep a person's acknowledgement; returns the run that tripped, and the acknowledgement."""
        self.acknowledged = said = Acknowledgement(by, faults, time.time())
        tripped, self.tripped_run = self.tripped_run, None
        return tripped, said

    def renewed(self) -> str:
        """See `StateStore.renewed`."""
        return self._store.renewed()

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
        # Through an open door the sensor sees the air of the room: walls, elements and part are as hot as before.
        doubted = believed is not None or reading.door_open is True
        values = [(reading.chamber_c, 0.0)] if usable else []
        if believed is not None:
            values += believed
            if reading.limit_c is not None and math.isfinite(reading.limit_c):
                values.append((reading.limit_c, 0.0))
        # By the monotonic clock; the wall clock is for a process after another boot.
        now = passed_s()
        for value_c, ago_s in values:
            seen = hot_surface.seen(value_c, now - ago_s, self._ambient_c, tau_s)
            self.hot = hot_surface.renewed(self.hot, seen, now, doubted)

    def save(
        self,
        run: dict | None,
        limits: dict | None,
        trips: tuple[Trip, ...],
        believed: saved_trips.Believed,
        tripped_by: Policy,
        urgent: bool,
        waiting: str = "",
    ) -> None:
        """Hand the state to the store: written at once when `urgent`. `run`: from `run_to_saved`; `waiting`: a start
        that waits for its hour, in words."""
        boot_id, boottime_s = operating_system.boot()
        wall = time.time()
        hot = self.hot and replace(self.hot, wall_s=self.hot.wall_s - boottime_s + wall)
        self.newest = {
            "oven": self._oven_name,
            "boot": boot_id,
            "boottime_s": boottime_s,
            "wall_s": wall,
            "limits": limits,
            "run": run,
            "waiting": waiting,
            "hot": hot_surface.to_mapping(hot) if hot else None,
            "trips": saved_trips.to_saved(trips, believed, wall),
            "tripped_by": saved_trips.limits_to_saved(tripped_by),
            "tripped_run": asdict(self.tripped_run) if self.tripped_run else None,
            "acknowledged": asdict(self.acknowledged) if self.acknowledged else self._acknowledged_before,
        }
        self._store.keep(self.newest, urgent)

    def close(self) -> None:
        """Write the newest state, and stop."""
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


def sound(state: dict) -> dict:
    """The usable part of a state, from any content of the file (another version may have written it, or the disk may be
    damaged). A run whose place cannot be read does not go on; trips that cannot be read remain."""
    run = state.get("run")
    return {
        **state,
        "boot": _text(state.get("boot")),
        "boottime_s": saved_trips.number(state.get("boottime_s")),
        "wall_s": saved_trips.number(state.get("wall_s")),
        "clock": _text(state.get("clock")),
        "limits": state["limits"] if isinstance(state.get("limits"), dict) else None,
        "hot": state["hot"] if isinstance(state.get("hot"), dict) else {},
        "run": _sound_run(run) if isinstance(run, dict) and _text(run.get("folder")) else None,
    }


def _sound_run(run: dict) -> dict:
    texts = ("folder", "schedule", "schedule_sha256", "oven_sha256", "model", "started")
    return {
        **{name: _text(run.get(name)) for name in texts},
        "run_s": saved_trips.number(run.get("run_s")) or 0.0,
        "place": run["place"] if is_place(run.get("place")) else None,
    }


def _text(value) -> str:
    # A file name cannot contain a zero byte.
    return value if isinstance(value, str) and "\0" not in value and value.isprintable() else ""


def away(before: dict) -> float:
    """How long the service was away, s, of a `sound` state; NaN where no clock that is known to be right can tell."""
    boot_id, boottime_s = operating_system.boot()
    right = bool(before["clock"]) and bool(operating_system.clock_source())
    return outage_s(before, boot_id, boottime_s, time.time()) if right or before["boot"] == boot_id else math.nan


def outage_s(state: dict, boot_id: str, boottime_s: float, wall_s: float) -> float:
    """How long the service was away, s; NaN where no clock can tell. Within one boot that boot's clock counts, else the
    wall clock, right or wrong."""
    saved = state.get("boottime_s")
    if boot_id and state.get("boot") == boot_id and isinstance(saved, (int, float)) and boottime_s >= saved:
        return float(boottime_s - saved)
    wall = state.get("wall_s")
    if not isinstance(wall, (int, float)) or not math.isfinite(wall) or wall_s < wall:
        return math.nan
    return float(wall_s - wall)


def _clock() -> dict:
    """What is added to a state when it is written: whether its wall clock was right."""
    return {"clock": operating_system.clock_source()}


def _tripped_run(before: dict) -> TrippedRun | None:
    """The run that tripped in an earlier process: it had ended, or the process was cut off during it. None if there is
    none, or if it cannot be read."""
    if not before.get("trips"):
        return None
    for told, lasted in ((before.get("tripped_run"), "lasted_s"), (before.get("run"), "run_s")):
        if isinstance(told, dict) and isinstance(told.get("folder"), str) and told["folder"]:
            return TrippedRun(told["folder"], saved_trips.number(told.get(lasted)) or 0.0)
    return None
