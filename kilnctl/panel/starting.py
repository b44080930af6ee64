"""A start from the page, and the allowance for one from elsewhere. Only what was shown can start: the same schedule,
oven, limits and model. A plan that does not end well needs a confirmation of its own."""

import asyncio
import time
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from ..settings.schedule import Schedule, schedule_of
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

    async def _start(self, request: Request, said: dict) -> tuple[dict, int]:
        panel, catalogue = self.panel, self.panel.catalogue
        text = await panel.threads.quick(catalogue.schedules.text, said["file"])
        shown = catalogue.shown(text)
        changed = catalogue.seen.difference(said["seen"], shown)
        if changed:
            words = "it does not start: it has been changed since it was shown"
            return {"ok": False, "words": words, "changed": changed}, 409
        status = await panel.client.ask({"ask": "status"})
        if status.get("ok") and status.get("oven_sha256") != catalogue.oven.sha256:
            words = (
                "it does not start: the oven's service runs by another description than this panel shows; restart both"
            )
            return {"ok": False, "words": words, "changed": ["the oven's description has been changed"]}, 409
        schedule = schedule_of(text, said["file"])
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

    async def _asked(self, request: Request, path: Path, sha: str, confirm: bool) -> dict:
        """The result of the start at the service."""
        panel = self.panel
        question = {
            "ask": "start",
            "schedule": str(path.resolve()),
            "by": panel.by(request),
            "confirm": confirm,
            "sha256": sha,
        }
        if panel.catalogue.given_model:
            question["model"] = str(Path(panel.catalogue.given_model).resolve())
        answer = await panel.client.ask(question)
        until = time.monotonic() + PREPARE_S
        while answer.get("pending") and time.monotonic() < until:
            await asyncio.sleep(0.2)
            answer = await panel.client.ask({"ask": "prepared"})
        return answer
