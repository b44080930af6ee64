"""A start that waits for its hour, so that its run is ready at a time of day. It waits in this process alone: after a
restart, or a power cut, it does not begin by itself, and says so."""

import contextlib
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ..clock import passed_s

if TYPE_CHECKING:
    from .loop import OvenService

FILE_NAME = "waiting-start"
#: A start may wait this long, s: after a day the oven and what is in it have to be looked at again.
LONGEST_S = 24 * 3600.0
#: Keys of a request that say when it shall be ready.
WHEN = ("ready_s", "takes_s")


@dataclass(frozen=True, slots=True)
class Waiting:
    """`request`: what is asked when the hour has come; `begin_s`: that hour, on the clock of time passed; `voids`: how
    many times starts had been made void when it was asked."""

    request: dict
    begin_s: float
    voids: int
    words: str


class Later:
    """At most one start waits."""

    def __init__(self, service: "OvenService", home: Path):
        self._service, self._file = service, Path(home) / FILE_NAME
        self._waiting: Waiting | None = None

    @property
    def words(self) -> str:
        """What waits, and until when; empty when nothing does."""
        waiting = self._waiting
        return waiting.words if waiting is not None else ""

    def ask(self, request: dict, voids: int) -> dict:
        """Called by the socket's thread, with a request that nothing stands against now. Never waits."""
        service = self._service
        if not service.rig.facts.unattended:
            return {"ok": False, "words": "this hardware does not switch off by itself: somebody has to be there"}
        if service.door_open() is True:
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
        self._waiting = Waiting(asked, passed_s() + wait_s, voids, words)
        self._keep(f"{name}, to be ready at {ready}")
        return {"ok": True, "words": words}

    def due(self, voids: int, why: str) -> dict | None:
        """Called by the tick: the request whose hour has come. One that became void is dropped, and told."""
        waiting = self._waiting
        if waiting is None:
            return None
        if waiting.voids != voids:
            self._end()
            self._service.tell(f"the start that waited is called off: {why}")
            return None
        if passed_s() < waiting.begin_s:
            return None
        self._end()
        if self._service.door_open() is True:
            self._service.tell(f"{Path(waiting.request['schedule']).name} does not start: the door is open")
            return None
        return waiting.request

    def _end(self) -> None:
        self._waiting = None
        _in_background(lambda: self._file.unlink(missing_ok=True))

    def _keep(self, words: str) -> None:
        _in_background(lambda: self._file.write_text(words, encoding="utf-8"))


def forgotten(home: Path) -> str:
    """What an earlier process left waiting, in words, which it forgets; empty when nothing waited. Waits for the
    disk."""
    file = Path(home) / FILE_NAME
    try:
        words = file.read_text(encoding="utf-8", errors="replace")[:400]
        file.unlink()
    except OSError:
        return ""
    return f"a start had waited ({words.strip()}) when this program ended: it does not begin by itself. Ask for it again"


def _hour(wall_s: float) -> str:
    return time.strftime("%H:%M", time.localtime(wall_s))


def _in_background(work: Callable[[], object]) -> None:
    def quietly() -> None:
        with contextlib.suppress(OSError):
            work()

    threading.Thread(target=quietly, name=f"waiting start {os.getpid()}", daemon=True).start()
