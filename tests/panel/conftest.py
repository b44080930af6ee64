"""A waiting service with a virtual oven at speed, and the panel before it; each a process of its own, ended by its id.
If a test must break the oven at a certain moment, the service is a thread of the test."""

import functools
import http.client
import io
import json
import os
import re
import signal
import subprocess
import sys
import threading
import time
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from importlib.resources import files
from pathlib import Path

import pytest
from loopback import free_port

from kilnctl import load_oven
from kilnctl.service.loop import OvenService
from kilnctl.service.pace import SimulatedPace
from kilnctl.service.socket_server import ask

ROOT = Path(__file__).parents[2]
CABINET = ROOT / "configs" / "ovens" / "curing-cabinet.yaml"
WARM = """schedule: Warm up
about: a short run for tests
steps:
  - {name: warm, to: 80 °C, hold: 5 min, within: 3 K}
  - {name: cool, to: 65 °C, let cool: yes}
"""
#: Longer (three minutes at the bed's SPEED) than any test that stops it. Every start previews it again, so it is no
#: longer than that.
LONG = "schedule: Long\nsteps:\n  - {name: up, to: 120 °C, hold: 2 h, within: 3 K}\n"
SPEED = 40.0


def ended(process) -> None:
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(15.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class InThread:
    """A service in this process, with what `Bed` asks of one in a process of its own."""

    def __init__(self, oven_file: Path, place: Path, socket_path: Path, rig_of):
        oven, self.stdout = load_oven(oven_file), io.StringIO()
        self.rig = rig_of(oven, load=oven.usual_load)
        self.service = OvenService(
            oven,
            self.rig,
            SimulatedPace(oven.control.tick_s, SPEED),
            home=socket_path.parent,
            socket=socket_path,
            out=place / "runs",
            idle=True,
            tell=lambda text: None,
        )
        self.thread = threading.Thread(target=self.service.run)
        self.thread.start()

    def poll(self):
        return None if self.thread.is_alive() else 1

    def send_signal(self, number) -> None:
        self.service.end("test over")

    def wait(self, patience_s: float = 30.0) -> None:
        self.thread.join(patience_s)
        assert not self.thread.is_alive()


class Bed:
    """The processes, and a plain client."""

    def __init__(self, place: Path, rig_of=None):
        """`rig_of(oven, load=…)`: the rig of a service in a thread of this process (`service.rig`), instead of the
        virtual one in a process."""
        self.place, self.port, self.stop_port = place, free_port(), free_port()
        (place / "schedules").mkdir(parents=True)
        (place / "schedules" / "warm.yaml").write_text(WARM)
        (place / "schedules" / "long.yaml").write_text(LONG)
        # Half as many ticks as usual: what the panel shows and does is the same.
        self.oven = place / "oven.yaml"
        self.oven.write_text(CABINET.read_text(encoding="utf-8") + "\ncontrol: {tick: 2 s}\n", encoding="utf-8")
        self.environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        self.socket = place / "curing-cabinet" / "socket"
        if rig_of is None:
            self.service = self._started(
                "run",
                str(self.oven),
                "--idle",
                "--rig",
                "virtual",
                "--speed",
                str(SPEED),
                "--home",
                str(place),
                "--out",
                str(place / "runs"),
                "--quiet",
            )
        else:
            self.service = InThread(self.oven, place, self.socket, rig_of)
        self._until(self.socket.exists, self.service)
        self.start_panel()
        said = re.search(r"\d{6}", self.first_words)
        assert said is not None, self.first_words
        self.pin = said.group()

    def _started(self, *arguments):
        return subprocess.Popen(
            [sys.executable, "-m", "kilnctl", *arguments],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def start_panel(self) -> None:
        self.panel = self._started(
            "panel",
            str(self.oven),
            "--home",
            str(self.place),
            "--schedules",
            str(self.place / "schedules"),
            "--runs",
            str(self.place / "runs"),
            "--port",
            str(self.port),
            "--stop-port",
            str(self.stop_port),
            "--host",
            "oven.test",
            "--price",
            "0.30 EUR/kWh",
        )
        assert self.panel.stdout is not None
        self.first_words = self.panel.stdout.readline()
        self._until(self.answers, self.panel)

    def stop_panel(self) -> None:
        ended(self.panel)
        if self.panel.stdout is not None:
            self.panel.stdout.close()

    def answers(self) -> bool:
        try:
            return self.ask("GET", "/")[0] == 200
        except OSError:
            return False

    @staticmethod
    def _until(condition, process, patience_s: float = 40.0) -> None:
        until = time.monotonic() + patience_s
        while not condition():
            assert process.poll() is None and time.monotonic() < until, "it did not come up"
            time.sleep(0.05)

    def close(self) -> None:
        self.stop_panel()
        ended(self.service)
        if self.service.stdout is not None:
            self.service.stdout.close()

    def ask(
        self, method: str, path: str, body=None, host: str | None = None, cookie: str = "", **headers
    ) -> tuple[int, dict, dict]:
        """(status, JSON or {}, headers) of one request as our own page would send it; headers of None are left out."""
        host = host or f"127.0.0.1:{self.port}"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=90.0)
        try:
            every = {"Host": host}
            if method == "POST":
                every |= {"Origin": f"http://{host}", "Content-Type": "application/json"}
            every |= {"Cookie": cookie} if cookie else {}
            every |= {k.replace("_", "-"): v for k, v in headers.items()}
            data = (
                None
                if body is None and method != "POST"
                else json.dumps(body or {}).encode()
                if not isinstance(body, bytes)
                else body
            )
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            if data is not None and "Content-Length" not in every:
                every["Content-Length"] = str(len(data))
            for name, value in every.items():
                if value is not None:
                    connection.putheader(name, value)
            connection.endheaders(data)
            answer = connection.getresponse()
            text = answer.read()
            given = {k.lower(): v for k, v in answer.getheaders()}
            return (
                answer.status,
                json.loads(text) if given.get("content-type", "").startswith("application/json") else {},
                given,
            )
        finally:
            connection.close()

    def unlocked(self, **more) -> str:
        """A session's cookie."""
        status, said, headers = self.ask("POST", "/api/unlock", {"pin": self.pin}, **more)
        assert status == 200, said
        return headers["set-cookie"].split(";")[0]

    def start(self, name: str, cookie: str, accept: str = "unknown", **more) -> tuple[int, dict, dict]:
        """A start as a page asks for it that has just shown this schedule, and does not wait for its plan."""
        text = self.ask("GET", f"/api/schedule?file={name}")[1]["text"]
        seen = self.ask("POST", "/api/check", {"text": text, "file": name})[1]["seen"]
        body = {"file": name, "seen": seen, "confirm": True, "accept": accept}
        return self.ask("POST", "/api/start", body, cookie=cookie, **more)

    def status(self) -> dict:
        return ask(self.socket, {"ask": "status"})

    def wait_for(self, condition, patience_s: float = 40.0) -> dict:
        until = time.monotonic() + patience_s
        while True:
            status = self.status()
            if condition(status):
                return status
            assert time.monotonic() < until, status
            time.sleep(0.05)

    def rest(self) -> None:
        """Nothing runs: where every test begins."""
        self.ask("POST", "/api/stop")
        self.wait_for(lambda s: not s["running"])


@contextmanager
def bed_of(place: Path, rig_of=None):
    made = Bed(place, rig_of)
    try:
        yield made
    finally:
        made.close()


@pytest.fixture(scope="module")
def one_chrome():
    from .browser import browser  # noqa: PLC0415 - takes selenium, which the tests without a browser need not have

    made = browser()
    made.set_script_timeout(60)
    try:
        yield made
    finally:
        made.quit()


@pytest.fixture
def chrome(one_chrome):
    """A browser that remembers nothing of the test before."""
    one_chrome.get("about:blank")
    one_chrome.execute_cdp_cmd("Network.clearBrowserCookies", {})
    one_chrome.execute_cdp_cmd("Storage.clearDataForOrigin", {"origin": "*", "storageTypes": "all"})
    one_chrome.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    one_chrome.get_log("browser")
    return one_chrome


@pytest.fixture
def another_bed():
    """`with another_bed(place, rig_of) as bed`: with a rig of the test's own behind it."""
    return bed_of


@pytest.fixture(scope="module")
def bed(tmp_path_factory):
    with bed_of(tmp_path_factory.mktemp("panel")) as made:
        yield made


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, format, *args):
        pass


@pytest.fixture(scope="module")
def pages():
    """The page's files alone, without a panel or an oven behind them: where they begin."""
    handler = functools.partial(Quiet, directory=str(files("kilnctl.panel")))
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/page/"
    server.shutdown()
    thread.join()
    server.server_close()
