"""What pages show: the thinned picture, the catalogue of schedules and runs, previews and milestones."""

import math
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from kilnctl import KilnctlError, load_schedule, rehearse
from kilnctl.panel.catalogue import Catalogue, expected
from kilnctl.panel.preview import preview_of
from kilnctl.panel.service_client import ServiceClient, picture
from kilnctl.panel.worker import ENDED
from kilnctl.record.folder import Begun, begin, new_folder
from kilnctl.report.finishing import finish
from kilnctl.run.summary import summarise
from kilnctl.service.live_curve import KEPT
from kilnctl.settings.oven import Control

CONFIGS = Path(__file__).parents[2] / "configs"
TEXT = "schedule: warm\nsteps:\n  - {name: warm, to: 80 °C, hold: 5 min}\n  - {to: 60 °C, let cool: yes}\n"


def twelve_hours():
    n = 43200
    columns: dict[str, list[float | None]] = {name: [0.0] * n for name in KEPT}
    columns["time_s"] = [float(i) for i in range(n)]
    columns["chamber_c"] = [200.0 + 10.0 * math.sin(i / 900.0) for i in range(n)]
    columns["duty"] = [0.3] * n
    columns["chamber_c"][31234], columns["duty"][22222] = 260.0, 1.0
    columns["chamber_c"][100] = None
    return columns


def test_twelve_hours_become_a_picture_without_losing_a_peak():
    columns = twelve_hours()
    keep = picture(columns, 1500)
    assert len(keep) <= 1600 and keep == sorted(set(keep)) and {31234, 22222, 0, 43199} <= set(keep)
    assert picture({k: v[:100] for k, v in columns.items()}, 1500) == list(range(100))
    dead = {name: [None] * 9000 for name in KEPT} | {"time_s": [float(i) for i in range(9000)]}
    assert 300 <= len(picture(dead, 1500)) <= 1500


def test_a_page_gets_what_it_lacks_and_no_more():
    client = ServiceClient(Path("/nonexistent"))
    client.columns, client.epoch = twelve_hours(), 3
    whole = client.since(-1, 0)
    assert whole["whole"] and whole["rows"] == 43200 and len(whole["columns"]["time_s"]) <= 1600
    few = client.since(3, 43190)
    assert not few["whole"] and few["columns"]["time_s"] == [float(i) for i in range(43190, 43200)]
    assert client.since(3, 43200)["columns"]["time_s"] == []
    for epoch, row in ((2, 43190), (3, 50000), (3, 100)):
        assert client.since(epoch, row)["whole"]


@pytest.fixture
def catalogue(oven, tmp_path):
    (tmp_path / "schedules").mkdir()
    (tmp_path / "schedules" / "warm.yaml").write_text(TEXT)
    (tmp_path / "schedules" / "broken.yaml").write_text("schedule: x\nsteps: 3\n")
    (tmp_path / "secret.yaml").write_text("schedule: secret\n")
    (tmp_path / "schedules" / ".hidden.yaml").write_text(TEXT)
    made = Catalogue(oven("curing-cabinet"), tmp_path / "schedules", tmp_path / "runs")
    yield made
    made.close()


def test_schedules_are_listed_read_and_never_reached_by_a_path(catalogue):
    listed = {s["file"]: s for s in catalogue.listed()}
    assert (
        set(listed) == {"warm.yaml", "broken.yaml"} and listed["broken.yaml"]["broken"] and listed["warm.yaml"]["may"]
    )
    assert catalogue.schedules.text("warm.yaml") == TEXT
    for name in ("../secret.yaml", "/etc/passwd", "..", "", ".hidden.yaml", "warm.yaml/../broken.yaml", "nothing.yaml"):
        with pytest.raises(KilnctlError, match="no schedule"):
            catalogue.schedules.text(name)


