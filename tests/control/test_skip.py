"""`skip` on the way up: the chamber goes to the next step at that step's own rate."""

from dataclasses import replace

from kilnctl.control import EnergyBalanceControl
from kilnctl.model.day_zero import day_zero
from kilnctl.model.model_oven import ModelOven
from kilnctl.run.chain import Chain
from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import follow
from kilnctl.run.result import as_run
from kilnctl.terms import SKIP
from tests.control.control_cases import schedule_of


class Skipping(EnergyBalanceControl):
    """Our control, asked to skip once."""

    def __init__(self, at_s: float):
        self.at_s = at_s

    def step(self, programme, state, given):
        asked = (SKIP,) if abs(state.time_s - self.at_s) < 0.5 * given.dt_s else ()
        return super().step(programme, state, replace(given, requests=(*given.requests, *asked)))


def test_no_ramp_is_hurried(oven):
    """A preheat of 5 K/min skipped at about 60 °C went on at 20 K/min to the soak of its own step."""
    cabinet = oven("curing-cabinet")
    model = day_zero(cabinet, None, 120.0)
    steps = (
        dict(to_c=120.0, at_k_per_s=5.0 / 60.0, hold_s=600.0),
        dict(to_c=90.0, at_k_per_s=2.0 / 60.0),
        dict(hold_s=60.0),
    )
    made_ready = prepare(cabinet, schedule_of(*steps, too_fast="stretch"), model)
    made_ready = replace(made_ready, controller=Skipping(480.0), holding=lambda chamber_c: 0.0)
    rows = []
    outcome = follow(ModelOven(cabinet, model, seed=1), Chain(made_ready), rows)
    assert outcome == "finished"
    run = as_run(made_ready, rows, outcome=outcome)
    after = run.time_s > 481.0
    rises = run.chamber_c[after][60:] - run.chamber_c[after][:-60]
    assert 55.0 < run.chamber_c[~after][-1] < 65.0
    assert rises.max() < 5.0, (
        "a minute's rise, with the sensor's noise; just after the skip it still is the first step's"
    )
    late = rises[240:]
    assert late.max() < 3.0 and run.chamber_c.max() < 93.0
    assert set(run.data["step"][after]) == {2.0, 3.0}
