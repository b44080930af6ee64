"""A latch outlives the run and the process, with the temperature believed before it; a doubted sensor neither clears it
nor lowers the hot-surface notice."""

import dataclasses
import math
import time
from pathlib import Path

import pytest

from kilnctl import Reading
from kilnctl.cli import main
from kilnctl.control import Decision
from kilnctl.firing import Burst
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.plant import truth_of
from kilnctl.record.durable import save_state
from kilnctl.rig import VirtualRig
from kilnctl.run.chain import Actuation
from kilnctl.safety import LEASE_S, Permit, SafetyState, Trip, Verdict
from kilnctl.safety.messages import LOUD
from kilnctl.safety.state import DOUBTED
from kilnctl.service import saved_trips
from kilnctl.service.commanding import command
from kilnctl.service.session import Rest, prepare
from tests.service.at_work import at_work

ROOT = Path(__file__).resolve().parents[2]
OVEN, CURE = ROOT / "configs/ovens/curing-cabinet.yaml", Path(__file__).parent / "powder-cure.yaml"


@pytest.fixture(scope="module")
def cabinet(oven):
    whole = oven("curing-cabinet")
    # One sensor only: nothing else contradicts it.
    return dataclasses.replace(whole, sensors=dataclasses.replace(whole.sensors, limit=None))


@pytest.fixture(scope="module")
def order(cabinet, schedule):
    return prepare(cabinet, schedule("powder-cure"))


def begun(order):
    """In the first seconds, however busy the machine is: faults come at times of the oven's clock."""
    return lambda service: service.begin(order, *service.open_record(order))


def tripped(fault, seen="was seen"):
    return (Trip(fault, 0.0, seen, "heat off", "the thermocouple"),)


def watch(rest, chamber_c, ticks=5, first=1, **more):
    for k in range(first, first + ticks):
        rest.tick(Reading(chamber_c + 0.01 * (k % 2), cold_junction_c=25.0, **{"sample": k, **more}), float(k), 1.0, k)
    return rest


@pytest.mark.parametrize("fault", DOUBTED)
def test_after_a_restart_a_latch_is_judged_by_what_was_believed_before_it(cabinet, fault):
    saved = saved_trips.to_saved(tripped(fault), {fault: (172.0, 30.0)}, 1e9)
    # Ten minutes after it was saved, a chamber that was at 172 °C is not at 24 °C, but may be at 120.
    trips, believed = saved_trips.from_saved(saved, 1e9 + 600.0)
    assert believed == {fault: (172.0, 630.0)} and trips[0].fault == fault
    rest = Rest(cabinet, trips, believed)
    assert rest.believed(0.0) == believed, "known before the first tick too: a service that ends at once saves it again"
    assert fault in watch(rest, 24.0).acknowledge("the founder") and rest.believed(5.0)[fault] == (
        172.0,
        pytest.approx(634.0),
    )
    assert fault in rest.acknowledge("the founder", reading_is_right=True), (
        "a word does not stand against what is known"
    )
    assert watch(Rest(cabinet, trips, believed), 120.0).acknowledge("the founder") == ()


@pytest.mark.parametrize(
    "damage", [{"then_c": None}, {"then_c": "hot"}, {"then_c": math.nan}, {"then_wall_s": None}, {"then_wall_s": True}]
)
def test_where_nobody_knows_a_person_s_explicit_word_is_needed(cabinet, damage):
    (saved,) = saved_trips.to_saved(tripped("sensor-jump"), {"sensor-jump": (172.0, 30.0)}, 1e9)
    trips, believed = saved_trips.from_saved([{**saved, **damage}], 1e9 + 600.0)
    rest = watch(Rest(cabinet, trips, believed), 24.0)
    assert believed == {} and rest.unknown == ("sensor-jump",) and rest.acknowledge("the founder") == ("sensor-jump",)
    assert rest.acknowledge("  ", reading_is_right=True) and rest.unknown == ("sensor-jump",), "blanks are no name"
    assert rest.acknowledge("the founder", reading_is_right=True) == () and not rest.trips and rest.unknown == ()


