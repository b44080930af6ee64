"""The model's steady state, hot and cold."""

import itertools
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl import load_oven
from kilnctl.model.day_zero import day_zero

MUFFLE = Path(__file__).resolve().parents[2] / "configs" / "ovens" / "bench-muffle.yaml"
MODEL = day_zero(load_oven(MUFFLE))


def stays(model, chamber_c: float, ambient_c: float) -> None:
    state, rated = model.steady(chamber_c, ambient_c)
    watts = rated
    after = state
    for _ in range(50):
        after = model.step(after, watts, 1000.0, ambient_c)
    assert after[1] == pytest.approx(chamber_c, abs=0.05)


@pytest.mark.parametrize("rise", [1e-4, 0.005, 0.02])
def test_steady_state_stays_where_it_is(rise):
    model = day_zero(load_oven(MUFFLE)).but(rise_per_k=(rise,) * 4)
    for chamber_c in (60.0, 200.0, 900.0):
        stays(model, chamber_c, 20.0)
    # With steep rises an impossible lump far below the room must not come back warm.
    powers = [model.steady(t)[1] for t in range(30, 1000, 10)]
    assert all(b > a for a, b in itertools.pairwise(powers))


def spread(low: float, high: float):
    """A positive number over decades."""
    return st.floats(math.log(low), math.log(high)).map(math.exp)


@given(
    st.tuples(*[spread(0.05, 500.0)] * 4),
    st.tuples(*[st.sampled_from((0.0, 1e-4, 0.005, 0.02))] * 4),
    spread(0.1, 200.0),
    spread(1e-3, 3.0),
    st.floats(-60.0, 1500.0),
    st.sampled_from((-20.0, 5.0, 35.0)),
)
def test_the_same_heat_flows_through_every_part_of_the_lining(conductances, rises, film, film_m2, chamber_c, room_c):
    model = MODEL.but(lining_w_per_k=conductances, rise_per_k=rises, film_w_per_k=film, film_m2=film_m2)
    state, _ = model.steady(chamber_c, room_c)
    _, into, *through, _ = (q for q, _, _ in model.flows(state, room_c))
    # A face has a rounding of 1e-13 K, and a conductance of the row or the film multiplies it.
    assert through == pytest.approx([into] * 4, rel=1e-7, abs=1e-8)
    assert all(min(chamber_c, room_c) - 1e-9 <= t <= max(chamber_c, room_c) + 1e-9 for t in state[2:6])


def test_chamber_colder_than_the_room_takes_heat_from_it():
    model = day_zero(load_oven(MUFFLE))
    state, watts = model.steady(-5.0, 20.0)
    assert watts < 0.0 and all(a <= b + 1e-6 for a, b in itertools.pairwise(state[2:6]))
    assert state[2] >= -5.0 and state[5] <= 20.0


@pytest.mark.parametrize("dt_s", [0.5, 1.0, 2.0, 15.0])
def test_the_sensor_lags_behind_an_even_rise_by_its_lag_for_any_step(dt_s):
    """y' = (u − y)/τ behind u = r·t comes to y = r·(t − τ) (K. J. Åström and R. M. Murray, Feedback Systems, section
    6.3, from memory). The lag's change with temperature is left out by a narrow range."""
    m = day_zero(load_oven(MUFFLE))
    slope, sensor, end, lag = 1e-4, 100.0, 100.0, m.lag_at_s(100.0)
    by_start, by_end = m.sensor_shares(100.0, dt_s)
    for i in range(round(40.0 * lag / dt_s)):
        begin, end = (100.0 + slope * dt_s * k for k in (i, i + 1))
        sensor += by_start * (begin - sensor) + by_end * (end - sensor)
    assert (end - sensor) / slope == pytest.approx(lag, rel=1e-6)
