"""With any content of the state folder a start works, or is refused with a reason and a latched trip. It never crashes,
because `Restart=always` would then loop for ever."""

import json
import math
import time
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from kilnctl import load_oven, load_schedule
from kilnctl.record.durable import load_state, save_state
from kilnctl.safety import changed_limits, hot_surface, policy_for
from kilnctl.service import resume, saved_trips
from kilnctl.service.saved_state import SavedState, sound
from kilnctl.service.session import Rest, cooled_state, prepare
from kilnctl.service.start_policy import StartPolicy, StartWishes
from kilnctl.service.state_store import StateStore
from tests.service.at_work import CABINET, at_work

CURE = Path(__file__).parent / "powder-cure.yaml"
TRIP = {"fault": "contactor-welded", "seen": "it stays closed", "done": "pull the plug", "check": "the contacts"}
PLACE = {
    "leg": 0,
    "counted_s": 0.0,
    "reference_c": None,
    "rate_k_per_s": 0.1,
    "arrived": False,
    "held": False,
    "added_s": 0.0,
    "state_c": [20.0] * 8,
    "chamber_c": 20.0,
    "run_s": 300.0,
    "energy_j": 1e5,
}
ODD = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**30), 10**30) | st.floats(width=32) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
KEYS = ("boot", "boottime_s", "wall_s", "clock", "limits", "run", "hot", "trips", "tripped_by", "tripped_run")
RUN_KEYS = ("folder", "schedule", "schedule_sha256", "oven_sha256", "model", "place", "run_s")


@pytest.fixture(scope="module")
def cabinet():
    return load_oven(CABINET)


@pytest.fixture(scope="module")
def model(cabinet):
    return prepare(cabinet, load_schedule(CURE)).model


def odd_mapping(keys):
    return st.dictionaries(st.sampled_from(keys), ODD, max_size=len(keys))


@given(
    state=odd_mapping(KEYS),
    run=st.none() | odd_mapping(RUN_KEYS),
    place=st.none() | odd_mapping(tuple(PLACE)),
    limits=st.none() | odd_mapping(("schedule_trip_c", "part_trip_c", "airflow_required")),
)
@example(state={}, run={"folder": "x"}, place={"state_c": [1e300] * 8}, limits={"schedule_trip_c": 5000.0})
@example(state={}, run={"folder": 7}, place={"leg": 1e9}, limits={"schedule_trip_c": -5.0})
@example(state={"wall_s": 10**400, "hot": {"chamber_c": True}}, run={"folder": "a\0b"}, place={}, limits=None)
@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_content_makes_a_rest_and_a_decision(cabinet, model, state, run, place, limits):
    if run is not None:
        state = {**state, "run": {**run, "place": {**PLACE, **place}} if place is not None else run}
    if limits is not None:
        state = {**state, "tripped_by": limits}
    before = sound(state)
    told = saved_trips.from_saved(before.get("trips"), 1e9)
    rest = Rest(cabinet, *told, saved_trips.limits_from_saved(before.get("tripped_by"), policy_for(cabinet)))
    assert bool(rest.trips) == bool(state.get("trips")), "what may have been a trip stands"
    changed_limits.unlike(rest.policy, before["limits"])
    hot_surface.from_mapping(before["hot"])
    unfinished = resume.unfinished(before)
    if unfinished is not None and unfinished["place"] is not None:
        assert resume.decide(unfinished["place"], "resume", model, 60.0, 20.0).words
        assert cooled_state(model, unfinished["place"], 5.0) is not None


def test_a_whole_place_stays(cabinet):
    assert sound({"run": {"folder": "x", "place": PLACE}})["run"]["place"] == PLACE
    for name, value in (("leg", -1), ("leg", True), ("held", 1), ("run_s", math.inf), ("state_c", [20.0] * 7)):
        assert sound({"run": {"folder": "x", "place": {**PLACE, name: value}}})["run"]["place"] is None, name