@pytest.mark.parametrize(
    "fault, seen, gone",
    [
        ("over-schedule", dict(chamber_c=239.0), dict(chamber_c=200.0)),
        ("ventilation", dict(airflow_proved=False), dict(airflow_proved=True)),
        ("over-part", dict(part_c=240.0), dict(part_c=150.0)),
    ],
)
def test_a_trip_stands_by_the_limits_of_the_run_that_tripped(cabinet, order, fault, seen, gone):
    """The oven alone would bear more: acknowledged by its limits, the cause would still be there."""
    policy = dataclasses.replace(order.policy, part_trip_c=215.0, airflow_required=True)
    assert policy.schedule_trip_c < 241.0 < policy.chamber_trip_c

    def looked(rest, first, **reading):
        return watch(rest, **{"chamber_c": 100.0, "airflow_proved": True, "part_c": 100.0, **reading}, first=first)

    state = SafetyState()
    state.trips[fault] = tripped(fault)[0]
    saved = saved_trips.limits_to_saved(policy)
    assert all(math.isfinite(v) for v in saved.values()) and saved_trips.limits_from_saved(
        {**saved, "part_trip_c": "hot", "airflow_required": 1}
    ).keys() == {"schedule_trip_c"}
    for rest in (
        Rest(cabinet, state=state, policy=policy),
        Rest(cabinet, tripped(fault), None, saved_trips.limits_from_saved(saved)),
    ):
        assert looked(rest, 1, **seen).acknowledge("the founder") == (fault,)
        assert looked(rest, 6, **gone).acknowledge("the founder") == () and rest.tripped_by == rest.policy
    assert saved_trips.limits_from_saved("much") == {}


def test_heat_that_could_not_be_cut_is_still_shouted_about_after_a_restart(cabinet):
    rest = watch(
        Rest(cabinet, (Trip("contactor-welded", 0.0, LOUD, "it stays closed", "the contacts"),)),
        24.0,
        contactor_closed=False,
    )
    assert "MAIN SWITCH NOW" in rest.state.danger
    assert rest.acknowledge("the founder") == ("contactor-welded",), "nobody has looked for long enough"
    watch(rest, 24.0, ticks=200, first=6, contactor_closed=False)
    assert rest.acknowledge("the founder") == () and not rest.state.danger


def test_a_permit_that_lapsed_while_the_tick_was_worked_out_heats_nothing(cabinet):
    """The control takes longer over a tick than the lease lasts: the clock is read again before the relay is
    commanded."""
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2)
    told = []
    rig.heat = lambda duty, burst, permit: told.append((duty, permit))
    burst = Burst(50, (25,), (), 0.5)
    for now, passed in ((99.9, False), (100.0, True), (100.0 + LEASE_S, True), (100.1 + LEASE_S, False)):
        permit = Permit(100.0, 100.0 + LEASE_S, 1, 1.0)
        act = Actuation(
            0.5, burst, True, 0.5, Decision.at_rest(Reading(20.0)), Verdict(permit, True, (), (), (), "", True)
        )
        command(rig, act, lambda now=now: now)
        assert told.pop() == ((0.5, permit) if passed else (0.0, None))


def test_a_file_of_nonsense_latches_in_general_words():
    for saved in ([7], [{}], [None], "much", {"fault": "sensor-open"}, 1):
        trips, believed = saved_trips.from_saved(saved, 1e9)
        assert trips[0].fault == "unknown" and trips[0].seen and believed == {}
    assert saved_trips.from_saved(None, 1e9) == ((), {}) == saved_trips.from_saved([], 1e9)
    assert saved_trips.from_saved(
        saved_trips.to_saved(tripped("reading-fell"), {"reading-fell": (172.0, 30.0)}, 1e9), 1e8
    )[1] == {"reading-fell": (172.0, 0.0)}


def test_a_frozen_sensor_has_to_show_a_new_sample_after_a_restart(cabinet):
    rest = watch(Rest(cabinet, tripped("sensor-frozen")), 80.0, ticks=3, sample=7)
    assert rest.acknowledge("the founder") == ("sensor-frozen",)
    watch(rest, 80.0, ticks=1, first=4, sample=8)
    assert rest.acknowledge("the founder") == ()


