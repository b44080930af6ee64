"""Messages through real parts: an SMTP sink, an HTTP server, a broker of the system's package, a command."""

import contextlib
import hashlib
import hmac
import http.server
import json
import shutil
import socket
import ssl
import subprocess
import sys
import threading
import time
from email import message_from_bytes, policy

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult
from loopback import free_port
from paho.mqtt import client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from kilnctl.notify import channels
from kilnctl.notify.broker import Broker
from kilnctl.notify.channels import SIGNATURE, NotSent, send
from kilnctl.notify.outbox import Message
from kilnctl.settings.notification import Channel

TRIP = Message(
    "trip",
    "kiln: Heat is off",
    "Heat is off. Check: the sensor.",
    "2026-01-01T10:00:00+0000",
    0.0,
    "kiln",
    "runs/1",
    "a workshop",
    612.3,
)


class Sink:
    """Keeps what is delivered."""

    def __init__(self):
        self.mails = []

    async def handle_DATA(self, _server, _session, envelope):
        self.mails.append(envelope)
        return "250 taken"


@pytest.fixture
def sink():
    handler = Sink()
    controller = Controller(
        handler,
        hostname="127.0.0.1",
        port=free_port(),
        authenticator=lambda *a: AuthResult(success=a[4].password == b"right", handled=False),
        auth_require_tls=False,
    )
    controller.start()
    yield handler, controller.port
    controller.stop()


def mail(port, **more):
    return Channel(
        name="mail",
        by="mail",
        server="127.0.0.1",
        port=port,
        security="none",
        sender="oven@example.org",
        to="a@example.org, b@example.org",
        **more,
    )


def test_a_mail_arrives_at_every_address_with_its_words(sink):
    handler, port = sink
    send(mail(port), TRIP)
    assert handler.mails[0].rcpt_tos == ["a@example.org", "b@example.org"]
    said = message_from_bytes(handler.mails[0].content, policy=policy.default)
    assert said["Subject"] == "a workshop: kiln: Heat is off" and said["X-Priority"] == "1"
    assert "Check: the sensor." in said.get_content() and "612 °C" in said.get_content()


def test_a_wrong_password_is_told_and_a_right_one_passes(sink, tmp_path):
    handler, port = sink
    secret = tmp_path / "secret"
    channel = mail(port, user="oven", secret_file=str(secret))
    secret.write_text("wrong\n")
    with pytest.raises(NotSent) as refused:
        send(channel, TRIP)
    assert "wrong" not in str(refused.value) and "535" in str(refused.value)
    secret.write_text("right\n")
    send(channel, TRIP)
    assert len(handler.mails) == 1


def test_no_server_is_a_reason_in_words():
    with pytest.raises(NotSent, match="refused"):
        send(mail(free_port()), TRIP)


def test_a_server_that_wants_no_tls_gets_no_password_in_clear(sink, monkeypatch):
    handler, port = sink
    monkeypatch.setenv("PASSWORD", "right")
    channel = Channel(
        name="m",
        by="mail",
        server="127.0.0.1",
        port=port,
        security="starttls",
        sender="a@b.c",
        to="d@e.f",
        user="oven",
        secret_variable="PASSWORD",
    )
    with pytest.raises(NotSent, match="STARTTLS"):
        send(channel, TRIP)
    assert handler.mails == []


