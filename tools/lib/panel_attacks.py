"""Attacks on a panel: what its review broke (A) and what it could not break (B), each as (words, the answer, whether
it is as asked for). See tools/trials/panel_attack."""

import contextlib
import os
import socket
import subprocess
import sys
from pathlib import Path

from tests.panel.conftest import WARM, Bed

TRIPS = "schedule: Too short\nlongest: 10 min\nsteps:\n  - {name: warm, to: 80 °C, hold: 30 min}\n"


def raw(port: int, text: bytes, more: bytes = b"", count: int = 0) -> str:
    """First line of the answer to raw bytes; then `more`, `count` times, as far as it is taken."""
    with socket.create_connection(("127.0.0.1", port), timeout=20.0) as s:
        s.sendall(text)
        try:
            answer = s.recv(65536)
            for _ in range(count):
                s.sendall(more)
        except OSError:
            answer = locals().get("answer", b"")
        return answer.split(b"\r\n", 1)[0].decode("latin-1") or "closed"


def memory_mb(process: subprocess.Popen) -> float:
    """Of a process and its children."""
    total = 0.0
    for pid in (process.pid, *map(int, Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text().split())):
        with contextlib.suppress(OSError):
            for line in Path(f"/proc/{pid}/status").read_text().splitlines():
                total += int(line.split()[1]) / 1024.0 if line.startswith("VmRSS") else 0.0
    return total


def broken_before(bed: Bed) -> list[tuple[str, object, bool]]:
    """(words, answer, whether it is as asked for)."""
    out: list[tuple[str, object, bool]] = []
    host, cookie, schedules = f"127.0.0.1:{bed.port}", bed.unlocked(), bed.place / "schedules"

    def told(words: str, answer: object, fine: bool) -> None:
        out.append((words, answer, fine))

    (schedules / "toctou.yaml").write_text(WARM)
    seen = bed.ask("POST", "/api/check", {"text": WARM, "file": "toctou.yaml"})[1]["seen"]
    (schedules / "toctou.yaml").write_text(WARM.replace("80 °C", "150 °C"))
    body = {"file": "toctou.yaml", "seen": seen, "confirm": True, "accept": "unknown"}
    status, said, _ = bed.ask("POST", "/api/start", body, cookie=cookie)
    told("A4 started is what was shown", status, status == 409 and bool(said.get("changed")))
    before = memory_mb(bed.panel)
    line = raw(
        bed.port,
        f"POST /api/unlock HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\n"
        "Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n".encode(),
        b"100000\r\n" + b"x" * 0x100000 + b"\r\n",
        400,
    )
    told(f"A8 length and chunks, 400 MB: {memory_mb(bed.panel) - before:+.0f} MB", line, " 400 " in line)
    away = f"oven.test:{bed.port}"
    bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, cookie=cookie)
    status = bed.start("long.yaml", bed.unlocked(host=away), host=away)[0]
    told("A10 allowed one, started another", status, status == 403)
    status, said, _ = bed.ask("POST", "/api/save", {"file": "warm", "text": WARM, "over": ""}, cookie=cookie)
    told("A11 a save over another", status, status == 409 and said.get("exists") == "warm.yaml")
    (schedules / "trips.yaml").write_text(TRIPS)
    bed.ask("POST", "/api/plan", {"text": TRIPS, "file": "trips.yaml"})
    status, said, _ = bed.start("trips.yaml", cookie)
    told("A15 a plan that trips, no word", status, status == 409 and said.get("accept") == "trip")
    told("A17 cookie of this oven and port", cookie.split("=")[0], str(bed.port) in cookie.split("=")[0])
    line = raw(bed.port, f"GET /api/events?from={'9' * 5000}:1 HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    told("A20 an absurd place in a stream", line, " 200 " in line)
    (schedules / "link.yaml").symlink_to("/etc/passwd")
    os.mkfifo(schedules / "pipe.yaml")
    answers = [bed.ask("GET", f"/api/schedule?file={name}.yaml")[0] for name in ("link", "pipe")]
    told("A20 a link and a pipe", answers, answers == [400, 400])
    answers = [bed.ask("POST", "/api/unlock", {"pin": f"{k:06d}"}, host=away)[0] for k in range(7)]
    told("A20 strangers' wrong PINs, then here", answers[-1], answers[-1] == 429 and bool(bed.unlocked()))
    subprocess.run(
        [sys.executable, "-m", "kilnctl", "panel", str(bed.oven), "--home", str(bed.place), "--new-pin"],
        env=bed.environment,
        stdout=subprocess.DEVNULL,
        check=True,
    )
    status = bed.start("warm.yaml", cookie)[0]
    told("A9 an old session after --new-pin", status, status == 401)
    return out


def held_before(bed: Bed) -> list[tuple[str, object, bool]]:
    host = f"127.0.0.1:{bed.port}"
    post = f"POST /api/stop HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\n"
    start = {"file": "long.yaml", "seen": "", "confirm": True, "accept": "unknown"}
    asked: list[tuple[str, tuple, dict, tuple]] = [
        ("another host", ("GET", "/"), {"host": "evil.test"}, (403,)),
        ("another origin", ("POST", "/api/stop"), {"Origin": "http://evil.test"}, (403,)),
        ("no origin", ("POST", "/api/stop"), {"Origin": None}, (403,)),
        ("plain text", ("POST", "/api/stop"), {"Content_Type": "text/plain"}, (415,)),
        ("a cross-site fetch", ("POST", "/api/stop"), {"Sec_Fetch_Site": "cross-site"}, (403,)),
        ("deep JSON", ("POST", "/api/unlock", b"[" * 30000), {}, (400,)),
        ("a body of 64,001 B", ("POST", "/api/unlock", b"x" * 64_001), {}, (413,)),
        ("a path in a name", ("GET", "/api/schedule?file=..%2f..%2fetc%2fpasswd"), {}, (400,)),
        ("a path in a page", ("GET", "/page/..%2f..%2fapp.py"), {}, (404,)),
        ("a report by path", ("GET", "/report/..%2f.."), {}, (400, 404)),
        ("a start without PIN", ("POST", "/api/start", start), {}, (401,)),
        ("GET that would change", ("GET", "/api/stop"), {}, (405,)),
        ("PUT", ("PUT", "/api/save", b"{}"), {}, (405,)),
        ("OPTIONS", ("OPTIONS", "/api/start"), {}, (405,)),
    ]
    out: list[tuple[str, object, bool]] = []
    for words, question, headers, wanted in asked:
        status = bed.ask(*question, **headers)[0]
        out.append((f"B {words}", status, status in wanted))
    for words, text in (
        ("two hosts", f"GET / HTTP/1.1\r\nHost: {host}\r\nHost: {host}\r\n\r\n"),
        ("a space before the colon", f"GET / HTTP/1.1\r\nHost : {host}\r\n\r\n"),
        ("two lengths", post + "Content-Length: 2\r\nContent-Length: 3\r\n\r\n{}"),
        ("chunks alone", post + "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n"),
    ):
        line = raw(bed.port, text.encode())
        out.append((f"B {words}", line, " 40" in line or " 41" in line))
    return out
