"""The one client of the service: asks its socket once a second and keeps what all open pages show."""

import asyncio
import contextlib
import json
import time
from bisect import bisect_right
from collections.abc import Callable
from pathlib import Path

from ..service.live_curve import KEPT, half
from ..service.socket_messages import encode
from .door_cost import DoorCost, after

EVERY_S, PATIENCE_S, MOST_ROWS = 1.0, 5.0, 5000
#: Rows of a curve when it is sent whole.
PICTURE_ROWS = 1500


class ServiceClient:
    """`status`, `ahead` and the run's `columns` (lists by name) as last heard; `version` changes each time. `fresh` is
    False when the service does not answer. `told`: gets each status."""

    def __init__(self, socket: Path, told: Callable[[dict], None] = lambda status: None):
        self.socket, self.told = socket, told
        self.status: dict = {}
        self.ahead: dict = {}
        self.columns: dict[str, list] = {name: [] for name in KEPT}
        # Of the run: its events [s, kind, words], and its energy by where it went, J.
        self.events: list[list] = []
        self.ledger_j: dict[str, float] = {}
        self.door: DoorCost | None = None
        self.run, self.thinned, self.epoch, self.version = "", 0, 0, 0
        self.closing = False
        self.fresh, self.words = False, "not heard from the service yet"
        self._heard_s: float | None = None
        self._before: tuple[int | None, list[float]] = (None, [])  # the epoch before the last thinning, and its times
        self._picture: tuple[tuple[int, int], dict[str, list]] = ((-1, 0), {})
        self._changed = asyncio.Condition()
        self._task: asyncio.Task | None = None

    @property
    def rows(self) -> int:
        return len(self.columns["time_s"])

    def start(self) -> None:
        self._task = asyncio.create_task(self._listen())

    async def close(self) -> None:
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    async def ask(self, request: dict, patience_s: float = PATIENCE_S) -> dict:
        """See `ask`."""
        return await ask(self.socket, request, patience_s)

    @property
    def age_s(self) -> float:
        """How old the status is, s: 0 before the first."""
        return time.monotonic() - self._heard_s if self._heard_s is not None else 0.0

    async def changed(self, since: int, patience_s: float) -> None:
        """Wait until there is something newer than `since`, or the time is over."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(patience_s), self._changed:
                await self._changed.wait_for(lambda: self.version != since)

    async def _listen(self) -> None:
        while True:
            await self.refresh()
            await asyncio.sleep(EVERY_S)

    async def refresh(self) -> None:
        status = await self.ask({"ask": "status"})
        self.fresh, self.words = not status.get("silent", False), status.get("words", "")
        if self.fresh:
            self.door = after(self.door, status, self.status)
            self.status, self._heard_s = status, time.monotonic()
            self.told(status)
            self.ahead = await self.ask({"ask": "ahead"})
            await self._curve()
        async with self._changed:
            self.version += 1
            self._changed.notify_all()

    async def _curve(self) -> None:
        while True:
            said = await self.ask({"ask": "curve", "since": self.rows, "most": MOST_ROWS})
            if not said.get("ok"):
                return
            self.events, self.ledger_j = said.get("events", []), said.get("ledger_j", {})
            if said["run"] == self.run and said["thinned"] == self.thinned + 1:
                self._thin()
                continue
            if said["run"] != self.run or said["thinned"] != self.thinned or said["count"] < self.rows:
                self.run, self.thinned = said["run"], said["thinned"]
                self.epoch, self._before = self.epoch + 1, (None, [])
                self.columns = {name: [] for name in KEPT}
                if said["from"] != 0:
                    continue
            for name in KEPT:
                self.columns[name].extend(said["columns"][name])
            if self.rows >= said["count"] or not said["columns"]["time_s"]:
                return

    def _thin(self) -> None:
        """Thin as the service has done: nothing is asked for again."""
        self._before = self.epoch, self.columns["time_s"]
        keep = half(self.columns["chamber_c"]).tolist()
        self.columns = {name: [values[i] for i in keep] for name, values in self.columns.items()}
        self.thinned, self.epoch = self.thinned + 1, self.epoch + 1

    def since(self, epoch: int, row: int) -> dict:
        """The rows that a page with `row` rows of that epoch lacks; with another epoch, or too many missing rows, the
        whole curve, thinned with its peaks kept. A page of the epoch before the last thinning lacks what came after its
        last row: what it has is finer."""
        earlier, times = self._before
        if epoch == earlier and epoch != self.epoch and 0 <= row <= len(times):
            epoch, row = self.epoch, bisect_right(self.columns["time_s"], times[row - 1]) if row else 0
        whole = epoch != self.epoch or not 0 <= row <= self.rows or self.rows - row > PICTURE_ROWS
        if whole:
            # Computed once for all pages that ask between two readings.
            if self._picture[0] != (self.epoch, self.rows):
                keep = picture(self.columns, PICTURE_ROWS)
                thin = {name: [values[i] for i in keep] for name, values in self.columns.items()}
                self._picture = ((self.epoch, self.rows), thin)
            columns = self._picture[1]
        else:
            columns = {name: values[row:] for name, values in self.columns.items()}
        return {"whole": whole, "epoch": self.epoch, "rows": self.rows, "columns": columns}


async def ask(socket: Path, request: dict, patience_s: float = PATIENCE_S) -> dict:
    """One question to the service on a connection of its own, so that a stop waits for no other. In any event loop."""
    try:
        async with asyncio.timeout(patience_s):
            while True:
                try:
                    return await _once(socket, request)
                except (FileNotFoundError, ConnectionRefusedError, PermissionError):
                    raise
                except OSError:
                    # More clients are connecting at this moment than the service's socket can queue.
                    await asyncio.sleep(0.05)
    except (OSError, ValueError, TimeoutError) as error:
        why = "in time" if isinstance(error, TimeoutError) else f"({type(error).__name__})"
        return {"ok": False, "silent": True, "words": f"the oven's service does not answer {why}"}


async def _once(socket: Path, request: dict) -> dict:
    reader, writer = await asyncio.open_unix_connection(str(socket), limit=8_000_000)
    try:
        writer.write(encode(request))
        return json.loads(await reader.readline())
    finally:
        writer.close()


def picture(columns: dict[str, list], most: int) -> list[int]:
    """Indices of at most about `most` rows: in each stretch the first row, and the rows with the lowest and highest
    chamber and duty, so that no peak is lost."""
    count = len(columns["time_s"])
    if count <= most:
        return list(range(count))
    stretches = max(1, most // 5)
    keep = {count - 1}
    for k in range(stretches):
        a, b = k * count // stretches, (k + 1) * count // stretches
        keep.add(a)
        for name in ("chamber_c", "duty"):
            values = [(v, i) for i, v in enumerate(columns[name][a:b], a) if v is not None and v == v]
            if values:
                keep.update((min(values)[1], max(values)[1]))
    return sorted(keep)
