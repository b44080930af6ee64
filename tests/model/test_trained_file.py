"""Trained models on disk: the same after reading, refused when edited, damaged, out of bounds or of another
oven."""

import math
from dataclasses import replace

import pytest
import yaml

from kilnctl import KilnctlError
from kilnctl.model.day_zero import day_zero
from kilnctl.model.parameters import NAMES, PARAMETERS, value_of
from kilnctl.model.trained_file import TrainedModel, load_model, save_model
from kilnctl.report.fit_text import models_compared
from kilnctl.safety.misplaced import Place


@pytest.fixture
def cabinet(oven):
    return oven("curing-cabinet")


@pytest.fixture
def kept(cabinet):
    model = day_zero(cabinet, None, 200.0)
    return TrainedModel(
        cabinet.name,
        model,
        None,
        200.0,
        20.0,
        250.0,
        0.21,
        "a spring day",
        (("learning run", 0.21),),
        dict.fromkeys(NAMES, 0.1),
    )


def test_the_same_after_reading(kept, cabinet, tmp_path):
    path = tmp_path / "model.yaml"
    save_model(path, kept)
    read = load_model(path, cabinet)
    assert read.model == kept.model  # to the last bit
    assert replace(read, file="") == kept
    text = path.read_text(encoding="utf-8")
    assert "unit: J/K" in text and "low:" in text and "learning run" in text and "a spring day" in text


@pytest.mark.parametrize("place", [None, Place(0.0, 0.0), Place(0.125, 0.5)])
def test_it_keeps_where_the_control_sensor_was_seen(kept, cabinet, tmp_path, place):
    path = tmp_path / "model.yaml"
    save_model(path, replace(kept, place=place))
    assert load_model(path, cabinet).place == place
    assert ("control sensor" in path.read_text(encoding="utf-8")) is (place is not None)


@pytest.mark.parametrize("said", ["near_elements: 1.5", "near_elements: .nan", "near_elements: here", "other: 0.1"])
def test_a_place_that_cannot_be_is_refused(kept, tmp_path, said):
    path = tmp_path / "model.yaml"
    save_model(path, replace(kept, place=Place(0.125, 0.5)))
    text = path.read_text(encoding="utf-8")
    assert text.count("near_elements: 0.125") == 1
    path.write_text(text.replace("near_elements: 0.125", said), encoding="utf-8")
    with pytest.raises(KilnctlError, match="the model cannot be used"):
        load_model(path, edited=True)


def test_with_a_load(cabinet, tmp_path):
    load = cabinet.usual_load
    kept = TrainedModel(cabinet.name, day_zero(cabinet, load, 200.0), load, 200.0, 20.0, 250.0, 0.2, "", (), {})
    save_model(tmp_path / "m.yaml", kept)
    assert load_model(tmp_path / "m.yaml").load == load


def test_an_edited_model_is_refused_or_flagged(kept, tmp_path):
    path = tmp_path / "model.yaml"
    save_model(path, kept)
    text = path.read_text(encoding="utf-8")
    value = f"value: {kept.model.leak_w_per_k!r}"
    assert value in text
    path.write_text(text.replace(value, "value: 2.5"), encoding="utf-8")
    with pytest.raises(KilnctlError, match="edited or damaged"):
        load_model(path)
    edited = load_model(path, edited=True)
    assert edited.edited and edited.model.leak_w_per_k == 2.5


@pytest.mark.parametrize(
    "field, value, says",
    [
        ("lag_s", 5000.0, "lag_s = 5000 s is outside"),
        ("power_w", 5.0, "power_w = 5 W is outside"),
        ("film_m2", -1.0, "film_m2"),
        ("leak_w_per_k", float("nan"), "leak_w_per_k"),
    ],
)
def test_out_of_bounds_is_refused_even_when_edits_are_allowed(kept, tmp_path, field, value, says):
    path = tmp_path / "model.yaml"
    save_model(path, kept)
    content = yaml.safe_load(path.read_text(encoding="utf-8"))
    content["parameters"][field]["value"] = value
    path.write_text(yaml.safe_dump(content, allow_unicode=True), encoding="utf-8")
    with pytest.raises(KilnctlError, match=says):
        load_model(path, edited=True)


