"""The panel's server as a process: what needs the PIN, what a start from elsewhere needs, and that stop needs
nothing."""

import json
import os
import socket
import threading
import time
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

from kilnctl import cli
from kilnctl.commands.panel import schedules_beside

CABINET = Path(__file__).parents[2] / "configs" / "ovens" / "curing-cabinet.yaml"


def events(bed, count: int, path: str = "/api/events", **headers) -> list[dict]:
    """The first events of a stream, with their ids."""
    with socket.create_connection(("127.0.0.1", bed.port), timeout=20.0) as s:
        more = "".join(f"{k.replace('_', '-')}: {v}\r\n" for k, v in headers.items())
        s.sendall(f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{bed.port}\r\n{more}\r\n".encode())
        data, found = b"", []
        while len(found) < count:
            data += s.recv(65536)
            # Chunks: their sizes stand alone on their lines.
            lines = data.split(b"\r\n\r\n", 1)[-1].decode("utf-8", "replace").split("\n")
            ids, bodies = ([x[len(key) :] for x in lines if x.startswith(key)] for key in ("id: ", "data: "))
            found = [(i, json.loads(d)) for i, d in zip(ids, bodies[: len(bodies) - (lines[-1] != "")], strict=False)]
        return [{"id": i, **d} for i, d in found]


def test_looking_needs_no_pin_and_changes_nothing(bed):
    bed.rest()
    before = bed.status()
    for path in (
        "/",
        "/page/style.css",
        "/page/main.js",
        "/api/schedules",
        "/api/schedule?file=warm.yaml",
        "/api/runs",
        "/api/sizing",
        "/metrics",
    ):
        assert bed.ask("GET", path)[0] == 200, path
    for path in ("/api/stop", "/api/start", "/api/hold", "/api/unlock", "/api/arm", "/api/save"):
        assert bed.ask("GET", path)[0] == 405, path
    for path in (
        "/nothing",
        "/page/../app.py",
        "/page/..%2fapp.py",
        "/report/../../x",
        "/api/schedule?file=../x",
        "/report/0123456789abcdef",
    ):
        assert bed.ask("GET", path)[0] in (400, 404), path
    assert bed.status()["running"] == before["running"] is False


def test_the_panel_s_process_comes_after_the_service(bed):
    least = min(19, os.getpriority(os.PRIO_PROCESS, 0) + 5)
    assert os.getpriority(os.PRIO_PROCESS, bed.panel.pid) == least
    assert os.getpriority(os.PRIO_PROCESS, bed.service.pid) == os.getpriority(os.PRIO_PROCESS, 0)


def test_the_metrics_stand_behind_the_rules_of_every_page(bed):
    status, _, headers = bed.ask("GET", "/metrics")
    assert status == 200 and headers["content-type"].startswith("application/openmetrics-text")
    assert headers["cache-control"] == "no-store" and headers["x-content-type-options"] == "nosniff"
    assert bed.ask("GET", "/metrics", host=f"oven.test:{bed.port}")[0] == 200
    for host in (f"evil.test:{bed.port}", "127.0.0.1", "oven.test", f"0.0.0.0:{bed.port}"):
        assert bed.ask("GET", "/metrics", host=host)[0] == 403, host
    assert bed.ask("GET", "/metrics", Origin="http://evil.test")[0] == 403
    assert bed.ask("GET", "/metrics", Sec_Fetch_Site="cross-site")[0] == 403
    assert bed.ask("POST", "/metrics")[0] == 405


def test_what_can_heat_needs_the_pin_and_stop_does_not(bed):
    bed.rest()
    for what, body in (
        ("start", {"file": "warm.yaml", "seen": "", "confirm": True, "accept": ""}),
        ("hold", {}),
        ("proceed", {}),
        ("skip", {}),
        ("soak", {"seconds": 60}),
        ("acknowledge", {"who": "me"}),
        ("arm", {"file": "warm.yaml"}),
        ("save", {"file": "x.yaml", "text": "schedule: x\n", "over": ""}),
        ("copy", {"file": "warm.yaml", "to": "x"}),
        ("rename", {"file": "warm.yaml", "to": "x"}),
        ("delete", {"file": "warm.yaml"}),
        ("restore", {"file": "warm.yaml", "version": "x"}),
    ):
        assert bed.ask("POST", f"/api/{what}", body)[0] == 401, what
        assert bed.ask("POST", f"/api/{what}", body, cookie="kilnctl-panel=guess")[0] == 401, what
    assert not bed.status()["running"]
    cookie = bed.unlocked()
    status, said, _ = bed.start("long.yaml", cookie)
    assert status == 200, said
    bed.wait_for(lambda s: s["running"] and s["duty"] > 0.0)
    assert bed.ask("POST", "/api/hold", cookie=cookie)[0] == 200
    bed.wait_for(lambda s: s["held"])
    assert bed.ask("POST", "/api/proceed", cookie=cookie)[0] == 200
    bed.wait_for(lambda s: not s["held"])
    assert bed.ask("POST", "/api/soak", {"seconds": 600}, cookie=cookie)[0] == 200
    assert bed.start("warm.yaml", cookie)[0] == 409
    assert bed.ask("POST", "/api/stop")[0] == 200
    assert not bed.wait_for(lambda s: not s["running"])["contactor"]
    lines = [
        json.loads(line) for line in (bed.place / "curing-cabinet" / "panel" / "audit.jsonl").read_text().splitlines()
    ]
    assert {"unlock", "start long.yaml", "hold", "proceed", "soak", "stop"} <= {
        line["what"] for line in lines
    } and bed.pin not in json.dumps(lines)


def test_a_session_cookie_is_for_this_page_alone_and_ends(bed):
    _, _, headers = bed.ask("POST", "/api/unlock", {"pin": bed.pin})
    assert "HttpOnly" in headers["set-cookie"] and "SameSite=strict" in headers["set-cookie"]
    cookie = headers["set-cookie"].split(";")[0]
    assert bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, cookie=cookie)[0] == 200
    assert (
        bed.ask("POST", "/api/lock", cookie=cookie)[0] == 200
        and bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, cookie=cookie)[0] == 401
    )


