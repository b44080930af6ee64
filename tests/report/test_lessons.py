"""After a run: whether it teaches at all, and who hears of it."""

import json

import pytest

from kilnctl.record.folder import Begun, SampleWriter, begin
from kilnctl.record.kept_aside import read_kept_aside
from kilnctl.record.model_store import Version
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
