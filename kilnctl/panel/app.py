"""The panel's answers: what the page asks for, and what a person may do. `guard` holds the rules in front of it."""

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator
from functools import partial
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from ..errors import KilnctlError
from ..record.folder import plain
from ..settings import load_schedule
from .catalogue import Catalogue
from .guard import REPORT_CSP, Guard
from .pin import Keys
from .preview import RunPreview
from .replies import fault, json_body, missing, refuse, reply, told
from .service_client import ServiceClient

COOKIE = "kilnctl-panel"
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
LOOPBACK = ("127.0.0.1", "::1")
LARGEST_AUDIT = 5_000_000
#: The service prepares a start in a process of its own, on a small computer: how long the panel waits for it, s.
PREPARE_S = 90.0
#: What a page may ask the service for with the PIN: all that can heat, or make heat last.
CHANGES = ("hold", "proceed", "skip", "soak", "acknowledge")


class PanelApp:
    """One oven's panel. `folder` keeps PIN, tries, arm and the audit."""

    def __init__(self, socket: Path, catalogue: Catalogue, folder: Path, allowed: frozenset[str], demo: bool = False):
        self.client, self.catalogue, self.keys = ServiceClient(socket), catalogue, Keys(folder)
        self.folder, self.demo = Path(folder), demo
        # Which run, and its preview once it is worked out.
        self._planned: tuple[str | None, RunPreview | None] = (None, None)
        self._starting = asyncio.Lock()
        # scrypt takes 16 MiB and a core for a moment: one try at a time, from all addresses together.
        self._trying = asyncio.Lock()
        routes = [
            Route("/", partial(_file, "index.html")),
            *(
                Route(f"/page/{f.name}", partial(_file, f.name))
                for f in files("kilnctl.panel").joinpath("page").iterdir()
                if f.name[f.name.rfind(".") :] in TYPES
            ),
            Route("/api/events", self.events),
            Route("/api/schedules", self.schedules),
            Route("/api/schedule", self.schedule),
            Route("/api/runs", self.runs),
            Route("/api/sizing", self.sizing),
            Route("/report/{run}", self.report),
            Route("/api/check", self.check, methods=["POST"]),
            Route("/api/plan", self.check, methods=["POST"]),
            Route("/api/save", self.save, methods=["POST"]),
            Route("/api/unlock", self.unlock, methods=["POST"]),
            Route("/api/lock", self.lock, methods=["POST"]),
            Route("/api/arm", self.arm, methods=["POST"]),
            Route("/api/start", self.start, methods=["POST"]),
            Route("/api/stop", self.stop, methods=["POST"]),
            *(Route(f"/api/{what}", partial(self.change, what), methods=["POST"]) for what in CHANGES),
        ]
        inner = Starlette(
            routes=routes, exception_handlers={KilnctlError: told, 404: missing, 405: missing, 500: fault}
        )
        self.app = Guard(_WithClient(inner, self.client, catalogue), allowed)

    # ---- who asks ----

    @staticmethod
    def local(request: Request) -> bool:
        """Whether it comes from the screen at the oven: from this computer, by its own name for itself."""
        host = request.headers.get("host", "").rsplit(":", 1)[0]
        return bool(request.client) and request.client.host in LOOPBACK and host in ("127.0.0.1", "localhost", "[::1]")

    def unlocked(self, request: Request) -> bool:
        return self.keys.session(request.cookies.get(COOKIE))

    def audit(self, request: Request, what: str, outcome: str) -> None:
        """One line for every request that changes something. With a full disk a stop still works."""
        line = json.dumps(
            {
                "when": time.strftime("%Y-%m-%d %H:%M:%S %z"),
                "from": request.client.host if request.client else "",
                "what": what,
                "outcome": outcome[:300],
            }
        )
        path = self.folder / "audit.jsonl"
        with contextlib.suppress(OSError):
            if path.exists() and path.stat().st_size > LARGEST_AUDIT:
                path.replace(self.folder / "audit.before.jsonl")
            with open(path, "a", encoding="utf-8") as file:
                file.write(line + "\n")

    def by(self, request: Request) -> str:
        return (
            "the panel at the oven"
            if self.local(request)
            else f"the panel from {request.client.host if request.client else 'elsewhere'}"
        )

    # ---- looking ----

    def now(self, request: Request) -> dict:
        client, status = self.client, self.client.status
        plan, milestones = None, []
        if status.get("running") and client.fresh:
            plan = self._plan_of_run()
            milestones = plan.milestones(status, client.ahead) if plan is not None else []
        return {
            "status": status,
            "ahead": client.ahead,
            "fresh": client.fresh,
            "words": client.words,
            "milestones": milestones,
            "demo": self.demo,
            "plan": _key(status) if plan is not None else None,
            "local": self.local(request),
            "unlocked_s": self.keys.left_s(request.cookies.get(COOKIE)),
            "armed_s": self.keys.armed_s(),
            "locked_s": self.keys.locked_s(),
            "has_pin": self.keys.has_pin,
        }

    def _plan_of_run(self) -> RunPreview | None:
        """The plan of the run that goes on, once it is worked out (in the background)."""
        key = _key(self.client.status)
        if self._planned[0] != key:
            self._planned = (key, None)
            asyncio.get_running_loop().create_task(self._work_out(key))
        return self._planned[1]

    async def _work_out(self, key: str) -> None:
        chamber = next((c for c in self.client.columns["chamber_c"] if c is not None), None)
        try:
            schedule = await run_in_threadpool(load_schedule, self.client.status.get("schedule_file", ""))
            plan = await run_in_threadpool(self.catalogue.plan, schedule, chamber)
        except KilnctlError:
            plan = None
        if self._planned[0] == key:
            self._planned = (key, plan)

    async def events(self, request: Request) -> Response:
        """Server-sent events: the state once a second, with the rows that this page lacks. The id says what the page
        has."""
        last = request.headers.get("last-event-id") or request.query_params.get("from") or ""
        have = last.split(":")
        epoch, row, planned = (
            (int(have[0]), int(have[1]), None)
            if len(have) == 2 and all(h.isascii() and h.isdigit() for h in have)
            else (-1, 0, None)
        )

        async def stream() -> AsyncIterator[bytes]:
            nonlocal epoch, row, planned
            seen = -1
            yield b"retry: 1500\n\n"
            while not self.client.closing:
                await self.client.changed(seen, 2.0)
                seen = self.client.version
                said = self.now(request)
                rows = self.client.since(epoch, row)
                epoch, row = rows["epoch"], rows["rows"]
                said["curve"] = rows
                plan = self._planned[1]
                if plan is not None and said["plan"] is not None and said["plan"] != planned:
                    planned = said["plan"]
                    said["planned"] = {
                        "columns": plan.columns,
                        "duration_s": plan.duration_s,
                        "energy_kwh": plan.energy_kwh,
                        "stretches": [[s.begin_s, s.end_s, s.phase, s.to_c] for s in plan.stretches],
                    }
                yield f"id: {epoch}:{row}\ndata: {json.dumps(plain(said), separators=(',', ':'))}\n\n".encode()

        return StreamingResponse(stream(), media_type="text/event-stream", headers={"x-accel-buffering": "no"})

    async def schedules(self, request: Request) -> Response:
        return reply({"ok": True, "schedules": await run_in_threadpool(self.catalogue.listed)})

    async def schedule(self, request: Request) -> Response:
        name = request.query_params.get("file", "")
        text = await run_in_threadpool(self.catalogue.text, name)
        return reply({"ok": True, "file": name, "text": text})

    async def runs(self, request: Request) -> Response:
        going_on = self.client.status.get("folder", "") if self.client.status.get("running") else ""
        return reply({"ok": True, "runs": await run_in_threadpool(self.catalogue.runs, going_on)})

    async def sizing(self, request: Request) -> Response:
        return reply({"ok": True, **await run_in_threadpool(self.catalogue.sizing)})

    async def report(self, request: Request) -> Response:
        unit = "F" if request.query_params.get("unit") == "F" else "C"
        page = await run_in_threadpool(self.catalogue.report, request.path_params["run"], unit)
        return Response(
            page,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": REPORT_CSP.decode(), "x-frame-options": "SAMEORIGIN"},
        )

    # ---- doing ----

    async def check(self, request: Request) -> Response:
        """Whether a draft is sound (at once), or what is to be expected of it (by /api/plan, which may take long)."""
        said = await json_body(request, {"text": str, "file": str})
        start = self.client.status.get("chamber_c") if self.client.fresh else None
        return reply(
            {
                "ok": True,
                **await run_in_threadpool(
                    self.catalogue.checked,
                    said["text"],
                    said["file"][:80] or "new.yaml",
                    start,
                    request.url.path == "/api/plan",
                ),
            }
        )

    async def stop(self, request: Request) -> Response:
        """No PIN, no session, no throttle."""
        answer = await self.client.ask({"ask": "stop", "by": self.by(request)})
        self.audit(request, "stop", answer.get("words", ""))
        return reply(answer, 200 if answer.get("ok") else 502)

    async def unlock(self, request: Request) -> Response:
        said = await json_body(request, {"pin": str})
        if not self.keys.has_pin:
            return refuse("no PIN has been made yet: `kilnctl panel OVEN --new-pin` at the oven", 409)
        async with self._trying:
            locked = self.keys.locked_s()
            token = None if locked else await run_in_threadpool(self.keys.open, said["pin"])
        self.audit(request, "unlock", "opened" if token else "locked" if locked else "wrong PIN")
        if token is None:
            wait = self.keys.locked_s()
            return refuse(
                f"wait {wait:.0f} s" if locked else "wrong PIN" + (f"; wait {wait:.0f} s" if wait else ""),
                429 if wait else 403,
                wait_s=wait,
            )
        answer = reply({"ok": True, "words": "unlocked"})
        answer.set_cookie(COOKIE, token, max_age=12 * 3600, httponly=True, samesite="strict", path="/")
        return answer

    async def lock(self, request: Request) -> Response:
        self.keys.close(request.cookies.get(COOKIE))
        answer = reply({"ok": True, "words": "locked"})
        answer.delete_cookie(COOKIE, path="/")
        return answer

    async def arm(self, request: Request) -> Response:
        if not self.local(request):
            return refuse(
                "only the screen at the oven can allow a start from elsewhere (or `kilnctl panel OVEN --arm` there)",
                403,
            )
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        self.keys.arm()
        self.audit(request, "arm", "one start from elsewhere allowed")
        return reply(
            {
                "ok": True,
                "words": "one start from elsewhere is allowed for five minutes",
                "armed_s": self.keys.armed_s(),
            }
        )

    async def change(self, what: str, request: Request) -> Response:
        said = await json_body(request, {"seconds": (int, float), "who": str}, needed=False)
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        question: dict = {"ask": what, "by": self.by(request)}
        if what == "soak":
            question["seconds"] = said.get("seconds", 0)
        if what == "acknowledge":
            who = said.get("who", "").strip()[:80]
            if not who:
                return refuse("say who has seen to it", 400)
            question["by"] = f"{who}, at {self.by(request)}"
        answer = await self.client.ask(question)
        self.audit(request, what, answer.get("words", ""))
        return reply(answer, 200 if answer.get("ok") else 409)

    async def save(self, request: Request) -> Response:
        said = await json_body(request, {"text": str, "file": str})
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        name = await run_in_threadpool(self.catalogue.save, said["file"][:80], said["text"])
        self.audit(request, f"save {name}", "saved")
        return reply({"ok": True, "words": f"saved as {name}", "file": name})

    async def start(self, request: Request) -> Response:
        """PIN; from elsewhere also an arm made at the oven, and a door that is not open. One start per arm."""
        said = await json_body(request, {"file": str, "confirm": bool})
        path = await run_in_threadpool(self.catalogue.path, said["file"])
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        if self._starting.locked():
            return refuse("another start is being prepared", 409)
        async with self._starting:
            if not self.local(request):
                await self.client.refresh()
                if self.client.status.get("door_open"):
                    return self._refused(request, "the door is open; a start from elsewhere needs it shut")
                if not self.keys.use_arm():
                    return self._refused(
                        request,
                        "a start from elsewhere must be allowed at the oven first (the screen there, or "
                        "`kilnctl panel OVEN --arm`)",
                    )
            question = {
                "ask": "start",
                "schedule": str(path.resolve()),
                "by": self.by(request),
                "confirm": said["confirm"],
            }
            if self.catalogue.model_file:
                question["model"] = str(Path(self.catalogue.model_file).resolve())
            answer = await self.client.ask(question)
            until = time.monotonic() + PREPARE_S
            while answer.get("pending") and time.monotonic() < until:
                await asyncio.sleep(0.2)
                answer = await self.client.ask({"ask": "prepared"})
            if answer.get("confirm") and not self.local(request):
                self.keys.arm()  # nothing was started: the same arm serves for the confirmed start
        self.audit(request, f"start {said['file']}", answer.get("words", ""))
        return reply(answer, 200 if answer.get("ok") else 409)

    def _refused(self, request: Request, words: str) -> Response:
        self.audit(request, "start", words)
        return refuse(words, 403)


class _WithClient:
    """Starts and ends client and catalogue with the server."""

    def __init__(self, app: ASGIApp, client: ServiceClient, catalogue: Catalogue):
        self.app, self.client, self.catalogue = app, client, catalogue

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "lifespan":
            await self.app(scope, receive, send)
            return
        while True:
            message = await receive()
            if message["type"] == "lifespan.startup":
                self.client.start()
                await send({"type": "lifespan.startup.complete"})
            else:
                await self.client.close()
                self.catalogue.close()
                await send({"type": "lifespan.shutdown.complete"})
                return


async def _file(name: str, request: Request) -> Response:
    place = files("kilnctl.panel").joinpath("page", name)
    return Response(place.read_bytes(), media_type=TYPES[name[name.rfind(".") :]])


def _key(status: dict) -> str:
    return f"{status.get('folder', '')} {status.get('started', '')}"
