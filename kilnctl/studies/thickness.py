"""Which insulation thickness reaches a temperature with stated confidence? Steady heat balances of many drawn ovens."""

import math
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, replace

from ..body import material_of
from ..body.steady import Factors, SteadyOven
from ..errors import KilnctlError
from ..settings.construction import Wall, Walls
from ..settings.oven import Oven
from .inputs import Vary, deviates, plant_seed, usual, virtual_of

#: The search looks between these, m.
THINNEST_M, THICKEST_M = 0.005, 0.5
#: The answer is found to this, m.
RESOLUTION_M = 0.001


@dataclass(frozen=True)
class Thickness:
    """`needed_m` of `layer`, or None where even the thickest is not enough (it is enough for `share` of the draws).
    `tried`: (thickness m, share of the draws that reach `reach_c`). `hot_c`: the layer's hot face at that thickness
    with everything else as described, °C; `limit_c`: its service limit, °C."""

    layer: str
    reach_c: float
    confidence: float
    draws: int
    needed_m: float | None
    share: float
    tried: tuple[tuple[float, float], ...]
    now: tuple[float, ...]
    hot_c: float
    limit_c: float

    @property
    def borne(self) -> bool:
        """Whether the layer bears its own hot face."""
        return self.hot_c <= self.limit_c


def with_thickness(oven: Oven, layer: str, thickness_m: float) -> Oven:
    """The oven with every layer of that material at that thickness."""

    def changed(wall: Wall) -> Wall:
        layers = (replace(x, thickness_m=thickness_m) if x.material == layer else x for x in wall.layers)
        return replace(wall, layers=tuple(layers))

    w = oven.walls
    others = {name: wall and changed(wall) for name, wall in (("roof", w.roof), ("floor", w.floor), ("door", w.door))}
    return replace(oven, walls=Walls(sides=changed(w.sides), **others))


def thicknesses(oven: Oven, layer: str) -> tuple[float, ...]:
    """The thickness in the description, m. Raises KilnctlError when no wall has such a layer, or it is given by its
    resistance."""
    walls = [w for w in (oven.walls.sides, oven.walls.roof, oven.walls.floor, oven.walls.door) if w is not None]
    layers = [x for w in walls for x in w.layers]
    mine = [x for x in layers if x.material == layer]
    if not mine:
        known = ", ".join(sorted({x.material for x in layers}))
        raise KilnctlError(f"--layer: {oven.name} has no layer of '{layer}'; its walls are of {known}")
    if any(x.insulance_m2k_per_w is not None for x in mine):
        raise KilnctlError(
            f"--layer: '{layer}' is given by the resistance of the whole layer, which says nothing of other thicknesses"
        )
    return tuple(sorted({x.thickness_m for x in mine}))


def hot_face_c(oven: Oven, layer: str, thickness_m: float, reach_c: float) -> float:
    """The hottest face, °C, of any layer of that material at that thickness, with the chamber steady at reach_c and all
    else as described."""
    steady = SteadyOven(with_thickness(oven, layer, thickness_m), highest_c=reach_c + 50.0)
    solutions = steady.at(reach_c).walls
    return max(
        float(solutions[w.face.name].layer_c(i)[0])
        for w in steady.walls
        for i, x in enumerate(w.face.wall.layers)
        if x.material == layer
    )


def holds(oven: Oven, vary: Vary, seed: int, draw: int, layer: str, thickness_m: float, reach_c: float) -> bool:
    """Whether the drawn oven's power holds reach_c with the layer so thick."""
    v = virtual_of(vary, oven, deviates(seed, draw, 0), plant_seed(seed, draw))
    drawn = with_thickness(oven, layer, thickness_m)
    if v.ambient_c is not None:
        drawn = replace(drawn, site=replace(drawn.site, ambient_c=min(50.0, max(-30.0, v.ambient_c))))
    factors = Factors(conductivity=v.conductivity, emissivity=v.emissivity, film=v.film, leakage=v.leakage)
    steady = SteadyOven(drawn, factors=factors, highest_c=reach_c + 50.0)
    return steady.at(reach_c).power_w <= oven.elements.rated_w * v.power * v.supply**2


