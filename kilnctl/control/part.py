"""Where the part is: measured by its thermocouple if it has one; without one a band, from the slowest and the quickest
load that the description leaves possible, each a slab heated by the chamber. Pure, plain floats."""

import math
from typing import NamedTuple

from ..model.part_body import LAYERS, PartBody
from ..safety.extremes import greater, lesser
from ..thermal.constants import STEFAN_BOLTZMANN, ZERO_C

#: Factors on the films and the radiation of a load, which its neighbours in the chamber change.
FILM_LOW, FILM_HIGH = 0.85, 1.3
#: A surface takes heat from air and from radiation: the coldest is this share of the way to the colder of the two. (One
#: that sees the elements can be all the way to the warmer.)
COLDER = 0.6
#: The chamber's own error and that of a place in it: K, and a share of its excess over the room.
PLACE_K, PLACE_SHARE = 0.5, 0.005
#: The slabs are moved once their surroundings have been collected for so long, s.
STEP_S = 4.0
#: Two slabs that differ by less than this count as one, K.
SAME_K = 0.05
#: Error of a thermocouple on the part: of class 2, K and share of °C, whichever is more (IEC 60584-1, from memory).
CLASS_2_K, CLASS_2_SHARE = 2.5, 0.0075
#: The reading's rate is a mean over this long, s.
RATE_S = 20.0
BOILS_C = 100.0


class Slab(NamedTuple):
    """One possible load: factors on mass for surface and on films; how much warmer than the chamber its place is for
    each watt from the elements, K/W; temperatures of its layers, surface first, °C; heat that its water still takes,
    J/m²."""

    mass: float
    film: float
    apart_k_per_w: float
    layers: tuple[float, ...]
    latent_j: float

    def but(self, layers: tuple[float, ...], latent_j: float) -> "Slab":
        """The same load with these layers and this water. (`_replace` takes four times as long.)"""
        return Slab(self.mass, self.film, self.apart_k_per_w, layers, latent_j)


class Part(NamedTuple):
    """`low_c`, `high_c`: the true surface is between them; `measured`: by a thermocouple on it. `slabs`: the possible
    loads. They have not been moved yet through the last `waiting_s`, in which the chamber was at `mean_c` and got
    `mean_w` from the elements, and do not have the measured surface yet. `rate_k_per_s`: of the thermocouple's
    reading, `reads_c` the last one."""

    low_c: float
    high_c: float
    slabs: tuple[Slab, ...]
    measured: bool = False
    waiting_s: float = 0.0
    mean_c: float = 0.0
    mean_w: float = 0.0
    rate_k_per_s: float = 0.0
    reads_c: float = math.nan

    @property
    def middle_c(self) -> float:
        return 0.5 * (self.low_c + self.high_c)

    @property
    def sd_k(self) -> float:
        """A quarter of the band: it is two standard deviations on each side."""
        return 0.25 * (self.high_c - self.low_c)

    @property
    def slowest_c(self) -> float:
        """What a soak of the part counts on, °C: its thermocouple, or the slowest load at the chamber's own place. (At
        its coldest place a load may stay outside a narrow band for ever.)"""
        if self.measured:
            return self.middle_c
        return min(slab.layers[0] for slab in self.slabs if slab.mass > 1.0 and slab.apart_k_per_w == 0.0)


def begin(body: PartBody, chamber_c: float, ambient_c: float) -> Part:
    """At the first reading a part may be as warm as the chamber, or may just have been put in."""
    slabs = []
    for start_c in {min(chamber_c, ambient_c), chamber_c}:
        for mass, film, apart in (
            (1.0 / body.mass_factor, FILM_HIGH, body.warmer_k_per_w),
            # In a fall the quickest load is the coldest part.
            (1.0 / body.mass_factor, FILM_HIGH, -COLDER * body.colder_k_per_w),
            (body.mass_factor, FILM_LOW, -COLDER * body.colder_k_per_w),
            (body.mass_factor, FILM_LOW, 0.0),
        ):
            wet_j = body.latent_j * mass if start_c < BOILS_C else 0.0
            slabs.append(Slab(mass, film, apart, (start_c,) * len(LAYERS), wet_j))
    return _banded(Part(0.0, 0.0, tuple(slabs)), chamber_c, ambient_c)


