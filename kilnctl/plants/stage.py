"""The implicit stages of a step as matrices: surfaces, chamber air and radiant star from what they start from.

With films, capacities and the radiation's tangents frozen, a stage is linear. Each surface T (strips' hot faces, then
element groups) follows from its `base`, the temperature that it would end at without heat inside, and from air A and
star emission M; eliminating T leaves two equations for A and M."""

from typing import NamedTuple

import numpy as np

from ..thermal.constants import STEFAN_BOLTZMANN


class Air(NamedTuple):
    """Heat balance of the chamber air: its capacity over the stage's length, that plus all that it is coupled to, W/K,
    and the heat that it gets besides, W."""

    base_w_per_k: float
    sum_w_per_k: float
    load_w: float


class Star(NamedTuple):
    """Of the radiant star: its couplings to surfaces and openings, m²; what the openings send in, W; conductance of the
    bridges to the room, W/K, and the star's temperature about which they are linearised, K."""

    sum_m2: float
    load_w: float
    bridges_w_per_k: float
    at_k: float


def stage_matrix(
    weight: np.ndarray,
    film: np.ndarray,
    star_m2: np.ndarray,
    at_k: np.ndarray,
    room_film: np.ndarray | None,
    ambient_k: float,
    air: Air,
    star: Star,
) -> np.ndarray:
    """Matrix (n + 3, n + 2) that makes of n bases, the air's base (K) and 1: n surfaces and the air, K, the star's
    emission, W/m², and what the bridges draw, W. `weight` (n): kelvin of each surface for a watt; `film` (n), W/K;
    `star_m2` (n); radiation linearised about `at_k` (n). Bridges and surfaces get exactly what star and air give."""
    n = len(weight)
    emits = (4.0 * STEFAN_BOLTZMANN) * star_m2 * at_k * at_k * at_k
    losing = emits + film if room_film is None else emits + film + room_film
    own = 1.0 / (1.0 + weight * losing)
    still = (0.75 * weight) * emits * at_k
    if room_film is not None:
        still += weight * room_film * ambient_k
    still *= own
    draws, coupled = np.empty((2, n)), np.empty((n, 2))
    draws[0], draws[1] = emits, film
    coupled[:, 0], coupled[:, 1] = star_m2, film
    coupled *= (weight * own)[:, None]
    (a11, a12), (a21, a22) = (-draws.dot(coupled)).tolist()
    per_star = star.bridges_w_per_k / (4.0 * STEFAN_BOLTZMANN * star.at_k**3)
    a11, a22 = a11 + star.sum_m2 + per_star, a22 + air.sum_w_per_k
    bridged_w = star.bridges_w_per_k * (0.75 * star.at_k - ambient_k)
    given = np.empty((2, n + 2))
    np.multiply(draws, own, out=given[:, :n])
    given[0, n], given[1, n] = 0.0, air.base_w_per_k
    given[:, n + 1] = draws.dot(still)
    given[0, n + 1] += star.load_w - 0.75 * float(emits.dot(at_k)) - bridged_w
    given[1, n + 1] += air.load_w
    scale = 1.0 / (a11 * a22 - a12 * a21)
    solved = np.array(((a22 * scale, -a12 * scale), (-a21 * scale, a11 * scale))).dot(given)
    found = np.empty((n + 3, n + 2))
    coupled.dot(solved, out=found[:n])
    found[:n].reshape(-1)[:: n + 3] += own
    found[:n, n + 1] += still
    found[n], found[n + 1] = solved[1], solved[0]
    np.multiply(solved[0], per_star, out=found[n + 2])
    found[n + 2, n + 1] += bridged_w
    return found


class Start(NamedTuple):
    """How the bases of both stages, n surfaces, the air and 1, follow from what a step starts from: `first` and
    `second`. The second gets `onward` times what the first one's ends (surfaces and air) are above `taken` besides."""

    first: np.ndarray
    second: np.ndarray
    taken: np.ndarray


def start_of(strips: int, elements: int, behind: float) -> Start:
    """A step starts from 2n + 2 numbers: the strips' hot faces without heat there, after the first stage and after the
    second; the elements' kelvin for their watts, and their temperatures; the air's; 1. Elements and air of the second
    stage start from `behind` times their start, and `onward` times the first stage's end."""
    n = strips + elements
    first, second, taken = np.zeros((n + 2, 2 * n + 2)), np.zeros((n + 2, 2 * n + 2)), np.zeros((n + 1, 2 * n + 2))
    faces, groups = np.arange(strips), np.arange(strips, n)
    warm, old = strips + groups, n + groups
    first[faces, faces] = first[groups, warm] = first[groups, old] = first[n, -2] = first[n + 1, -1] = 1.0
    second[faces, strips + faces] = second[groups, warm] = second[n + 1, -1] = taken[faces, faces] = 1.0
    second[groups, old] = second[n, -2] = behind
    return Start(first, second, taken)


def step_matrix(stage: np.ndarray, start: Start, onward: np.ndarray) -> np.ndarray:
    """Both stages of a step as one matrix: what `stage` gives for the first, and below it for the second. `onward`
    (n + 1, 1): of the strips `Elimination.later`."""
    rows, ends = len(stage), len(onward)
    found = np.empty((2 * rows, start.first.shape[1]))
    stage.dot(start.first, out=found[:rows])
    bases = start.second.copy()
    bases[:ends] += onward * (found[:ends] - start.taken)
    stage.dot(bases, out=found[rows:])
    return found