def _check(oven: Oven, layer: str, reach_c: float, confidence: float, draws: int) -> float:
    """The layer's service limit, °C. Raises KilnctlError for a question that cannot be answered."""
    if not 0.5 <= confidence < 1.0:
        raise KilnctlError(f"--confidence: from 50 % to below 100 %, not {100 * confidence:g} %")
    if not oven.site.ambient_c + 5.0 <= reach_c <= 1400.0:
        raise KilnctlError(f"--reach: from just above the room to 1400 °C, not {reach_c:g} °C")
    if draws * (1.0 - confidence) < 1.0 - 1e-9:
        raise KilnctlError(
            f"{draws} draws cannot tell {100 * confidence:g} %: take at least {round(1.0 / (1.0 - confidence))}"
        )
    limit_c = material_of(oven, layer).limit_c
    # A layer behind others is colder than the chamber; the thinner it is, the colder.
    coolest = hot_face_c(oven, layer, THINNEST_M, reach_c)
    if coolest > limit_c:
        raise KilnctlError(
            f"--reach: {layer} bears {limit_c:g} °C, and its hot face would be at {coolest:.0f} °C even if "
            f"it were {1000 * THINNEST_M:.0f} mm thin"
        )
    return limit_c


class _Search:
    """Shares of the draws that hold the temperature, thickness by thickness. A draw that holds it with one thickness
    holds it with every larger one, so most results are known without computing them."""

    def __init__(
        self,
        drawn: tuple[Oven, Vary, int],
        wanted: tuple[str, float],
        draws: int,
        pool: Executor | None,
        progress: Callable[[float, float], None] | None,
    ):
        self._drawn, self._wanted, self._draws, self._pool, self._progress = drawn, wanted, draws, pool, progress
        #: For each draw, m: the thickest known to be too thin, the thinnest known to be enough.
        self._fails, self._does = [0.0] * draws, [math.inf] * draws
        self.tried: dict[float, float] = {}

    def thinnest(self, confidence: float) -> float | None:
        """By bisection, to RESOLUTION_M; None where even the thickest is not enough."""
        low, high = THINNEST_M, THICKEST_M
        if self._share(high) < confidence:
            return None
        if self._share(low) >= confidence:
            return low
        while high - low > RESOLUTION_M * 1.001:
            middle = round(0.5 * (low + high) / RESOLUTION_M) * RESOLUTION_M
            if self._share(middle) >= confidence:
                high = middle
            else:
                low = middle
        return high

    def _share(self, thickness_m: float) -> float:
        """Share of the draws that hold the temperature with the layer so thick."""
        unknown = [k for k in range(self._draws) if self._fails[k] < thickness_m < self._does[k]]
        (oven, vary, seed), (layer, reach_c) = self._drawn, self._wanted
        questions = [(oven, vary, seed, k, layer, thickness_m, reach_c) for k in unknown]
        if self._pool is None:
            answers = [holds(*q) for q in questions]
        else:
            answers = [f.result() for f in [self._pool.submit(holds, *q) for q in questions]]
        for k, answer in zip(unknown, answers, strict=True):
            (self._does if answer else self._fails)[k] = thickness_m
        found = sum(d <= thickness_m for d in self._does) / self._draws
        self.tried[thickness_m] = found
        if self._progress is not None:
            self._progress(thickness_m, found)
        return found


def thickness_for(
    oven: Oven,
    layer: str,
    reach_c: float,
    confidence: float = 0.95,
    draws: int = 200,
    vary: Vary | None = None,
    seed: int = 0,
    *,
    executor: Executor | None = None,
    jobs: int | None = None,
    progress: Callable[[float, float], None] | None = None,
) -> Thickness:
    """The thinnest layer, to a millimetre, with which `confidence` (0..1) of the drawn ovens hold reach_c, °C, in
    steady state at full power. Each draw keeps its deviates for all thicknesses. Raises KilnctlError."""
    now = thicknesses(oven, layer)
    limit_c = _check(oven, layer, reach_c, confidence, draws)
    made = None if executor is not None or jobs == 1 else ProcessPoolExecutor(jobs)
    search = _Search((oven, vary or usual(oven), seed), (layer, reach_c), draws, executor or made, progress)
    try:
        needed = search.thinnest(confidence)
    finally:
        if made is not None:
            made.shutdown(cancel_futures=True)
    hot = hot_face_c(oven, layer, THICKEST_M if needed is None else needed, reach_c)
    return Thickness(
        layer,
        reach_c,
        confidence,
        draws,
        needed,
        search.tried[THICKEST_M if needed is None else needed],
        tuple(sorted(search.tried.items())),
        now,
        hot,
        limit_c,
    )
