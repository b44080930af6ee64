"""What the estimator carries from tick to tick, and how it begins."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, LINING, EnergyModel, N

#: Indices of the added states: unknown heat flow, W; from POWER on the shares of the power, of the lining's heat, of
#: the contents' heat; trend of the unknown heat, W/s; lateness.
HEAT, POWER, TREND, LATE = N, N + 1, N + 4, N + 5
SIZE = N + 6
#: Standard deviations at the start, for a fitted model: of the unknown heat, as a share of full power (what a fit may
#: leave); of the shares (for a worse model the readings disagree, and SHARES_WALK lets the shares move).
HEAT_SD, SHARES_SD = 0.05, np.array([0.03, 0.03, 0.1])  # ±30 %: SHARES_SD overshoot 0/+0.02 K
#: How far the lining's parts, near to far, have warmed through at the start, as shares of the chamber's excess over
#: the room, and the standard deviations. An oven that is warm at the start is cooling from a higher temperature;
#: without heat the chamber is as warm as the near lining.
WARMED, WARMED_SD = (1.0, 0.9, 0.65), (0.15, 0.2, 0.25)  # ±30 %: none


class Tangent(NamedTuple):
    """The model's tangent at `x` for steps of `step_s`: state transition (SIZE, SIZE), whose part for the three shares
    (N, 3) is filled in each step; `by_watt` (N, 3): that part for 1 W of element power, and of heat that lining and
    contents take."""

    transition: np.ndarray
    x: tuple[float, ...]
    step_s: float
    by_watt: np.ndarray


@dataclass(slots=True)
class Estimate:
    """Filter state; treated as immutable (each step makes a new one). `x`, `heat_w` (unknown heat into the chamber, W),
    its trend and `shares` (power, lining, contents) are the values one dead time ago; `now` holds the temperatures now,
    °C. `unexplained_w`: all that the model does not explain, as a heat flow into the chamber. `calm_w`: mean of
    `heat_w` outside sudden events; `surprise`: recent mean of the innovations in standard deviations; `late`:
    lateness; `dead_s`: by how much the dead time is longer than the model's (`kilnctl.control.onset`);
    `restless`: recent mean square of how far the readings disagreed, 0..1."""

    x: tuple[float, ...]
    covariance: np.ndarray  # (SIZE, SIZE)
    now: tuple[float, ...]
    heat_w: float = 0.0
    trend_w_per_s: float = 0.0
    shares: tuple[float, float, float] = (1.0, 1.0, 1.0)
    unexplained_w: float = 0.0
    pending: tuple[tuple[float, float], ...] = ()  # (power W, dt s) fired since then, oldest first
    tangent: Tangent | None = None
    age: int = 0  # steps since the tangent was renewed
    rejected: int = 0  # readings left out in a row
    surprise: float = 0.0
    calm_w: float = 0.0
    lately_w: float = 0.0
    before_w: float = 0.0
    sudden_s: float = 0.0
    late: float = 0.0
    dead_s: float = 0.0
    restless: float = 0.0


def start(model: EnergyModel, reading_c: float, ambient_c: float, late: float = 0.0) -> Estimate:
    """The first estimate: the chamber is as warm as the sensor says; how far the lining has warmed through is unknown.
    `late`: standard deviation of the sensor's lateness (`kilnctl.control.lateness`); 0: the model knows it."""
    warm = max(0.0, reading_c - ambient_c)
    lining, near_k = _lining_at_start(model, reading_c, ambient_c)
    x = (reading_c, reading_c, *lining, reading_c, reading_c)
    shares = np.array([0.3, 0.3, 0.02, *WARMED_SD, 0.1, 0.0]) * warm
    shares[: CHAMBER + 1] = np.minimum(shares[: CHAMBER + 1], near_k)
    added = ([HEAT_SD * model.power_w], SHARES_SD, [0.0, late])
    covariance = np.diag(np.concatenate((shares + np.array([0.5] * 7 + [0.3]), *added)) ** 2)
    return Estimate(x=x, covariance=covariance, now=x)


def _lining_at_start(model: EnergyModel, reading_c: float, ambient_c: float) -> tuple[tuple[float, ...], float]:
    """The lining's temperatures, °C, and by how much elements or chamber can differ from the reading, K: at most the
    difference at which full power flows into the lining. No part of the lining is taken to be colder than in steady
    state at this reading."""
    warm = max(0.0, reading_c - ambient_c)
    for_ever = model.steady(reading_c, ambient_c)[0][LINING:CONTENTS] if warm > 1.0 else (reading_c,) * 4
    warmed = (reading_c, *(ambient_c + share * warm for share in WARMED))
    lining = (reading_c, *(max(t, s) for t, s in zip(warmed[1:], for_ever[1:])))
    into, out_of = model.flows((reading_c, reading_c, *lining, reading_c, reading_c), ambient_c)[:2]
    return lining, model.power_w * (1.0 / into[1] + 1.0 / out_of[1])
