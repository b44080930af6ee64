"""What a fit knows before the records: a model's parameters, with their covariance.

A record tells the sum of the delays between power and reading, and hardly their shares: elements, air and sensor in
another order give the same readings, but not the same chamber. With a quicker sensor and slower air than there are, the
chamber is hotter than the control believes when the power should end. There the file decides: its sensor is hardly
quicker and its air hardly slower, unless the records contradict it strongly. Hence a smaller standard deviation on that
side, and Huber's loss (P. J. Huber, Robust Statistics, 1981, section 3.6)."""

import math

import numpy as np

from ..model.parameters import prior_covariance
from ..model.trained_file import TrainedModel

#: The side (sign of the logarithm) on which a delay is hardly off, and its standard deviation there as a share of that
#: on the other: 0.4 is a seventh for a sheath's time constant, a fifth for dead time and air (estimates).
#: (No lesson is in reach of the bench of sensitivity.)
HARDLY, NARROW = {"lag_s": -1.0, "dead_s": -1.0, "chamber_j_per_k": 1.0}, 0.4


def prior_of(parameters, known: TrainedModel | None) -> np.ndarray:
    """Covariance of the logarithms of `parameters` before the records: the known model's, and the description's for
    what that model does not have."""
    before = prior_covariance(parameters)
    if known is None or not known.covariance:
        return before
    place = {name: i for i, name in enumerate(known.covariance_of)}
    ours = [i for i, p in enumerate(parameters) if p.name in place]
    theirs = [place[parameters[i].name] for i in ours]
    before[ours, :] = before[:, ours] = 0.0
    before[np.ix_(ours, ours)] = np.array(known.covariance)[np.ix_(theirs, theirs)]
    return before


def drawn_in(logarithm: float, spread: float, side: float) -> tuple[float, float]:
    """(distance from the prior's mean that counts for a `spread`, its slope): within one standard deviation, which is
    `NARROW` times `spread` on that side (a sign), half its square is that of the distance; beyond, it grows as the
    distance does (Huber's loss)."""
    here = spread * (NARROW if logarithm * side > 0.0 else 1.0)
    size = abs(logarithm) / here
    if size <= 1.0:
        return logarithm * spread / here, spread / here
    root = math.sqrt(2.0 * size - 1.0)
    return math.copysign(spread * root, logarithm), spread / (here * root)


def widened(covariance: np.ndarray, prior: np.ndarray, logarithms: np.ndarray) -> tuple[np.ndarray, float]:
    """(covariance that allows for a model that is not the oven, tension) of the parameters' logarithms.

    Records may pull the parameters further from the description than its uncertainty and theirs allow. Then something
    is wrong that neither includes, mostly the model's structure, and both are less certain than they say. Birge's ratio
    (R. T. Birge, Phys. Rev. 40 (1932) 207) says how much: the root of χ² of the prior over the number of parameters
    that the records determine. All standard errors grow by it; it is 1 up to what chance alone makes (two standard
    deviations of χ², which are √(2n) each)."""
    before = np.linalg.inv(prior)
    determined = max(1.0, len(prior) - float(np.trace(before @ covariance)))
    ratio = float(logarithms @ before @ logarithms) / determined
    tension = math.sqrt(ratio) if ratio > 1.0 + 2.0 * math.sqrt(2.0 / determined) else 1.0
    return covariance * tension**2, tension
