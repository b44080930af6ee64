"""How well a trained model predicts a record that it was not fitted to."""

import math
from dataclasses import dataclass

import numpy as np

from ..errors import KilnctlError
from ..model.energy import EnergyModel
from ..model.trained_file import TrainedModel
from ..settings.oven import Oven
from .free_run import predict, sensitivities
from .records import Log
from .stretches import Piece, averaged, pieces_of

#: A record's own unknowns are fitted to about so many means, each known to this at best, K.
BLOCKS, LEAST_K = 60, 0.05


@dataclass(frozen=True)
class Prediction:
    """Free run against a record. `share`: rms error over the record's highest temperature in °C;
    extrapolated_k: how far the record goes above what the model has learnt."""

    rms_k: float
    worst_k: float
    share: float
    extrapolated_k: float
    time_s: np.ndarray
    reading_c: np.ndarray
    predicted_c: np.ndarray


def predicted_on(
    oven: Oven, trained: TrainedModel, log: Log, step_s: float | None = None, own: float = 0.0
) -> Prediction:
    """Run the model freely through the record, from its power and its first readings alone. `own`: what belongs to the
    record and not to the oven (its start, its room, its open doors) is fitted first, within what is known of it, to
    this share of the record from its start: what is left is the model's."""
    model = trained.for_load(oven, log.load)
    sampling = float(np.median(np.diff(log.time_s)))
    pieces = pieces_of(log, model, max(sampling, min(5.0, step_s or oven.control.tick_s)), 1, model.ambient_c)
    if not pieces:
        raise KilnctlError(f"{log.name}: no stretch of five minutes without a gap")
    time = np.concatenate([p.time_s for p in pieces])
    reading = np.concatenate([p.reading_c for p in pieces])
    predicted = np.concatenate([_with_own(model, p, own) if own > 0.0 else predict(model, p.stretch) for p in pieces])
    error = reading - predicted
    rms, top = math.sqrt(float(np.nanmean(error**2))), float(np.nanmax(reading))
    return Prediction(
        rms,
        float(np.nanmax(np.abs(error))),
        rms / max(top, 1.0),
        max(0.0, top - trained.high_c),
        time,
        reading,
        predicted,
    )


def _with_own(model: EnergyModel, piece: Piece, of: float) -> np.ndarray:
    """The free run with the piece's own unknowns at their most likely values by the first share `of` of the readings
    (one Gauss-Newton step: they enter almost linearly). Neighbouring errors are alike, so that means over blocks count,
    each with the whole run's error."""
    predicted, slopes = sensitivities(model, piece.stretch, (), piece.extras)
    error = (piece.reading_c - predicted)[: max(2, round(of * len(predicted)))]
    size = max(1, len(error) // BLOCKS)
    count = (len(error) - 1) // size * size + 1
    means, jacobian = averaged(error[:count], size), averaged(slopes[:count], size)
    good = np.isfinite(means)
    if not good.any():
        return predicted
    spread = max(LEAST_K, float(np.sqrt(np.nanmean(error**2))))
    j = jacobian[good] / spread
    normal = j.T @ j + np.diag(1.0 / np.array(piece.spreads) ** 2)
    return predicted + slopes @ np.linalg.solve(normal, j.T @ (means[good] / spread))
