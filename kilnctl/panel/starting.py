"""A start from the page, and the allowance for one from elsewhere. Only what was shown can start: the same schedule,
oven, limits and model. A plan that does not end well needs a confirmation of its own."""

import asyncio
import datetime
import time
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from ..record.care import known_log
from ..settings.schedule import Schedule, schedule_of
from .ready_at import CARE, missing, next_time
from .replies import json_body, refuse, reply
from .schedule_folder import sha256

if TYPE_CHECKING:
    from .app import PanelApp

#: The service prepares a start in a process of its own, on a small computer: the panel waits this long for it, s.
PREPARE_S = 90.0


class Starting:
    def __init__(self, panel: "PanelApp"):
        self.panel = panel
        self._starting = asyncio.Lock()

    async def arm(self, request: Request) -> Response:
        """Allow one start of one schedule, as it is now, from elsewhere; by the screen at the oven."""
        panel = self.panel
        said = await json_body(request, {"file": str})
        if not panel.asker(request)[1]:
            return refuse(
                "only the screen at the oven can allow a start from elsewhere (or `kilnctl panel OVEN --arm SCHEDULE` "
                "there)",
                403,
            )
        if not panel.unlocked(request):
            return refuse("the PIN first", 401)
        text = await panel.threads.quick(panel.catalogue.schedules.text, said["file"])
        name = schedule_of(text, said["file"]).name
        panel.keys.arm(sha256(text), name)
        panel.audit(request, f"arm {said['file']}", "one start from elsewhere allowed")
        words = f"one start of {name} from elsewhere is allowed for five minutes"
        return reply({"ok": True, "words": words, "armed_s": panel.keys.armed_s()})

    async def start(self, request: Request) -> Response:
        """Needs the PIN, the fingerprint of what was shown, and a confirmation of its own for a plan that does not end
        well; from elsewhere also an arm made at the oven, and a closed door. One start per arm."""
        said = await json_body(request, {"file": str, "seen": str, "confirm": bool, "accept": str})
        panel = self.panel
        await panel.threads.quick(panel.catalogue.schedules.path, said["file"])
        if not panel.unlocked(request):
            return refuse("the PIN first", 401)
        if self._starting.locked():
            return refuse("another start is being prepared", 409)
        async with self._starting:
            answer, status = await self._start(request, said)
        panel.audit(request, f"start {said['file']}", answer.get("words", ""))
        return reply(answer, status)

    async def later(self, request: Request) -> Response:
        """A start that waits, so that its run is over at a time of day with nobody there. Needs the PIN at the screen
        beside the oven, who has looked into it, what was shown, and a plan that ends well without a word of its own."""
        said = await json_body(
            request, {"file": str, "seen": str, "confirm": bool, "ready_at": str, "who": str, "only_look": bool}
        )
        panel = self.panel
        await panel.threads.quick(panel.catalogue.schedules.path, said["file"])
        if not panel.asker(request)[1]:
            words = "only at the screen beside the oven: somebody has to look into it before a start with nobody there"
            return refuse(words, 403)
        if not said["only_look"] and not panel.unlocked(request):
            return refuse("the PIN first", 401)
        if self._starting.locked():
            return refuse("another start is being prepared", 409)
        async with self._starting:
            answer, status = await self._later(request, said)
        if not said["only_look"]:
            panel.audit(request, f"start {said['file']} to be ready at {said['ready_at']}", answer.get("words", ""))
        return reply(answer, status)

    async def _later(self, request: Request, said: dict) -> tuple[dict, int]:
        panel, catalogue = self.panel, self.panel.catalogue
        schedule, status, refused = await self._as_shown(said)
        if refused is not None:
            return refused, 409
        done = (await panel.threads.quick(known_log, catalogue.home))[0] or ()
        lacks = missing(schedule, done, datetime.date.today(), "OVEN")
        if said["only_look"]:
            return {"ok": True, "missing": lacks, "words": CARE, "switch": bool(catalogue.oven.door.switch)}, 200
        who = said["who"].strip()[:80]
        if not who:
            lacks.append("somebody has to look into the oven, shut the door and allow it: say who")
        if lacks:
            return {"ok": False, "words": "; ".join(lacks), "missing": lacks}, 409
        ready_s = next_time(said["ready_at"], datetime.datetime.now().astimezone())
        plan = await panel.awaited(catalogue.ask_plan(schedule, status.get("chamber_c")), request)
        which, words = await panel.threads.sums(catalogue.needs_word, schedule, status.get("chamber_c"))
        if which:
            return {"ok": False, "words": f"it does not start with nobody there: {words}"}, 409
        more = {"ready_s": ready_s, "takes_s": plan.duration_s, "by": f"{who}, at {panel.by(request)}"}
        path = catalogue.schedules.path(said["file"])
        answer = await self._asked(request, path, schedule.sha256, said["confirm"], more)
        return answer, 200 if answer.get("ok") else 409

    async def _as_shown(self, said: dict) -> tuple[Schedule, dict, dict | None]:
        """The schedule, the service's status, and a refusal where it is not what was shown."""
        panel, catalogue = self.panel, self.panel.catalogue
        text = await panel.threads.quick(catalogue.schedules.text, said["file"])
        shown = catalogue.shown(text)
        changed = catalogue.seen.difference(said["seen"], shown)
        schedule = schedule_of(text, said["file"])
        if changed:
            words = "it does not start: it has been changed since it was shown"
            return schedule, {}, {"ok": False, "words": words, "changed": changed}
        status = await panel.client.ask({"ask": "status"})
        if status.get("ok") and status.get("oven_sha256") != catalogue.oven.sha256:
            words = (
                "it does not start: the oven's service runs by another description than this panel shows; restart both"
            )
            changed = ["the oven's description has been changed"]
            return schedule, status, {"ok": False, "words": words, "changed": changed}
        return schedule, status, None

    async def _start(self, request: Request, said: dict) -> tuple[dict, int]:
        panel, catalogue = self.panel, self.panel.catalogue
        schedule, status, refused = await self._as_shown(said)
        if refused is not None:
            return refused, 409
        which, words = await panel.threads.sums(catalogue.needs_word, schedule, status.get("chamber_c"))
        if which != "" and said["accept"] != which:
            return {"ok": False, "words": words, "accept": which}, 409
        arm = None
        if not panel.asker(request)[1]:
            if status.get("door_open"):
                return {"ok": False, "words": "the door is open; a start from elsewhere needs it shut"}, 403
            refused = self._not_allowed(schedule)
            if refused:
                return {"ok": False, "words": refused}, 403
            arm = panel.keys.use_arm()
            if arm is None:
                return {"ok": False, "words": "the allowance for a start from elsewhere has just ended"}, 403
        path = catalogue.schedules.path(said["file"])
        answer = await self._asked(request, path, schedule.sha256, said["confirm"])
        if arm is not None and not answer.get("ok"):
            panel.keys.give_back_arm(arm)
        return answer, 200 if answer.get("ok") else 409

    def _not_allowed(self, schedule: Schedule) -> str:
        armed, name = self.panel.keys.armed_for()
        if not armed:
            return (
                "a start from elsewhere must be allowed at the oven first (the screen there, or "
                "`kilnctl panel OVEN --arm SCHEDULE`)"
            )
        return "" if armed == schedule.sha256 else f"what was allowed at the oven is {name}, as it was then, not this"

    async def _asked(
        self, request: Request, path: Path, sha: str, confirm: bool, more: Mapping[str, object] | None = None
    ) -> dict:
        """The result of the start at the service; `more`: of its request."""
        panel = self.panel
        question = {
            "ask": "start",
            "schedule": str(path.resolve()),
            "by": panel.by(request),
            "confirm": confirm,
            "sha256": sha,
            **(more or {}),
        }
        if panel.catalogue.given_model:
            question["model"] = str(Path(panel.catalogue.given_model).resolve())
        answer = await panel.client.ask(question)
        until = time.monotonic() + PREPARE_S
        while answer.get("pending") and time.monotonic() < until:
            await asyncio.sleep(0.2)
            answer = await panel.client.ask({"ask": "prepared"})
        return answer
