"""How late the readings come is found from them: the delay that a description does not know."""

import numpy as np
import pytest

from kilnctl.control import estimator, lateness
from kilnctl.model.day_zero import day_zero
from kilnctl.model.doubt import MOST_LATE, ZONE_S, unsure_late
from kilnctl.model.energy import CHAMBER, SENSOR
from tests.control.control_cases import drawn_oven


def followed(m, times: float, late: float):
    """(estimate, true chamber °C) after a heat-up in steps of power of an oven whose sensor lags `times` as long."""
    true, rng = m.but(lag_s=times * m.lag_s), np.random.default_rng(3)
    x, estimate, line = m.rest(20.0), estimator.start(m, 20.0, 20.0, late), [20.0] * (1 + round(m.dead_s))
    for i in range(1800):
        power = m.power_w if (i // 150) % 2 == 0 else 0.3 * m.power_w
        x = true.step(x, power, 1.0, 20.0)
        line.append(x[SENSOR])
        reading = line[-1 - round(m.dead_s)] + 0.15 * rng.standard_normal()
        estimate = estimator.update(m, estimate, reading, power, 1.0, 20.0, 0.15)
    return estimate, x[CHAMBER]


@pytest.mark.parametrize("times", [0.5, 1.0, 4.0])
def test_a_sensor_of_another_lag_is_found(cabinet_model, times):
    m = cabinet_model
    estimate, true_c = followed(m, times, unsure_late(m))
    lag_s = m.lag_s + lateness.more_s_of(m, estimate.late)
    assert lag_s == pytest.approx(times * m.lag_s, rel=0.2, abs=2.0), "two ticks"
    assert estimate.now[CHAMBER] == pytest.approx(true_c, abs=1.5)
    assert estimate.shares[0] == pytest.approx(1.0, abs=0.1), "a late reading is no lack of power"


def test_without_doubt_of_it_a_late_reading_is_taken_for_something_else(cabinet_model):
    estimate, true_c = followed(cabinet_model, 4.0, 0.0)
    assert estimate.late == 0.0
    assert abs(estimate.now[CHAMBER] - true_c) > 5.0 or abs(estimate.shares[0] - 1.0) > 0.1


def test_the_lateness_of_a_description_is_that_of_a_sensor_in_a_zone_of_its_own(cabinet_model):
    slow = cabinet_model.but(lag_s=60.0)
    two_sigma = 2.0 * unsure_late(slow)
    assert lateness.more_s_of(slow, two_sigma) == pytest.approx(ZONE_S, rel=1e-6)
    assert unsure_late(cabinet_model.but(lag_s=2.0)) == MOST_LATE, "of a quick sensor no more than the filter bears"


def test_lateness_stays_within_its_bounds(cabinet_model):
    m = cabinet_model
    quickest = lateness.within(m, -9.0)
    assert m.lag_s + lateness.more_s_of(m, quickest) == pytest.approx(lateness.LEAST_SHARE * m.lag_s)
    assert lateness.more_s_of(m, lateness.within(m, 9.0)) == pytest.approx(ZONE_S)
    assert lateness.within(m.but(lag_s=0.0, dead_s=0.0), 1.0) == 0.0
    assert lateness.by_lateness(m.but(lag_s=0.0), 5.0, 20.0, 1.0, 0.0, 0.0) == 0.0


def test_the_chamber_may_be_hotter_than_shown_only_while_it_rises_and_the_lateness_is_unsure(cabinet_model):
    m = cabinet_model
    rising = list(m.rest(100.0))
    rising[CHAMBER] += 5.0
    one, two = lateness.hotter_k(m, rising, 0.0, 0.3), lateness.hotter_k(m, rising, 0.0, 0.6)
    assert 0.0 < one < two
    # A lag longer by that share of lag and dead time, at the rate that makes a gap of 5 K.
    assert one == pytest.approx(5.0 * m.delay_s * np.expm1(0.3) / m.lag_s)
    assert lateness.hotter_k(m, rising, 0.0, 0.0) == 0.0, "a fit knows its lag"
    assert lateness.hotter_k(m, m.rest(100.0), 0.0, 0.6) == 0.0
    rising[CHAMBER] -= 10.0
    assert lateness.hotter_k(m, rising, 0.0, 0.6) == 0.0, "it cools"
    assert lateness.hotter_k(m.but(lag_s=0.0), rising, 0.0, 0.6) == 0.0


def test_no_reading_moves_the_lateness_further_than_its_standard_deviation():
    """Its effect is anything but linear. With elements of .4 of the mass one reading moved it by 1.8 of them, from an
    early sensor to a late one, and the chamber was 6 K off two minutes later."""
    oven, goal_c = drawn_oven(500, 66)
    m = day_zero(oven, oven.usual_load, goal_c)
    true, rng = m.but(element_j_per_k=0.4 * m.element_j_per_k), np.random.default_rng(1)
    x, estimate, line = m.rest(20.0), estimator.start(m, 20.0, 20.0, unsure_late(m)), [20.0] * (1 + round(m.dead_s))
    furthest = 0.0
    for _ in range(120):
        x = true.step(x, m.power_w, 1.0, 20.0)
        line.append(x[SENSOR])
        reading = line[-1 - round(m.dead_s)] + 0.15 * rng.standard_normal()
        before, estimate = estimate, estimator.update(m, estimate, reading, m.power_w, 1.0, 20.0, 0.15)
        furthest = max(furthest, abs(estimate.late - before.late) / estimator.spread(before, estimator.LATE))
    assert furthest < 1.01 and estimate.now[CHAMBER] == pytest.approx(x[CHAMBER], abs=3.0)
