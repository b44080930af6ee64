"""How a process of the service begins, once the first readings are in: acknowledge, go on after a power cut, start the
schedule that was asked for, or refuse."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..errors import KilnctlError
from ..run.prepare import PreparedRun
from ..safety import changed_limits, schedule_trip_words
from . import resume
from .later import forgotten
from .loop import OvenService
from .socket_answers import standing_words


@dataclass(frozen=True)
class StartWishes:
    """What a person says about the start beforehand.

    acknowledged_by   who acknowledges the latched trips; empty: no acknowledgement
    reading_is_right  with it: another thermometer confirms the reading
    anew              forget an interrupted run
    confirm           limits that differ from the last run's are right
    """

    acknowledged_by: str = ""
    reading_is_right: bool = False
    anew: bool = False
    confirm: bool = False


class StartPolicy:
    """What `OvenService.run` takes as `before`. `order`: the run that was asked for, None with an idle service.
    `allowed(chamber_c)` raises KilnctlError if the oven is not ready for it. A refused start ends a service that is not
    idle; `refused` says why."""

    def __init__(
        self, wishes: StartWishes, order: PreparedRun | None, allowed: Callable[[float], None] = lambda chamber_c: None
    ):
        self._wishes, self._order, self._allowed = wishes, order, allowed
        self.refused = ""

    def __call__(self, service: OvenService) -> None:
        """Decide, and begin the run if there is one. Never call it from the tick: it reads, checks and writes."""
        try:
            self._begin(service)
        except (Refused, KilnctlError) as refused:
            self._refuse(service, str(refused))
        except Exception as error:  # else a bad state would end every start
            self._refuse(service, f"nothing begins: kilnctl met a fault of its own: {type(error).__name__}: {error}")

    def _refuse(self, service: OvenService, why: str) -> None:
        if service.idle:
            service.tell(why)
        else:
            self.refused = why
            service.end("refused")

    def _begin(self, service: OvenService) -> None:
        service.house.refusal()  # checks the disk, also for later callers
        waited = forgotten(service.saved.before)
        if waited:
            service.tell(waited)
        reading = service.rest.reading
        if reading is not None:
            self._check_oven(reading.chamber_c)
        self._acknowledge(service)
        if self._resumed(service) or self._order is None:
            return
        view = service.view()
        if view.refusal:
            hint = " Start again with --acknowledge YOUR-NAME once its cause is gone" if view.trips else ""
            raise Refused(view.refusal + hint)
        order, unlike = service.ordered(self._order), service.unlike()
        service.tell(schedule_trip_words(order.schedule, order.policy.schedule_trip_c))
        # On a virtual oven the first run's limits need no confirmation.
        first = view.rig.kind == "virtual" and not view.saved.get("limits")
        if unlike and not self._wishes.confirm and not first:
            raise Refused(changed_limits.to_confirm(unlike))
        for shortfall in order.programme.shortfalls:
            service.tell(f"note: {shortfall.note}")
        self._hand_over(service, order, *service.open_record(order), by="the command line")

    def _hand_over(self, service: OvenService, *what, **more) -> None:
        service.begin(*what, **more, dropped=lambda why: self._refuse(service, f"it does not start: {why}"))

    def _check_oven(self, chamber_c: float) -> None:
        try:
            self._allowed(chamber_c)
        except KilnctlError as error:
            raise Refused(str(error)) from None

    def _acknowledge(self, service: OvenService) -> None:
        who = self._wishes.acknowledged_by
        if who and service.rest.trips:
            standing = service.acknowledge(who, self._wishes.reading_is_right)
            if standing:
                raise Refused(f"not acknowledged: {standing_words(service.rest, standing)}; see to its cause")
            service.tell(f"acknowledged by {who}")

    def _resumed(self, service: OvenService) -> bool:
        """Whether an interrupted run goes on; if not, its record is closed. Refuses to start another run in its
        place."""
        view = service.view()
        run = resume.unfinished(view.saved)
        if run is None or self._wishes.anew:
            return False
        verdict, order = resume.judge(view, run)
        service.tell(verdict.words)
        if verdict.go and order is not None and not view.refusal:
            place = {**run["place"], "outage_s": verdict.outage_s}
            folder, recorder = service.open_record(order, Path(run["folder"]))
            self._hand_over(service, order, folder, recorder, place=place, words=verdict.words)
            return True
        service.house.close_interrupted(run, verdict.words)
        if self._order is not None:
            raise Refused(f"{verdict.words}\nto start it from the beginning say --anew")
        return False


class Refused(Exception):
    """Why nothing begins, in words for the person."""