def checked(text: bytes) -> bytes:
    return text + b"\n%08x\n" % zlib.crc32(text)


FILES = {
    "empty": b"",
    "zeros": bytes(4096),
    "no JSON": b"{broken",
    "wrong checksum": b"{}\n00000000\n",
    "deep": checked(b"[" * 100_000),
    "deeper in a mapping": checked(b'{"run": ' + b"[" * 100_000 + b"]" * 100_000 + b"}"),
    "cut off": checked(json.dumps({"trips": [TRIP]}).encode())[:-20],
}


@pytest.mark.parametrize("name", FILES)
def test_a_damaged_state_is_told_from_an_absent_one(tmp_path, name):
    """400 of 400 flipped bits were found, and then the oven started as if it were new."""
    assert StateStore(tmp_path / "new").load() == {}
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "state").write_bytes(FILES[name])
    (trip,) = StateStore(tmp_path / "a").load()["trips"]
    assert trip["fault"] == "unknown" and "damaged" in trip["seen"]


def test_a_trip_of_the_state_before_stands_beside_the_unknown_one(tmp_path):
    save_state(tmp_path / "state", {"trips": [TRIP]})
    save_state(tmp_path / "state", {"trips": [TRIP], "oven": "a"})
    (tmp_path / "state").write_bytes(b"rubbish")
    assert [t["fault"] for t in StateStore(tmp_path).load()["trips"]] == ["contactor-welded", "unknown"]


def test_there_is_a_newest_state_at_every_moment(tmp_path, monkeypatch):
    """A power cut between the two names left the older state alone, without its newest trip."""
    save_state(tmp_path / "state", {"trips": [TRIP]})

    def cut(*_):
        raise OSError(5, "power cut")

    monkeypatch.setattr("kilnctl.record.durable.write_whole", cut)
    with pytest.raises(OSError, match="power cut"):
        save_state(tmp_path / "state", {"trips": []})
    assert load_state(tmp_path / "state", before=False) == {"trips": [TRIP]}
    made = StateStore(tmp_path)
    assert made.load() == {"trips": [TRIP]} and not made.damaged


@pytest.mark.parametrize(
    "content",
    [
        *FILES.values(),
        checked(json.dumps({"run": {"folder": 7, "place": "x"}, "trips": "many"}).encode()),
        checked(json.dumps({"run": {"folder": "x", "schedule": str(CURE), "place": {"outage_s": "long"}}}).encode()),
        checked(json.dumps({"tripped_by": {"schedule_trip_c": 5000}, "trips": [TRIP], "limits": [1]}).encode()),
        checked(json.dumps({"version": 99, "trips": {"a": 1}, "hot": [], "wall_s": "now"}).encode()),
    ],
)
def test_a_service_begins_on_any_file_and_says_why_nothing_heats(cabinet, tmp_path, content):
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "state").write_bytes(content)
    told = []
    with at_work(cabinet, tmp_path, speed=500.0, before=StartPolicy(StartWishes(), None), tell=told.append) as person:
        said = person.until(lambda a: a["state"] in ("idle", "tripped"))
        end = time.monotonic() + 30.0
        while not person.service.starts.decided and time.monotonic() < end:
            time.sleep(0.01)
        assert not any("fault of its own" in line for line in told), told
        if said["trips"]:
            assert not person.ask("start", schedule=str(CURE))["ok"]
            assert person.ask("acknowledge", by="a person")["ok"], "a person's word is enough for an unknown one"
            assert not person.until(lambda a: not a["trips"])["running"]


def test_a_saved_state_with_a_damaged_file_counts_as_hot(cabinet, tmp_path):
    (tmp_path / "state").write_bytes(b"rubbish")
    saved = SavedState(tmp_path, cabinet, 1.0)
    assert saved.hot is None and "MAY BE HOT" in hot_surface.notice(saved.hot, 0.0)
    saved.close()
