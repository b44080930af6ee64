"""Stop has a door of its own: a listener on a second port with a thread, an event loop and places that nothing else
uses. The page's other connections and the panel's computations cannot delay it.

A page asks with a plain POST (no preflight). The browser says which page asks (Origin); it must be ours. Only a stop
can be requested, and it needs no PIN.
"""

import asyncio
import contextlib
import socket
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import uvicorn
from starlette.types import Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from ..errors import KilnctlError
from .connections import Counting, Placed, Places, placed
from .guard import HEADERS, answered, asker, named
from .service_client import ask

#: The page says NOT CONFIRMED after 2 s, so waiting longer than this for the service is of no use, s.
CONFIRM_S = 1.8
#: Places of the door, and how long a connection may wait in it, s.
EACH, AWAY, HERE, DOOR_HEAD_S = 12, 90, 30, 3.0


async def stop_and_confirm(socket_path: Path, by: str, patience_s: float = CONFIRM_S) -> dict:
    """Ask the service to stop, and check that it has: `confirmed` only if the service says that no run goes on and that
    the heat can be cut."""
    until = time.monotonic() + patience_s
    answer = await ask(socket_path, {"ask": "stop", "by": by}, patience_s)
    if not answer.get("ok"):
        return {"ok": False, "confirmed": False, "words": f"NOT CONFIRMED: {answer.get('words', 'no answer')}"}
    while (left_s := until - time.monotonic()) > 0.0:
        status = await ask(socket_path, {"ask": "status"}, left_s)
        if status.get("danger"):
            return {"ok": True, "confirmed": False, "words": f"NOT CONFIRMED: {status['danger']}"}
        if status.get("ok") and status.get("at_rest"):
            return {"ok": True, "confirmed": True, "words": "the heat is off: no run goes on"}
        await asyncio.sleep(0.05)
    return {"ok": True, "confirmed": False, "words": "NOT CONFIRMED: asked, but the run has not ended yet"}


class StopDoor:
    """The ASGI application of the door. `pages`: {Host: Origin} of the panel's own pages, `doors` those of the door."""

    def __init__(
        self,
        socket_path: Path,
        pages: Mapping[str, str],
        doors: Mapping[str, str],
        audit: Callable[[str, str, str], None],
    ):
        self.socket_path, self.audit, self.doors = socket_path, audit, doors
        self.origins = frozenset(origin.encode() for origin in pages.values())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            await self._answer(scope, send)

    async def _answer(self, scope: Scope, send: Send) -> None:
        headers = named(scope)
        host = headers.get(b"host", [])
        origin = [o.lower() for o in headers.get(b"origin", [])]
        if len(host) != 1 or host[0].decode("latin-1").lower() not in self.doors:
            await answered(send, 403, "this is not the name of this panel", HEADERS)
            return
        if scope["method"] != "POST":
            await answered(send, 405, "only a stop is taken here", HEADERS)
            return
        if len(origin) != 1 or origin[0] not in self.origins:
            await answered(send, 403, "only the panel's own page may ask here", HEADERS)
            return
        address, here = asker(scope, self.doors)
        said = await stop_and_confirm(
            self.socket_path, "the panel at the oven" if here else f"the panel from {address}"
        )
        self.audit(address, "stop", said["words"])
        # Our own page, on the other port, may read the answer; no other page may.
        readable = [*HEADERS, (b"access-control-allow-origin", origin[0]), (b"vary", b"origin")]
        await answered(send, 200 if said["ok"] else 502, said.pop("words"), readable, **said)


class DoorThread:
    """The door's server in a thread of its own, from `start` to `close`."""

    def __init__(self, door: StopDoor, bind: str, port: int):
        self._listener = listening(bind, port)
        places = Places(EACH, AWAY, HERE, DOOR_HEAD_S)
        self._server = uvicorn.Server(
            uvicorn.Config(
                Counting(door, places), http=_typed(placed(H11Protocol, places)), **plain_settings(), lifespan="off"
            )
        )
        self._thread = threading.Thread(target=self._serve, name="stop", daemon=True)

    def _serve(self) -> None:
        with contextlib.suppress(asyncio.CancelledError):
            self._server.run([self._listener])

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(5.0)
        self._listener.close()


def plain_settings() -> dict:
    """What both servers of the panel have in common. No client may claim another address than its own."""
    return {
        "ws": "none",
        "log_level": "critical",
        "access_log": False,
        "server_header": False,
        "date_header": False,
        "proxy_headers": False,
        "timeout_keep_alive": 20,
        "timeout_graceful_shutdown": 2,
        "loop": "asyncio",
    }


def _typed(protocol: Callable[..., Placed]) -> type[asyncio.Protocol]:
    """uvicorn calls its protocol with keywords, whether it is a class or not."""
    return protocol  # type: ignore[return-value]


def listening(bind: str, port: int) -> socket.socket:
    """A socket that listens there. Raises KilnctlError."""
    made = socket.socket(socket.AF_INET6 if ":" in bind else socket.AF_INET)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        made.bind((bind, port))
        made.listen(512)
    except OSError as error:
        made.close()
        raise KilnctlError(
            f"port {port}, of Stop alone, cannot be opened at {bind}: {error.strerror} (--stop-port)"
        ) from None
    return made
