"""`prepare`: one prepared run for everything that follows a schedule."""

from dataclasses import replace

import pytest

from kilnctl import KilnctlError, Reading, prepare
from kilnctl.commissioning import learning_run
from kilnctl.control import StepInput
from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import coolest_of, envelope_of
from kilnctl.model.trained_file import TrainedModel
from kilnctl.run.prepare import CONTROLLERS, load_of
from kilnctl.safety import policy_for
from kilnctl.service.session import prepare as prepare_apart
from kilnctl.settings.document import SettingsError
from kilnctl.settings.schedule import Schedule, Step, load_schedule
from kilnctl.terms import Phase, Request, RequestKind


def test_the_load_is_the_schedules_or_else_the_usual_one(oven, schedule):
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    assert cure.load is None and prepare(cabinet, cure).load == cabinet.usual_load
    light = replace(cabinet.usual_load, mass_kg=1.0)
    run = prepare(cabinet, replace(cure, load=light))
    assert run.load == light and run.model == day_zero(cabinet, light, cure.top_c)
    assert run.model.contents_j_per_k < prepare(cabinet, cure).model.contents_j_per_k


def test_an_unknown_material_of_a_schedules_load_is_told_at_its_place(oven, tmp_path):
    """It came without a file, as "there is no material", after all that was said of the oven."""
    file = tmp_path / "oak.yaml"
    file.write_text(
        "schedule: Oak\nsteps:\n  - {to: 60 °C, hold: 5 min}\nload: {mass: 5 kg, material: steal, area: 1 m²}\n",
        encoding="utf-8",
    )
    with pytest.raises(SettingsError, match=r"oak\.yaml:4:\d+: there is no material 'steal'; nearest: .*steel"):
        load_of(oven("curing-cabinet"), load_schedule(file))


def test_the_rules_go_by_what_is_known_of_the_load_that_is_in(oven, schedule):
    """The usual one, or the one of the schedule: what the file says of one is not said of the other."""
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    usual = cabinet.usual_load
    known, other = replace(usual, known_within=0.1), replace(usual, mass_kg=0.9 * usual.mass_kg)
    said = replace(cabinet, usual_load=known)
    for run, load in (
        (prepare(said, cure), known),
        (prepare(said, replace(cure, load=other)), other),
        (prepare(cabinet, replace(cure, load=known)), known),
    ):
        assert run.load == load and run.policy.coolest == coolest_of(said, load, run.guard.model, run.guard.doubt)
        assert run.policy.coolest is not None
        assert (run.policy.coolest.contents_j_per_k > 1.5 * run.model.contents_j_per_k) is (load is other)


def test_a_service_starts_what_a_rehearsal_prepares(oven, schedule):
    """The check in a process of its own adds nothing and takes nothing away."""
    cabinet, cure = oven("curing-cabinet"), schedule("powder-cure")
    real, tried = prepare_apart(cabinet, cure), prepare(cabinet, cure)
    same = ("load", "model", "model_words", "programme", "policy", "pattern", "controller_name", "guard", "model_file")
    for name in same:
        assert getattr(real, name) == getattr(tried, name), name
    assert [real.holding(c) for c in (20.0, 133.3, 300.0)] == [tried.holding(c) for c in (20.0, 133.3, 300.0)]


def test_every_controller_starts_and_steps_by_one_protocol(oven, schedule):
    """The state of each answers what records, status and forecast ask of it."""
    cabinet = oven("curing-cabinet")
    runs = [prepare(cabinet, schedule("powder-cure"), controller=kind) for kind in CONTROLLERS]
    for run in (*runs, learning_run.prepare(cabinet, ceiling_c=150.0)):
        state = run.controller.start(run.programme, Reading(20.0))
        after, decision = run.controller.step(run.programme, state, StepInput(Reading(20.0), 1.0))
        assert (after.time_s, after.leg, after.held) == (1.0, 0, False) and state.time_s == 0.0
        assert isinstance(decision.phase, Phase) and decision.chamber_c == pytest.approx(20.0, abs=0.5)
        assert (after.position is None) == (run.controller_name == learning_run.NAME)
        assert (after.estimate is None) == (run.controller_name in ("PI", "PID", CONTROLLERS["thermostat"]))
        assert after.plan is None or after.estimate is not None


def test_the_learning_run_is_watched_by_the_rules_of_its_own_schedule(oven):
    cabinet = oven("curing-cabinet")
    run = learning_run.prepare(cabinet, ceiling_c=150.0)
    coolest, envelope = coolest_of(cabinet, None, run.model), envelope_of(cabinet, None, run.model)
    policy = policy_for(cabinet, run.schedule, run.model, coolest=coolest, envelope=envelope, described=True)
    assert run.policy == policy
    assert run.schedule.highest_c == 150.0
    assert run.load is None and run.programme.model == run.model


def test_a_controller_that_does_not_exist_is_refused_in_words(oven, schedule):
    with pytest.raises(KilnctlError, match="there are model, thermostat, pi, pid"):
        prepare(oven("curing-cabinet"), schedule("powder-cure"), controller="fuzzy")


def test_requests_in_words():
    assert str(Request(RequestKind.SOAK, 600.0)) == "soak 600 s more"
    assert [str(Request(kind)) for kind in (RequestKind.HOLD, RequestKind.PROCEED, RequestKind.SKIP)] == [
        "hold",
        "proceed",
        "on to the next step",
    ]


def test_a_learnt_model_does_not_refuse_for_a_few_per_cent_what_the_oven_did_yesterday(oven):
    """Its own covariance says that it may be off by as much; the lack is told all the same."""
    cabinet = oven("curing-cabinet")
    soak = Schedule(name="soak", steps=(Step(to_c=240.0, hold_s=600.0),))
    model = day_zero(cabinet, cabinet.usual_load, 240.0)
    of = tuple(f"lining_{i}_w_per_k" for i in (1, 2, 3, 4))
    rows = tuple(tuple(0.1**2 for _ in of) for _ in of)
    known = TrainedModel(
        *(cabinet.name, model, cabinet.usual_load, 240.0, 20.0, 240.0, 0.2, "", (), {}),
        covariance_of=of,
        covariance=rows,
    )
    weak = replace(known, model=model.but(power_w=model.steady(240.0)[1] / 1.02))
    (told,) = prepare(cabinet, soak, weak).programme.shortfalls
    assert told.impossible and told.doubt > 0.05 and "is tried" in told.note
    with pytest.raises(KilnctlError, match="only to be held"):
        prepare(cabinet, soak, replace(known, model=model.but(power_w=model.steady(240.0)[1] / 1.4)))
