"""The thickness that holds a temperature with stated confidence, and the trim that suits."""

import dataclasses
import math

import pytest

from kilnctl import KilnctlError
from kilnctl.output import IMPERIAL, Units
from kilnctl.report.study_text import thickness_text, tuning_text
from kilnctl.studies import thickness_for, tuning
from kilnctl.studies.inputs import NINETY_FIVE
from kilnctl.studies.thickness import Factors, SteadyOven, with_thickness
from tests.studies.study_cases import STILL


@pytest.mark.slow
def test_thickness_for_a_confidence_against_the_conductivity_at_that_confidence(oven):
    """With only the conductivity unsure, 90 of 100 ovens hold the temperature exactly when the oven with the 90 %
    conductivity does: holding power rises with conductivity."""
    cabinet = oven("curing-cabinet")
    only, layer = dataclasses.replace(STILL, conductivity=0.3), "mineral wool 100"
    k90 = math.exp(1.281552 / NINETY_FIVE * math.log1p(0.3))
    weak = dataclasses.replace(
        cabinet, elements=dataclasses.replace(cabinet.elements, power_w=0.15 * cabinet.elements.power_w)
    )
    reach = SteadyOven(with_thickness(weak, layer, 0.040), factors=Factors(conductivity=k90)).highest(
        weak.elements.power_w
    )
    found = thickness_for(weak, layer, reach, 0.90, draws=30, vary=only, jobs=1)
    # The 90 % point of 30 draws has a standard error of √(0.9·0.1/30)/0.1755 = 0.31 σ, with σ = 0.13 of ln k: 4 % of
    # the thickness; three of them.
    assert found.needed_m == pytest.approx(0.040, abs=0.005) and found.share >= 0.90
    shares = [s for _, s in found.tried]
    assert shares == sorted(shares) and "confidence" in thickness_text(found)
    nobody = thickness_for(weak, layer, 600.0, 0.90, draws=10, vary=only, jobs=1)
    assert nobody.needed_m is None and nobody.share == 0.0 and "not even" in thickness_text(nobody)


@pytest.mark.parametrize(
    "layer, reach, confidence, words",
    [
        ("chocolate", 200.0, 0.95, "no layer of 'chocolate'"),
        (None, 5000.0, 0.95, "--reach"),
        (None, 100.0, 1.0, "--confidence"),
        (None, 100.0, 0.999, "cannot tell"),
    ],
)
def test_questions_of_thickness_that_cannot_be_answered(oven, layer, reach, confidence, words):
    cabinet = oven("curing-cabinet")
    with pytest.raises(KilnctlError, match=words):
        thickness_for(cabinet, layer or cabinet.walls.sides.layers[1].material, reach, confidence, draws=50, jobs=1)


@pytest.mark.slow
def test_a_layer_behind_others_is_judged_by_its_own_hot_face_and_not_by_the_chamber(oven):
    """The slab of the bench muffle bears 982 °C and lies behind board: at 1010 °C inside it is far below that; thicker,
    it is hotter."""
    muffle = oven("bench-muffle")
    only = dataclasses.replace(STILL, conductivity=0.1)
    found = thickness_for(muffle, "slab wool", 1010.0, 0.90, draws=10, vary=only, jobs=1)
    assert found.needed_m is not None and found.borne and found.hot_c < found.limit_c < 1010.0
    slab = dataclasses.replace(muffle.materials[0], limit_c=550.0)
    weak = dataclasses.replace(muffle, materials=(slab,), elements=dataclasses.replace(muffle.elements, power_w=340.0))
    thick = thickness_for(weak, "slab wool", 1000.0, 0.90, draws=10, vary=only, jobs=1)
    assert thick.needed_m is not None and thick.needed_m > 0.038 and not thick.borne and thick.hot_c > 550.0
    said = thickness_text(thick, Units(IMPERIAL))
    assert "NOT USABLE" in said and "1832 °F" in said and " in hold" in said and "°C" not in said and " mm" not in said
    with pytest.raises(KilnctlError, match=r"its hot face would be at 1[23][0-9]{2} °C even if it were 5 mm thin"):
        thickness_for(muffle, "ceramic fiber board 300", 1320.0, 0.90, draws=10, vary=only, jobs=1)


@pytest.mark.slow
def test_tuning_shows_the_trade_and_suggests(case):
    # The gentlest and the quickest that a file may ask for.
    settings = tuning.compare(case, 3, (0.1, 10.0), jobs=2)
    slow, quick = settings
    # A sag of the supply is answered sooner by the quick trim, and the duty pays for it.
    assert quick.activity > 1.5 * slow.activity and slow.failed == quick.failed == 0.0
    assert "suggested" in tuning_text(settings, 1.0)
    best = tuning.Setting(1.0, 0.5, 0.6, 0.2, 0.0)
    assert (
        tuning.suggest((tuning.Setting(0.5, 0.5, 0.9, 0.1, 0.0), best, tuning.Setting(2.0, 0.5, 0.55, 0.4, 0.0)))
        is best
    )
    assert tuning.suggest((tuning.Setting(0.5, 0.1, 0.1, 0.1, 0.2), best)) is best
