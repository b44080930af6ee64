"""The result of a fit: the model, its uncertainty, what the records could not determine, and all of that in plain
words."""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..safety.misplaced import Place
from ..settings.construction import Load
from .energy import EnergyModel
from .parameters import PARAMETERS, scaled, value_of

#: A parameter whose spread the records narrowed by less than this share is called undetermined: the
#: description decides it.
UNDETERMINED = 0.8
#: Two parameters correlated more than this cannot be told apart by these records.
CORRELATED = 0.95
_OF = {p.name: p for p in PARAMETERS}


@dataclass(frozen=True)
class RecordFit:
    """One stretch of a record with its free run, on the grid of the fit; NaN readings did not count."""

    name: str
    time_s: np.ndarray
    reading_c: np.ndarray
    predicted_c: np.ndarray
    power_w: np.ndarray
    wild: int
    doors: tuple[tuple[float, float], ...]
    cold: bool
    notes: tuple[str, ...] = ()

    @property
    def error_k(self) -> np.ndarray:
        return self.reading_c - self.predicted_c

    @property
    def rms_c(self) -> float:
        return float(np.sqrt(np.nanmean(self.error_k**2)))


@dataclass(frozen=True)
class Fit:
    """`model` is for the load of the first record; `for_load` gives it for another. `logarithms` are ln(value /
    day-zero value), `covariance` theirs. noise_k: noise of one reading; news_k: standard deviation given to one
    residual (noise, plus the model's own error). held_out_k: rms error in the last third of each record, predicted by a
    fit without it; held_out_doubt_k: rms standard deviation of that prediction. tension: by what factor records and
    description differ more than their uncertainties allow; the covariance is widened by it.
    place: where the control sensor sits by a second one; None where the records have none."""

    oven_name: str
    model: EnergyModel
    day_zero: EnergyModel
    load: Load | None
    working_c: float
    parameters: tuple[str, ...]
    logarithms: np.ndarray
    covariance: np.ndarray
    spreads: np.ndarray
    records: tuple[RecordFit, ...]
    noise_k: float
    news_k: float
    held_out_k: float
    held_out_doubt_k: float
    low_c: float
    high_c: float
    converged: bool
    previous: object = None
    tension: float = 1.0
    place: Place | None = None

    @cached_property
    def rms_c(self) -> float:
        """Root mean square of reading minus free run over everything that counted, K."""
        error = np.concatenate([r.error_k for r in self.records])
        return float(np.sqrt(np.nanmean(error**2)))

    @property
    def values(self) -> dict[str, float]:
        """{parameter: value} in the units of `kilnctl.model.parameters`."""
        return {
            n: value_of(self.model, _OF[n]) if value_of(self.model, _OF[n]) > 0.0 else math.nan for n in self.parameters
        }

    @property
    def log_errors(self) -> dict[str, float]:
        """{parameter: standard error of its logarithm}, about the relative error."""
        return {n: float(s) for n, s in zip(self.parameters, np.sqrt(np.diag(self.covariance)))}

    @property
    def standard_errors(self) -> dict[str, float]:
        """{parameter: standard error in the parameter's unit}."""
        return {n: self.log_errors[n] * self.values[n] for n in self.parameters}

    @property
    def correlations(self) -> np.ndarray:
        sd = np.sqrt(np.diag(self.covariance))
        return self.covariance / np.outer(sd, sd)

    def interval(self, name: str, spreads: float = 1.959964) -> tuple[float, float]:
        """95 % interval of a parameter (of its logarithm, so it never reaches below zero)."""
        value, error = self.values[name], self.log_errors[name]
        return value * math.exp(-spreads * error), value * math.exp(spreads * error)

    @property
    def strong_correlations(self) -> tuple[tuple[str, str, float], ...]:
        c = self.correlations
        pairs = [(self.parameters[i], self.parameters[j], float(c[i, j])) for i in range(len(c)) for j in range(i)]
        return tuple(sorted((p for p in pairs if abs(p[2]) > CORRELATED), key=lambda p: -abs(p[2])))

    @property
    def undetermined(self) -> tuple[str, ...]:
        """Parameters that these records hardly determine: they stay as described."""
        errors = self.log_errors
        return tuple(n for n, s in zip(self.parameters, self.spreads) if errors[n] / self.tension > UNDETERMINED * s)

    @cached_property
    def autocorrelation(self) -> float:
        """Autocorrelation of successive errors of the free run on the fit's grid. Near 0 the errors are white: the
        model explains all that the records show."""
        top = bottom = 0.0
        for r in self.records:
            e = r.error_k - np.nanmean(r.error_k)
            both = np.isfinite(e[:-1]) & np.isfinite(e[1:])
            top, bottom = (
                top + float(np.sum(e[:-1][both] * e[1:][both])),
                bottom + float(np.sum(e[:-1][both] ** 2)),
            )
        return top / bottom if bottom > 0.0 else 0.0

    @property
    def white(self) -> bool:
        """Whether the errors look like noise: autocorrelation within 4 standard errors of zero (1/√n, Bartlett)."""
        n = sum(int(np.isfinite(r.error_k).sum()) for r in self.records)
        return abs(self.autocorrelation) < 4.0 / math.sqrt(max(n, 1))

    def spread_of(self, quantity, step: float = 1e-3) -> tuple[float, float]:
        """(value, standard error) of any number that follows from a model, by the delta method:
        quantity(model) → float."""
        value = quantity(self.model)
        parameters = [_OF[n] for n in self.parameters]
        slopes = np.empty(len(parameters))
        for i, p in enumerate(parameters):
            slopes[i] = (quantity(scaled(self.model, (p,), (step,))) - quantity(scaled(self.model, (p,), (-step,)))) / (
                2.0 * step
            )
        return value, float(math.sqrt(max(0.0, slopes @ self.covariance @ slopes)))

    @property
    def warnings(self) -> tuple[str, ...]:
        out = []
        if not self.converged:
            out.append("the fit did not settle: do not trust this model")
        span = self.high_c - self.low_c
        ambient = self.model.ambient_c
        if self.high_c - ambient < 60.0:
            out.append(f"the record only reaches {self.high_c:.0f} °C: losses at higher temperatures are guessed")
        if span < 40.0:
            out.append(f"the record only moves by {span:.0f} K: heat capacities rest on the description")
        share = self.rms_c / max(span, 1.0)
        if self.rms_c > 3.0 * self.noise_k and share > 0.02:
            out.append(
                f"the model misses the record by {self.rms_c:.1f} K rms: something happened that it knows "
                "nothing of "
                "(a door, another load, a wrong power)"
            )
        if math.isfinite(self.held_out_k) and self.held_out_k > max(3.0 * self.rms_c, 0.02 * (self.high_c - ambient)):
            out.append(
                f"left out of the fit, the last third of the record is missed by {self.held_out_k:.1f} K "
                "rms: the records do not support this model"
            )
        far = [n for n, t, s in zip(self.parameters, self.logarithms, self.spreads) if abs(t) > 3.0 * s]
        if far:
            out.append(
                "far from the description: "
                + ", ".join(f"{n} × {math.exp(t):.2f}" for n, t in zip(self.parameters, self.logarithms) if n in far)
                + "; check the description there"
            )
        if self.place is not None and self.place != Place(0.0, 0.0):
            elements, walls = 100.0 * self.place.near_elements, 100.0 * self.place.near_walls
            out.append(
                f"the control sensor parts from the second one as if it showed {elements:.0f} % of the elements' and "
                f"{walls:.0f} % of the walls' temperature, and the rules will allow for that: look where both sit, and "
                "compare them"
            )
        if 2 * len(self.undetermined) >= len(self.parameters):
            out.append(
                f"{len(self.undetermined)} of {len(self.parameters)} parameters are hardly determined; a "
                "learning run would tell more"
            )
        return tuple(out)
