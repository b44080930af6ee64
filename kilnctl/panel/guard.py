"""Who may ask what: the rules in front of every request. Pure decisions on the raw headers, and an ASGI wrapper that
applies them.

They hold against a foreign page in a browser (fetch, form, event stream, another name for this address): exactly one
Host, from a fixed list; a request that changes something must come from our own page (Origin equal to Host) and be
JSON; GET changes nothing; nothing is ever offered to other origins.
"""

import json
from collections.abc import Iterable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Sent with every answer.
HEADERS = (
    (
        b"content-security-policy",
        (
            b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
            b"frame-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        ),
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=()"),
    (b"cache-control", b"no-store"),
)
#: Reports are pages of ours with a style of their own and no script; shown in a frame of the panel, with nothing
#: allowed.
REPORT_CSP = (
    b"default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; "
    b"frame-ancestors 'self'; sandbox"
)
LARGEST_BODY = 64_000


def hosts(names: Iterable[str], port: int) -> frozenset[str]:
    """The Host values that are ours: loopback always, and those names; with the port, and bare where the port is the
    usual one."""
    every = ["127.0.0.1", "localhost", "[::1]", *(n.strip().lower() for n in names if n.strip())]
    return frozenset([f"{n}:{port}" for n in every] + (every if port == 80 else []))


def refusal(scope: Scope, allowed: frozenset[str]) -> tuple[int, str] | None:
    """(status, words) of a request that may not pass; None for one that may."""
    if scope["type"] == "websocket":
        return 403, "there is no socket here"
    named: dict[bytes, list[bytes]] = {}
    for name, value in scope["headers"]:
        named.setdefault(name.lower(), []).append(value)
    host = named.get(b"host", [])
    if len(host) != 1 or host[0].decode("latin-1").lower() not in allowed:
        return 403, "this is not the name of this panel (start it with --host NAME for another one)"
    site = named.get(b"sec-fetch-site", [])
    if any(s not in (b"same-origin", b"none") for s in site):
        return 403, "asked by another site"
    origin = named.get(b"origin", [])
    ours = b"http://" + host[0]
    if scope["method"] in ("GET", "HEAD"):
        # A page of ours never sends another's origin; one that does is not ours.
        return (403, "asked by another site") if any(o != ours for o in origin) else None
    if scope["method"] != "POST":
        return 405, "only GET and POST are answered"
    if origin != [ours]:
        return 403, "only the panel's own page may change anything"
    if [t.split(b";")[0].strip().lower() for t in named.get(b"content-type", [])] != [b"application/json"]:
        return 415, "only JSON is taken"
    length = named.get(b"content-length", [])
    if len(length) != 1 or not length[0].isdigit() or int(length[0]) > LARGEST_BODY:
        return 413, "a body of known length below 64 kB is wanted"
    return None


class Guard:
    """The rules around an ASGI application."""

    def __init__(self, app: ASGIApp, allowed: frozenset[str]):
        if not allowed:
            raise ValueError("an empty list of hosts lets nobody in")
        self.app, self.allowed = app, allowed

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refused = refusal(scope, self.allowed)
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                message = {**message, "headers": [*message["headers"], *(h for h in HEADERS if h[0] not in given)]}
            await send(message)

        if refused is None:
            await self.app(scope, receive, guarded)
            return
        status, words = refused
        body = json.dumps({"ok": False, "words": words}).encode()
        await guarded(
            {
                "type": "http.response.start",
                "status": status,
                "headers": [
                    (b"content-type", b"application/json"),
                    (b"content-length", str(len(body)).encode()),
                    (b"connection", b"close"),
                ],
            }
        )
        await send({"type": "http.response.body", "body": body})
