"""What an open page hears: the state once a second, the rows of the curve that it lacks, the plan of the run."""

import asyncio
import json
import time
import zlib
from collections.abc import AsyncGenerator, Callable
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response, StreamingResponse

from ..body import load_oven
from ..errors import KilnctlError
from ..record.folder import plain
from ..settings import load_schedule
from .chain_view import view as chain_view
from .connections import Streams
from .preview import RunPreview
from .replies import takes_gzip
from .worker import ENDED

if TYPE_CHECKING:
    from .app import PanelApp

#: Most digits of a number in an event's id; a plan that was given up is requested again after this, s.
MOST_DIGITS, AGAIN_S = 9, 5.0


class Live:
    """The streams of one panel. `closing()`: whether its server ends."""

    def __init__(self, panel: "PanelApp", streams: Streams, closing: Callable[[], bool]):
        self.panel, self.client, self.streams, self.closing = panel, panel.client, streams, closing
        # The run, and its preview once it is computed.
        self._planned: tuple[str | None, RunPreview | None] = (None, None)
        self._tasks: set[asyncio.Task] = set()

    def now(self, request: Request) -> dict:
        client, status, panel = self.client, self.client.status, self.panel
        plan, milestones, outlook = None, [], None
        if status.get("running") and client.fresh:
            plan = self._plan_of_run()
            # After a trip the plan no longer holds.
            if plan is not None and not status.get("trips"):
                milestones = plan.milestones(status, client.ahead)
                outlook = plan.outlook(status, milestones)
        _, here = panel.asker(request)
        token = panel.token(request)
        return {
            "status": status,
            "ahead": client.ahead,
            "fresh": client.fresh,
            "words": client.words,
            "age_s": round(client.age_s, 1),
            "clock": time.strftime("%H:%M:%S"),
            "day": time.strftime("%Y-%m-%d"),
            "milestones": milestones,
            "outlook": outlook,
            "events": client.events,
            "ledger_j": client.ledger_j,
            "door": client.door.view() if client.door is not None and status.get("running") else None,
            "chain": chain_view(status, panel.catalogue.oven, client.fresh),
            "price": panel.price,
            "demo": bool(panel.demo_pin),
            **({"demo_pin": panel.demo_pin} if panel.demo_pin and here else {}),
            "plan": _key(status) if plan is not None else None,
            "local": here,
            "unlocked_s": panel.keys.left_s(token),
            "armed_s": panel.keys.armed_s(),
            "armed_for": panel.keys.armed_for()[1],
            "locked_s": panel.keys.locked_s(here),
            "has_pin": panel.keys.has_pin,
        }

    def _plan_of_run(self) -> RunPreview | None:
        """The plan of the present run, once it is computed (in the background)."""
        key = _key(self.client.status)
        if self._planned[0] != key:
            self._planned = (key, None)
            task = asyncio.get_running_loop().create_task(self._work_out(key))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)
        return self._planned[1]

    async def _work_out(self, key: str) -> None:
        """From the run's own record: its files may have been changed since it was started."""
        catalogue = self.panel.catalogue
        folder = catalogue.records / Path(self.client.status.get("folder", "")).name
        chamber = next((c for c in self.client.columns["chamber_c"] if c is not None), None)

        def read():
            schedule = load_schedule(folder / "schedule.yaml")
            try:
                return schedule, load_oven(str(folder / "oven.yaml"))
            except KilnctlError:
                return schedule, None

        plan, keep = None, key
        try:
            schedule, oven = await self.panel.threads.quick(read)
            plan = await self.panel.awaited(catalogue.ask_plan(schedule, chamber, oven))
        except KilnctlError as error:
            if str(error) == ENDED:
                # Other questions have displaced it: ask again.
                await asyncio.sleep(AGAIN_S)
                keep = None
        if self._planned[0] == key:
            self._planned = (keep, plan)

    async def events(self, request: Request) -> Response:
        """Server-sent events: the state once a second, with the rows that this page lacks. The id says what the page
        has."""
        last = request.headers.get("last-event-id") or request.query_params.get("from") or ""
        have = last.split(":")
        known = len(have) == 2 and all(h.isascii() and h.isdigit() and len(h) <= MOST_DIGITS for h in have)
        epoch, row = (int(have[0]), int(have[1])) if known else (-1, 0)
        stream, headers = self._stream(request, epoch, row), {"x-accel-buffering": "no", "vary": "accept-encoding"}
        if takes_gzip(request):
            stream, headers["content-encoding"] = compressed_stream(stream), "gzip"
        return StreamingResponse(stream, media_type="text/event-stream", headers=headers)

    async def _stream(self, request: Request, epoch: int, row: int) -> AsyncGenerator[bytes, None]:
        address, here = self.panel.asker(request)
        peer = (request.client.host, request.client.port) if request.client else ("", 0)
        planned, seen = None, -1
        self.streams.begin(peer, address, here)
        try:
            yield b"retry: 1500\n\n"
            while not self.closing():
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
        finally:
            self.streams.over(peer)


async def compressed_stream(stream: AsyncGenerator[bytes, None]) -> AsyncGenerator[bytes, None]:
    """The stream as gzip, each event whole when it is sent. A small window keeps a stream's memory at some 32 kB."""
    packer = zlib.compressobj(6, zlib.DEFLATED, 16 + 12, 5)
    try:
        async for part in stream:
            yield packer.compress(part) + packer.flush(zlib.Z_SYNC_FLUSH)
    finally:
        await stream.aclose()


def _key(status: dict) -> str:
    return f"{status.get('folder', '')} {status.get('started', '')}"
