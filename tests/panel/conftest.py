"""A waiting service with a virtual oven at speed, and the panel before it; each a process of its own, ended by its id."""

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
CABINET = ROOT / "configs" / "ovens" / "curing-cabinet.yaml"
WARM = "schedule: Warm up\nabout: a short run for tests\nsteps:\n  - {name: warm, to: 80 °C, hold: 5 min, within: 3 K}\n  - {name: cool, to: 65 °C, let cool: yes}\n"
#: Longer than any test that stops it; what it plans is worked out in seconds.
LONG = "schedule: Long\nsteps:\n  - {name: up, to: 120 °C, hold: 3 h, within: 3 K}\n"


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def ended(process) -> None:
    process.send_signal(signal.SIGTERM)
    try:
        process.wait(15.0)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class Bed:
    """The processes, and a plain client."""

    def __init__(self, place: Path, speed: float, faults: str = ""):
        self.place, self.port = place, free_port()
        (place / "schedules").mkdir(parents=True)
        (place / "schedules" / "warm.yaml").write_text(WARM)
        (place / "schedules" / "long.yaml").write_text(LONG)
        self.environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        more = []
        if faults:
            (place / "faults.yaml").write_text(faults)
            more = ["--faults", str(place / "faults.yaml")]
        self.service = self._started("run", str(CABINET), "--idle", "--rig", "virtual", "--speed", str(speed), "--home", str(place), "--out", str(place / "runs"),
                                     "--quiet", *more)  # fmt: skip
        self.socket = place / "curing-cabinet" / "socket"
        self._until(self.socket.exists, self.service)
        self.start_panel()
        self.pin = re.search(r"\d{6}", self.first_words).group()

    def _started(self, *arguments):
        return subprocess.Popen([sys.executable, "-m", "kilnctl", *arguments], env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)

    def start_panel(self) -> None:
        self.panel = self._started("panel", str(CABINET), "--home", str(self.place), "--schedules", str(self.place / "schedules"), "--runs", str(self.place / "runs"),
                                   "--port", str(self.port), "--host", "oven.test")  # fmt: skip
        self.first_words = self.panel.stdout.readline()
        self._until(self.answers, self.panel)

    def stop_panel(self) -> None:
        ended(self.panel)
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
        for process in (self.panel, self.service):
            ended(process)
            process.stdout.close()

    def ask(self, method: str, path: str, body=None, host: str | None = None, cookie: str = "", **headers) -> tuple[int, dict, dict]:
        """(status, JSON or {}, headers) of one request as our own page would send it; headers of None are left out."""
        host = host or f"127.0.0.1:{self.port}"
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=90.0)
        try:
            every = {"Host": host}
            if method == "POST":
                every |= {"Origin": f"http://{host}", "Content-Type": "application/json"}
            every |= {"Cookie": cookie} if cookie else {}
            every |= {k.replace("_", "-"): v for k, v in headers.items()}
            data = None if body is None and method != "POST" else json.dumps(body or {}).encode() if not isinstance(body, bytes) else body
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
            return answer.status, json.loads(text) if given.get("content-type", "").startswith("application/json") else {}, given
        finally:
            connection.close()

    def unlocked(self, **more) -> str:
        """A session's cookie."""
        status, said, headers = self.ask("POST", "/api/unlock", {"pin": self.pin}, **more)
        assert status == 200, said
        return headers["set-cookie"].split(";")[0]

    def status(self) -> dict:
        from kilnctl.service.door import ask

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
        """Nothing runs and nobody is locked out: where every test begins."""
        self.ask("POST", "/api/stop")
        self.wait_for(lambda s: not s["running"])


@contextmanager
def bed_of(place: Path, speed: float, faults: str = ""):
    made = Bed(place, speed, faults)
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def another_bed():
    """`with another_bed(place, speed, faults) as bed`: with faults injected into its oven."""
    return bed_of


@pytest.fixture(scope="module")
def bed(tmp_path_factory):
    with bed_of(tmp_path_factory.mktemp("panel"), 60.0) as made:
        yield made