def test_a_draft_is_checked_with_its_places_or_gets_a_plan(catalogue):
    said = catalogue.checked("schedule: x\nsteps:\n  - {to: 80 °C, hold: soon}\n", "draft.yaml", None)
    assert said["problems"][0]["line"] == 3
    assert (
        "may not go above"
        in catalogue.checked(TEXT.replace("80 °C", "800 °C"), "draft.yaml", None)["problems"][0]["words"]
    )
    assert "longer than" in catalogue.checked("#" * 40_000, "draft.yaml", None)["problems"][0]["words"]
    assert catalogue.checked(TEXT, "draft.yaml", 21.0)["problems"] == []
    schedule, problems = catalogue.draft(TEXT, "draft.yaml")
    assert problems == [] and catalogue.known_plan(schedule) is None
    plan = catalogue.ask_plan(schedule, 21.0).answer.result()
    # Five minutes of it are the hold.
    assert plan.outcome == "finished" and 300.0 < plan.duration_s < 4000.0
    assert plan.energy_kwh > 0.1 and 79.0 < plan.highest_c < 82.0 and catalogue.known_plan(schedule) is not None
    assert expected(plan, schedule)["outcome"] == "finished"


@pytest.mark.slow
def test_a_plan_is_near_what_the_detailed_oven_does(oven):
    """The plan runs on the control's own model, the rehearsal on the detailed oven: a tenth in time and energy, as the
    sizing's ranges."""
    # The purge before it is a fixed time for both, and the plan has ticks of 2 s anyway.
    cabinet, schedule = (
        replace(oven("curing-cabinet"), control=Control(tick_s=2.0)),
        replace(load_schedule(CONFIGS / "schedules/powder-cure.yaml"), flammable_vapour=False),
    )
    plan, run = preview_of(cabinet, schedule), rehearse(cabinet, schedule)
    assert plan.outcome == run.outcome == "finished"
    assert plan.duration_s == pytest.approx(run.time_s[-1], rel=0.25)
    assert plan.energy_kwh == pytest.approx(run.energy_j / 3.6e6, rel=0.15)
    assert [s.phase for s in plan.stretches] == ["heat up", "soak", "cooling"]
    soak = plan.stretches[1]
    assert soak.end_s - soak.begin_s == pytest.approx(900.0, abs=10.0)
    ahead = plan.milestones({"step": 1, "state": "heat up", "chamber_c": 100.0}, {})
    assert [m["phase"] for m in ahead] == ["heat up", "soak", "cooling"] and ahead[0]["in_s"] < ahead[1][
        "in_s"
    ] - 890.0 < ahead[2]["in_s"]
    assert (
        plan.milestones({"step": 1, "state": "soak", "chamber_c": 200.0}, {"reference": {"in_s": [0.0, 120.0]}})[0][
            "in_s"
        ]
        == 120.0
    )
    assert plan.milestones({"step": 1, "state": "held", "chamber_c": 100.0}, {}) == []
    # While relay and sensor are tested it is known when all is done.
    first = plan.milestones({"step": 1, "state": "start test", "chamber_c": 20.0, "run_s": 10.0}, {})
    assert [m["phase"] for m in first] == ["heat up", "soak", "cooling"]
    assert first[-1]["in_s"] == pytest.approx(plan.stretches[-1].end_s - 10.0, abs=20.0)
    # A door was open in the soak: its time waits until the oven is back.
    waits = {"reference": {"in_s": [0.0]}, "soak_left_s": 600.0}
    back = plan.milestones({"step": 1, "state": "soak", "chamber_c": 100.0}, waits)[0]["in_s"]
    assert back == pytest.approx(ahead[0]["in_s"] + 600.0)
    warm = preview_of(cabinet, schedule, 150.0)
    assert warm.duration_s < plan.duration_s and warm.energy_kwh < plan.energy_kwh


def test_what_is_asked_for_now_comes_before_what_was_asked_for_earlier(catalogue):
    """During one computation three more are requested, and the first of them a second time, by a page that returns to
    it."""
    moments, threads = {}, []

    def ask(name, asked, function, *arguments):
        threads.append(
            threading.Thread(
                target=lambda: moments.setdefault(name, catalogue.worker.work_out(name, function, *arguments))
            )
        )
        threads[-1].start()
        while not asked():
            assert threads[-1].is_alive()
            time.sleep(0.01)

    ask("going on", lambda: catalogue.worker.going is not None, time.sleep, 3.0)
    for name in ("first", "second", "third", "first"):
        ask(name, lambda name=name: catalogue.worker.next == name, time.monotonic)
    for thread in threads:
        thread.join()
    assert moments["first"] < moments["third"] < moments["second"]