def test_a_start_from_elsewhere_needs_an_arm_made_at_the_oven_and_one_arm_is_one_start(bed):
    bed.rest()
    away = f"oven.test:{bed.port}"
    (bed.place / "curing-cabinet" / "panel" / "arm").unlink(missing_ok=True)
    cookie = bed.unlocked(host=away)
    status, said, _ = bed.start("warm.yaml", cookie, host=away)
    assert status == 403 and "allowed at the oven" in said["words"]
    assert (
        bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, host=away, cookie=cookie)[0] == 403
    )  # not from elsewhere, even with the PIN
    assert bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, cookie=cookie)[0] == 200
    status, said, _ = bed.start("warm.yaml", cookie, host=away)
    assert status == 200, said
    bed.wait_for(lambda s: s["running"])
    assert bed.ask("POST", "/api/stop", host=away)[0] == 200
    bed.wait_for(lambda s: not s["running"])
    assert bed.start("warm.yaml", cookie, host=away)[0] == 403
    # The console at the oven can arm too.
    assert cli.main(["panel", str(bed.place / "none.yaml"), "--arm", "warm.yaml"]) == 2


def test_wrong_pins_from_elsewhere_lock_all_there_but_not_the_oven_s_own_screen_and_never_the_stop(bed):
    bed.rest()
    folder, away = bed.place / "curing-cabinet" / "panel", f"oven.test:{bed.port}"
    try:
        tries = [f"{n:06d}" for n in range(8) if f"{n:06d}" != bed.pin]
        answers = [bed.ask("POST", "/api/unlock", {"pin": pin}, host=away)[0] for pin in tries]
        assert answers[:4] == [403] * 4 and set(answers[4:]) == {429}
        status, said, _ = bed.ask("POST", "/api/unlock", {"pin": bed.pin}, host=away)
        assert status == 429 and said["wait_s"] > 20.0
        assert bed.unlocked()  # by the screen at the oven
        assert all(bed.ask("POST", "/api/stop")[0] == 200 for _ in range(20))
    finally:
        (folder / "tries-elsewhere").write_text('{"wrong": 0, "until": 0.0}')


