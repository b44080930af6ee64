"""Fired share and electric power of a run's samples: measured where there were meters, else as commanded, and which of
them it is."""

import math
from collections.abc import Mapping

import numpy as np

from ..settings.oven import Oven
from ..thermal.electric_power import electric_w
from .run_data import UnknownOven


def fired_share(data: Mapping[str, np.ndarray]) -> tuple[np.ndarray, bool]:
    """(share of full power fired since the sample before, whether it was measured). Without a measured current it is
    what was commanded, which proves nothing; in old records without that column, the duty of the sample before."""
    fired, commanded = data["fired"], data.get("commanded")
    if commanded is None or not np.isfinite(commanded).any():
        commanded = np.concatenate(([0.0], data["duty"][:-1]))[: len(fired)]
    measured = bool(np.isfinite(fired).any())
    return np.nan_to_num(np.where(np.isfinite(fired), fired, commanded)), measured


def commanded_share(data: Mapping[str, np.ndarray]) -> np.ndarray | None:
    """Share of full power that was commanded since the sample before; None where the record does not say."""
    commanded = data.get("commanded")
    return np.nan_to_num(commanded) if commanded is not None and np.isfinite(commanded).any() else None


def power_w(data: Mapping[str, np.ndarray], oven: Oven | UnknownOven, model: dict | None = None) -> np.ndarray:
    """Mean electric power since the sample before, W, array. For old records without that column it is computed the
    same way. NaN where neither oven nor model says how strong the elements are."""
    kept = data.get("power_w")
    if kept is not None and np.isfinite(kept).any():
        return np.nan_to_num(kept)
    rated = oven.elements.rated_w if oven.elements else _positive(model, "power_w")
    volts = oven.supply.voltage_v if oven.supply else _positive(model, "voltage_v")
    share, _ = fired_share(data)
    supplied = data["supply_v"] if math.isfinite(volts) else np.full(len(share), math.nan)
    amps = data.get("current_a", np.full(len(share), math.nan))
    return np.array(
        [
            electric_w(s, rated, volts, v, a)
            for s, v, a in zip(share.tolist(), supplied.tolist(), amps.tolist(), strict=True)
        ],
        float,
    )


def _positive(model: dict | None, name: str) -> float:
    value = model.get(name) if model else None
    return float(value) if isinstance(value, (int, float)) and value > 0.0 else math.nan


def basis(data: Mapping[str, np.ndarray]) -> str:
    """What a run's power and energy are based on, in words."""
    volts = bool(np.isfinite(data["supply_v"]).any())
    if fired_share(data)[1]:
        return "measured voltage and current" if volts else "measured current, at the rated voltage"
    return (
        "what was commanded, at the measured voltage; no current was measured"
        if volts
        else "what was commanded, at the rated power; nothing was measured"
    )
