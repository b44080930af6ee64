"""`skip` on the way up: the chamber goes to the next step at that step's own rate."""

from kilnctl import control, firing, safety
from kilnctl.control import prepare
from kilnctl.model.day_zero import day_zero
from kilnctl.model.model_oven import ModelOven
from kilnctl.run import rehearsal
from kilnctl.run.chain import Chain
from tests.control.control_cases import schedule_of


class Skipping:
    """Our control, asked to skip once."""

    start = staticmethod(control.start)

    def __init__(self, at_s: float):
        self.at_s = at_s

    def step(self, programme, state, reading, dt_s, fired=None, requests=(), usable=True):
        asked = ("skip",) if abs(state.time_s - self.at_s) < 0.5 * dt_s else ()
        return control.step(programme, state, reading, dt_s, fired, (*requests, *asked), usable)


def test_no_ramp_is_hurried(oven):
    """A preheat of 5 K/min skipped at about 60 °C went on at 20 K/min to the soak of its own step."""
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet, None, 120.0)
    steps = (
        dict(to_c=120.0, at_k_per_s=5.0 / 60.0, hold_s=600.0),
        dict(to_c=90.0, at_k_per_s=2.0 / 60.0),
        dict(hold_s=60.0),
    )
    schedule = schedule_of(*steps, too_fast="stretch")
    programme = prepare(cabinet, schedule, model)
    chain = Chain(Skipping(480.0), programme, safety.policy_for(cabinet, schedule, model), firing.pattern_for(cabinet))
    rows = []
    assert rehearsal.follow(cabinet, ModelOven(cabinet, model, seed=1), chain, rows) == "finished"
    run = rehearsal.as_run(
        rows, oven=cabinet, schedule=schedule, outcome="finished", trips=(), events=(), seed=1, controller="model"
    )
    after = run.time_s > 481.0
    rises = run.chamber_c[after][60:] - run.chamber_c[after][:-60]
    assert 55.0 < run.chamber_c[~after][-1] < 65.0
    assert rises.max() < 5.0, (
        "a minute's rise, with the sensor's noise; just after the skip it still is the first step's"
    )
    late = rises[240:]
    assert late.max() < 3.0 and run.chamber_c.max() < 93.0
    assert set(run.data["step"][after]) == {2.0, 3.0}
