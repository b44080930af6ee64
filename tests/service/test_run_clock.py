"""Trips, events and samples count from the run's own start, not by the service's clock: the clock of time
passed counts from the computer's start."""

import math
from pathlib import Path

import pytest

from kilnctl import load_schedule, rehearse
from kilnctl.output import clock
from kilnctl.plants.injection import PlantFault
from kilnctl.record.run_record import read_run
from kilnctl.report.run_report import run_page
from kilnctl.rig import RigLost, VirtualRig
from kilnctl.run.summary import summarise
from kilnctl.service.loop import OvenService
from kilnctl.service.pace import SimulatedPace
from kilnctl.service.session import prepare
from tests.service.at_work import folder_of

CURE = Path(__file__).parent / "powder-cure.yaml"
UP_FOR_S = 5000.0


def service(cabinet, tmp_path, rig):
    pace = SimulatedPace(cabinet.control.tick_s, math.inf)
    pace.time_s = UP_FOR_S
    return OvenService(
        cabinet,
        rig,
        pace,
        home=tmp_path / "home",
        socket=tmp_path / "socket",
        out=tmp_path / "runs",
        tell=lambda text: None,
    )


@pytest.mark.slow
def test_a_trip_has_one_time_in_record_report_status_and_the_next_process(oven, tmp_path):
    cabinet = oven("curing-cabinet")
    s = service(
        cabinet,
        tmp_path,
        VirtualRig(cabinet, load=cabinet.usual_load, faults=(PlantFault("thermocouple open", 400.0),)),
    )
    assert s.run(prepare(cabinet, load_schedule(CURE))) == "tripped"
    record = read_run(folder_of(s))
    (trip,) = record.trips
    (event,) = [e for e in record.events if e.kind == "trip"]
    assert 400.0 <= trip.time_s <= 415.0 and event.time_s == trip.time_s and record.time_s[0] == 1.0
    assert [e.time_s for e in record.events] == sorted(e.time_s for e in record.events)
    assert s.rest.trips[0].time_s == s.snapshot["trips"][0]["time_s"] == trip.time_s
    assert f"Trip at {clock(trip.time_s)}" in run_page(record, summarise(record))
    again = service(cabinet, tmp_path, VirtualRig(cabinet, load=cabinet.usual_load))
    assert again.rest.trips[0].time_s == trip.time_s
    again.end("test over")
    again.run()


def test_the_rig_s_end_has_the_run_s_time_too_and_a_run_gone_on_with_keeps_its_zero(oven, tmp_path):
    cabinet = oven("curing-cabinet")
    rig = VirtualRig(cabinet, load=cabinet.usual_load)
    s, order = service(cabinet, tmp_path, rig), prepare(cabinet, load_schedule(CURE))
    model = order.model
    place = {
        "leg": 0,
        "counted_s": 0.0,
        "reference_c": None,
        "rate_k_per_s": 0.0,
        "arrived": False,
        "held": False,
        "added_s": 0.0,
        "state_c": list(model.rest(21.0)),
        "chamber_c": 21.0,
        "run_s": 300.0,
        "energy_j": 1e5,
        "outage_s": 5.0,
    }
    read, left = rig.read, [60]

    def lost():
        left[0] -= 1
        if left[0] < 0:
            raise RigLost("the cable is out")
        return read()

    rig.read = lost
    assert s.run(before=lambda s: s.begin(order, *s.open_record(order), place=place)) == "lost"
    record = read_run(folder_of(s))
    (trip,) = record.trips
    assert (
        record.time_s[0] == pytest.approx(301.0)
        and trip.fault == "board-lost"
        and trip.time_s == pytest.approx(record.time_s[-1], abs=1.5)
    )
    assert {e.time_s for e in record.events if e.kind == "resumed"} == {300.0}
    assert s.rest.trips[0].time_s == trip.time_s


def test_a_rehearsal_whose_clock_jumps_tells_its_trip_at_the_run_s_time(oven):
    run = rehearse(oven("curing-cabinet"), load_schedule(CURE), faults=(PlantFault("clock jump", 200.0, size=3600.0),))
    assert run.trips and [t.time_s for t in run.trips] == [e.time_s for e in run.events if e.kind == "trip"]
    assert run.trips[0].time_s == pytest.approx(201.0, abs=2.0)
