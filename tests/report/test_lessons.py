"""After a run: whether it teaches at all, and who hears of it."""

import json
from dataclasses import replace
from math import log

import pytest

from kilnctl.model.day_zero import day_zero
from kilnctl.model.parameters import PARAMETERS, scaled
from kilnctl.model.trained_file import TrainedModel
from kilnctl.record.folder import Begun, SampleWriter, begin
from kilnctl.record.kept_aside import read_kept_aside
from kilnctl.record.model_store import Ledger, Version
from kilnctl.report import lessons
from kilnctl.report.finishing import main
from kilnctl.report.lessons import Told, version_words
from kilnctl.terms import Taught


@pytest.fixture
def record(oven, schedule, tmp_path):
    """A record that teaches the models in `home`, without samples."""
    folder = tmp_path / "run"
    folder.mkdir()
    models = tmp_path / "home" / "models"
    begin(folder, Begun(oven("curing-cabinet"), schedule("temper"), teaches=str(models)))
    SampleWriter(folder).close()
    return folder, models


def test_what_is_kept_aside_is_noted_for_the_messages(record, monkeypatch, capsys):
    folder, models = record
    said = Told(Taught.ASIDE, "model 2 is kept aside: odd", 2, 1, 0.5, "odd")
    monkeypatch.setattr(lessons, "learn_from", lambda *_: said)
    assert main([str(folder), str(models)]) == 0
    assert json.loads(capsys.readouterr().out)["taught"] == "kept aside"
    assert [(n.run, n.why) for n in read_kept_aside(models.parent)] == [(str(folder), "odd")]


def test_a_record_teaches_the_models_that_it_names_and_no_others(record, monkeypatch, capsys):
    folder, models = record
    monkeypatch.setattr(lessons, "learn_from", lambda *_: pytest.fail("it teaches no other oven"))
    assert main([str(folder), str(models.with_name("models-virtual"))]) == 0
    assert json.loads(capsys.readouterr().out) == {}


def test_an_empty_record_teaches_nothing_once_and_gets_its_page_all_the_same(record, capsys):
    folder, models = record
    assert main([str(folder), str(models)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["taught"] == "refused" and "did not run to its end" in said["words"]
    assert json.loads((folder / "learning.json").read_text())["words"] == said["words"]
    assert main([str(folder), str(models)]) == 0 and json.loads(capsys.readouterr().out) == {}


def test_the_words_say_which_model_and_how_well():
    new = Version(4, Taught.LEARNT, "", "/runs/x", 3, 3, predicted_k=0.6, after_k=0.31)
    assert version_words(new, 4) == (
        "model 4, from 3 runs, is in use from now on: model 3 predicted this run within 0.6 K rms, model 4 does within "
        "0.3 K"
    )
    first = Version(1, Taught.LEARNT, "", "/runs/x", 1, 0, predicted_k=12.0, after_k=0.2)
    assert "model 1, from 1 run, " in version_words(first, 1) and "the description predicted" in version_words(first, 1)
    changed = Version(5, Taught.CHANGED, "", "/runs/x", 4, 4, words="holding 200 °C now takes 9 % more power")
    said = version_words(changed, 5)
    assert said.startswith("the oven has changed: holding 200 °C now takes 9 % more power. model 5, from 4 runs")


def test_a_supply_without_a_meter_is_named_as_the_other_cause_of_a_change(oven):
    """P ∝ V²: the power that holds seems 13 % more when the voltage is 6 % less."""
    cabinet = oven("curing-cabinet")
    bare = replace(cabinet, meters=replace(cabinet.meters, supply=False, current=False))
    load = cabinet.usual_load
    model = day_zero(cabinet, load, 200.0)
    old = TrainedModel(cabinet.name, model, load, 200.0, 20.0, 200.0, 0.2, "", (), {})
    sagged = 1.0 / 0.94**2
    names = [p for p in PARAMETERS if p.name.startswith("lining") or p.name == "leak_w_per_k"]
    new = replace(old, model=scaled(old.model, names, [log(sagged)] * len(names)))
    (said,) = lessons.supply_instead(bare, old, new)
    assert "6 % less voltage" in said and "no meter here" in said
    (back,) = lessons.supply_instead(bare, new, old)
    assert "more voltage" in back
    assert lessons.supply_instead(bare, old, old) == []
    assert lessons.supply_instead(cabinet, old, new) == [], "a meter tells"


def test_the_last_runs_and_the_last_learning_run_are_learnt_from_together(oven, monkeypatch):
    monkeypatch.setattr(lessons, "_log", lambda _, folder: folder)
    versions = [Version(1, Taught.LEARNT, "", "/runs/learn", 1, 0, guard=1)]
    versions += [Version(n, Taught.LEARNT, "", f"/runs/{n}", n, n - 1, guard=1) for n in range(2, 7)]
    ledger = Ledger(in_use=6, versions=tuple(versions))
    assert lessons._earlier(ledger, oven("curing-cabinet")) == ["/runs/6", "/runs/5", "/runs/4", "/runs/learn"]
    assert lessons._earlier(replace(ledger, in_use=2), oven("curing-cabinet")) == ["/runs/2", "/runs/learn"]
