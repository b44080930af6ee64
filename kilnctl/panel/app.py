"""The panel's answers: what the page asks for, and what a person may do. `guard` holds the rules in front of it."""

import asyncio
import contextlib
import dataclasses
import gzip
import json
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import BrokenExecutor, CancelledError
from functools import lru_cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

import yaml
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from ..errors import KilnctlError
from ..record.folder import slug
from ..report.run_report import Price
from .catalogue import Catalogue, expected
from .connections import Streams
from .guard import RequestGuard, asker
from .live import Live
from .metrics import CONTENT_TYPE, metrics
from .past_pages import PastPages
from .pin import Keys
from .replies import fault, json_body, missing, refuse, reply, takes_gzip, told
from .schedule_folder import sha256
from .service_client import ServiceClient
from .starting import Starting
from .stop_door import stop_and_confirm
from .threads import Threads
from .worker import ENDED, Job

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
}
LARGEST_AUDIT = 5_000_000
#: What a page may ask the service for with the PIN: all that can heat, or make heat last.
CHANGES = ("hold", "proceed", "skip", "soak", "acknowledge")
#: What a page may do with the schedule folder, and the keys of each request.
FILING = {
    "copy": {"file": str, "to": str},
    "rename": {"file": str, "to": str},
    "delete": {"file": str},
    "restore": {"file": str, "version": str},
}


