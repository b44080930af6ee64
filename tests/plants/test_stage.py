"""A stage's matrix against its equations, solved whole by numpy (an independent elimination)."""

import numpy as np
import pytest

from kilnctl.plants.stage import Air, Star, stage_matrix, start_of, step_matrix
from kilnctl.thermal.constants import STEFAN_BOLTZMANN


def solved(weight, film, star_m2, at_k, room_film, ambient_k, air, star, bases, air_base_k):
    """Surfaces, air and emission from all equations at once, radiation and bridges by their tangents."""
    n = len(weight)
    room = np.zeros(n) if room_film is None else room_film
    matrix, right = np.zeros((n + 2, n + 2)), np.zeros(n + 2)
    slope, at_w = 4.0 * STEFAN_BOLTZMANN * at_k**3, STEFAN_BOLTZMANN * at_k**4
    for i in range(n):
        matrix[i, i] = 1.0 + weight[i] * (film[i] + room[i] + star_m2[i] * slope[i])
        matrix[i, n], matrix[i, n + 1] = -weight[i] * film[i], -weight[i] * star_m2[i]
        right[i] = bases[i] + weight[i] * (room[i] * ambient_k - star_m2[i] * (at_w[i] - slope[i] * at_k[i]))
    matrix[n, :n], matrix[n, n] = -film, air.sum_w_per_k
    right[n] = air.load_w + air.base_w_per_k * air_base_k
    per_star = 1.0 / (4.0 * STEFAN_BOLTZMANN * star.at_k**3)
    matrix[n + 1, :n] = -star_m2 * slope
    matrix[n + 1, n + 1] = star.sum_m2 + star.bridges_w_per_k * per_star
    at_star_w = STEFAN_BOLTZMANN * star.at_k**4
    bridged_w = star.bridges_w_per_k * (star.at_k - per_star * at_star_w - ambient_k)
    right[n + 1] = star.load_w + float((star_m2 * (at_w - slope * at_k)).sum()) - bridged_w
    found = np.linalg.solve(matrix, right)
    return found, bridged_w + star.bridges_w_per_k * per_star * found[n + 1]


@pytest.mark.parametrize("bridges_w_per_k", [0.0, 0.4, 50.0])
@pytest.mark.parametrize("door", [False, True])
def test_the_matrix_solves_the_stage(bridges_w_per_k, door):
    generator = np.random.default_rng(3)
    for n in (2, 5, 9):
        weight, film, star_m2 = generator.uniform(0.001, 0.3, (3, n))
        film *= 20.0
        at_k, bases = generator.uniform(300.0, 1300.0, (2, n))
        room_film = generator.uniform(0.0, 2.0, n) if door else None
        air = Air(30.0, 30.0 + float(film.sum()) + 1.5, 450.0)
        star = Star(float(star_m2.sum()) + 0.02, 8.0, bridges_w_per_k, 700.0)
        matrix = stage_matrix(weight, film, star_m2, at_k, room_film, 293.0, air, star)
        found = matrix.dot(np.array([*bases, 500.0, 1.0]))
        wanted, bridges_w = solved(weight, film, star_m2, at_k, room_film, 293.0, air, star, bases, 500.0)
        assert found[:-1] == pytest.approx(wanted, rel=1e-9)
        assert found[-1] == pytest.approx(bridges_w, rel=1e-9, abs=1e-9)


def test_the_matrix_of_a_step_is_both_stages_in_turn():
    """Against the two stages one after the other, each with bases as `Elimination` and `start_of` define them."""
    generator = np.random.default_rng(5)
    for faces, elements in ((1, 1), (4, 2), (8, 3)):
        n, ahead, behind = faces + elements, 2.4, -1.4
        stage = generator.uniform(-1.0, 1.0, (n + 3, n + 2))
        later, once, twice = generator.uniform(0.1, 2.0, (3, faces))
        warm, old = generator.uniform(-5.0, 5.0, (2, elements))
        air = 3.0
        onward = np.array([*later, *(ahead,) * (elements + 1)])[:, None]
        step = step_matrix(stage, start_of(faces, elements, behind), onward)
        found = step.dot([*once, *twice, *warm, *old, air, 1.0])
        first = stage.dot([*once, *(old + warm), air, 1.0])
        bases = [
            *(twice + later * (first[:faces] - once)),
            *(ahead * first[faces:n] + behind * old + warm),
            ahead * first[n] + behind * air,
        ]
        assert found == pytest.approx([*first, *stage.dot([*bases, 1.0])], rel=1e-12, abs=1e-12)
