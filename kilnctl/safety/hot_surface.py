"""Hot surfaces: a notice that stays until the chamber is estimated below 50 °C, and survives a restart.

The last known temperature and its wall-clock time are kept (`to_mapping`, `from_mapping`). From then on the oven is
assumed to cool without heat, slowly on purpose: T = room + (T0 − room)·exp(−t/τ) with τ from the model's slowest parts.
Below 50 °C a touch of a minute does not burn on any material (51 °C for one minute: ISO 13732-1, from memory).
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from .state import finite

#: Below this the notice ends, °C.
SAFE_C = 50.0  # ±30 %: none
#: A reading below SAFE_C and this far under the estimate, K, comes from a broken sensor, not from a cool oven.
FAR_K = 50.0  # ±30 %: none
#: Trips that say that the control reading may be too low. So do all whose names begin with "sensor-".
FALSELY_LOW = ("reading-fell", "sensors-disagree", "falls-when-heated", "cold-junction")
#: Cooling time constant where no model says better, s: six hours, a well insulated kiln.
USUAL_TAU_S = 6.0 * 3600.0  # ±30 %: none
#: A model gives a time constant only for an oven this much hotter than the room, K.
WELL_ABOVE_K = 10.0  # ±30 %: none
#: When the wall clock went back by this much, s, its steps forward cannot be trusted either.
CLOCK_SLACK_S = 5.0  # ±30 %: none


@dataclass(frozen=True, slots=True)
class HotSurface:
    """Last known chamber temperature, the wall-clock time of it, the room, and the cooling time constant."""

    chamber_c: float
    wall_s: float
    ambient_c: float = 20.0
    tau_s: float = USUAL_TAU_S


def seen(chamber_c: float, wall_s: float, ambient_c: float = 20.0, tau_s: float = USUAL_TAU_S) -> HotSurface:
    """For the state file. Raises ValueError for numbers that are not finite or a τ not above 0."""
    if not all(finite(v) for v in (chamber_c, wall_s, ambient_c, tau_s)) or tau_s <= 0.0:
        raise ValueError("chamber_c, wall_s and ambient_c must be finite and tau_s above zero")
    return HotSurface(float(chamber_c), float(wall_s), float(ambient_c), float(tau_s))


class EnergyBalance(Protocol):
    """What this module needs of a model: heat capacities of its parts, J/K, in the order of its state."""

    @property
    def ambient_c(self) -> float: ...
    @property
    def element_j_per_k(self) -> float: ...
    @property
    def chamber_j_per_k(self) -> float: ...
    @property
    def lining_j_per_k(self) -> Any: ...
    @property
    def contents_j_per_k(self) -> float: ...
    def steady(self, chamber_c: float, /) -> tuple[Any, float]: ...


def cooling_tau_s(model: EnergyBalance, hot_c: float) -> float:
    """A slow time constant of cooling, s: stored heat over loss at hot_c, °C, doubled because walls cool from the
    inside last. USUAL_TAU_S where hot_c is not well above the room."""
    if hot_c - model.ambient_c < WELL_ABOVE_K:
        return USUAL_TAU_S
    temperatures_c, power_w = model.steady(hot_c)
    capacities = (model.element_j_per_k, model.chamber_j_per_k, *model.lining_j_per_k, model.contents_j_per_k)
    # The state may hold more than these parts have capacities for: the sensor's lag stores no heat.
    parts = zip(capacities, temperatures_c, strict=False)
    stored_j = sum(capacity * (part_c - model.ambient_c) for capacity, part_c in parts)
    return 2.0 * stored_j / power_w if power_w > 0.0 else USUAL_TAU_S


def estimate_c(last: HotSurface, wall_s: float) -> float:
    """Estimated chamber temperature at wall_s, °C; the last known one when the wall clock went back or is no number."""
    elapsed = max(0.0, wall_s - last.wall_s) if finite(wall_s) else 0.0
    return last.ambient_c + (last.chamber_c - last.ambient_c) * math.exp(-elapsed / last.tau_s)


def doubted(faults: Iterable[str]) -> bool:
    """Whether one of these latched trips says that the readings may be too low."""
    return any(f.startswith("sensor-") or f in FALSELY_LOW for f in faults)


def renewed(last: HotSurface | None, new: HotSurface, wall_s: float, doubted: bool) -> HotSurface | None:
    """The last known temperature, updated. A doubtful reading only raises it; otherwise the known temperature goes on
    cooling as estimated. A reading of a cool oven is not believed while, by the last good reading, the oven cannot have
    cooled so far."""
    after = estimate_c(new, wall_s)
    if last is None:
        return None if doubted and after < SAFE_C else new
    before = estimate_c(last, wall_s)
    return last if after < before and (doubted or after < SAFE_C <= before - FAR_K) else new


def notice(last: HotSurface | None, wall_s: float, reading_c: float | None = None) -> str:
    """The words of the notice; empty when the oven is taken to be cool. A trusted reading replaces the estimate, upward
    and downward. When nothing is known the oven counts as hot."""
    if finite(reading_c):
        shown_c = reading_c
        if reading_c < SAFE_C:
            if last is None or estimate_c(last, wall_s) < SAFE_C + FAR_K:
                return ""
            shown_c = estimate_c(last, wall_s)
        return (
            f"HOT: the chamber is at about {shown_c:.0f} °C. Surfaces can burn; keep children and anything that burns "
            "away"
        )
    if last is None:
        return "MAY BE HOT: nobody knows how warm the oven is. Treat it as hot until a sensor says otherwise"
    if wall_s < last.wall_s - CLOCK_SLACK_S or not finite(wall_s):
        return (
            f"MAY BE HOT: it was at {last.chamber_c:.0f} °C when last seen, and the clock has been set since. "
            f"Treat it as hot"
        )
    value = estimate_c(last, wall_s)
    if value < SAFE_C:
        return ""
    return (
        f"HOT: the chamber is estimated at {value:.0f} °C from when it was last seen. Surfaces can burn; keep "
        f"children away"
    )


def to_mapping(last: HotSurface) -> dict[str, float]:
    """For the state file."""
    return {"chamber_c": last.chamber_c, "wall_s": last.wall_s, "ambient_c": last.ambient_c, "tau_s": last.tau_s}


def from_mapping(data: Mapping) -> HotSurface | None:
    """What `to_mapping` wrote; None (which counts as hot) for anything damaged."""
    try:
        return seen(*(data[k] for k in ("chamber_c", "wall_s", "ambient_c", "tau_s")))
    except (KeyError, TypeError, ValueError):
        return None