class PanelApp:
    """One oven's panel. `folder` keeps PIN, tries, arm and the audit; `allowed` as `guard.hosts` gives it."""

    def __init__(
        self,
        socket: Path,
        catalogue: Catalogue,
        folder: Path,
        allowed: Mapping[str, str],
        *,
        port: int,
        stop_port: int | None = None,
        demo_pin: str = "",
        price: Price | None = None,
        streams: Streams | None = None,
        closing: Callable[[], bool] = lambda: False,
    ):
        self.client, self.catalogue, self.keys = ServiceClient(socket, catalogue.heard), catalogue, Keys(folder)
        self.folder, self.allowed, self.stop_port, self.demo_pin = Path(folder), allowed, stop_port, demo_pin
        # (Nothing is heated in a demo, so its page says its PIN; any other panel knows only the hash.)
        # Cookies do not distinguish ports, so the session cookie's name is different for each oven and each panel.
        self.cookie = f"kilnctl-{slug(catalogue.oven.name)}-{port}"
        # What the page needs to say an energy in money.
        self.price = None if price is None else dataclasses.asdict(price)
        self.threads = Threads()
        self.past = PastPages(self)
        self.live = Live(self, streams or Streams(lambda peer: None), closing)
        self.starting = Starting(self)
        self._auditing = threading.Lock()
        inner = Starlette(
            routes=self._routes(), exception_handlers={KilnctlError: told, 404: missing, 405: missing, 500: fault}
        )
        self.app = RequestGuard(_WithClient(inner, self), allowed, stop_port)

    def _routes(self) -> list[Route]:
        def post(name: str, does: Callable) -> Route:
            return Route(f"/api/{name}", does, methods=["POST"])

        return [
            Route("/", partial(self.page, "index.html")),
            Route("/parts", partial(self.page, "parts.html")),
            *(
                Route(f"/page/{f.name}", partial(_file, f.name))
                for f in files("kilnctl.panel").joinpath("page").iterdir()
                if f.name[f.name.rfind(".") :] in TYPES and not f.name.endswith(".html")
            ),
            Route("/api/events", self.live.events),
            Route("/api/schedules", self.schedules),
            Route("/api/schedule", self.schedule),
            *self.past.routes(),
            Route("/api/sizing", self.sizing),
            Route("/api/care", self.care),
            Route("/api/status", self.status),
            Route("/metrics", self.metrics),
            Route("/openapi.json", self.description),
            post("check", self.check),
            post("plan", self.plan),
            post("save", self.save),
            *(post(what, partial(self.file_away, what)) for what in FILING),
            post("unlock", self.unlock),
            post("lock", self.lock),
            post("arm", self.starting.arm),
            post("start", self.starting.start),
            post("later", self.starting.later),
            post("stop", self.stop),
            *(post(what, partial(self.change, what)) for what in CHANGES),
        ]

    # ---- who asks ----

    def asker(self, request: Request) -> tuple[str, bool]:
        """(address, whether it is the screen at the oven)."""
        return asker(request.scope, self.allowed)

    def token(self, request: Request) -> str | None:
        return request.cookies.get(self.cookie)

    def unlocked(self, request: Request) -> bool:
        return self.keys.session(self.token(request))

    def audit(self, request: Request, what: str, outcome: str) -> None:
        self.note(self.asker(request)[0], what, outcome)

    def note(self, address: str, what: str, outcome: str) -> None:
        """One line for every request that changes something. With a full disk a stop still works."""
        when = time.strftime("%Y-%m-%d %H:%M:%S %z")
        line = json.dumps({"when": when, "from": address, "what": what, "outcome": outcome[:300]})
        path = self.folder / "audit.jsonl"
        with contextlib.suppress(OSError), self._auditing:
            if path.exists() and path.stat().st_size > LARGEST_AUDIT:
                path.replace(self.folder / "audit.before.jsonl")
            with open(path, "a", encoding="utf-8") as file:
                file.write(line + "\n")

    def by(self, request: Request) -> str:
        address, here = self.asker(request)
        return "the panel at the oven" if here else f"the panel from {address or 'elsewhere'}"

    # ---- looking ----

    async def page(self, name: str, request: Request) -> Response:
        text = files("kilnctl.panel").joinpath("page", name).read_text(encoding="utf-8")
        return _short(request, text.replace("STOP_PORT", str(self.stop_port or "")).encode(), TYPES[".html"])

    async def schedules(self, request: Request) -> Response:
        folder = self.catalogue.schedules
        listed, deleted = await self.threads.quick(lambda: (self.catalogue.listed(), folder.deleted()))
        return reply({"ok": True, "schedules": listed, "deleted": deleted})

    async def schedule(self, request: Request) -> Response:
        """The text, its fingerprint, and the earlier ones; with `version` an earlier text."""
        name, version = request.query_params.get("file", ""), request.query_params.get("version", "")
        folder = self.catalogue.schedules
        if version:
            return reply({"ok": True, "file": name, "text": await self.threads.quick(folder.earlier, name, version)})
        text, versions = await self.threads.quick(lambda: (folder.text(name), folder.versions(name)))
        return reply({"ok": True, "file": name, "text": text, "sha256": sha256(text), "versions": versions})

    async def sizing(self, request: Request) -> Response:
        return reply({"ok": True, **await self.threads.slow(self.catalogue.sizing)})

    async def care(self, _request: Request) -> Response:
        return reply({"ok": True, "tests": await self.threads.quick(self.catalogue.care)})

    async def status(self, _request: Request) -> Response:
        """The service's last answer, for programs; the page has its stream."""
        if not self.client.fresh:
            return refuse(self.client.words or "the oven's service does not answer", 503)
        return reply({**self.client.status, "ok": True, "age_s": self.client.age_s})

    async def description(self, _request: Request) -> Response:
        return JSONResponse(await self.threads.quick(description))

    async def metrics(self, _request: Request) -> Response:
        text = metrics(self.client.status, self.client.fresh, self.catalogue.oven.name)
        return Response(text, media_type=CONTENT_TYPE)

    # ---- drafts ----

    async def check(self, request: Request) -> Response:
        """Whether a draft is sound, at once."""
        said = await json_body(request, {"text": str, "file": str})
        name = said["file"][:80] or "new.yaml"
        return reply(
            {"ok": True, **await self.threads.sums(self.catalogue.checked, said["text"], name, self._chamber_c())}
        )

    async def plan(self, request: Request) -> Response:
        """The preview of a draft, which may take long; given up when the page that asked is closed."""
        said = await json_body(request, {"text": str, "file": str})
        name, start_c = said["file"][:80] or "new.yaml", self._chamber_c()
        checked = await self.threads.sums(self.catalogue.checked, said["text"], name, start_c)
        schedule, _ = self.catalogue.draft(said["text"], name)
        if checked["problems"] or schedule is None:
            return reply({"ok": True, **checked})
        try:
            plan = await self.awaited(self.catalogue.ask_plan(schedule, start_c), request)
        except KilnctlError as error:
            return reply({"ok": True, "problems": [{"line": 0, "column": 0, "words": str(error)}]})
        return reply({"ok": True, **checked, "plan": expected(plan, schedule)})

    def _chamber_c(self) -> float | None:
        return self.client.status.get("chamber_c") if self.client.fresh else None

    async def awaited(self, job: Job, request: Request | None = None) -> Any:
        """The worker's answer; given up when the page that asked is closed. Raises KilnctlError."""
        answer = asyncio.wrap_future(job.answer)
        gone = asyncio.create_task(_gone(request)) if request is not None else None
        try:
            await asyncio.wait({answer} | ({gone} if gone is not None else set()), return_when="FIRST_COMPLETED")
            if not answer.done():
                raise KilnctlError("nobody waits for it any more")
            return answer.result()
        except (BrokenExecutor, CancelledError, asyncio.CancelledError) as error:
            self.catalogue.worker.forget(job.key, job)
            if isinstance(error, asyncio.CancelledError) and not answer.cancelled():
                raise
            raise KilnctlError(ENDED) from None
        finally:
            if gone is not None:
                gone.cancel()
            self.catalogue.worker.leave(job)

    # ---- doing ----

    async def stop(self, request: Request) -> Response:
        """No PIN, no session, no throttle."""
        said = await stop_and_confirm(self.client.socket, self.by(request))
        self.audit(request, "stop", said["words"])
        return reply(said, 200 if said["ok"] else 502)

    async def unlock(self, request: Request) -> Response:
        said = await json_body(request, {"pin": str})
        if not self.keys.has_pin:
            return refuse("no PIN has been made yet: `kilnctl panel OVEN --new-pin` at the oven", 409)
        _, here = self.asker(request)
        locked = self.keys.locked_s(here)
        threads = self.threads.here if here else self.threads.elsewhere
        token = None if locked else await threads(self.keys.open, said["pin"], here)
        self.audit(request, "unlock", "opened" if token else "locked" if locked else "wrong PIN")
        if token is None:
            wait = self.keys.locked_s(here)
            return refuse(
                f"wait {wait:.0f} s" if locked else "wrong PIN" + (f"; wait {wait:.0f} s" if wait else ""),
                429 if wait else 403,
                wait_s=wait,
            )
        answer = reply({"ok": True, "words": "unlocked"})
        secure = request.headers.get("origin", "").startswith("https://")
        answer.set_cookie(
            self.cookie, token, max_age=12 * 3600, httponly=True, samesite="strict", path="/", secure=secure
        )
        return answer

    async def lock(self, request: Request) -> Response:
        self.keys.close(self.token(request))
        answer = reply({"ok": True, "words": "locked"})
        answer.delete_cookie(self.cookie, path="/")
        return answer

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
        """`over`: sha256 of the text that it replaces, as it was opened; empty for a new one."""
        said = await json_body(request, {"text": str, "file": str, "over": str})
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        folder = self.catalogue.schedules
        name = await self.threads.quick(folder.save, said["file"][:80], said["text"], said["over"])
        self.audit(request, f"save {name}", "saved")
        return reply({"ok": True, "words": f"saved as {name}", "file": name})

    async def file_away(self, what: str, request: Request) -> Response:
        """Copy, rename, delete or bring back a schedule."""
        said = await json_body(request, FILING[what])
        if not self.unlocked(request):
            return refuse("the PIN first", 401)
        folder = self.catalogue.schedules
        does = {"copy": folder.copy, "rename": folder.rename, "delete": folder.delete, "restore": folder.restore}[what]
        done = await self.threads.quick(does, *(said[key] for key in FILING[what]))
        self.audit(request, f"{what} {said['file']}", done)
        if what == "delete":
            return reply({"ok": True, "words": f"{said['file']} is deleted", "file": said["file"], "version": done})
        words = {"copy": "copied to", "rename": "renamed to", "restore": "brought back:"}[what]
        return reply({"ok": True, "words": f"{words} {done}", "file": done})


