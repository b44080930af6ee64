"""Only what was shown starts; and a start from elsewhere is only the allowed one."""

import time

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

from kilnctl.panel.catalogue import Catalogue
from kilnctl.panel.seen import LastShown, shown_of
from kilnctl.service.socket_server import ask_to_start

from .conftest import WARM
from .test_server import events

#: The run is ended by its own longest time: a plan that trips.
TRIPS = "schedule: Too short\nlongest: 10 min\nsteps:\n  - {name: warm, to: 80 °C, hold: 30 min}\n"
TOO_FAST = "schedule: Too fast\ntoo fast: stretch\nsteps:\n  - {name: warm, to: 150 °C, at: 3000 K/h, hold: 1 min}\n"


def test_a_start_of_what_was_changed_since_it_was_shown_is_refused_and_the_difference_told(bed):
    bed.rest()
    cookie, file = bed.unlocked(), bed.place / "schedules" / "toctou.yaml"
    file.write_text(WARM)
    seen = bed.ask("POST", "/api/check", {"text": WARM, "file": "toctou.yaml"})[1]["seen"]
    file.write_text(WARM.replace("80 °C", "150 °C"))
    body = {"file": "toctou.yaml", "seen": seen, "confirm": True, "accept": "unknown"}
    status, said, _ = bed.ask("POST", "/api/start", body, cookie=cookie)
    assert status == 409 and "changed since it was shown" in said["words"]
    assert any(line.startswith("+") and "150 °C" in line for line in said["changed"])
    assert any(line.startswith("-") and "80 °C" in line for line in said["changed"])
    assert not bed.status()["running"]
    status, said, _ = bed.ask("POST", "/api/start", {**body, "seen": "0" * 64}, cookie=cookie)
    assert status == 409 and said["changed"]
    # The service looks for itself: between the panel's look and its own the file may change too.
    question = {"ask": "start", "schedule": str(file), "by": "a test", "confirm": True, "sha256": "0" * 64}
    said = ask_to_start(bed.socket, question)
    assert not said["ok"] and said["changed"] and not bed.status()["running"]
    file.unlink()


def test_what_was_not_worked_out_needs_a_word_of_its_own(bed):
    bed.rest()
    cookie = bed.unlocked()
    (bed.place / "schedules" / "unseen.yaml").write_text(WARM.replace("80 °C", "77 °C"))
    status, said, _ = bed.start("unseen.yaml", cookie, accept="")
    assert status == 409 and said["accept"] == "unknown" and not bed.status()["running"]
    assert bed.start("unseen.yaml", cookie, accept="trip")[0] == 409
    assert bed.start("unseen.yaml", cookie, accept="unknown")[0] == 200
    bed.rest()


@pytest.fixture
def catalogue(oven, tmp_path):
    made = Catalogue(oven("curing-cabinet"), tmp_path, tmp_path / "runs")
    yield made
    made.close()


def test_a_plan_that_ends_in_a_trip_or_that_the_oven_cannot_follow_needs_its_own_word(catalogue):
    for text, which, words in ((TRIPS, "trip", "not to end well"), (TOO_FAST, "shortfall", "cannot follow")):
        schedule, problems = catalogue.draft(text, "x.yaml")
        assert schedule is not None and problems == []
        if which == "trip":
            assert catalogue.needs_word(schedule, 20.0)[0] == "unknown"
            assert catalogue.ask_plan(schedule, 20.0).answer.result().outcome != "finished"
        found = catalogue.needs_word(schedule, 20.0)
        assert found[0] == which and words in found[1]


def test_what_was_seen_is_schedule_oven_limits_and_model(oven, tmp_path):
    cabinet, box, model, seen = oven("curing-cabinet"), oven("brick-kiln"), tmp_path / "model.yaml", LastShown()
    model.write_text("a")
    then = shown_of(WARM, cabinet, str(model))
    mark = seen.note(then)
    assert seen.difference(mark, shown_of(WARM.replace("\n", "\r\n"), cabinet, str(model))) == []
    assert seen.difference(mark, shown_of(WARM, box, str(model)))[:2] == [
        "the oven's description has been changed",
        "the oven's limits have been changed",
    ]
    model.write_text("b")
    assert seen.difference(mark, shown_of(WARM, cabinet, str(model))) == ["the trained model has been changed"]
    for k in range(100):
        seen.note(shown_of(f"# {k}", cabinet, None))
    assert "look at it again" in seen.difference(mark, shown_of(WARM, box, None))[0]


def test_the_allowance_is_for_one_schedule_and_a_failed_start_does_not_lengthen_it(bed):
    bed.rest()
    away = f"oven.test:{bed.port}"
    cookie = bed.unlocked(host=away)
    assert bed.ask("POST", "/api/arm", {"file": "warm.yaml"}, cookie=bed.unlocked())[0] == 200
    status, said, _ = bed.start("long.yaml", cookie, host=away)
    assert status == 403 and "what was allowed at the oven is Warm up" in said["words"]
    left = []
    for _ in range(3):
        # The service wants the limits confirmed, or the plan accepted: nothing starts, and the allowance goes on.
        assert bed.start("warm.yaml", cookie, accept="no such", host=away)[0] in (409, 200)
        if bed.status()["running"]:
            break  # its plan was known: it needed no word
        left.append(events(bed, 1)[0]["armed_s"])
        time.sleep(1.1)
    assert left == sorted(left, reverse=True)
    bed.rest()
    (bed.place / "curing-cabinet" / "panel" / "arm").unlink(missing_ok=True)


@pytest.mark.slow
def test_sessions_of_two_panels_on_one_computer_have_names_of_their_own(bed):
    assert bed.unlocked().startswith(f"kilnctl-curing-cabinet-{bed.port}=")


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_plan_and_milestones_are_of_what_was_started_not_of_the_file_as_it_is_now(bed):
    bed.rest()
    file = bed.place / "schedules" / "edited.yaml"
    file.write_text("schedule: Edited\nsteps:\n  - {name: up, to: 110 °C, hold: 2 h, within: 3 K}\n")
    assert bed.start("edited.yaml", bed.unlocked())[0] == 200
    bed.wait_for(lambda s: s["running"])
    file.write_text("schedule: Edited\nsteps:\n  - {name: up, to: 50 °C, hold: 1 min}\n")
    bed.stop_panel()
    bed.start_panel()
    until = time.monotonic() + 150.0
    while "planned" not in (said := events(bed, 1)[0]):
        assert time.monotonic() < until and said["status"]["running"]
    assert said["planned"]["duration_s"] > 7200.0 and said["milestones"][0]["to_c"] == 110.0
    bed.rest()
