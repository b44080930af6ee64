"""Places for connections, so that many clients cannot lock one out: the screen at the oven has places of its own. When
all places are taken, a new client replaces the oldest idle connection, or else one of the address that has the most.

A connection is wrapped, not changed: the server's own protocol sits inside `Placed` and is spoken to as asyncio does.
`Counting`, in front of the application, reports whether a request is being answered.
"""

import asyncio
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from starlette.types import ASGIApp, Receive, Scope, Send

LOOPBACK = ("127.0.0.1", "::1")
#: Connections kept from one address, from all others than this computer, and from this computer.
MOST_EACH, MOST_AWAY, MOST_HERE = 24, 200, 80
#: Longest time from the connection, or from the last answer, until a request's head is complete, s.
HEAD_S = 10.0
Peer = tuple[str, int]


@dataclass(eq=False)
class _Held:
    """One connection. `until` is the timer that ends it while nothing is asked."""

    peer: Peer
    transport: asyncio.Transport
    busy: bool = False
    until: asyncio.TimerHandle | None = None

    def still(self) -> None:
        if self.until is not None:
            self.until.cancel()
            self.until = None


class Places:
    """The connections of one server, oldest first; for one event loop."""

    def __init__(
        self,
        most_each: int = MOST_EACH,
        most_away: int = MOST_AWAY,
        most_here: int = MOST_HERE,
        head_s: float = HEAD_S,
    ):
        self.most_each, self.most_away, self.most_here, self.head_s = most_each, most_away, most_here, head_s
        self._held: dict[Peer, _Held] = {}

    def __len__(self) -> int:
        return len(self._held)

    def take(self, peer: Peer, transport: asyncio.Transport) -> None:
        """Give that connection a place, always; another connection may lose its own."""
        here = peer[0] in LOOPBACK
        same = [h for h in self._held.values() if h.peer[0] == peer[0]]
        if len(same) >= (self.most_here if here else self.most_each):
            self._let_go(same)
        elif not here:
            away = [h for h in self._held.values() if h.peer[0] not in LOOPBACK]
            if len(away) >= self.most_away:
                self._let_go([h for h in away if not h.busy] or _most_of_one(away))
        held = self._held[peer] = _Held(peer, transport)
        self._wait(held)

    def give_back(self, peer: Peer) -> None:
        held = self._held.pop(peer, None)
        if held is not None:
            held.still()

    def asks(self, peer: Peer | None) -> None:
        """Note that a request of that connection is being answered."""
        held = self._held.get(peer) if peer is not None else None
        if held is not None:
            held.busy = True
            held.still()

    def waits(self, peer: Peer | None) -> None:
        """Note that it is answered: the next one must come within `head_s`."""
        held = self._held.get(peer) if peer is not None else None
        if held is not None:
            held.busy = False
            self._wait(held)

    def end(self, peer: Peer) -> None:
        """End that connection, even during an answer."""
        held = self._held.get(peer)
        if held is not None:
            self.give_back(peer)
            held.transport.abort()

    def _wait(self, held: _Held) -> None:
        held.still()
        held.until = asyncio.get_running_loop().call_later(self.head_s, self.end, held.peer)

    def _let_go(self, among: Iterable[_Held]) -> None:
        """End the oldest connection that waits for a request, else the oldest of all."""
        among = list(among)
        self.end(next((h for h in among if not h.busy), among[0]).peer)


def _most_of_one(among: list[_Held]) -> list[_Held]:
    """The connections of the address that has the most."""
    address = Counter(h.peer[0] for h in among).most_common(1)[0][0]
    return [h for h in among if h.peer[0] == address]


class Placed(asyncio.Protocol):
    """A protocol that holds a place while its connection lasts; `inner` does the work."""

    def __init__(self, inner: Any, places: Places):
        self.inner, self.places = inner, places
        self.peer: Peer = ("", 0)

    def connection_made(self, transport: Any) -> None:
        peer = transport.get_extra_info("peername") or ("", id(self))
        self.peer = (str(peer[0]), int(peer[1]))
        self.inner.connection_made(transport)
        self.places.take(self.peer, transport)

    def connection_lost(self, exc: Exception | None) -> None:
        self.places.give_back(self.peer)
        self.inner.connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        self.inner.data_received(data)

    def eof_received(self) -> bool | None:
        return self.inner.eof_received()

    def pause_writing(self) -> None:
        self.inner.pause_writing()

    def resume_writing(self) -> None:
        self.inner.resume_writing()


class Counting:
    """Reports to `Places` when a request begins and when it is answered."""

    def __init__(self, app: ASGIApp, places: Places):
        self.app, self.places = app, places

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        client = scope.get("client")
        peer = (str(client[0]), int(client[1])) if client else None
        self.places.asks(peer)
        try:
            await self.app(scope, receive, send)
        finally:
            self.places.waits(peer)


def placed(protocol: Callable[..., asyncio.Protocol], places: Places) -> Callable[..., Placed]:
    """The server's protocol in a wrapper, as `uvicorn.Config(http=…)` takes it."""

    def made(**arguments: Any) -> Placed:
        return Placed(protocol(**arguments), places)

    return made


class Streams:
    """Event streams, capped apart from requests: of one address, of all others than this computer, and of this
    computer. One too many ends the oldest of the same group through `end`."""

    def __init__(self, end: Callable[[Peer], None], most_each: int = 8, most_away: int = 60, most_here: int = 16):
        self._end, self.most_each, self.most_away, self.most_here = end, most_each, most_away, most_here
        self._open: dict[Peer, tuple[str, bool]] = {}  # peer → (address, here), oldest first

    def __len__(self) -> int:
        return len(self._open)

    def begin(self, peer: Peer, address: str, here: bool) -> None:
        same = [p for p, (a, h) in self._open.items() if h == here and (here or a == address)]
        if len(same) >= (self.most_here if here else self.most_each):
            self._drop(same[0])
        elif not here:
            away = [p for p, (_, h) in self._open.items() if not h]
            if len(away) >= self.most_away:
                self._drop(self._oldest_of_most(away))
        self._open[peer] = (address, here)

    def over(self, peer: Peer) -> None:
        self._open.pop(peer, None)

    def _oldest_of_most(self, among: list[Peer]) -> Peer:
        address = Counter(self._open[p][0] for p in among).most_common(1)[0][0]
        return next(p for p in among if self._open[p][0] == address)

    def _drop(self, peer: Peer) -> None:
        self.over(peer)
        self._end(peer)