class _WithClient:
    """Starts and ends client, catalogue and threads with the server."""

    def __init__(self, app: ASGIApp, panel: PanelApp):
        self.app, self.panel = app, panel

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "lifespan":
            await self.app(scope, receive, send)
            return
        while True:
            message = await receive()
            if message["type"] == "lifespan.startup":
                self.panel.client.start()
                await send({"type": "lifespan.startup.complete"})
            else:
                await self.panel.client.close()
                self.panel.catalogue.close()
                self.panel.threads.close()
                await send({"type": "lifespan.shutdown.complete"})
                return


@lru_cache(maxsize=1)
def description() -> dict:
    """The OpenAPI description of what programs may read, openapi.yaml."""
    return yaml.safe_load(files("kilnctl.panel").joinpath("openapi.yaml").read_text(encoding="utf-8"))


async def _gone(request: Request) -> None:
    """Until the page is closed."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


async def _file(name: str, request: Request) -> Response:
    place = files("kilnctl.panel").joinpath("page", name)
    return _short(request, place.read_bytes(), TYPES[name[name.rfind(".") :]])


def _short(request: Request, data: bytes, kind: str) -> Response:
    """A file of the page, compressed for a browser that says it can read that."""
    if not takes_gzip(request):
        return Response(data, media_type=kind, headers={"vary": "accept-encoding"})
    return Response(_compressed(data), media_type=kind, headers={"content-encoding": "gzip", "vary": "accept-encoding"})


@lru_cache(maxsize=64)
def _compressed(data: bytes) -> bytes:
    return gzip.compress(data, mtime=0)