def test_a_process_that_was_ended_is_told_and_the_next_question_answered(catalogue):
    assert catalogue.worker.work_out("before", abs, -1) == 1
    threading.Timer(0.5, lambda: [p.kill() for p in catalogue.worker.processes]).start()
    with pytest.raises(KilnctlError, match="try again"):
        catalogue.worker.work_out("nap", time.sleep, 60.0)
    assert catalogue.worker.work_out("after", abs, -2) == 2
    catalogue.close()
    with pytest.raises(KilnctlError, match="try again"):
        catalogue.worker.work_out("too late", abs, -3)


def test_what_is_being_worked_out_ends_with_the_panel(tmp_path):
    """Closed, its process is gone; and where the panel is killed outright, the process follows it."""

    def alive(pid: int) -> bool:
        try:
            with open(f"/proc/{pid}/stat") as file:
                return file.read().rsplit(")", 1)[1].split()[0] != "Z"
        except OSError:
            return False

    program = (
        "import sys, time, threading\n"
        "from kilnctl.panel.worker import Worker\n"
        "if __name__ == '__main__':\n"
        "    s = Worker()\n"
        "    threading.Thread(target=lambda: s.work_out('nap', time.sleep, 60.0), daemon=True).start()\n"
        "    while not s.processes: time.sleep(0.05)\n"
        "    time.sleep(2.0)\n"
        "    print(*(p.pid for p in s.processes), flush=True)\n"
        "    sys.stdin.readline()\n"
        "    s.close()\n"
        "    time.sleep(60.0)\n"
    )
    (tmp_path / "panel.py").write_text(program)
    for how in ("closed", "killed"):
        with subprocess.Popen(
            [sys.executable, str(tmp_path / "panel.py")], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as panel:
            try:
                assert panel.stdout is not None and panel.stdin is not None
                worker = int(panel.stdout.readline())
                assert alive(worker)
                if how == "closed":
                    panel.stdin.write("\n")
                    panel.stdin.flush()
                else:
                    panel.kill()
                until = time.monotonic() + 20.0
                while alive(worker) and time.monotonic() < until:
                    time.sleep(0.05)
                assert not alive(worker), how
            finally:
                panel.kill()


def test_runs_are_listed_and_shown(catalogue, oven, tmp_path):
    assert catalogue.runs() == []
    schedule = load_schedule(tmp_path / "schedules" / "warm.yaml")
    run = rehearse(oven("curing-cabinet"), schedule)
    folder = new_folder(tmp_path / "runs", run.oven.name, schedule.name)
    begin(folder, Begun(run.oven, schedule, run.load, run.model, 0, "x", "2026-11-25 10:00:00 +0000"))
    finish(folder, run, summarise(run))
    listed = catalogue.runs()
    assert len(listed) == 1 and listed[0]["outcome"] == "finished" and listed[0]["energy_kwh"] > 0.1
    assert "<svg" in catalogue.report(listed[0]["id"]) and "°F" in catalogue.report(listed[0]["id"], "F")
    for name in ("..", "", "0" * 16, folder.name):
        with pytest.raises(KilnctlError, match="no such run"):
            catalogue.report(name)


def test_a_record_whose_reading_was_ended_is_tried_again(catalogue, tmp_path, monkeypatch):
    """`try again` stood there until the panel was restarted."""
    folder = tmp_path / "runs" / "a"
    folder.mkdir(parents=True)
    (folder / "run.json").write_text('{"started": "2030-01-01 10:00:00 +0000"}')
    answers = [KilnctlError(ENDED), KilnctlError(f"{folder}: not a run.json of ours"), {"outcome": "finished"}]

    def work_out(*_):
        answer = answers.pop(0)
        if isinstance(answer, KilnctlError):
            raise answer
        return answer

    monkeypatch.setattr(catalogue.worker, "work_out", work_out)
    assert "try again" in catalogue.runs()[0]["outcome"]
    # Of a refusal's 80 characters none is a path of this computer.
    assert catalogue.runs()[0]["outcome"] == "not a run.json of ours" and len(answers) == 1
    assert "not a run.json" in catalogue.runs()[0]["outcome"] and len(answers) == 1, "that would be the same again"


def test_the_ledger_of_the_sizing_for_the_page(catalogue):
    said = catalogue.sizing()
    assert (
        said["reach_c"][0] < said["reach_c"][1] < said["reach_c"][2] and len(said["at_c"]) == len(said["shell_c"]) == 24
    )
    fan_w = catalogue.oven.fan.power_w
    assert sum(said["ledger_w"].values()) == pytest.approx(said["holding_w"][-1] + fan_w, rel=0.01)
    assert catalogue.sizing() is said
