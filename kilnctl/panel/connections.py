"""HTTP connections with manners: so many from one address, and a request must be there within seconds of being begun."""

from uvicorn.protocols.http.h11_impl import H11Protocol

#: Connections kept from one address, and from all; a page needs one for its events and a few beside it.
MOST_EACH, MOST_ALL = 24, 200
#: A request's head must be complete so long after the connection was made or after the last request's answer, s.
HEAD_S = 10.0


def limited(most_each: int = MOST_EACH, most_all: int = MOST_ALL, head_s: float = HEAD_S) -> type[H11Protocol]:
    """A protocol class for one server. Its own counts: nothing is shared between servers. Who comes when all places are taken gets the
    place of whoever has waited longest without asking anything: a crowd of half-open connections must not keep a stop out."""
    everybody: dict = {}  # connection → address, oldest first

    class Limited(H11Protocol):
        def connection_made(self, transport) -> None:
            super().connection_made(transport)
            self._timer = None
            peer = str((transport.get_extra_info("peername") or ("",))[0])
            mine = [c for c, p in everybody.items() if p == peer]
            if (len(mine) >= most_each and not _oldest_leaves(mine)) or (
                len(everybody) >= most_all and not _oldest_leaves(list(everybody))
            ):
                transport.abort()
                return
            everybody[self] = peer
            self._wait()

        @property
        def waits(self) -> bool:
            """Whether no request of it is being answered."""
            return self.cycle is None or self.cycle.response_complete

        def leave(self) -> None:
            everybody.pop(self, None)
            self.transport.abort()

        def _wait(self) -> None:
            self._stop_waiting()
            self._timer = self.loop.call_later(head_s, self._too_slow)

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

        def connection_lost(self, exc) -> None:
            self._stop_waiting()
            everybody.pop(self, None)
            super().connection_lost(exc)

    def _oldest_leaves(among: list) -> bool:
        for connection in among:
            if connection.waits:
                connection.leave()
                return True
        return False

    return Limited
