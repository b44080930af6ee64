"""The panel's answers: what the page asks for, and what a person may do. The rules in front of it are `guard`'s."""

import asyncio
import json
import time
from functools import partial
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from ..errors import KilnctlError
from .guard import REPORT_CSP, Guard
from .link import Link
from .pin import Keys
from .shelf import Shelf

COOKIE = "kilnctl-panel"
TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}
LOOPBACK = ("127.0.0.1", "::1")
LARGEST_AUDIT = 5_000_000
#: A start is prepared in a process of its own on a small computer: so long is it waited for, s.
PREPARE_S = 90.0
#: What a page may ask the service for, and whether it needs the PIN: all that can heat, or make heat last.
CHANGES = {"hold": True, "proceed": True, "skip": True, "soak": True, "acknowledge": True}


class Panel:
    """One oven's panel. `folder` keeps PIN, tries, arm and the audit."""

    def __init__(self, socket: Path, shelf: Shelf, folder: Path, allowed: frozenset[str], demo: bool = False):
        self.link, self.shelf, self.keys, self.folder, self.demo = Link(socket), shelf, Keys(folder), Path(folder), demo
        self._planned: tuple = (None, None)  # which run, and its plan once it is worked out
        self._starting = asyncio.Lock()
        # scrypt takes 16 MiB and a core for a moment: one try at a time, from all addresses together.
        self._trying = asyncio.Lock()
        routes = [
            Route("/", partial(_file, "index.html")),
            *(
                Route(f"/page/{f.name}", partial(_file, f.name))
                for f in files(__package__).joinpath("page").iterdir()
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
            routes=routes, exception_handlers={KilnctlError: _told, 404: _missing, 405: _missing, 500: _fault}
        )
        self.app = Guard(_WithLink(inner, self.link, shelf), allowed)

    # ---- who asks ----

    @staticmethod
    def local(request: Request) -> bool:
        """Whether it comes from the screen beside the oven: this computer, by its own name for itself."""
        host = request.headers.get("host", "").rsplit(":", 1)[0]
        return bool(request.client) and request.client.host in LOOPBACK and host in ("127.0.0.1", "localhost", "[::1]")

    def unlocked(self, request: Request) -> bool:
        return self.keys.session(request.cookies.get(COOKIE))

    def audit(self, request: Request, what: str, outcome: str) -> None:
        """One line for every request that changes something. A full disk must not keep anybody from stopping."""
        line = json.dumps(
            {
                "when": time.strftime("%Y-%m-%d %H:%M:%S %z"),
                "from": request.client.host if request.client else "",
                "what": what,
                "outcome": outcome[:300],
            }
        )
        try:
            path = self.folder / "audit.jsonl"
            if path.exists() and path.stat().st_size > LARGEST_AUDIT:
                path.replace(self.folder / "audit.before.jsonl")
            with open(path, "a", encoding="utf-8") as file:
                file.write(line + "\n")
        except OSError:
            pass

    def by(self, request: Request) -> str:
        return (
            "the panel at the oven"
            if self.local(request)
            else f"the panel from {request.client.host if request.client else 'elsewhere'}"
        )

    # ---- looking ----

    def now(self, request: Request) -> dict:
        link, status = self.link, self.link.status
        plan, milestones = None, []
        if status.get("running") and link.fresh:
            plan = self._plan_of_run()
            milestones = plan.milestones(status, link.ahead) if plan is not None else []
        return {
            "status": status,
            "ahead": link.ahead,
            "fresh": link.fresh,
            "words": link.words,
            "milestones": milestones,
            "demo": self.demo,
            "plan": _key(status) if plan is not None else None,
            "local": self.local(request),
            "unlocked_s": self.keys.left_s(request.cookies.get(COOKIE)),
            "armed_s": self.keys.armed_s(),
            "locked_s": self.keys.locked_s(),
            "has_pin": self.keys.has_pin,
        }

    def _plan_of_run(self):
        """The plan of the run that goes on, once it is worked out (in the background)."""
        key = _key(self.link.status)
        if self._planned[0] != key:
            self._planned = (key, None)
            asyncio.get_running_loop().create_task(self._work_out(key))
        return self._planned[1]

    async def _work_out(self, key: str) -> None:
        from ..settings import load_schedule

        chamber = next((c for c in self.link.columns["chamber_c"] if c is not None), None)
        try:
            schedule = await run_in_threadpool(load_schedule, self.link.status.get("schedule_file", ""))
            plan = await run_in_threadpool(self.shelf.plan, schedule, chamber)
        except KilnctlError:
            plan = None
        if self._planned[0] == key:
            self._planned = (key, plan)

    async def events(self, request: Request) -> Response:
        """Server-sent events: the state once a second, with the rows that this page has not got. The id says what it has."""
        last = request.headers.get("last-event-id") or request.query_params.get("from") or ""
        have = last.split(":")
        epoch, row, planned = (
            (int(have[0]), int(have[1]), None)
            if len(have) == 2 and all(h.isascii() and h.isdigit() for h in have)
            else (-1, 0, None)
        )

        async def stream():
            nonlocal epoch, row, planned
            seen = -1
            yield b"retry: 1500\n\n"
            while not self.link.closing:
                await self.link.changed(seen, 2.0)
                seen = self.link.version
                said = self.now(request)
                rows = self.link.since(epoch, row)
                epoch, row = rows["epoch"], rows["rows"]
                said["curve"] = rows
                if said["plan"] is not None and said["plan"] != planned:
                    planned = said["plan"]
                    plan = self._planned[1]
                    said["planned"] = {
                        "columns": plan.columns,
                        "duration_s": plan.duration_s,
                        "energy_kwh": plan.energy_kwh,
                        "stretches": [[s.begin_s, s.end_s, s.phase, s.to_c] for s in plan.stretches],
                    }
                yield f"id: {epoch}:{row}\ndata: {json.dumps(_plain(said), separators=(',', ':'))}\n\n".encode()

        return StreamingResponse(stream(), media_type="text/event-stream", headers={"x-accel-buffering": "no"})

    async def schedules(self, request: Request) -> Response:
        return _json({"ok": True, "schedules": await run_in_threadpool(self.shelf.listed)})

    async def schedule(self, request: Request) -> Response:
        name = request.query_params.get("file", "")
        text = await run_in_threadpool(self.shelf.text, name)
        return _json({"ok": True, "file": name, "text": text})

    async def runs(self, request: Request) -> Response:
        going_on = self.link.status.get("folder", "") if self.link.status.get("running") else ""
        return _json({"ok": True, "runs": await run_in_threadpool(self.shelf.runs, going_on)})

    async def sizing(self, request: Request) -> Response:
        return _json({"ok": True, **await run_in_threadpool(self.shelf.sizing)})

    async def report(self, request: Request) -> Response:
        unit = "F" if request.query_params.get("unit") == "F" else "C"
        page = await run_in_threadpool(self.shelf.report, request.path_params["run"], unit)
        return Response(
            page,
            media_type="text/html; charset=utf-8",
            headers={"content-security-policy": REPORT_CSP.decode(), "x-frame-options": "SAMEORIGIN"},
        )

    # ---- doing ----

    async def check(self, request: Request) -> Response:
        """Whether a draft is sound (at once), or what is to be expected of it (by /api/plan, which may take long)."""
        said = await _body(request, {"text": str, "file": str})
        start = self.link.status.get("chamber_c") if self.link.fresh else None
        return _json(
            {
                "ok": True,
                **await run_in_threadpool(
                    self.shelf.checked,
                    said["text"],
                    said["file"][:80] or "new.yaml",
                    start,
                    request.url.path == "/api/plan",
                ),
            }
        )

    async def stop(self, request: Request) -> Response:
        """No PIN, no session, no throttle."""
        answer = await self.link.ask({"ask": "stop", "by": self.by(request)})
        self.audit(request, "stop", answer.get("words", ""))
        return _json(answer, 200 if answer.get("ok") else 502)

    async def unlock(self, request: Request) -> Response:
        said = await _body(request, {"pin": str})
        if not self.keys.has_pin:
            return _no("no PIN has been made yet: `kilnctl panel OVEN --new-pin` at the oven", 409)
        async with self._trying:
            locked = self.keys.locked_s()
            token = None if locked else await run_in_threadpool(self.keys.open, said["pin"])
        self.audit(request, "unlock", "opened" if token else "locked" if locked else "wrong PIN")
        if token is None:
            wait = self.keys.locked_s()
            return _no(
                f"wait {wait:.0f} s" if locked else "wrong PIN" + (f"; wait {wait:.0f} s" if wait else ""),
                429 if wait else 403,
                wait_s=wait,
            )
        answer = _json({"ok": True, "words": "unlocked"})
        answer.set_cookie(COOKIE, token, max_age=12 * 3600, httponly=True, samesite="strict", path="/")
        return answer

    async def lock(self, request: Request) -> Response:
        self.keys.close(request.cookies.get(COOKIE))
        answer = _json({"ok": True, "words": "locked"})
        answer.delete_cookie(COOKIE, path="/")
        return answer

    async def arm(self, request: Request) -> Response:
        if not self.local(request):
            return _no(
                "only the screen at the oven can allow a start from elsewhere (or `kilnctl panel OVEN --arm` there)",
                403,
            )
        if not self.unlocked(request):
            return _no("the PIN first", 401)
        self.keys.arm()
        self.audit(request, "arm", "one start from elsewhere allowed")
        return _json(
            {
                "ok": True,
                "words": "one start from elsewhere is allowed for five minutes",
                "armed_s": self.keys.armed_s(),
            }
        )

    async def change(self, what: str, request: Request) -> Response:
        said = await _body(request, {"seconds": (int, float), "who": str}, needed=False)
        if not self.unlocked(request):
            return _no("the PIN first", 401)
        question: dict = {"ask": what, "by": self.by(request)}
        if what == "soak":
            question["seconds"] = said.get("seconds", 0)
        if what == "acknowledge":
            who = said.get("who", "").strip()[:80]
            if not who:
                return _no("say who has seen to it", 400)
            question["by"] = f"{who}, at {self.by(request)}"
        answer = await self.link.ask(question)
        self.audit(request, what, answer.get("words", ""))
        return _json(answer, 200 if answer.get("ok") else 409)

    async def save(self, request: Request) -> Response:
        said = await _body(request, {"text": str, "file": str})
        if not self.unlocked(request):
            return _no("the PIN first", 401)
        name = await run_in_threadpool(self.shelf.save, said["file"][:80], said["text"])
        self.audit(request, f"save {name}", "saved")
        return _json({"ok": True, "words": f"saved as {name}", "file": name})

    async def start(self, request: Request) -> Response:
        """PIN; from elsewhere also an arm made at the oven, and a door that is not open. One start per arm."""
        said = await _body(request, {"file": str, "confirm": bool})
        path = await run_in_threadpool(self.shelf.path, said["file"])
        if not self.unlocked(request):
            return _no("the PIN first", 401)
        if self._starting.locked():
            return _no("another start is being prepared", 409)
        async with self._starting:
            if not self.local(request):
                await self.link.refresh()
                if self.link.status.get("door_open"):
                    return self._refused(request, "the door is open; a start from elsewhere needs it shut")
                if not self.keys.use_arm():
                    return self._refused(
                        request,
                        "a start from elsewhere must be allowed at the oven first (the screen there, or `kilnctl panel OVEN --arm`)",
                    )
            question = {
                "ask": "start",
                "schedule": str(path.resolve()),
                "by": self.by(request),
                "confirm": said["confirm"],
            }
            if self.shelf.model_file:
                question["model"] = str(Path(self.shelf.model_file).resolve())
            answer = await self.link.ask(question)
            until = time.monotonic() + PREPARE_S
            while answer.get("pending") and time.monotonic() < until:
                await asyncio.sleep(0.2)
                answer = await self.link.ask({"ask": "prepared"})
            if answer.get("confirm") and not self.local(request):
                self.keys.arm()  # nothing was started: the same arm serves for the confirmed start
        self.audit(request, f"start {said['file']}", answer.get("words", ""))
        return _json(answer, 200 if answer.get("ok") else 409)

    def _refused(self, request: Request, words: str) -> Response:
        self.audit(request, "start", words)
        return _no(words, 403)


class _WithLink:
    """Starts and ends the link with the server."""

    def __init__(self, app, link: Link, shelf: Shelf):
        self.app, self.link, self.shelf = app, link, shelf

    async def __call__(self, scope, receive, send):
        if scope["type"] != "lifespan":
            return await self.app(scope, receive, send)
        while True:
            message = await receive()
            if message["type"] == "lifespan.startup":
                self.link.start()
                await send({"type": "lifespan.startup.complete"})
            else:
                await self.link.close()
                self.shelf.close()
                return await send({"type": "lifespan.shutdown.complete"})


async def _file(name: str, request: Request) -> Response:
    place = files(__package__).joinpath("page", name)
    return Response(place.read_bytes(), media_type=TYPES[name[name.rfind(".") :]])


async def _body(request: Request, wanted: dict[str, type | tuple], needed: bool = True) -> dict:
    """The JSON object of a request, with these keys of these kinds. Raises KilnctlError."""
    data = bytearray()
    try:
        async with asyncio.timeout(10.0):
            async for part in request.stream():
                data += part
    except TimeoutError:
        raise KilnctlError("the request took too long to arrive") from None
    try:
        said = json.loads(data)
    except (ValueError, RecursionError):
        raise KilnctlError("not JSON") from None
    if (
        not isinstance(said, dict)
        or any(k not in wanted for k in said)
        or (needed and any(k not in said for k in wanted))
    ):
        raise KilnctlError(f"a JSON object with {', '.join(wanted)} is wanted")
    for key, value in said.items():
        kind = wanted[key]
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            raise KilnctlError(f"'{key}' is of the wrong kind")
    return said


def _plain(value):
    from ..record.folder import plain

    return plain(value)


def _json(value: dict, status: int = 200) -> JSONResponse:
    return JSONResponse(_plain(value), status)


def _no(words: str, status: int, **more) -> JSONResponse:
    return JSONResponse({"ok": False, "words": words, **more}, status)


def _key(status: dict) -> str:
    return f"{status.get('folder', '')} {status.get('started', '')}"


async def _told(request: Request, error: Exception) -> Response:
    return _no(str(error), 400)


async def _missing(request: Request, error: Exception) -> Response:
    return _no("there is nothing here", getattr(error, "status_code", 404))


async def _fault(request: Request, error: Exception) -> Response:
    return PlainTextResponse("kilnctl met a fault of its own; the oven's service is not touched by it", 500)
