"""Limits on HTTP connections: so many from one address, and a request must be complete within seconds of its begin."""

import asyncio
from collections.abc import Iterable
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

#: Connections kept from one address, and from all; a page needs one for its events and a few more.
MOST_EACH, MOST_ALL = 24, 200
#: A request's head must be complete so long after the connection was made or after the last request's answer, s.
HEAD_S = 10.0


class Places:
    """The connections of one server, oldest first. When all places are taken, a new connection gets the place of the
    one that has waited longest without a request: a crowd of half-open connections must not keep a stop out."""

    def __init__(self, most_each: int, most_all: int):
        self.most_each, self.most_all = most_each, most_all
        self._held: dict[LimitedConnection, str] = {}  # connection → address

    def take(self, connection: "LimitedConnection", peer: str) -> bool:
        """A place for that connection from that address; False when there is none."""
        same = [c for c, address in self._held.items() if address == peer]
        if len(same) >= self.most_each and not self._oldest_leaves(same):
            return False
        if len(self._held) >= self.most_all and not self._oldest_leaves(list(self._held)):
            return False
        self._held[connection] = peer
        return True

    def give_back(self, connection: "LimitedConnection") -> None:
        self._held.pop(connection, None)

    @staticmethod
    def _oldest_leaves(among: "Iterable[LimitedConnection]") -> bool:
        for connection in among:
            if connection.waits:
                connection.leave()
                return True
        return False


class LimitedConnection(H11Protocol):
    """A connection that holds a place, and loses it when it is too slow with its next request."""

    places: ClassVar[Places]
    head_s: ClassVar[float]

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        self._timer: asyncio.TimerHandle | None = None
        peer = str((transport.get_extra_info("peername") or ("",))[0])
        if self.places.take(self, peer):
            self._wait()
        else:
            transport.abort()

    @property
    def waits(self) -> bool:
        """Whether no request of it is being answered."""
        return self.cycle is None or self.cycle.response_complete

    def leave(self) -> None:
        self.places.give_back(self)
        self.transport.abort()

    def _wait(self) -> None:
        self._stop_waiting()
        self._timer = self.loop.call_later(self.head_s, self._too_slow)

    def _stop_waiting(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _too_slow(self) -> None:
        if self.waits:
            self.leave()

    def handle_events(self) -> None:
        before = self.cycle
        super().handle_events()
        if self.cycle is not before:
            self._stop_waiting()

    def on_response_complete(self) -> None:
        super().on_response_complete()
        if not self.transport.is_closing():
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop_waiting()
        self.places.give_back(self)
        super().connection_lost(exc)


def limited(most_each: int = MOST_EACH, most_all: int = MOST_ALL, head_s: float = HEAD_S) -> type[H11Protocol]:
    """A protocol class for one server, with counts of its own: servers share nothing."""
    return type("Limited", (LimitedConnection,), {"places": Places(most_each, most_all), "head_s": head_s})
