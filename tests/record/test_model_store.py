"""The store of an oven's models: what is in use, pinned, undone; a damaged disk, another description."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl import KilnctlError, load_model, prepare, save_model
from kilnctl.identification.learning import described
from kilnctl.identification.records import Log
from kilnctl.model.trained_file import trained_words
from kilnctl.record.model_store import MOST_VERSIONS, ModelStore, Version, store_of
from kilnctl.terms import Taught
from tests.identification.apparatus_records import synthetic, truth_of


@pytest.fixture(scope="module")
def cabinet(oven):
    return oven("curing-cabinet")


@pytest.fixture(scope="module")
def model(cabinet):
    """A model with a covariance, as a run would teach it."""
    log: Log = synthetic(truth_of(cabinet), hours=0.5, dt_s=30.0)
    return replace(described(cabinet, log), rms_k=0.25, low_c=20.0, high_c=200.0, records=(("a run", 0.25),))


def learnt(store, model, number, *, taught=Taught.LEARNT, guards=False):
    parent = store.ledger().in_use
    version = Version(0, taught, "2026-01-02", f"/runs/{number}", number, parent)
    return store.add(model, version, guards=guards)


def test_versions_are_used_pinned_undone_and_never_written_again(cabinet, model, tmp_path):
    store = ModelStore(tmp_path / "models")
    assert store.in_use(cabinet) == ("", "") and store.model(0) is None
    store.begin_anew(cabinet)
    assert [learnt(store, model, k).number for k in (1, 2)] == [1, 2]
    file, note = store.in_use(cabinet)
    assert file == str(store.file(2)) and note == "" and store.holds(file) and not store.holds(str(tmp_path / "x.yaml"))
    first = store.file(1).read_bytes()
    assert learnt(store, model, 3, taught=Taught.ASIDE).number == 3 and store.ledger().in_use == 2
    assert store.undo() == (2, 1) and [v.state for v in store.ledger().versions] == ["learnt", "undone", "kept aside"]
    store.pin(3)
    assert store.ledger().in_use == 3 and store.ledger().pinned
    store.unpin()
    assert not store.ledger().pinned and learnt(store, model, 4).number == 4
    assert [v.number for v in store.ledger().lineage()] == [4, 3, 2, 1] and store.file(1).read_bytes() == first
    with pytest.raises(KilnctlError, match="no model 9"):
        store.pin(9)
    store.pin(0)
    with pytest.raises(KilnctlError, match="nothing to undo"):
        store.undo()


@settings(max_examples=15)
@given(st.lists(st.sampled_from(["learnt", "aside", "undo", "pin", "unpin", "note"]), max_size=12))
def test_whatever_is_done_the_model_in_use_is_there(tmp_path_factory, cabinet, model, deeds):
    store, made = ModelStore(tmp_path_factory.mktemp("models")), []
    store.begin_anew(cabinet)
    for deed in deeds:
        try:
            if deed in ("learnt", "aside"):
                taught = Taught.ASIDE if deed == "aside" else Taught.LEARNT
                made.append(learnt(store, model, len(made) + 1, taught=taught).number)
            elif deed == "pin":
                store.pin(made[0] if made else 0)
            elif deed == "note":
                store.note("/runs/x", "it was stopped")
            else:
                getattr(store, deed)()
        except KilnctlError as error:
            assert deed == "undo" and "nothing to undo" in str(error)
        ledger = store.ledger()
        assert ledger.in_use == 0 or store.file(ledger.in_use).is_file()
    assert made == sorted(set(made)) and len(store.ledger().versions) == len(made)


def test_a_damaged_ledger_costs_no_model(cabinet, model, tmp_path):
    store = ModelStore(tmp_path)
    store.begin_anew(cabinet)
    for k in (1, 2):
        learnt(store, model, k)
    for name in ("ledger", "ledger.before"):
        (tmp_path / name).write_bytes(b"\0")
    assert store.in_use(cabinet) == ("", "") and store.ledger().versions == ()
    assert learnt(store, model, 3).number == 3 and store.file(1).is_file()
    store.file(3).write_text("nonsense")
    file, note = store.in_use(cabinet)
    assert file == "" and "model 3 cannot be used" in note


def test_a_folder_that_cannot_be_written_is_told(cabinet, tmp_path):
    (tmp_path / "models").write_text("a file")
    with pytest.raises(KilnctlError, match="cannot be written"):
        ModelStore(tmp_path / "models").begin_anew(cabinet)


def test_another_description_begins_anew_and_a_comment_does_not(cabinet, model, tmp_path):
    store = ModelStore(tmp_path)
    store.begin_anew(cabinet)
    learnt(store, model, 1)
    assert store.in_use(replace(cabinet, sha256="another comment"))[0]
    other = replace(cabinet, sha256="another lining", shelf=replace(cabinet.shelf, mass_kg=3.0 * cabinet.shelf.mass_kg))
    file, note = store.in_use(other)
    assert file == "" and "the description has been changed since model 1" in note


def test_a_virtual_rig_teaches_the_real_oven_nothing(tmp_path):
    kinds = ("virtual", "board", "pins")
    assert [store_of(tmp_path, kind).folder.name for kind in kinds] == ["models-virtual", "models", "models"]


def test_old_versions_go_and_those_that_count_stay(cabinet, model, tmp_path, monkeypatch):
    monkeypatch.setattr("kilnctl.record.model_store.MOST_VERSIONS", 6)
    store = ModelStore(tmp_path)
    store.begin_anew(cabinet)
    learnt(store, model, 1, guards=True)
    for k in range(2, 12):
        learnt(store, model, k)
    kept = [v.number for v in store.ledger().versions]
    assert len(kept) == 6 < MOST_VERSIONS and kept[0] == 1 and kept[-4:] == [8, 9, 10, 11]
    assert sorted(int(p.stem.split("-")[1]) for p in tmp_path.glob("model-*.yaml")) == kept


def test_what_ordinary_runs_teach_changes_no_limit(cabinet, model, schedule, tmp_path):
    """Losses that a slipping sensor would feign: the control follows, and the rules go by the description, or by the
    learning run that a person asked for."""
    store, cure = ModelStore(tmp_path), schedule("temper")
    store.begin_anew(cabinet)
    lossy = replace(model, model=model.model.but(lining_w_per_k=tuple(1.5 * g for g in model.model.lining_w_per_k)))
    learnt(store, lossy, 1)
    by_runs, bare = prepare(cabinet, cure, store.file(1)), prepare(cabinet, cure)
    assert by_runs.policy == bare.policy and by_runs.model != bare.model
    learnt(store, model, 2, guards=True)
    learnt(store, lossy, 3)
    asked, after = (prepare(cabinet, cure, store.file(k)) for k in (2, 3))
    assert after.policy == asked.policy and after.model != asked.model
    assert [p.policy.coolest is not None and p.policy.coolest.learnt for p in (asked, bare)] == [True, False]
    # The version that the rules go by is gone: they know no more than the description.
    store.file(2).unlink()
    assert prepare(cabinet, cure, store.file(3)).policy == bare.policy


def test_a_version_tells_its_number_and_runs(cabinet, model, tmp_path):
    path = tmp_path / "model.yaml"
    save_model(path, replace(model, version=4, runs=3, guard=1))
    read = load_model(path, cabinet)
    assert (read.version, read.runs, read.guard, read.guards) == (4, 3, 1, False)
    assert trained_words(read, 150.0).startswith("model 4, from 3 runs, 0.25 K rms, between 20 and 200 °C")
    assert math.isfinite(read.rms_k)
    path.write_text(path.read_text().replace("runs: 3", "runs: -3"))
    with pytest.raises(KilnctlError, match="whole number from 0"):
        load_model(path, edited=True)
