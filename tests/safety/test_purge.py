"""A chamber that may hold flammable vapour is purged before there is heat: at the start, after a failure, and whenever
the state of its air is unknown. (NFPA 86 asks for a purge before heat in ovens for flammable vapour, from memory.)"""

import dataclasses

from kilnctl import Reading
from kilnctl.safety import SafetyState, acknowledge, policy_for
from tests.safety.safety_scenes import QUIET, Bench

AIR = dict(airflow_required=True, purge_s=100.0)
AIRLESS = {**QUIET, "airflow_proved": False}


def test_the_first_heat_waits_for_a_whole_purge_and_the_contactor_too():
    bench = Bench(**AIR).feed(2, **QUIET)
    assert "for another 99 s" in bench.verdict.reason and "purging" in bench.verdict.reason
    bench.feed(98, **QUIET)
    assert (
        bench.verdict.permit is None
        and not bench.verdict.contactor_allowed
        and "for another 1 s" in bench.verdict.reason
    )
    bench.feed(1, **QUIET)
    assert bench.verdict.permit is not None and bench.verdict.contactor_allowed and bench.faults == set()


def test_a_long_purge_is_told_in_minutes():
    bench = Bench(airflow_required=True, purge_s=1260.0).feed(2, **QUIET)
    assert "for another 21 min before" in bench.verdict.reason


def test_an_oven_without_vapour_does_not_wait():
    assert Bench(purge_s=100.0).feed(2, **QUIET).verdict.permit is not None


def test_only_proved_air_purges():
    late = Bench(**AIR).feed(20, **AIRLESS).feed(99, **QUIET)
    assert late.verdict.permit is None and late.feed(2, **QUIET).verdict.permit is not None
    # Two seconds of flicker in the middle are added; nothing starts again.
    bench = Bench(**AIR).feed(50, **QUIET).feed(2, **AIRLESS).feed(50, **QUIET)
    assert "for another 1 s" in bench.verdict.reason and bench.feed(1, **QUIET).verdict.permit is not None


def test_a_stall_and_an_acknowledgement_purge_again():
    bench = Bench(**AIR).feed(150, **QUIET)
    bench.now += 60.0
    bench.feed(1, **QUIET)
    state, standing = acknowledge(bench.state, bench.policy, Reading(100.0, **QUIET), bench.later(), "the keeper")
    assert standing == () and bench.faults == {"loop-stalled"}
    bench.state = state
    bench.now += 1.0
    bench.step += 1
    assert bench.feed(90, **QUIET).verdict.permit is None and bench.feed(12, **QUIET).verdict.permit is not None


def test_an_airflow_switch_in_the_coil_circuit_opens_the_contactor_without_a_fault():
    bench = Bench(**{**AIR, "purge_s": 30.0}).feed(45, **QUIET, contactor_closed=lambda t: t > 30.5)
    assert bench.verdict.permit is not None
    assert bench.feed(20, **AIRLESS, contactor_closed=False).faults == set() and not bench.verdict.contactor_allowed
    bench.feed(45, **QUIET, contactor_closed=lambda t: t > 30.5)
    assert bench.faults == set() and bench.verdict.permit is not None


def test_a_contactor_welded_shut_shows_during_the_purge():
    assert "contactor-welded" in Bench(**AIR).feed(10, **QUIET, contactor_closed=True).faults


def test_the_cabinet_purges_for_four_volumes_before_its_first_heat(oven, schedule):
    """0.288 m³ four times at 3 m³/h: 1382 s."""
    cabinet = oven("curing-cabinet")
    bench = Bench()
    bench.policy = dataclasses.replace(policy_for(cabinet, schedule("powder-cure")), has_limit_sensor=False)
    bench.state = SafetyState()
    bench.feed(1382, **{**QUIET, "limit_c": None}, supply_v=230.0)
    assert bench.verdict.permit is None
    assert bench.feed(2, **{**QUIET, "limit_c": None}, supply_v=230.0).verdict.permit is not None