def test_rest_goes_on_with_what_the_rules_of_the_run_knew(cabinet):
    state = SafetyState(danger="HEAT CANNOT BE CUT", believed={"sensor-jump": (172.0, 900.0)})
    state.trips["sensor-jump"] = tripped("sensor-jump")[0]
    rest = Rest(cabinet, state=state)
    assert (
        rest.state is not state
        and rest.state.danger == "HEAT CANNOT BE CUT"
        and rest.believed(1000.0) == {"sensor-jump": (172.0, 100.0)}
    )
    assert not rest.unknown and {t.fault for t in rest.trips} == {"sensor-jump"}


def test_a_shorted_sensor_over_a_hot_oven_is_neither_acknowledged_nor_taken_for_cool(cabinet, order, tmp_path):
    """The thermocouple's wires touch at 1200 s: from then on it shows its terminals, some 25 °C. The chamber is at
    more than 150 °C."""
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2, faults=(PlantFault("thermocouple shorted", 1200.0),))
    with at_work(cabinet, tmp_path, rig=rig, speed=1000.0, before=begun(order)) as person:
        person.until(lambda a: a.get("trips"))
        person.until(lambda a: not a["running"])
        upto = person.ask("status")["ticks"]["count"] + 20
        said = person.until(lambda a: a["ticks"]["count"] > upto)
        assert (truth_of(rig.plant).chamber_c or 0.0) > 140.0 and said["notice"].startswith("HOT")
        answer = person.ask("acknowledge", by="the founder")
        assert not answer["ok"] and "sensor-shorted" in answer["standing"]
    # The next process knows it too.
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2, faults=(PlantFault("thermocouple shorted", 0.0),))
    with at_work(cabinet, tmp_path, rig=rig, speed=1000.0) as person:
        said = person.until(lambda a: a["state"] != "starting" and a["ticks"]["count"] > 20)
        assert said["trips"] and said["notice"].startswith("HOT")
        answer = person.ask("acknowledge", by="the founder", reading_is_right=True)
        assert not answer["ok"] and "sensor-shorted" in answer["standing"]


def test_an_old_state_without_what_was_believed_asks_for_the_person_s_word(cabinet, tmp_path, capsys):

    home = tmp_path / "curing-cabinet"
    home.mkdir()
    words = {"seen": "it jumped", "act": "switch off", "check": "the wires"}
    save_state(home / "state", {"trips": [{"fault": "sensor-jump", **words}], "wall_s": time.time(), "hot": None})
    (tmp_path / "brief.yaml").write_text("schedule: brief\nsteps:\n  - {to: 50 °C, hold: 1 min}\n", encoding="utf-8")
    common = [
        str(OVEN),
        str(tmp_path / "brief.yaml"),
        "--rig",
        "virtual",
        "--speed",
        "10000",
        "--home",
        str(tmp_path),
        "--out",
        str(tmp_path / "runs"),
        "--quiet",
        "--confirm",
    ]
    assert main(["run", *common, "--acknowledge", "the founder"]) == 2
    said = capsys.readouterr().err
    assert "sensor-jump still stands" in said and "Nobody knows" in said and "--reading-is-right" in said
    assert main(["run", *common, "--acknowledge", "the founder", "--reading-is-right"]) == 0


def test_a_frozen_sensor_that_goes_on_is_acknowledged(cabinet, order, tmp_path):
    rig = VirtualRig(cabinet, load=cabinet.usual_load, seed=2, faults=(PlantFault("thermocouple frozen", 600.0, 10.0),))
    with at_work(cabinet, tmp_path, rig=rig, speed=1000.0, before=begun(order)) as person:
        assert [t["fault"] for t in person.until(lambda a: a.get("trips"))["trips"]] == ["sensor-frozen"]
        person.until(lambda a: not a["running"])
        # The sensor shows that it goes on by a new sample, which takes the first ticks at rest.
        upto = person.ask("status")["ticks"]["count"] + 5
        person.until(lambda a: a["ticks"]["count"] > upto)
        said = person.ask("acknowledge", by="the founder")
        assert said["ok"], said["words"]
