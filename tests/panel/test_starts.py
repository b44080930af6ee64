"""Only what was shown starts; and a start from elsewhere is only the allowed one."""

import time

import pytest

pytest.importorskip("starlette", reason="the extra 'panel' is not installed")
pytest.importorskip("uvicorn", reason="the extra 'panel' is not installed")

from kilnctl.panel.catalogue import Catalogue
from kilnctl.panel.seen import LastShown, shown_of
from kilnctl.record import care
from kilnctl.record.model_store import ModelStore
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


MAY = WARM.replace("schedule: Warm up", "schedule: Warm up\nunattended: yes")


def waiting(bed, cookie, only_look=False, **more):
    """A start that waits, of may.yaml as a page has just shown it, for an hour that never comes in a test."""
    (bed.place / "schedules" / "may.yaml").write_text(MAY)
    seen = bed.ask("POST", "/api/check", {"text": MAY, "file": "may.yaml"})[1]["seen"]
    then = time.strftime("%H:%M", time.localtime(time.time() + 7200.0))
    body = {"file": "may.yaml", "seen": seen, "confirm": True, "ready_at": then, "who": "A. Marsh"}
    return bed.ask("POST", "/api/later", {**body, "only_look": only_look, **more}, cookie=cookie)


def test_a_start_with_nobody_there_says_what_it_lacks_and_waits_once_nothing_is_missing(bed):
    bed.rest()
    cookie = bed.unlocked()
    home = bed.socket.parent
    (home / care.FILE_NAME).unlink(missing_ok=True)
    status, said, _ = waiting(bed, cookie, only_look=True)
    assert status == 200 and any("limiter's test is due" in words for words in said["missing"])
    status, said, _ = waiting(bed, cookie)
    assert status == 409 and "limiter's test is due" in said["words"] and not bed.status()["waiting"]
    care.add(home, care.CareDone("limiter", time.strftime("%Y-%m-%d"), "A. Marsh", "it opened at 290 °C"))
    assert waiting(bed, cookie, only_look=True)[1]["missing"] == []
    assert "say who" in waiting(bed, cookie, who=" ")[1]["words"]
    assert "no time of day" in waiting(bed, cookie, ready_at="soon")[1]["words"]
    assert waiting(bed, "")[0] == 401, "the PIN"
    assert waiting(bed, cookie, seen="0" * 64)[1]["changed"]
    status, said, _ = waiting(bed, cookie)
    assert status == 200 and "may.yaml waits: it begins at" in said["words"]
    assert not bed.wait_for(lambda s: s["waiting"] == said["words"])["running"]
    assert not waiting(bed, cookie)[1]["ok"], "one start waits already"
    bed.ask("POST", "/api/stop")
    bed.wait_for(lambda s: not s["waiting"])


def test_a_start_with_nobody_there_is_asked_for_at_the_oven_only(bed):
    """`oven.test` is a name of another computer's request."""
    host = f"oven.test:{bed.port}"
    cookie = bed.unlocked(host=host)
    body = {"file": "warm.yaml", "seen": "", "confirm": True, "ready_at": "12:00", "who": "x", "only_look": False}
    status, said, _ = bed.ask("POST", "/api/later", body, host=host, cookie=cookie)
    assert status == 403 and "beside the oven" in said["words"]


def test_the_models_are_those_of_the_rig_that_the_service_heats(oven, tmp_path, monkeypatch):
    """A service with --rig virtual learns apart from the real rig's runs, also with a real rig described."""
    asked = []
    monkeypatch.setattr(ModelStore, "in_use", lambda self, oven: asked.append(self.folder.name) or ("", ""))
    monkeypatch.setattr(ModelStore, "changed_ns", lambda self: 1)
    catalogue = Catalogue(oven("curing-cabinet"), tmp_path, tmp_path / "runs", None, tmp_path / "home", "board")
    assert catalogue.model_file is None and asked == ["models"]
    catalogue.heard({"models": str(tmp_path / "home" / "models-virtual")})
    assert catalogue.model_file is None and asked == ["models", "models-virtual"]
    catalogue.heard({"models": str(tmp_path / "home" / "models-virtual")})
    catalogue.heard({})
    assert catalogue.model_file is None and len(asked) == 2
    catalogue.close()


@pytest.mark.slow
def test_a_refusal_names_the_oven_s_file_and_not_where_it_lies(catalogue):
    text = "schedule: Too hot\nsteps:\n  - {name: up, to: 900 °C, hold: 5 min}\n"
    (problem,) = catalogue.checked(text, "x.yaml", 20.0)["problems"]
    assert "curing-cabinet.yaml" in problem["words"] and "/" not in problem["words"].replace("K/h", "")