def moved(
    body: PartBody,
    part: Part,
    chamber_c: float,
    ambient_c: float,
    power_w: float,
    dt_s: float,
    reads_c: float | None = None,
    lag_s: float = 0.0,
) -> Part:
    """The part dt_s later, in a chamber at chamber_c that gets power_w from the elements; `reads_c`: its thermocouple,
    which lags by lag_s (None: it has none, or that cannot be used)."""
    waiting_s = part.waiting_s + dt_s
    mean_c = part.mean_c + (chamber_c - part.mean_c) * dt_s / waiting_s
    mean_w = part.mean_w + (power_w - part.mean_w) * dt_s / waiting_s
    slabs, steps = part.slabs, waiting_s >= STEP_S - 1e-9
    measured = reads_c is not None and math.isfinite(reads_c)
    if part.measured and (steps or not measured):
        # Should the thermocouple fail, the estimate goes on from the last surface that it measured.
        slabs = tuple(s.but((part.reads_c, *s.layers[1:]), s.latent_j) for s in slabs)
    if steps:
        slabs = _distinct(tuple(_stepped(body, s, mean_c + s.apart_k_per_w * mean_w, waiting_s) for s in slabs))
        waiting_s = 0.0
    if reads_c is None or not measured:
        return _banded(Part(part.low_c, part.high_c, slabs, False, waiting_s, mean_c, mean_w), chamber_c, ambient_c)
    rate = part.rate_k_per_s
    if math.isfinite(part.reads_c):
        rate += ((reads_c - part.reads_c) / dt_s - rate) * lesser(1.0, dt_s / RATE_S)
    surface_c, error = reads_c + lag_s * rate, greater(CLASS_2_K, CLASS_2_SHARE * abs(reads_c)) + abs(lag_s * rate)
    return Part(surface_c - error, surface_c + error, slabs, True, waiting_s, mean_c, mean_w, rate, reads_c)


def _banded(part: Part, chamber_c: float, ambient_c: float) -> Part:
    surfaces = [slab.layers[0] for slab in part.slabs]
    margin = PLACE_K + PLACE_SHARE * abs(chamber_c - ambient_c)
    return Part(
        min(surfaces) - margin, max(surfaces) + margin, part.slabs, False, part.waiting_s, part.mean_c, part.mean_w
    )


def _distinct(slabs: tuple[Slab, ...]) -> tuple[Slab, ...]:
    """Without those that have become like another: a cold start and a warm one end alike."""
    kept: list[Slab] = []
    for slab in slabs:
        if not any(
            (slab.mass, slab.apart_k_per_w) == (k.mass, k.apart_k_per_w)
            and slab.latent_j == k.latent_j
            and max(abs(a - b) for a, b in zip(slab.layers, k.layers, strict=True)) < SAME_K
            for k in kept
        ):
            kept.append(slab)
    return tuple(kept)


def _stepped(body: PartBody, slab: Slab, chamber_c: float, dt_s: float) -> Slab:
    """One implicit step: the increments of the layers with the chamber at their surface, eliminated from the core
    outwards (Thomas): each is alpha + beta · (increment of the next one outwards). Written out for the four LAYERS."""
    whole_j, inside_w = body.j_per_m2k * slab.mass, body.inside_w / slab.mass
    (t0, t1, t2, t3), (s0, s1, s2, s3) = slab.layers, LAYERS
    a, b = greater(1.0, chamber_c + ZERO_C), greater(1.0, t0 + ZERO_C)
    radiant = slab.film * STEFAN_BOLTZMANN * body.radiant
    film_w = slab.film * body.film_w
    taken_w = film_w * (a - b) + radiant * (a**4 - b**4)
    tangent = film_w + 4.0 * radiant * b**3
    g1, g2, g3 = 2.0 * inside_w / (s1 + s0), 2.0 * inside_w / (s2 + s1), 2.0 * inside_w / (s3 + s2)
    q1, q2, q3 = g1 * (t0 - t1), g2 * (t1 - t2), g3 * (t2 - t3)
    d3 = whole_j * s3 / dt_s + g3
    alpha_3, beta_3 = q3 / d3, g3 / d3
    d2 = whole_j * s2 / dt_s + g2 + g3 * (1.0 - beta_3)
    alpha_2, beta_2 = (q2 - q3 + g3 * alpha_3) / d2, g2 / d2
    d1 = whole_j * s1 / dt_s + g1 + g2 * (1.0 - beta_2)
    alpha_1, beta_1 = (q1 - q2 + g2 * alpha_2) / d1, g1 / d1
    d0 = whole_j * s0 / dt_s + tangent + g1 * (1.0 - beta_1)
    up_0 = (taken_w - q1 + g1 * alpha_1) / d0
    up_1 = alpha_1 + beta_1 * up_0
    up_2 = alpha_2 + beta_2 * up_1
    return _boiled(slab, (t0 + up_0, t1 + up_1, t2 + up_2, t3 + (alpha_3 + beta_3 * up_2)), whole_j)


def _boiled(slab: Slab, layers: tuple[float, ...], whole_j: float) -> Slab:
    """With the heat above the boiling point taken by the water that is left."""
    left_j = slab.latent_j
    if left_j <= 0.0:
        return slab.but(layers, left_j)
    kept = []
    for share, t in zip(LAYERS, layers, strict=True):
        taken_j = min(left_j, max(0.0, t - BOILS_C) * share * whole_j)
        left_j -= taken_j
        kept.append(t - taken_j / (share * whole_j))
    return slab.but(tuple(kept), left_j)
