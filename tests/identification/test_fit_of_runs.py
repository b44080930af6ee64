"""Any finished record of an ordinary run can be fitted, and its standard errors are those of the truth or it says what
is missing.

The holding power is compared with sizing's, which solves the description in another way. The ovens are those that
`kilnctl new` writes and three of our own; the records are short, as a first run's are."""

import math

import numpy as np
import pytest

from kilnctl import KilnctlError, fit, load_oven, rehearse, size
from kilnctl.commands import new
from kilnctl.commands._description import described
from kilnctl.identification.prior import widened
from kilnctl.report.fit_text import fit_text
from kilnctl.settings.schedule import Schedule, Step

FIBRE_POT = """oven: Fibre pot
chamber: {width: 200 mm, depth: 200 mm, height: 300 mm, opening: top}
walls:
  sides:
    - {material: ceramic fibre blanket 128, thickness: 75 mm}
    - {material: steel, thickness: 1 mm}
door: {gap: 1 mm}
elements: {power: 2 kW, alloy: iron-chromium-aluminium}
supply: {voltage: 120 V, frequency: 60 Hz}
sensors:
  control: {type: K, lag: 0 s, dead time: 0 s}
limits: {highest: 900 °C, limiter: 960 °C}
"""
CABINET = """oven: Cabinet with a thin door
chamber: {width: 500 mm, depth: 450 mm, height: 450 mm, opening: front}
walls:
  sides:
    - {material: steel, thickness: 1 mm}
    - {material: mineral wool 100, thickness: 100 mm}
    - {material: steel, thickness: 1 mm}
  door:
    - {material: steel, thickness: 1 mm}
    - {material: mineral wool 100, thickness: 30 mm}
    - {material: steel, thickness: 1 mm}
door: {gap: 0.5 mm}
fan: {air speed: 2 m/s, power: 40 W}
elements: {power: 2 kW, alloy: sheathed, limit: 700 °C}
supply: {voltage: 230 V, frequency: 50 Hz}
sensors:
  control: {type: K, lag: 15 s}
limits: {highest: 200 °C, limiter: 230 °C}
"""


TEXTS = {purpose: described(new.default_answers(purpose)) for purpose in new.PURPOSES} | {
    "fibre pot": FIBRE_POT,
    "cabinet": CABINET,
}


def schedules(top_c: float, room_c: float) -> dict[str, Schedule]:
    def at(share: float) -> float:
        return room_c + share * (top_c - room_c)

    rate = (top_c - room_c) / 3600.0
    return {
        "soak": Schedule(name="soak", steps=(Step(to_c=at(0.6), hold_s=900.0),)),
        "ramp": Schedule(name="ramp", steps=(Step(to_c=at(0.35), at_k_per_s=rate),), too_fast="stretch"),
        "jump": Schedule(name="jump", steps=(Step(to_c=at(0.3), hold_s=300.0), Step(to_c=at(0.45), hold_s=300.0))),
        "cooling": Schedule(
            name="cooling", steps=(Step(to_c=at(0.4), hold_s=300.0), Step(to_c=at(0.33), let_cool=True))
        ),
    }


#: An oven that is quick and one that is slow; the others are more of the same.
QUICK = ("fibre pot",)


@pytest.mark.parametrize("name", [n if n in QUICK else pytest.param(n, marks=pytest.mark.slow) for n in TEXTS])
def test_every_kind_of_run_of_every_kind_of_oven(name, tmp_path):
    path = tmp_path / "oven.yaml"
    path.write_text(TEXTS[name], encoding="utf-8")
    oven = load_oven(path)
    sizing = size(oven)
    for kind, schedule in schedules(oven.limits.highest_c, oven.site.ambient_c).items():
        run = rehearse(oven, schedule, seed=4)
        try:
            found = fit(oven, run)
        except KilnctlError as error:
            # What trips early is short; nothing else of these is a reason.
            assert "too few to learn from" in str(error) and run.time_s[-1] < 600.0, kind
            continue
        assert "Power that holds" in fit_text(found) and found.tension >= 1.0
        top = found.high_c
        watts, error = found.spread_of(lambda m, top=top: m.holding_w(top))
        # Records of a quarter of an hour speak of the lining's face alone: five of the errors that they admit to are
        # the most that was seen.
        assert abs(watts - sizing.power_w(top)) < 5.0 * error, kind
        assert all(math.isfinite(v) and v > 0.0 for v in found.log_errors.values())


def test_birge_ratio_widens_only_what_disagrees():
    """By hand: two parameters, both determined, pulled by 3 and 4 prior spreads: χ² = 25 over (nearly) two is 3.5
    times."""
    prior, after = np.diag([0.04, 0.09]), np.diag([0.04e-4, 0.09e-4])
    same, tension = widened(after, prior, np.array([0.1, 0.1]))
    assert tension == 1.0 and np.array_equal(same, after)
    assert widened(after, prior, np.array([1.3 * 0.2, 1.3 * 0.3]))[1] == 1.0, (
        "χ² of 3.4 for two is no more than chance makes"
    )
    wider, tension = widened(after, prior, np.array([3 * 0.2, 4 * 0.3]))
    assert tension == pytest.approx(math.sqrt(25.0 / 2.0), rel=1e-3)
    assert wider == pytest.approx(12.5 * after, rel=1e-3)
