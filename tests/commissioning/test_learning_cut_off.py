"""A learning run that was killed goes on as the run it was; one that would outlast the oven's longest run is
foreseen."""

from dataclasses import replace

import numpy as np
import pytest

from kilnctl import KilnctlError, fit, learn
from kilnctl.cli import main
from kilnctl.commissioning import experiment as trial
from kilnctl.commissioning.learning_run import SPARE_S, interrupted, prepare
from kilnctl.record.folder import Begun, SampleWriter, begin


class Killed(BaseException):
    pass


@pytest.fixture(scope="module")
def killed(oven, tmp_path_factory):
    """The folder that a learning run to a ceiling of its own leaves when its process is killed: no end, and a torn last
    line."""
    cabinet, folder = oven("curing-cabinet"), tmp_path_factory.mktemp("killed")
    run = prepare(cabinet, ceiling_c=120.0)
    begin(folder, Begun(cabinet, run.schedule, None, run.model, 0, run.controller_name))
    writer = SampleWriter(folder)

    def stop(time_s, left_s, phase):
        if time_s > 2000.0:
            raise Killed

    with pytest.raises(Killed):
        learn(cabinet, ceiling_c=120.0, progress=stop, sink=writer)
    writer.close()
    samples = folder / "samples.csv"
    data = samples.read_bytes()
    samples.write_bytes(data[: data.rfind(b"\n", 0, -1) + 7])  # a piece of a time, and nothing more
    return folder


def test_it_goes_on_with_its_own_temperatures_and_load(oven, killed, capsys):
    cabinet = oven("curing-cabinet")
    was = interrupted(cabinet, killed)
    assert was.ceiling_c == 120.0 and was.load is None and was.stage >= 1
    first = prepare(cabinet, ceiling_c=120.0).programme.experiment
    again = prepare(cabinet, ceiling_c=was.ceiling_c, top_c=was.top_c, load=was.load, begin_stage=was.stage)
    assert again.programme.experiment.stages == first.stages, (
        "the same stages, so that the number of the one that was reached means the same"
    )
    assert again.programme.begin == trial.resumed(trial.Progress(was.stage), first)
    # Not the oven's own highest of 260 °C: the person who began it knew why it should stay below 120 °C.
    assert main(["learn", cabinet.file, "--continue", str(killed), "--plan"]) == 0
    assert "never above 120 °C" in capsys.readouterr().out
    assert main(["learn", cabinet.file, "--continue", str(killed), "--ceiling", "200 °C"]) == 2
    assert "the interrupted run had 120 °C" in capsys.readouterr().err
    assert main(["learn", cabinet.file, "--continue", str(killed), "--loaded", "--plan"]) == 2


def test_its_record_is_fitted_up_to_the_torn_line(oven, killed):
    assert fit(oven("curing-cabinet"), killed, validate=False).converged


def test_what_is_no_interrupted_learning_run_is_told(oven, schedule, killed, tmp_path):
    cabinet = oven("curing-cabinet")
    begin(tmp_path, Begun(cabinet, schedule("powder-cure"), None, None, 0, "model"))
    SampleWriter(tmp_path).close()
    with pytest.raises(KilnctlError, match="not of a learning run"):
        interrupted(cabinet, tmp_path)
    with pytest.raises(KilnctlError, match="not of 'Bench muffle'"):
        interrupted(oven("bench-muffle"), killed)
    with pytest.raises(KilnctlError, match="no such folder"):
        interrupted(cabinet, tmp_path / "nowhere")


def test_longest_is_foreseen(oven):
    cabinet = oven("curing-cabinet")
    needed = prepare(cabinet, ceiling_c=120.0).programme.experiment.heated_s()
    short = replace(cabinet, limits=replace(cabinet.limits, longest_s=needed))
    with pytest.raises(KilnctlError, match="limits: longest"):
        prepare(short, ceiling_c=120.0)
    enough = replace(cabinet, limits=replace(cabinet.limits, longest_s=needed + SPARE_S + 60.0))
    assert prepare(enough, ceiling_c=120.0).programme.experiment.heat_until_s == needed + 60.0
    assert needed < prepare(cabinet, ceiling_c=120.0).programme.experiment.duration_s, (
        "the last fall has no heat in it, and no limit of a run's length ends it"
    )


def test_an_oven_slower_than_foreseen_ends_with_its_last_fall_and_no_trip(oven):
    """A slow cooling once took the run past the oven's longest, which tripped it."""
    cabinet = oven("curing-cabinet")
    whole = prepare(cabinet, ceiling_c=120.0).programme.experiment
    plan = replace(whole, heat_until_s=0.5 * whole.heated_s())
    power, reading, stages = (np.array(v) for v in trial.rehearsed(plan))
    last = len(plan.stages) - 1
    assert stages[-1] == last and power[int(plan.heat_until_s / 5.0) + 1 :].max() == 0.0
    assert len(set(stages)) < len(plan.stages) and reading[-1] < 0.5 * reading.max()
