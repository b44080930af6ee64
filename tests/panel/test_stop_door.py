"""Stop's own port, and crowds before the panel: what the review of the panel broke, and what held."""

import asyncio
import http.client
import json
import os
import socket
import threading
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

from kilnctl.panel.stop_door import stop_and_confirm


def door(bed, method="POST", source="127.0.0.1", headers: dict[str, str | None] | None = None):
    """(status, JSON, headers) of one request at Stop's port, as our page sends it."""
    connection = http.client.HTTPConnection("127.0.0.1", bed.stop_port, timeout=30.0, source_address=(source, 0))
    try:
        usual = {"Host": f"127.0.0.1:{bed.stop_port}", "Origin": f"http://127.0.0.1:{bed.port}"}
        every = {k: v for k, v in {**usual, **(headers or {})}.items() if v is not None}
        connection.putrequest(method, "/stop", skip_host=True)
        for name, value in {**every, "Content-Type": "text/plain", "Content-Length": "4"}.items():
            connection.putheader(name, value)
        connection.endheaders(b"stop")
        answer = connection.getresponse()
        return answer.status, json.loads(answer.read()), {k.lower(): v for k, v in answer.getheaders()}
    finally:
        connection.close()


def running(bed):
    bed.rest()
    assert bed.start("long.yaml", bed.unlocked())[0] == 200
    bed.wait_for(lambda s: s["running"] and s["duty"] > 0.0)


def test_the_door_stops_and_says_so_only_when_it_is_so(bed):
    running(bed)
    status, said, headers = door(bed)
    assert status == 200 and said["confirmed"] is True
    now = bed.status()
    assert now["at_rest"] and headers["access-control-allow-origin"] == f"http://127.0.0.1:{bed.port}"
    assert bed.ask("POST", "/api/stop")[1]["confirmed"] is True
    audit = (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text().splitlines()
    assert json.loads(audit[-1])["what"] == "stop"


def test_nothing_but_our_own_page_may_ask_at_the_door(bed):
    running(bed)
    asked: tuple[tuple[dict[str, str | None], int], ...] = (
        ({"Origin": "http://evil.test"}, 403),
        ({"Origin": None}, 403),
        ({"Origin": f"http://127.0.0.1:{bed.port + 1}"}, 403),
        ({"Host": f"evil.test:{bed.stop_port}"}, 403),
    )
    for headers, status in asked:
        said = door(bed, headers=headers)
        assert said[0] == status and "access-control-allow-origin" not in said[2]
    for method in ("GET", "OPTIONS", "PUT"):
        assert door(bed, method)[0] == 405
    assert bed.status()["running"]
    assert door(bed)[1]["confirmed"]


def opened(address, port, text, into):
    with socket.socket() as s:
        s.bind((address, 0))
        s.settimeout(10.0)
        try:
            s.connect(("127.0.0.1", port))
            s.sendall(text.encode())
            into.append(s.dup())
        except OSError:
            pass  # refused: the crowd's loss


@pytest.mark.slow
def test_three_hundred_strangers_with_streams_keep_neither_stop_nor_the_screen_out(bed):
    running(bed)
    held: list[socket.socket] = []
    stream = f"GET /api/events HTTP/1.1\r\nHost: 127.0.0.1:{bed.port}\r\n\r\n"
    try:
        for k in range(300):
            opened(f"127.0.4.{1 + k % 10}", bed.port, stream, held)
        for k in range(200):
            opened(f"127.0.5.{1 + k % 20}", bed.stop_port, "POST /stop HTTP/1.1\r\nHost: 127", held)
        assert bed.ask("GET", "/")[0] == 200 and bed.ask("GET", "/api/schedules")[0] == 200
        assert bed.ask("POST", "/api/stop")[0] == 200
        assert door(bed)[1]["confirmed"] and door(bed, source="127.0.6.1")[1]["confirmed"]
        assert bed.status()["at_rest"]
    finally:
        for s in held:
            s.close()


def resident_kb(process) -> int:
    lines = Path(f"/proc/{process.pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS"))


def test_a_body_in_chunks_with_a_length_is_refused_before_it_fills_the_memory(bed):
    before = resident_kb(bed.panel)
    with socket.create_connection(("127.0.0.1", bed.port), timeout=20.0) as s:
        host = f"127.0.0.1:{bed.port}"
        s.sendall(
            f"POST /api/unlock HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\n"
            "Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n".encode()
        )
        answer = s.recv(65536)
        assert answer.startswith(b"HTTP/1.1 400")
        part = b"100000\r\n" + b"x" * 0x100000 + b"\r\n"
        try:
            for _ in range(60):
                s.sendall(part)
        except OSError:
            pass  # it was closed, as it should be
    assert resident_kb(bed.panel) - before < 30_000
    # Not a second answer for what stands behind such a request.
    assert answer.count(b"HTTP/1.1") == 1 and b"connection: close" in answer.lower()


def test_a_stream_asked_with_an_absurd_place_is_a_stream(bed):
    with socket.create_connection(("127.0.0.1", bed.port), timeout=20.0) as s:
        s.sendall(f"GET /api/events?from={'9' * 5000}:1 HTTP/1.1\r\nHost: 127.0.0.1:{bed.port}\r\n\r\n".encode())
        assert s.recv(100).startswith(b"HTTP/1.1 200")


def test_nobody_s_word_is_taken_for_another_address(bed):
    bed.rest()
    assert bed.ask("POST", "/api/stop", X_Forwarded_For="10.0.0.9")[0] == 200
    audit = (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text().splitlines()
    assert json.loads(audit[-1])["from"] == "127.0.0.1"
    # What was forwarded does not come from the screen at the oven.
    status, _, _ = bed.ask(
        "POST", "/api/arm", {"file": "warm.yaml"}, cookie=bed.unlocked(), X_Forwarded_For="127.0.0.1"
    )
    assert status == 403


class Silent:
    """A service that takes a question and does not answer, or answers what it is told."""

    def __init__(self, path: Path, answers: dict):
        self.path, self.answers = path, answers
        self.held: list[socket.socket] = []
        self.listener = socket.socket(socket.AF_UNIX)
        self.listener.bind(str(path))
        self.listener.listen(8)
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def serve(self):
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            with connection:
                asked = json.loads(connection.makefile().readline())["ask"]
                if asked in self.answers:
                    connection.sendall(json.dumps(self.answers[asked]).encode() + b"\n")
                else:
                    self.held.append(connection.dup())

    def close(self):
        self.listener.shutdown(socket.SHUT_RDWR)  # it wakes the thread that waits for the next one
        self.thread.join(10.0)
        for s in (self.listener, *self.held):
            s.close()


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({}, "does not answer"),
        ({"stop": {"ok": True}, "status": {"ok": True, "at_rest": False}}, "not ended yet"),
        ({"stop": {"ok": True}, "status": {"ok": True, "at_rest": True, "danger": "HEAT CANNOT BE CUT"}}, "CANNOT"),
        ({"stop": {"ok": True}}, "not ended yet"),
    ],
)
def test_what_is_not_known_is_not_confirmed(tmp_path, answers, words):
    service = Silent(tmp_path / "socket", answers)
    try:
        said = asyncio.run(stop_and_confirm(service.path, "a test", 0.5))
        assert said["confirmed"] is False and "NOT CONFIRMED" in said["words"] and words in said["words"]
    finally:
        service.close()
    os.unlink(service.path)
    said = asyncio.run(stop_and_confirm(service.path, "a test", 0.5))
    assert said["confirmed"] is False and "may have been stopped" not in said["words"]