@pytest.mark.parametrize(
    "body",
    [b"", b"[]", b"null", b'{"pin": 123456}', b'{"pin": "1", "more": 1}', b"{" * 30000, b'{"pin": NaN}', b"\xff\xfe"],
)
def test_bodies_that_are_no_request(bed, body):
    assert bed.ask("POST", "/api/unlock", body)[0] == 400


def test_foreign_requests_are_refused_by_the_server_too(bed):
    bed.rest()
    for more in (
        dict(Origin="http://evil.test"),
        dict(Origin=None),
        dict(Content_Type="text/plain"),
        dict(Sec_Fetch_Site="cross-site"),
    ):
        assert bed.ask("POST", "/api/stop", **more)[0] in (403, 415), more
    assert bed.ask("GET", "/api/events", host=f"evil.test:{bed.port}")[0] == 403
    for method in ("OPTIONS", "PUT", "DELETE"):
        status, _, headers = bed.ask(method, "/api/start")
        assert status == 405 and not any(k.startswith("access-control") for k in headers)


@pytest.mark.timeout(240)
def test_events_come_each_second_and_catch_up_after_a_break(bed):
    bed.rest()
    cookie = bed.unlocked()
    assert bed.start("long.yaml", cookie)[0] == 200
    bed.wait_for(lambda s: s["running"] and s["run_s"] > 60.0)
    first = events(bed, 4)
    assert (
        first[0]["curve"]["whole"]
        and not first[-1]["curve"]["whole"]
        and len(first[-1]["curve"]["columns"]["time_s"]) > 0
    )
    assert (first[-1]["price"]["amount"], first[-1]["price"]["currency"]) == (0.3, "EUR")
    assert first[-1]["status"]["ledger_w"] and first[-1]["fresh"] and first[-1]["ahead"]["reference"]
    epoch, row = first[-1]["id"].split(":")
    time.sleep(2.5)
    again = events(bed, 1, Last_Event_ID=first[-1]["id"])[0]
    have = again["curve"]
    assert (
        not have["whole"]
        and have["rows"] - int(row) == len(have["columns"]["time_s"]) > 0
        and again["id"].startswith(f"{epoch}:")
    )
    by_query = events(bed, 1, path=f"/api/events?from={first[-1]['id']}")[0]
    assert not by_query["curve"]["whole"]
    for odd in ("x", "1:2:3", "-1:5", "٣:٤", "9:9"):
        assert events(bed, 1, path=f"/api/events?from={odd}" if odd.isascii() else "/api/events")[0]["curve"]["whole"]
    # The plan has the lowest priority, so on a busy machine it takes long.
    until = time.monotonic() + 150.0
    while "planned" not in (said := events(bed, 1)[0]):
        assert time.monotonic() < until
    assert said["planned"]["duration_s"] > 7200.0
    # The time passed and the time left add up to the plan, except for the start test and the oven's difference from the
    # model.
    assert said["milestones"][-1]["in_s"] + said["status"]["run_s"] == pytest.approx(
        said["planned"]["duration_s"], rel=0.1
    )
    bed.ask("POST", "/api/stop")


