"""The rules in front of every request: who may ask, from where, and what is sent with every answer."""

import asyncio

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")

from starlette.responses import PlainTextResponse

from kilnctl.panel.guard import RequestGuard, asker, hosts, policy, refusal, stop_origin

ALLOWED = hosts(["Oven.lan"], 8484)
OURS = {"host": "127.0.0.1:8484"}
POST = {**OURS, "origin": "http://127.0.0.1:8484", "content-type": "application/json", "content-length": "2"}


def scope(method="GET", kind="http", **headers):
    flat = [(k.replace("_", "-").encode(), v.encode()) for k, v in headers.items()]
    return {"type": kind, "method": method, "path": "/", "headers": flat}


def refused(method="GET", kind="http", extra=(), **headers):
    asked = scope(method, kind, **headers)
    asked["headers"] += list(extra)
    answer = refusal(asked, ALLOWED)
    return answer and answer[0]


def test_our_own_names_may_look():
    for host in ("127.0.0.1:8484", "localhost:8484", "[::1]:8484", "oven.lan:8484", "OVEN.LAN:8484"):
        assert refused(host=host) is None
    assert refused(**OURS, sec_fetch_site="same-origin") is None and refused(**OURS, sec_fetch_site="none") is None


@pytest.mark.parametrize(
    "host",
    [
        "evil.test:8484",
        "127.0.0.1",
        "127.0.0.1:80",
        "oven.lan",
        "127.0.0.1:8484.evil.test",
        "oven.lan:8484 ",
        "",
        "0.0.0.0:8484",
        "127.0.0.1:8484\0",
    ],
)
def test_other_names_for_this_address_may_not(host):
    """DNS rebinding: the browser believes it speaks to evil.test, which resolves to us."""
    assert refused(host=host) == 403


def test_no_host_two_hosts_and_other_sites_may_not():
    assert refused() == 403
    assert refused(**OURS, extra=[(b"host", b"127.0.0.1:8484")]) == 403
    assert refused(**OURS, extra=[(b"Host", b"evil.test")]) == 403
    for site in ("cross-site", "same-site", "anything"):
        assert refused(**OURS, sec_fetch_site=site) == 403
    assert refused(**OURS, origin="http://evil.test") == 403 and refused(**OURS, origin="null") == 403


def test_a_change_must_come_from_our_page_as_json():
    assert refused("POST", **POST) is None
    assert refused("POST", **{**POST, "content-type": "application/json; charset=utf-8"}) is None
    for origin in (
        "http://evil.test",
        "null",
        "https://127.0.0.1:8484",
        "http://127.0.0.1",
        "http://localhost:8484",
        "http://127.0.0.1:8484/",
    ):
        assert refused("POST", **{**POST, "origin": origin}) == 403
    assert refused("POST", **{k: v for k, v in POST.items() if k != "origin"}) == 403
    assert refused("POST", **POST, extra=[(b"origin", b"http://127.0.0.1:8484")]) == 403
    for kind in (
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data; boundary=x",
        "application/jsonp",
        "",
    ):
        assert refused("POST", **{**POST, "content-type": kind}) == 415
    for length in ("64001", "-1", "1e3", ""):
        assert refused("POST", **{**POST, "content-length": length}) == 413
    assert refused("POST", **{k: v for k, v in POST.items() if k != "content-length"}) == 413
    for method in ("PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "CONNECT"):
        assert refused(method, **POST) == 405
    assert refused("GET", kind="websocket", **OURS) == 403


def test_an_empty_list_of_hosts_is_no_list():
    with pytest.raises(ValueError):
        RequestGuard(PlainTextResponse(""), {})
    assert hosts([], 80).keys() >= {"127.0.0.1", "localhost:80"} and not any(
        "0.0.0.0" in h for h in hosts(["", " "], 8484)
    )


def answered(app, asked):
    sent = []

    async def send(message):
        sent.append(message)

    async def receive():
        return {"type": "websocket.connect"}

    asyncio.run(RequestGuard(app, ALLOWED)(asked, receive, send))
    return sent


def test_every_answer_carries_the_rules_for_the_browser():
    async def app(scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": [(b"x-frame-options", b"SAMEORIGIN")]})
        await send({"type": "http.response.body", "body": b"hello"})

    for asked, status in ((scope(**OURS), 200), (scope(host="evil.test:8484"), 403)):
        start = answered(app, asked)[0]
        headers = dict(start["headers"])
        assert start["status"] == status
        policy = headers[b"content-security-policy"].decode()
        assert "default-src 'none'" in policy and "unsafe" not in policy and "frame-ancestors 'none'" in policy
        assert (
            headers[b"x-content-type-options"] == b"nosniff"
            and headers[b"cross-origin-resource-policy"] == b"same-origin"
        )
        assert not any(k.startswith(b"access-control") for k in headers)
    assert dict(answered(app, scope(**OURS))[0]["headers"])[b"x-frame-options"] == b"SAMEORIGIN"
    assert answered(app, scope(kind="websocket", **OURS)) == [{"type": "websocket.close", "code": 1008}]


def test_a_body_in_chunks_is_refused_with_a_length_and_without():
    for more in ({}, {"content-length": "2"}):
        headers = {k: v for k, v in POST.items() if k != "content-length"} | more
        assert refused("POST", **headers, transfer_encoding="chunked") == 400
    assert refused(**OURS, transfer_encoding="chunked") == 400
    assert refused("POST", **{**POST, "content-length": "9" * 5000}) == 413


def test_behind_a_proxy_that_ends_tls_the_page_has_another_origin_and_nobody_is_at_the_oven():
    allowed = hosts(["https://oven.lan", "plain.lan"], 8484)
    assert allowed["oven.lan"] == "https://oven.lan" and "oven.lan:8484" not in allowed
    asked = scope("POST", **{**POST, "host": "oven.lan", "origin": "https://oven.lan"})
    assert refusal(asked, allowed) is None
    assert refusal(scope("POST", **{**POST, "host": "oven.lan", "origin": "http://oven.lan"}), allowed) is not None
    for headers, found in (
        ({"host": "oven.lan", "x_forwarded_for": "6.6.6.6, 10.0.0.9"}, ("10.0.0.9", False)),
        ({"host": "oven.lan"}, ("the proxy", False)),
        ({"host": "127.0.0.1:8484"}, ("127.0.0.1", True)),
        ({"host": "127.0.0.1:8484", "x_forwarded_for": "127.0.0.1"}, ("127.0.0.1", False)),
        ({"host": "plain.lan:8484", "x_forwarded_for": "127.0.0.1"}, ("127.0.0.1", False)),
    ):
        assert asker({**scope(**headers), "client": ("127.0.0.1", 5)}, allowed) == found
    # The proxy is believed at its own computer alone.
    assert asker({**scope(host="oven.lan"), "client": ("10.0.0.7", 5)}, allowed) == ("10.0.0.7", False)


def test_the_page_may_reach_stop_s_port_and_no_other():
    for host, origin, stop in (
        ("127.0.0.1:8484", "http://127.0.0.1:8484", "http://127.0.0.1:8485"),
        ("[::1]:8484", "http://[::1]:8484", "http://[::1]:8485"),
        ("oven.lan", "https://oven.lan", None),
    ):
        assert stop_origin(host, origin, 8485) == stop
        allowed_to = policy(stop).decode().split("connect-src ")[1].split(";")[0]
        assert allowed_to == "'self'" + (f" {stop}" if stop else "")
    assert stop_origin("127.0.0.1:8484", "http://127.0.0.1:8484", None) is None