class Hook(http.server.BaseHTTPRequestHandler):
    answer, heard, wait_s = 204, [], 0.0

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        type(self).heard.append((self.path, dict(self.headers), body))
        time.sleep(self.wait_s)
        self.send_response(self.answer)
        if self.answer == 302:
            self.send_header("Location", "/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format, *args):
        pass


@contextlib.contextmanager
def hook(answer=204, wait_s=0.0):
    handler = type("Here", (Hook,), {"answer": answer, "heard": [], "wait_s": wait_s})
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield (
            handler.heard,
            Channel(
                name="hook",
                by="web hook",
                address=f"http://127.0.0.1:{server.server_port}/oven",
                secret_variable="HOOK_KEY",
            ),
        )
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_a_web_hook_gets_signed_json(monkeypatch):
    monkeypatch.setenv("HOOK_KEY", "Jefe")
    with hook() as (heard, channel):
        send(channel, TRIP)
    path, headers, body = heard[0]
    assert path == "/oven" and headers["Content-Type"] == "application/json"
    assert headers[SIGNATURE] == "sha256=" + hmac.new(b"Jefe", body, hashlib.sha256).hexdigest()
    said = json.loads(body)
    assert said["kind"] == "trip" and said["urgent"] and said["chamber_c"] == 612.3 and said["oven"] == "kiln"


@pytest.mark.parametrize("answer", [302, 401, 500])
def test_any_answer_but_success_is_not_sent_and_no_redirect_is_followed(monkeypatch, answer):
    monkeypatch.setenv("HOOK_KEY", "k")
    with hook(answer) as (heard, channel), pytest.raises(NotSent, match=str(answer)):
        send(channel, TRIP)
    assert len(heard) == 1


def test_a_web_hook_that_hangs_is_given_up(monkeypatch):
    monkeypatch.setenv("HOOK_KEY", "k")
    monkeypatch.setattr(channels, "PATIENCE_S", 0.3)
    with hook(wait_s=1.0) as (_, channel), pytest.raises(NotSent, match="timed out"):
        send(channel, TRIP)


def test_a_missing_secret_is_told_by_its_place():
    channel = Channel(name="hook", by="web hook", address="http://127.0.0.1:9/", secret_variable="NOT_SET_ANYWHERE")
    with pytest.raises(NotSent, match="NOT_SET_ANYWHERE"):
        send(channel, TRIP)


def test_a_server_with_an_unknown_certificate_is_refused(tmp_path):
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    key, certificate = tmp_path / "key.pem", tmp_path / "cert.pem"
    make = [
        "openssl",
        "req",
        "-x509",
        "-newkey",
        "rsa:2048",
        "-nodes",
        "-keyout",
        key,
        "-out",
        certificate,
        "-days",
        "2",
        "-subj",
        "/CN=localhost",
        "-addext",
        "subjectAltName=DNS:localhost",
    ]
    subprocess.run([str(a) for a in make], check=True, capture_output=True)
    handler = type("Here", (Hook,), {"heard": []})
    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate, key)
    server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    address = f"https://localhost:{server.server_port}/"
    try:
        with pytest.raises(NotSent, match="certificate"):
            send(Channel(name="h", by="web hook", address=address), TRIP)
        assert handler.heard == []
        send(Channel(name="h", by="web hook", address=address, authority=str(certificate)), TRIP)
        assert len(handler.heard) == 1
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def test_a_command_gets_json_on_its_input_and_its_failure_is_told(tmp_path):
    out = tmp_path / "out"
    program = f"{sys.executable} -c \"import sys; open('{out}', 'w').write(sys.stdin.read())\""
    send(Channel(name="c", by="command", command=program), TRIP)
    assert json.loads(out.read_text())["subject"] == "kiln: Heat is off"
    failing = f"{sys.executable} -c \"import sys; sys.stderr.write('no bell'); sys.exit(3)\""
    with pytest.raises(NotSent, match="status 3: no bell"):
        send(Channel(name="c", by="command", command=failing), TRIP)
    with pytest.raises(NotSent, match="no such program or file: /"):
        send(Channel(name="c", by="command", command="/no/such/bell"), TRIP)


def test_no_shell_reads_a_message(tmp_path):
    bad = Message("trip", "$(touch x)", "`touch y`", "", 0.0)
    send(Channel(name="c", by="command", command=f"{sys.executable} -c pass"), bad)
    assert list(tmp_path.iterdir()) == []


