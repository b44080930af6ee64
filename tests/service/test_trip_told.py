"""What a person at the terminal reads of a trip: first what to do; and later what the read-backs show of it."""

import dataclasses

import pytest

from kilnctl.commands import status
from kilnctl.output import METRIC, Units
from kilnctl.plants.injection import PlantFault
from kilnctl.rig import VirtualRig
from kilnctl.safety.messages import WORDS
from kilnctl.safety.proof import BLIND, NOT_YET
from kilnctl.service import status_view
from kilnctl.service.run_log import PROOF_AFTER_S, ProofLine
from tests.service.at_work import at_work


def test_the_proof_is_told_once_and_only_after_the_read_backs_had_time():
    told = []
    line = ProofLine(told.append)
    line.tick("", 0.0)
    line.tick("told off, but current flows", 1.0)
    line.tick("told off", 0.9 + PROOF_AFTER_S)
    assert told == []
    for now in (1.0, 2.0, 3.0):
        line.tick("told off; the contactor reads open", now + PROOF_AFTER_S)
    assert told == ["after the trip: told off; the contactor reads open"]
    # Acknowledged, and tripped again.
    line.tick("", 20.0)
    line.tick("told off", 21.0)
    line.tick("told off", 21.0 + PROOF_AFTER_S)
    assert len(told) == 2


@pytest.mark.parametrize("wired", [True, False])
def test_status_says_what_to_do_first_and_claims_only_what_is_read(oven, tmp_path, capsys, wired):
    """With the contactor's contact read back, and without any read-back: nothing claims that it opened."""
    cabinet = oven("curing-cabinet")
    meters = dataclasses.replace(cabinet.meters, contactor=wired, current=wired, supply=wired)
    cabinet = dataclasses.replace(cabinet, meters=meters)
    told: list[str] = []
    rig = VirtualRig(cabinet, load=cabinet.usual_load, faults=(PlantFault("thermocouple open", 5.0),))
    with at_work(cabinet, tmp_path, rig=rig, tell=told.append) as person:
        said = person.until(lambda s: s.get("trips") and any("after the trip" in line for line in told))
        status.tell_status(said, Units(METRIC))
    shown = capsys.readouterr().out
    act, _, check = WORDS["sensor-open"]
    assert shown.index(act) < shown.index("The control thermocouple is open") < shown.index(check)
    assert shown.index(check) < shown.index("Relay and contactor are told off")
    assert ("reads open" in shown) is ("no current flows" in shown) is wired
    assert (BLIND in shown) is not wired


def test_the_status_of_the_tripping_tick_shows_no_read_back_of_before(oven, tmp_path, monkeypatch):
    """Its reading was taken while the contactor was still told to be closed."""
    cabinet = oven("curing-cabinet")
    rig = VirtualRig(cabinet, load=cabinet.usual_load, faults=(PlantFault("thermocouple open", 5.0),))
    proofs, real = [], status_view.of

    def kept(*of):
        said = real(*of)
        proofs.append(said["heat_proof"])
        return said

    monkeypatch.setattr(status_view, "of", kept)
    with at_work(cabinet, tmp_path, rig=rig) as person:
        person.until(lambda s: "reads open" in s.get("heat_proof", ""))
    first = next(i for i, said in enumerate(proofs) if said)
    assert proofs[first] == NOT_YET and NOT_YET not in proofs[first + 1 :]
    assert any("the contactor reads open" in said for said in proofs[first + 1 :])


@pytest.mark.parametrize("tripped", [False, True])
def test_status_at_rest_says_why_no_run_can_start(capsys, tripped):
    """After the disk had failed it said "no run: heat off", and every start was refused. A trip says it itself."""
    trips = [{"act": "Switch off.", "seen": "it is hot", "check": "Look."}] if tripped else []
    said = dict(
        oven="Cabinet", state="idle", trips=trips, reason="no run: heat off", refusal="the record cannot be kept"
    )
    status.tell_status(said, Units(METRIC))
    assert ("no run can start: the record cannot be kept" in capsys.readouterr().out) is not tripped
