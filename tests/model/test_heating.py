"""The day-zero model against the finely divided virtual oven on the landing: what the chamber does in the first minutes
after full power has ended, which decides how a controller meets a soak."""

from pathlib import Path

import numpy as np
import pytest

from kilnctl import load_oven
from kilnctl.model.day_zero import day_zero, working_of
from kilnctl.model.energy import CHAMBER
from kilnctl.model.heating import LANDING_SHARE, fine_heating
from tests.generated.ovens import numbered

CONFIGS = Path(__file__).parents[2] / "configs"
#: An effect of the power's fall that is smaller, K, is not compared.
SMALL_K = 2.0


def landing_error(oven) -> float:
    """The model's worst error of what the power's fall does to the empty chamber, as a share of that."""
    working = working_of(oven)[1]
    model, fine = day_zero(oven, None, working), fine_heating(oven, working)
    x, chamber = model.rest(model.ambient_c), []
    share = 1.0
    for times in (fine.time_s, np.append(0.0, fine.landing_s)):
        for dt in np.diff(times).tolist():
            x = model.step(x, share * model.power_w, dt, model.ambient_c)
            chamber.append(x[CHAMBER])
        share = LANDING_SHARE
    ours, cut = np.array(chamber)[len(fine.time_s) - 1 :], chamber[len(fine.time_s) - 2]
    rate = (fine.chamber_c[-1] - fine.chamber_c[-2]) / (fine.time_s[-1] - fine.time_s[-2])
    rises = fine.landing_c - fine.chamber_c[-1]
    effect = rate * fine.landing_s - rises
    told = effect > SMALL_K
    assert told.sum() > 5
    return float(np.max(np.abs((ours - cut) - rises)[told] / effect[told]))


def drawn(number: int, folder: Path):
    path = folder / "oven.yaml"
    path.write_text(numbered(1, number), encoding="utf-8")
    return load_oven(path)


def test_model_lands_as_the_virtual_oven_does(tmp_path):
    """Before the landing was compared, this model was 10.9 % off."""
    assert landing_error(drawn(3, tmp_path)) < 0.07


@pytest.mark.slow
@pytest.mark.parametrize("name", ["curing-cabinet", "brick-kiln", 5, 6, 11])
def test_other_models_land_so_too(name, tmp_path):
    """Before: cabinet 18 %, kiln 23 %, number 11 13 % off."""
    oven = load_oven(CONFIGS / "ovens" / f"{name}.yaml") if isinstance(name, str) else drawn(name, tmp_path)
    assert landing_error(oven) < 0.08


def test_the_landing_follows_the_heat_up(tmp_path):
    """It begins where the heat-up ends, stays below what full power would have made, and lasts long enough."""
    oven = drawn(3, tmp_path)
    fine = fine_heating(oven, working_of(oven)[1])
    assert 0.0 < fine.landing_s[0] <= 1.0 and np.all(np.diff(fine.landing_s) > 0.0)
    assert fine.landing_s[-1] == pytest.approx(0.15 * fine.time_s[-1], rel=0.1)
    assert abs(fine.landing_c[0] - fine.chamber_c[-1]) < 3.0
    assert fine.landing_c[-1] < fine.chamber_c[-1] + fine.landing_s[-1] * np.diff(fine.chamber_c)[-1] / (
        fine.time_s[-1] - fine.time_s[-2]
    )
