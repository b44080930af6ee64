"""Who may ask what: the rules in front of every request. Pure decisions on the raw headers, and an ASGI wrapper that
applies them.

They hold against a foreign page in a browser (fetch, form, event stream, another name for this address): exactly one
Host, from a fixed list; a request that changes something must come from our own page (its Origin) and be JSON, or a
photograph; GET
changes nothing; nothing is ever offered to other origins.
"""

import json
from collections.abc import Iterable, Mapping

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .connections import LOOPBACK
from .photos import LARGEST_PHOTO

_OUR_NAMES = ("127.0.0.1", "localhost", "[::1]")
#: Sent with every answer, and the policy of `policy`.
HEADERS = (
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
#: Below this path photographs are sent, as they are.
PHOTO_PATH = "/api/photo/"


def hosts(names: Iterable[str], port: int) -> dict[str, str]:
    """{Host value: the Origin of our own page there}: loopback always, and those names, with the port, and without it
    if it is the protocol's usual port. `https://NAME` is reached through a proxy that ends TLS, at that proxy's
    port."""
    found = {}
    for name in (*_OUR_NAMES, *(n.strip().lower() for n in names if n.strip())):
        if name.startswith("https://"):
            host = name.removeprefix("https://").strip("/")
            found[host] = f"https://{host}"
            continue
        found[f"{name}:{port}"] = f"http://{name}:{port}"
        if port == 80:
            found[name] = f"http://{name}"
    return found


def stop_origin(host: str, origin: str, stop_port: int | None) -> str | None:
    """The address of Stop's listener for a page of that origin; None if it is the page's own server (behind a proxy
    that ends TLS, HTTP/2 carries enough requests at once)."""
    if stop_port is None or origin.startswith("https://"):
        return None
    name = host if host.endswith("]") or ":" not in host else host.rsplit(":", 1)[0]
    return f"http://{name}:{stop_port}"


def policy(stop: str | None) -> bytes:
    """The content security policy of our own page."""
    return (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'"
        + (f" {stop}" if stop else "")
        + "; worker-src 'self'; manifest-src 'self'; frame-src 'self'; base-uri 'none'; form-action 'none'"
        + "; frame-ancestors 'none'"
    ).encode()


def named(scope: Scope) -> dict[bytes, list[bytes]]:
    """The values of each header."""
    found: dict[bytes, list[bytes]] = {}
    for name, value in scope["headers"]:
        found.setdefault(name.lower(), []).append(value)
    return found


def asker(scope: Scope, allowed: Mapping[str, str]) -> tuple[str, bool]:
    """(address, whether it is the screen at the oven) of a request: from this computer, under a loopback name, and not
    forwarded. A proxy that ends TLS is trusted about its client's address, for the names that it serves."""
    headers, client = named(scope), scope.get("client")
    address = str(client[0]) if client else ""
    host = b"".join(headers.get(b"host", [])).decode("latin-1").lower()
    forwarded = headers.get(b"x-forwarded-for", [])
    if address in LOOPBACK and allowed.get(host, "").startswith("https://"):
        last = forwarded[-1].decode("latin-1").rsplit(",", 1)[-1].strip() if forwarded else ""
        return last[:60] or "the proxy", False
    name = host.rsplit(":", 1)[0]
    return address, address in LOOPBACK and name in _OUR_NAMES and not forwarded and b"forwarded" not in headers


def refusal(scope: Scope, allowed: Mapping[str, str]) -> tuple[int, str] | None:
    """(status, words) of a request that may not pass; None for one that may."""
    if scope["type"] == "websocket":
        return 403, "there is no socket here"
    headers = named(scope)
    host = headers.get(b"host", [])
    ours = allowed.get(host[0].decode("latin-1").lower(), "").encode() if len(host) == 1 else b""
    if not ours:
        return 403, "this is not the name of this panel (start it with --host NAME for another one)"
    if b"transfer-encoding" in headers:
        # With a length as well, two servers could read the request differently.
        return 400, "a body comes with its length, not in chunks"
    site = headers.get(b"sec-fetch-site", [])
    if any(s not in (b"same-origin", b"none") for s in site):
        return 403, "asked by another site"
    origin = [o.lower() for o in headers.get(b"origin", [])]
    if scope["method"] in ("GET", "HEAD"):
        # Our own page never sends a foreign origin.
        return (403, "asked by another site") if any(o != ours for o in origin) else None
    if scope["method"] != "POST":
        return 405, "only GET and POST are answered"
    if origin != [ours]:
        return 403, "only the panel's own page may change anything"
    photo = scope["path"].startswith(PHOTO_PATH)
    kind, largest = (b"image/jpeg", LARGEST_PHOTO) if photo else (b"application/json", LARGEST_BODY)
    if [t.split(b";")[0].strip().lower() for t in headers.get(b"content-type", [])] != [kind]:
        return 415, "only JPEG is taken" if photo else "only JSON is taken"
    length = headers.get(b"content-length", [])
    if len(length) != 1 or not length[0].isdigit() or len(length[0]) > 9 or int(length[0]) > largest:
        return 413, f"a body of known length below {largest // 1000} kB is wanted"
    return None


class RequestGuard:
    """The rules around an ASGI application. `stop_port`: of the listener of Stop."""

    def __init__(self, app: ASGIApp, allowed: Mapping[str, str], stop_port: int | None = None):
        if not allowed:
            raise ValueError("an empty list of hosts lets nobody in")
        self.app, self.allowed, self.stop_port = app, allowed, stop_port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        refused = refusal(scope, self.allowed)
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})
            return
        host = b"".join(named(scope).get(b"host", [])).decode("latin-1").lower()
        stop = stop_origin(host, self.allowed[host], self.stop_port) if host in self.allowed else None
        added = ((b"content-security-policy", policy(stop)), *HEADERS)

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                given = {name.lower() for name, _ in message["headers"]}
                message = {**message, "headers": [*message["headers"], *(h for h in added if h[0] not in given)]}
            await send(message)

        if refused is None:
            await self.app(scope, receive, guarded)
            return
        await answered(guarded, *refused)


async def answered(send: Send, status: int, words: str, headers: Iterable[tuple[bytes, bytes]] = (), **more) -> None:
    """A whole answer in JSON, after which the connection ends."""
    body = json.dumps({"ok": status < 400, "words": words, **more}).encode()
    start = [
        (b"content-type", b"application/json"),
        (b"content-length", str(len(body)).encode()),
        (b"connection", b"close"),
        *headers,
    ]
    await send({"type": "http.response.start", "status": status, "headers": start})
    await send({"type": "http.response.body", "body": body})