def test_half_open_requests_are_ended_and_keep_nobody_out(bed):
    bed.rest()
    held = []
    try:
        for k in range(260):  # more than there are places, from many addresses, and more than one address may have
            s = socket.socket()
            s.bind((f"127.0.3.{1 if k < 60 else k - 58}", 0))
            s.settimeout(20.0)
            s.connect(("127.0.0.1", bed.port))
            s.sendall(b"GET / HTTP/1.1\r\nHost: 127.0")
            held.append(s)
        # With every place taken, a connection that asks something is let in at once.
        began = time.monotonic()
        assert (
            bed.ask("GET", "/")[0] == 200 and bed.ask("POST", "/api/stop")[0] == 200 and time.monotonic() - began < 5.0
        )
        gone = []
        for s in (held[0], held[30], held[-1]):  # the oldest at once, the newest when its time is over
            try:
                gone.append(s.recv(10) == b"")
            except ConnectionResetError:
                gone.append(True)
        assert gone == [True] * 3
    finally:
        for s in held:
            s.close()


def test_stop_works_from_many_clients_at_once(bed):
    bed.rest()
    cookie = bed.unlocked()
    assert bed.start("warm.yaml", cookie)[0] == 200
    bed.wait_for(lambda s: s["running"])
    found = []
    threads = [threading.Thread(target=lambda: found.append(bed.ask("POST", "/api/stop")[0])) for _ in range(12)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert found == [200] * 12
    bed.wait_for(lambda s: not s["running"])


def test_schedules_are_saved_with_the_pin_and_checked(bed):
    cookie = bed.unlocked()
    text = "schedule: Mine\nsteps:\n  - {to: 70 °C, hold: 1 min}\n"
    status, said, _ = bed.ask("POST", "/api/save", {"file": "../../mine", "text": text, "over": ""}, cookie=cookie)
    assert status == 200 and said["file"] == "mine.yaml" and (bed.place / "schedules" / "mine.yaml").read_text() == text
    broken = {"file": "mine.yaml", "text": "schedule: Mine\nsteps: many\n", "over": ""}
    status, said, _ = bed.ask("POST", "/api/save", broken, cookie=cookie)
    assert status == 400 and "mine.yaml:2:" in said["words"]
    status, said, _ = bed.ask("POST", "/api/check", {"file": "mine.yaml", "text": text})
    assert status == 200 and said["problems"] == [] and "plan" not in said
    status, said, _ = bed.ask("POST", "/api/check", {"file": "mine.yaml", "text": text.replace("70", "700")})
    assert status == 200 and "may not go above" in said["problems"][0]["words"]
    status, said, _ = bed.ask("POST", "/api/plan", {"file": "mine.yaml", "text": text})
    assert status == 200 and said["plan"]["outcome"] == "finished"


def test_the_demo_finds_its_cure_without_being_told_where():
    """The demo in the browser is given a brief one."""
    assert (schedules_beside(str(CABINET)) / "powder-cure.yaml").is_file()


def test_the_command_refuses_what_it_cannot(tmp_path, capsys):
    for arguments, words in (
        ([], "give an oven file"),
        ([CABINET, "--bind", "0.0.0.0", "--home", str(tmp_path)], "--host"),
        ([CABINET, "--port", "0"], "--port"),
        ([CABINET, "--home", str(tmp_path), "--price", "dear"], "0.30 EUR/kWh"),
        ([CABINET, "--port", "8484", "--stop-port", "8484"], "--stop-port"),
        ([CABINET, "--home", str(tmp_path), "--arm", str(tmp_path / "none.yaml")], "none.yaml"),
    ):
        assert cli.main(["panel", *map(str, arguments)]) == 2
        assert words in capsys.readouterr().err
    assert (
        cli.main(["panel", str(CABINET), "--home", str(tmp_path), "--new-pin"]) == 0
        and "the PIN is now" in capsys.readouterr().out
    )
    warm = CABINET.parents[1] / "schedules" / "powder-cure.yaml"
    assert cli.main(["panel", str(CABINET), "--home", str(tmp_path), "--arm", str(warm)]) == 0
    assert (tmp_path / "curing-cabinet" / "panel" / "arm").exists()
