"""HTTP connections with manners: so many from one address, and a request must be there within seconds of being begun."""

from uvicorn.protocols.http.h11_impl import H11Protocol

#: Connections kept from one address, and from all; a page needs one for its events and a few beside it.
MOST_EACH, MOST_ALL = 24, 200
#: A request's head must be complete so long after the connection was made or after the last request's answer, s.
HEAD_S = 10.0


def limited(most_each: int = MOST_EACH, most_all: int = MOST_ALL, head_s: float = HEAD_S) -> type[H11Protocol]:
    """A protocol class for one server. Its own counts: nothing is shared between servers."""
    open_from: dict[str, set] = {}

    class Limited(H11Protocol):
        def connection_made(self, transport) -> None:
            super().connection_made(transport)
            self._peer = str((transport.get_extra_info("peername") or ("",))[0])
            mine = open_from.setdefault(self._peer, set())
            self._timer = None
            if len(mine) >= most_each or sum(map(len, open_from.values())) >= most_all:
                transport.abort()
                return
            mine.add(self)
            self._wait()

        def _wait(self) -> None:
            self._stop_waiting()
            self._timer = self.loop.call_later(head_s, self._too_slow)

        def _stop_waiting(self) -> None:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None

        def _too_slow(self) -> None:
            # Between two requests of one connection the server's own keep-alive timer rules.
            if self.cycle is None or self.cycle.response_complete:
                self.transport.abort()

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
            mine = open_from.get(self._peer, set())
            mine.discard(self)
            if not mine:
                open_from.pop(self._peer, None)
            super().connection_lost(exc)

    return Limited
