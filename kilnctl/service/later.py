"""A start that waits for its hour, so that its run is ready at a time of day. It waits in this process alone: after a
restart, or a power cut, it does not begin by itself, and says so."""

import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..clock import passed_s

if TYPE_CHECKING:
    from .loop import OvenService

#: A start may wait this long, s: after a day the oven and what is in it have to be looked at again.
LONGEST_S = 24 * 3600.0
#: Keys of a request that say when it shall be ready.
WHEN = ("ready_s", "takes_s")


@dataclass(frozen=True, slots=True)
class Waiting:
    """`request`: what is asked when the hour has come; `begin_s`: that hour, on the clock of time passed; `voids`: how
    many times starts had been made void when it was asked; `words` for who asks, `kept` for the saved state."""

    request: dict
    begin_s: float
    voids: int
    words: str
    kept: str


class Later:
    """At most one start waits."""

    def __init__(self, service: "OvenService"):
        self._service = service
        self._waiting: Waiting | None = None

    @property
    def words(self) -> str:
        """What waits, and until when; empty when nothing does."""
        waiting = self._waiting
        return waiting.words if waiting is not None else ""

    @property
    def kept(self) -> str:
        """What the saved state says of it; empty when nothing waits."""
        waiting = self._waiting
        return waiting.kept if waiting is not None else ""

    def ask(self, request: dict, voids: int) -> dict:
        """Called by the socket's thread, with a request that nothing stands against now. Never waits."""
        service = self._service
        if not service.rig.facts.unattended:
            return {"ok": False, "words": "this hardware does not switch off by itself: somebody has to be there"}
        if self._door_is_open():
            return {"ok": False, "words": "the door is open; shut it first"}
        takes_s = max(0.0, request["takes_s"]) / service.pace.speed
        wait_s = request["ready_s"] - time.time() - takes_s
        if wait_s < 0.0:
            ready = _hour(time.time() + takes_s)
            return {"ok": False, "words": f"too late for that: begun at once it would be ready at {ready}"}
        if wait_s > LONGEST_S:
            return {"ok": False, "words": "that is more than a day away; look at the oven again tomorrow"}
        begins, ready = _hour(time.time() + wait_s), _hour(request["ready_s"])
        name = Path(request["schedule"]).name
        words = f"{name} waits: it begins at {begins} to be ready at {ready}; a stop calls it off"
        asked = {k: v for k, v in request.items() if k not in WHEN} | {"unattended": True}
        self._waiting = Waiting(asked, passed_s() + wait_s, voids, words, f"{name}, to be ready at {ready}")
        return {"ok": True, "words": words}

    def _door_is_open(self) -> bool:
        """As the last tick read it, judged as `Reading.door_is_open`: without a switch it counts as shut."""
        door = self._service.snapshot.get("door_open")
        return door is not None and door is not False

    def due(self, voids: int, why: str) -> dict | None:
        """Called by the tick: the request whose hour has come. One that became void is dropped, and told."""
        waiting = self._waiting
        if waiting is None:
            return None
        if waiting.voids != voids:
            self._waiting = None
            self._service.tell(f"the start that waited is called off: {why}")
            return None
        if passed_s() < waiting.begin_s:
            return None
        self._waiting = None
        if self._door_is_open():
            self._service.tell(f"{Path(waiting.request['schedule']).name} does not start: the door is open")
            return None
        return waiting.request


def forgotten(saved: dict) -> str:
    """What an earlier process left waiting by the state that it saved, in words; empty when nothing waited."""
    kept = saved.get("waiting")
    if not isinstance(kept, str) or not kept:
        return ""
    return f"a start had waited ({kept[:400]}) when this program ended: it does not begin by itself. Ask for it again"


def _hour(wall_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(wall_s))