def test_what_is_out_of_bounds_is_not_saved(kept, tmp_path):
    with pytest.raises(KilnctlError, match="not saved"):
        save_model(tmp_path / "m.yaml", replace(kept, model=kept.model.but(lag_s=5000.0)))
    assert not (tmp_path / "m.yaml").exists()


@pytest.mark.parametrize(
    "text, says",
    [
        ("", "not a trained model"),
        ("[1, 2]", "not a trained model"),
        ("a: {b: [", "not a trained model"),
        ("model: x\nparameters: {}\nformat: 99\n", "format 99"),
        ("!!python/object:os.system {}", "not a trained model"),
        ("model: x\nparameters: {}\nformat: 1\n", "checksum"),
    ],
)
def test_what_is_no_model(tmp_path, text, says):
    path = tmp_path / "model.yaml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(KilnctlError, match=says):
        load_model(path)


def test_damage_that_the_checksum_lets_pass_when_edits_are_allowed(kept, tmp_path):
    path = tmp_path / "model.yaml"
    save_model(path, kept)
    content = yaml.safe_load(path.read_text(encoding="utf-8"))
    for spoil, says in (
        (lambda c: c["parameters"].pop("lag_s"), "'lag_s' is missing"),
        (lambda c: c["parameters"]["lag_s"].update(unit="min"), "given in min"),
        (lambda c: c["parameters"]["lining_j_per_k"].update(value=[1.0, 2.0]), "wants 4 values"),
    ):
        broken = yaml.safe_load(yaml.safe_dump(content))
        spoil(broken)
        path.write_text(yaml.safe_dump(broken, allow_unicode=True), encoding="utf-8")
        with pytest.raises(KilnctlError, match=says):
            load_model(path, edited=True)


def test_a_missing_file_and_another_oven(kept, oven, tmp_path):
    with pytest.raises(KilnctlError, match="cannot be read"):
        load_model(tmp_path / "none.yaml")
    save_model(tmp_path / "m.yaml", kept)
    with pytest.raises(KilnctlError, match="not of 'Bench muffle'"):
        load_model(tmp_path / "m.yaml", oven("bench-muffle"))
    stronger = replace(oven("curing-cabinet"), elements=replace(oven("curing-cabinet").elements, power_w=4500.0))
    with pytest.raises(KilnctlError, match="learn again"):
        load_model(tmp_path / "m.yaml", stronger)


def test_another_load_adds_what_the_description_says(kept, cabinet):
    """What was learnt stays: 30 % more lining heat capacity is still there with the load in, and the load's
    own steel is added."""
    learnt = replace(kept, model=kept.model.but(lining_j_per_k=tuple(1.3 * c for c in kept.model.lining_j_per_k)))
    assert learnt.for_load(cabinet, None) == learnt.model
    loaded = learnt.for_load(cabinet, cabinet.usual_load)
    assert loaded.lining_j_per_k == learnt.model.lining_j_per_k
    load = cabinet.usual_load
    assert loaded.contents_j_per_k - learnt.model.contents_j_per_k == pytest.approx(
        load.mass_kg * 510.0, rel=0.1
    )  # steel near 200 °C
    again = replace(learnt, model=loaded, load=load).for_load(cabinet, None)
    for p in PARAMETERS:
        assert math.isclose(value_of(again, p), value_of(learnt.model, p), rel_tol=1e-9, abs_tol=1e-12), p.name


def test_changes_in_plain_words(kept):
    worn = kept.model.but(leak_w_per_k=1.6 * kept.model.leak_w_per_k, dead_s=kept.model.dead_s + 9.0)
    said = models_compared(kept, worn, 40.0, 250.0)
    assert any("holding 200 °C now takes" in line and "% more power" in line for line in said)
    assert any("9 s later" in line for line in said)
    assert models_compared(kept, kept.model, 40.0, 250.0) == [
        "nothing has changed by more than a few per cent since the last fit"
    ]
