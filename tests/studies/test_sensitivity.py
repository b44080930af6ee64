"""Spread and influence, against what is known exactly."""

import math

import numpy as np
import pytest
from scipy.special import ndtr

from kilnctl.studies.inputs import INPUTS, NINETY_FIVE, Vary, deviates, virtual_of
from kilnctl.studies.sensitivity import influences, spread


def test_sampled_spread_of_a_linear_plant_against_analytic_propagation(oven):
    """y = Σ a·x of independent normal x is normal with variance Σ a²σ² (JCGM 100:2008, section 5.1.2, exact for a
    linear function): the 5 % and 95 % points of a steady linear oven (ambient plus a gain times a supply's deviation,
    seen by a sensor that is off) lie at ±1.6449 σ."""
    cabinet, vary, n = oven("curing-cabinet"), Vary(ambient_k=8.0, supply=0.1, control_offset_k=1.5), 4000
    gain = 120.0

    def shown(k: int) -> float:
        v = virtual_of(vary, cabinet, deviates(5, k, 0), 1)
        assert v.ambient_c is not None
        return v.ambient_c + gain * v.supply + v.control_offset_k

    sigma = math.sqrt(8.0**2 + (gain * 0.1) ** 2 + 1.5**2) / NINETY_FIVE
    middle = cabinet.site.ambient_c + gain
    found = spread({k: shown(k) for k in range(n)}, +1)
    assert found is not None
    # Standard error of a quantile: √(p(1 − p)/n)/density; density of the standard normal at 1.6449 is 0.1031, at 0 it
    # is 0.3989.
    tail, centre = 4.0 * math.sqrt(0.05 * 0.95 / n) / 0.1031 * sigma, 4.0 * math.sqrt(0.25 / n) / 0.3989 * sigma
    assert found.low == pytest.approx(middle - 1.6449 * sigma, abs=tail)
    assert found.high == pytest.approx(middle + 1.6449 * sigma, abs=tail)
    assert found.middle == pytest.approx(middle, abs=centre)
    assert found.worst == max(shown(k) for k in range(n)) == shown(found.worst_draw)
    # The influences are the shares of the variance, Σ a²σ² term by term.
    z = np.array([deviates(5, k, 0) for k in range(n)])
    wanted = [INPUTS.index(i) for i in ("ambient_k", "supply", "control_offset_k")]
    ranked = {
        i.name: i
        for i in influences(("room", "supply", "sensor"), z[:, wanted], np.array([shown(k) for k in range(n)]))
    }
    for name, share in (("room", 8.0**2), ("supply", 12.0**2), ("sensor", 1.5**2)):
        assert ranked[name].share == pytest.approx(
            share / (8.0**2 + 12.0**2 + 1.5**2), abs=max(0.004, 5.0 * ranked[name].error)
        )
        assert ranked[name].slope == pytest.approx(math.sqrt(share / (8.0**2 + 12.0**2 + 1.5**2)), abs=0.05)


@pytest.mark.parametrize("n, within", [(1000, 0.07), (8000, 0.03)])
def test_influences_against_the_published_indices_of_the_ishigami_function(n, within):
    """f = sin x1 + 7 sin² x2 + 0.1 x3⁴ sin x1 on (−π, π): first-order Sobol' indices 0.3139, 0.4424 and 0 (T. Ishigami
    and T. Homma, ISUMA 1990; figures from memory, confirmed here from the closed form of Sobol' and Levitan, 1999)."""
    a, b, pi = 7.0, 0.1, math.pi
    total = a * a / 8.0 + b * pi**4 / 5.0 + b * b * pi**8 / 18.0 + 0.5
    exact = {"x1": 0.5 * (1.0 + b * pi**4 / 5.0) ** 2 / total, "x2": a * a / 8.0 / total, "x3": 0.0}
    assert exact["x1"] == pytest.approx(0.3139, abs=5e-5) and exact["x2"] == pytest.approx(0.4424, abs=5e-5)
    z = np.random.default_rng(11).standard_normal((n, 3))
    x = pi * (2.0 * ndtr(z) - 1.0)
    y = np.sin(x[:, 0]) + a * np.sin(x[:, 1]) ** 2 + b * x[:, 2] ** 4 * np.sin(x[:, 0])
    found = influences(("x1", "x2", "x3"), z, y)
    assert [i.name for i in found] == ["x2", "x1", "x3"]
    for i in found:
        assert i.share == pytest.approx(exact[i.name], abs=within)


def test_nothing_is_ranked_from_too_little():
    z = np.random.default_rng(1).standard_normal((40, 13))
    assert influences(tuple("abcdefghijklm"), z, z[:, 0]) == ()
    assert influences(("a",), np.random.default_rng(1).standard_normal((40, 1)), np.ones(40)) == ()
    assert spread({}, +1) is None
    high, low = spread({3: 1.0, 2: 1.0, 9: 0.5}, +1), spread({3: 1.0, 9: 0.5}, -1)
    assert high and high.worst_draw == 2 and low and low.worst_draw == 9