@contextlib.contextmanager
def broker_process(tmp_path, port, password=None):
    """Mosquitto of the system's package, on loopback."""
    program = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
    if shutil.which(program) is None:
        pytest.skip("mosquitto is not installed")
    lines = [f"listener {port} 127.0.0.1", f"allow_anonymous {'false' if password else 'true'}", "user root"]
    if password:
        subprocess.run(["mosquitto_passwd", "-b", "-c", str(tmp_path / "users"), "oven", password], check=True)
        lines.append(f"password_file {tmp_path / 'users'}")
    (tmp_path / "broker.conf").write_text("\n".join(lines) + "\n")
    process = subprocess.Popen(
        [program, "-c", str(tmp_path / "broker.conf")], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        until(lambda: reachable(port))
        yield process
    finally:
        process.kill()
        process.wait()


def reachable(port):
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), 0.5):
        return True
    return False


def until(what, patience_s=20.0):
    end = time.monotonic() + patience_s
    while not (said := what()):
        assert time.monotonic() < end, "never"
        time.sleep(0.02)
    return said


class Listener:
    """Another client of the broker, which keeps all that it hears."""

    def __init__(self, port, user=None, password=None):
        self.heard = []
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2)
        if user:
            self.client.username_pw_set(user, password)
        self.client.on_connect = self._subscribe
        self.client.on_message = lambda _c, _d, m: self.heard.append((m.topic, m.payload.decode(), bool(m.retain)))
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()

    def _subscribe(self, client, *_):
        client.subscribe("workshop/#", qos=1)

    def topics(self, topic):
        return [payload for t, payload, _ in self.heard if t == topic]

    def close(self):
        self.client.disconnect()
        self.client.loop_stop()


def by_broker(port, **more):
    return Channel(
        name="broker", by="mqtt", server="127.0.0.1", port=port, security="none", topic="workshop/kiln", **more
    )


def test_a_broker_gets_events_retained_state_and_the_last_will(tmp_path):
    port = free_port()
    with broker_process(tmp_path, port):
        ours = Broker(by_broker(port))
        until(ours.connected)
        ours.publish_state({"state": "soak", "chamber_c": 612.3, "secret": "x"})
        send(by_broker(port), TRIP, ours)
        listener = Listener(port)
        until(lambda: listener.topics("workshop/kiln/state"))
        state = json.loads(listener.topics("workshop/kiln/state")[0])
        assert state["chamber_c"] == 612.3 and "secret" not in state
        assert ("workshop/kiln/online", "online", True) in listener.heard
        send(by_broker(port), TRIP, ours)
        assert json.loads(until(lambda: listener.topics("workshop/kiln/event"))[0])["kind"] == "trip"
        ours.close()
        until(lambda: listener.topics("workshop/kiln/online")[-1] == "offline")
        listener.close()


def test_a_killed_process_is_told_by_the_last_will(tmp_path):
    port = free_port()
    program = (
        "import sys, time\n"
        "from kilnctl.notify.broker import Broker\nfrom kilnctl.settings.notification import Channel\n"
        f"c = Channel(name='b', by='mqtt', server='127.0.0.1', port={port}, security='none', topic='workshop/kiln')\n"
        "b = Broker(c)\n"
        "time.sleep(60)"
    )
    with broker_process(tmp_path, port):
        process = subprocess.Popen([sys.executable, "-c", program])
        listener = Listener(port)
        until(lambda: "online" in listener.topics("workshop/kiln/online"))
        process.kill()
        process.wait()
        until(lambda: listener.topics("workshop/kiln/online")[-1] == "offline")
        listener.close()


def test_a_broker_that_comes_late_or_refuses_the_password_is_told_and_come_back_to(tmp_path, monkeypatch):
    port = free_port()
    monkeypatch.setenv("BROKER", "wrong")
    with broker_process(tmp_path, port, password="right"):
        refused = Broker(by_broker(port, user="oven", secret_variable="BROKER"))
        until(lambda: refused.refused)
        with pytest.raises(NotSent, match=r"[Nn]ot authorized"):
            send(by_broker(port), TRIP, refused)
        refused.close()
    monkeypatch.setenv("BROKER", "right")
    ours = Broker(by_broker(port, user="oven", secret_variable="BROKER"))
    with pytest.raises(NotSent, match="no connection to the broker"):
        send(by_broker(port), TRIP, ours)
    with broker_process(tmp_path, port, password="right"):
        until(ours.connected, 30.0)
        send(by_broker(port), TRIP, ours)
        ours.close()
