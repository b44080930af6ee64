"""Whether an interrupted run goes on, with a model that cools as the test says: each limit from both sides."""

import math
import time
from types import SimpleNamespace
from typing import Any

import pytest

from kilnctl.model.energy import CHAMBER, N
from kilnctl.service import operating_system, resume
from kilnctl.service.resume import decide, unfinished

ROOM_C = 20.0


#: Of the model's state: the seconds that have passed, and the chamber at first.
CLOCK, FIRST = [i for i in range(N) if i != CHAMBER][:2]


def model(chamber_c=lambda s, then_c: ROOM_C + (then_c - ROOM_C) * math.exp(-s / 500.0), heated_k_per_s=0.0) -> Any:
    """`chamber_c(seconds, then_c)`: the chamber after so long without heat."""

    def step(x, power_w, dt_s, ambient_c):
        assert ambient_c == ROOM_C
        then_c, s = x[FIRST], x[CLOCK] + dt_s
        value = chamber_c(s, then_c) if power_w == 0.0 else then_c + heated_k_per_s * dt_s
        return tuple({CLOCK: s, CHAMBER: value}.get(i, then_c) for i in range(N))

    return SimpleNamespace(step=step, ambient_c=ROOM_C, power_w=3000.0)


def kept(chamber_c=220.0) -> dict:
    return {"chamber_c": chamber_c, "state_c": [0.0 if i == CLOCK else chamber_c for i in range(N)]}


def cooled_c(s: float, then_c: float = 220.0) -> float:
    return ROOM_C + (then_c - ROOM_C) * math.exp(-s / 500.0)


def test_a_short_outage_and_a_chamber_where_it_is_expected():
    verdict = decide(kept(), "resume", model(), 60.0, cooled_c(60.0))
    assert verdict.go and verdict.outage_s == 60.0
    assert verdict.words == (
        "a run was cut off for 60 s; the chamber was at 220 °C and is at 197 °C now, where the model expects 197 °C. "
        "The run goes on where it was"
    )


@pytest.mark.parametrize(("out_s", "goes"), [(900.0, True), (900.1, False)])
def test_a_quarter_of_an_hour_is_the_longest(out_s, goes):
    for known in (model(), None):
        verdict = decide(kept(), "resume", known, out_s, cooled_c(out_s))
        assert verdict.go is goes and ("longer than 15 min" in verdict.words) is not goes


@pytest.mark.parametrize(("out_s", "expected_s"), [(3600.0, 3600.0), (1e9, 3600.0)])
def test_a_very_long_outage_is_not_simulated_to_its_end(out_s, expected_s):
    slow = model(lambda s, then_c: then_c - s / 100.0)
    verdict = decide(kept(), "resume", slow, out_s, 20.0)
    assert not verdict.go and f"the model expects {220.0 - expected_s / 100.0:.0f} °C" in verdict.words


@pytest.mark.parametrize(("sign", "word"), [(1.0, "above"), (-1.0, "below")])
@pytest.mark.parametrize("heated", [0.0, 1.0, -1.0])
def test_the_chamber_may_be_so_far_from_it_and_no_further(sign, word, heated):
    """8 K, a third of the fall and a little more, and what twelve seconds of full power could have given."""
    out_s = 300.0
    allowed_k = 8.0 + 0.35 * (220.0 - cooled_c(out_s)) + max(0.0, 12.0 * heated)
    here = model(heated_k_per_s=heated)
    assert decide(kept(), "resume", here, out_s, cooled_c(out_s) + sign * (allowed_k - 0.01)).go
    verdict = decide(kept(), "resume", here, out_s, cooled_c(out_s) + sign * (allowed_k + 0.01))
    assert not verdict.go and f"it is {allowed_k:.0f} K {word} that" in verdict.words
    assert f"more than the {allowed_k:.0f} K that count as the same" in verdict.words


def test_as_far_from_it_as_is_allowed_goes_on():
    """20 K of fall: 8 K and a third of it and a little more are 15 K."""
    assert decide(kept(), "resume", model(lambda s, then_c: 200.0), 300.0, 215.0).go


def test_a_clock_that_may_be_wrong_needs_a_chamber_that_has_not_cooled_as_in_a_longer_outage():
    assert decide(kept(), "resume", model(), 25.0, cooled_c(25.0), clock_is_right=False).go
    slow = model(lambda s, then_c: ROOM_C + (then_c - ROOM_C) * math.exp(-s / 5e4))
    assert decide(kept(), "resume", slow, 25.0, 220.0).go
    verdict = decide(kept(), "resume", slow, 25.0, 220.0, clock_is_right=False)
    assert not verdict.go and "A person decides" in verdict.words


@pytest.mark.parametrize("times", [1, 2, 4, 16])
def test_a_chamber_that_the_lining_warms_again_is_looked_at_later_too(times):
    """A model whose chamber is as warm as now again after so many times the longest outage."""
    back = model(lambda s, then_c: then_c if s < 100.0 or abs(s - times * 900.0) < 1e-6 else ROOM_C)
    verdict = decide(kept(), "resume", back, 25.0, 220.0, clock_is_right=False)
    assert not verdict.go and "A person decides" in verdict.words


