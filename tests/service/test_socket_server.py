"""The local socket: it answers every message, and `stop` always works."""

import json
import os
import random
import socket
import stat
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.errors import KilnctlError
from kilnctl.service.socket_messages import LONGEST_LINE, REQUESTS, BadRequest, encode, parse
from kilnctl.service.socket_server import MOST_CONNECTIONS, SocketServer, ask


class ToldServer(SocketServer):
    """Keeps what was asked."""

    said: list[dict]


@pytest.fixture
def server(tmp_path):
    said = []

    def answer(request):
        said.append(request)
        if request["ask"] == "skip":
            raise RuntimeError("boom")
        return {"ok": True, "you": request["ask"], "nan": float("nan")}

    server = ToldServer(tmp_path / "s" / "socket", answer)
    server.said = said
    yield server
    server.close()


def raw(server, data, patience=2.0):
    with socket.socket(socket.AF_UNIX) as s:
        s.settimeout(patience)
        s.connect(str(server.path))
        s.sendall(data)
        s.shutdown(socket.SHUT_WR)
        out = b""
        while True:
            try:
                part = s.recv(65536)
            except (TimeoutError, ConnectionResetError):
                return out
            if not part:
                return out
            out += part


def test_one_question_one_answer_and_what_json_lacks_is_null(server):
    assert ask(server.path, {"ask": "status"}) == {"ok": True, "you": "status", "nan": None}


def test_only_owner_and_group_may_speak(server):
    assert stat.S_IMODE(os.stat(server.path).st_mode) == 0o660


def test_a_fault_in_an_answer_does_not_close_the_door(server):
    assert "fault of its own" in ask(server.path, {"ask": "skip"})["words"]
    assert ask(server.path, {"ask": "stop"})["ok"]


def test_two_requests_in_one_piece_and_one_in_two_pieces(server):
    assert raw(server, b'{"ask":"status"}\n\n{"ask":"stop"}\n').count(b"\n") == 2


@pytest.mark.parametrize(
    "line",
    [
        b"\xff\xfe",
        b"[]",
        b"{}",
        b'{"ask": 3}',
        b'{"ask": "reboot"}',
        b'{"ask": "stop", "now": true}',
        b'{"ask": "soak"}',
        b'{"ask": "soak", "seconds": true}',
        b'{"ask": "soak", "seconds": NaN}',
        b'{"ask": "soak", "seconds": 1e999}',
        b'{"ask": "soak", "seconds": -1}',
        b'{"ask": "acknowledge", "by": " "}',
        b'{"ask": "start", "schedule": "a\\nb"}',
        b'{"ask": "curve", "since": -1}',
        b'{"ask": "start", "schedule": "\\ud800"}',
        b"[" * 3000,
        b'{"ask": "curve", "most": 999999}',
    ],
)
def test_what_is_no_request_is_answered_in_words(server, line):
    answer = json.loads(raw(server, line + b"\n"))
    assert answer["ok"] is False and answer["words"] and not server.said


def test_a_line_without_end_is_forgotten_and_the_next_request_heard(server):
    answers = raw(server, b"x" * (3 * LONGEST_LINE) + b"\n" + b'{"ask":"stop"}\n').splitlines()
    assert [json.loads(a)["ok"] for a in answers] == [False, True]


def test_garbage_and_silence_on_many_connections_leave_stop_working(server):
    generator = random.Random(1)
    idle = []
    for _ in range(50):
        s = socket.socket(socket.AF_UNIX)
        s.connect(str(server.path))
        idle.append(s)
    for _ in range(1000):
        raw(server, generator.randbytes(generator.randrange(1, 300)), 1.0)
    answers = []
    asking = [
        threading.Thread(target=lambda: answers.append(ask(server.path, {"ask": "stop"})["ok"])) for _ in range(8)
    ]
    for t in asking:
        t.start()
    for t in asking:
        t.join()
    assert answers == [True] * 8
    for s in idle:
        s.close()


def pushed_out(connection: socket.socket) -> bool:
    connection.setblocking(False)
    try:
        return connection.recv(1) == b""
    except BlockingIOError:
        return False


def test_too_many_connections_push_out_the_silent_ones(server):
    many = []
    for _ in range(MOST_CONNECTIONS + 20):
        s = socket.socket(socket.AF_UNIX)
        s.connect(str(server.path))
        many.append(s)
    assert ask(server.path, {"ask": "status"})["ok"]
    assert sum(not pushed_out(s) for s in many) <= MOST_CONNECTIONS
    for s in many:
        s.close()


def test_a_socket_left_by_a_killed_process_is_taken_over(tmp_path):
    first = socket.socket(socket.AF_UNIX)
    first.bind(str(tmp_path / "socket"))
    first.close()
    server = SocketServer(tmp_path / "socket", lambda request: {"ok": True})
    assert ask(server.path, {"ask": "status"})["ok"]
    server.close()
    with pytest.raises(KilnctlError, match="is it running"):
        ask(server.path, {"ask": "status"})


@given(st.binary(max_size=200))
def test_any_bytes_are_a_request_or_refused(line):
    try:
        assert parse(line)["ask"] in REQUESTS
    except BadRequest as error:
        assert str(error)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=20),
        lambda c: st.lists(c, max_size=3) | st.dictionaries(st.text(max_size=5), c, max_size=3),
    )
)
def test_any_answer_is_one_line_of_strict_json(value):
    line = encode({"ok": True, "value": value})
    assert line.count(b"\n") == 1 and json.loads(line, parse_constant=lambda c: pytest.fail(c))["ok"]
