"""R-values and conductivities of sellers hold at a mean temperature, and are carried to others along a curve."""

from pathlib import Path

import pytest

from kilnctl.body import layers_of, load_oven, material_of
from kilnctl.body.layers import carried
from kilnctl.settings.document import SettingsError
from kilnctl.sizing import size
from kilnctl.thermal.material_data import find

CABINET = Path("configs/ovens/curing-cabinet.yaml")
WOOL = "{material: mineral wool 100, thickness: 80 mm}"


def cabinet(tmp_path, layer, more=""):
    text = CABINET.read_text()
    assert WOOL in text
    path = tmp_path / "oven.yaml"
    path.write_text(text.replace(WOOL, layer) + more)
    return load_oven(path)


def wool(oven):
    return layers_of(oven, oven.walls.sides)[1].material


@pytest.mark.parametrize(
    ("mean", "at_c"), [("", 24.0), (", mean temperature: 10 °C", 10.0), (", mean temperature: 100 °C", 100.0)]
)
def test_an_r_value_is_met_at_its_temperature_and_carried_by_the_curve(tmp_path, mean, at_c):
    oven = cabinet(tmp_path, WOOL[:-1] + f", resistance: 2.0 m²·K/W{mean}}}")
    here, library = wool(oven), find("mineral wool 100")
    assert here.conductivity(at_c) == pytest.approx(0.08 / 2.0)
    assert here.conductivity(250.0) / here.conductivity(at_c) == pytest.approx(
        library.conductivity(250.0) / library.conductivity(at_c)
    )
    assert any("layers[2].mean temperature: 24 °C" in line for line in oven.assumptions) == (mean == "")
    assert any("as that of mineral wool 100 does" in line for line in oven.assumptions)


def test_a_layer_may_have_a_conductivity_of_its_own(tmp_path):
    oven = cabinet(tmp_path, WOOL[:-1] + ", conductivity: 0.05 W/(m·K), mean temperature: 100 °C}")
    assert wool(oven).conductivity(100.0) == pytest.approx(0.05)


def test_the_colder_the_figure_was_measured_the_more_power_the_oven_takes(tmp_path):
    """The same R-value measured hot is a better wool than measured cold."""
    watts = []
    for mean in ("10 °C", "24 °C", "100 °C"):
        oven = cabinet(tmp_path, WOOL[:-1] + f", resistance: 2.0 m²·K/W, mean temperature: {mean}}}")
        watts.append(size(oven).power_w(250.0))
    assert watts[0] > watts[1] > 1.05 * watts[2]


OWN = """
materials:
  - {{name: shop wool, conductivity: {k}, density: 100 kg/m³, limit: 600 °C{more}}}
"""


def test_a_material_of_ones_own_follows_the_one_it_is_like(tmp_path):
    layer = WOOL.replace("mineral wool 100", "shop wool")
    more = ", mean temperature: 40 °C, like: mineral wool 100"
    oven = cabinet(tmp_path, layer, OWN.format(k="0.04 W/(m·K)", more=more))
    own, library = material_of(oven, "shop wool"), find("mineral wool 100")
    assert own.conductivity(40.0) == pytest.approx(0.04) and own.limit_c == 600.0 and own.name == "shop wool"
    assert own.conductivity(300.0) == pytest.approx(0.04 * library.conductivity(300.0) / library.conductivity(40.0))
    # A temperature next to the figure is the same as one said apart.
    beside = cabinet(tmp_path, layer, OWN.format(k="{40 °C: 0.04 W/(m·K)}", more=", like: mineral wool 100"))
    assert material_of(beside, "shop wool").conductivity(300.0) == pytest.approx(own.conductivity(300.0))
    assert not any("shop wool" in line for line in beside.assumptions)


def test_without_a_kind_it_stays_constant_and_that_is_said(tmp_path):
    oven = cabinet(tmp_path, WOOL.replace("mineral wool 100", "shop wool"), OWN.format(k="0.04 W/(m·K)", more=""))
    assert material_of(oven, "shop wool").conductivity(500.0) == pytest.approx(0.04)
    assert any("same at every temperature" in line for line in oven.assumptions)


@pytest.mark.parametrize(
    ("layer", "own", "words"),
    [
        (WOOL[:-1] + ", mean temperature: 24 °C}", "", "belongs to a 'resistance' or a 'conductivity'"),
        (WOOL[:-1] + ", resistance: R-13, conductivity: 0.04 W/(m·K)}", "", "either 'resistance' or 'conductivity'"),
        (
            WOOL,
            OWN.format(k="{20 °C: 0.04 W/(m·K), 90 °C: 0.05 W/(m·K)}", more=", like: glass wool 24"),
            "single conductivity only",
        ),
        (WOOL, OWN.format(k="0.04 W/(m·K)", more=", like: glas wol"), "no material 'glas wol'"),
    ],
)
def test_what_does_not_go_together_is_refused_with_its_place(tmp_path, layer, own, words):
    with pytest.raises(SettingsError, match=words):
        cabinet(tmp_path, layer, own)


def test_a_curve_is_scaled_whole():
    board = find("ceramic fibre board 300")
    own = carried(board, 0.09, 400.0)
    assert own.conductivity(400.0) == pytest.approx(0.09) and own.range_c == board.range_c
    assert own.conductivity(900.0) / board.conductivity(900.0) == pytest.approx(0.09 / 0.08)