@pytest.mark.parametrize(("more_k", "goes"), [(0.01, True), (-0.01, False)])
def test_a_longer_outage_is_ruled_out_by_more_than_may_be_apart(more_k, goes):
    then_c, low_c = 220.0, 150.0
    reading_c = low_c + 8.0 + 0.35 * (then_c - low_c) + more_k
    two = model(lambda s, then_c: reading_c if s < 800.0 else low_c)
    assert decide(kept(), "resume", two, 25.0, reading_c, clock_is_right=False).go is goes


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"policy": "stop"}, "its schedule says to stop"),
        ({"out_s": math.nan}, "how long that was is not known"),
        ({"out_s": math.nan, "model": None}, "no clock knows for how long"),
        ({"reading_c": math.nan}, "the control sensor gives no reading"),
        ({"place": {"chamber_c": 220.0, "state_c": [1.0, 2.0]}}, "does not fit the model"),
        ({"place": None}, "cannot be read"),
    ],
)
def test_what_is_not_known_stops_the_run(changed, words):
    told = {"place": kept(), "policy": "resume", "model": model(), "out_s": 10.0, "reading_c": 217.0}
    assert decide(**told).go
    verdict = decide(**{**told, **changed})
    assert not verdict.go and words in verdict.words
    assert verdict.outage_s == 10.0 or (math.isnan(verdict.outage_s) and "out_s" in changed)
    assert ("the model expects" in verdict.words) is not (changed.keys() & {"out_s", "place"} != set())


def test_before_the_model_is_there_only_the_rest_is_checked():
    verdict = decide(kept(), "resume", None, 10.0, 1000.0, clock_is_right=False)
    assert verdict.go and verdict.words.endswith("is at 1000 °C now")


def test_a_run_is_unfinished_where_a_folder_was_saved():
    assert unfinished({"run": {"folder": "x"}}) == {"folder": "x"}
    for saved in ({}, {"run": None}, {"run": "x"}, {"run": {}}, {"run": {"folder": ""}}):
        assert unfinished(saved) is None


def test_what_cannot_be_read_stops_the_run_with_the_reason():
    service: Any = SimpleNamespace(saved={}, chamber_c=None, oven=SimpleNamespace(sha256="a"))
    verdict, order = resume.judge(service, {"oven_sha256": "a", "schedule": "/none.yaml", "place": kept()})
    assert not verdict.go and order is None and "a run was cut off, and cannot go on: " in verdict.words
    verdict, order = resume.judge(service, {"oven_sha256": "a", "place": kept()})
    assert not verdict.go and order is None and "a run was cut off, and cannot go on: " in verdict.words
    verdict, order = resume.judge(service, {"oven_sha256": "b", "schedule": "/none.yaml"})
    assert not verdict.go and order is None and "description has been changed" in verdict.words


SCHEDULE = SimpleNamespace(sha256="s", after_power_loss="resume")
RUN: dict[str, Any] = {"oven_sha256": "a", "schedule": "x", "schedule_sha256": "s", "place": kept()}


@pytest.fixture
def asked(monkeypatch):
    """What was prepared, each in 3 s; this boot has lasted 1060 s."""
    asked, now_s = [], [500.0]

    def prepared(*what):
        asked.append(what)
        now_s[0] += 3.0
        return SimpleNamespace(model=model())

    monkeypatch.setattr(resume, "load_schedule", lambda path: {"x": SCHEDULE}[path])
    monkeypatch.setattr(resume, "prepare", prepared)
    monkeypatch.setattr(resume, "passed_s", lambda: now_s[0])
    monkeypatch.setattr(operating_system, "boot", lambda: ("this", 1060.0))
    return asked


def waiting(chamber_c: float | None, **saved) -> Any:
    """A service that finds such a state."""
    saved = {"boot": "this", "boottime_s": 1000.0, **saved}
    return SimpleNamespace(saved=saved, chamber_c=chamber_c, oven=SimpleNamespace(sha256="a"))


@pytest.mark.parametrize(
    ("boot", "then", "now", "goes"),
    [
        ("this", "", "", True),
        ("another", "battery", "battery", True),
        ("another", "", "battery", False),
        ("another", "battery", "", False),
    ],
)
def test_a_clock_is_right_in_the_same_boot_or_where_it_was_known_to_be_then_and_now(
    asked, monkeypatch, boot, then, now, goes
):
    monkeypatch.setattr(operating_system, "clock_source", lambda: now)
    monkeypatch.setattr(time, "time", lambda: 1e9)
    slow = model(lambda s, then_c: ROOM_C + (then_c - ROOM_C) * math.exp(-s / 5e4))
    monkeypatch.setattr(resume, "prepare", lambda *_: SimpleNamespace(model=slow))
    verdict, _ = resume.judge(waiting(220.0, boot=boot, clock=then, wall_s=1e9 - 60.0), RUN)
    assert verdict.go is goes and verdict.outage_s == 60.0 and ("A person decides" in verdict.words) is not goes


def test_a_service_that_has_no_reading_yet_stops_the_run(asked):
    verdict, order = resume.judge(waiting(None), RUN)
    assert not verdict.go and order is None and "the control sensor gives no reading" in verdict.words and not asked


def test_a_run_whose_oven_is_where_it_should_be_goes_on_with_its_order(asked):
    service, run = waiting(cooled_c(90.0)), {**RUN, "place": {**kept(), "outage_s": 30.0}}
    verdict, order = resume.judge(service, run)
    assert verdict.go and order is not None and verdict.outage_s == 60.0 + 30.0 + 3.0
    assert asked == [(service.oven, SCHEDULE, None, service.chamber_c)]
    for saved, given in (("trained.yaml", "trained.yaml"), ("", None)):
        resume.judge(service, {**run, "model": saved})
        assert asked.pop()[2] == given
    verdict, order = resume.judge(service, {**run, "schedule_sha256": "t"})
    assert not verdict.go and order is None and "schedule has been changed" in verdict.words
    verdict, order = resume.judge(service, {**run, "place": {**kept(), "outage_s": 3000.0}})
    assert not verdict.go and order is None and len(asked) == 1, "decided before anything is prepared"
