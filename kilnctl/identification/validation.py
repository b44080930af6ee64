"""How well a trained model predicts a record that it was not fitted to."""

import math
from dataclasses import dataclass

import numpy as np

from ..errors import KilnctlError
from ..model.trained_file import TrainedModel
from ..settings.oven import Oven
from .free_run import predict
from .records import Log
from .stretches import pieces_of


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


def predicted_on(oven: Oven, trained: TrainedModel, log: Log, step_s: float | None = None) -> Prediction:
    """Run the model freely through the record, from its power and its first readings alone."""
    model = trained.for_load(oven, log.load)
    sampling = float(np.median(np.diff(log.time_s)))
    pieces = pieces_of(log, model, max(sampling, min(5.0, step_s or oven.control.tick_s)), 1, model.ambient_c)
    if not pieces:
        raise KilnctlError(f"{log.name}: no stretch of five minutes without a gap")
    time = np.concatenate([p.time_s for p in pieces])
    reading = np.concatenate([p.reading_c for p in pieces])
    predicted = np.concatenate([predict(model, p.stretch) for p in pieces])
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
