"""Fit the energy balance to records: `fit(oven, records)` gives a `Fit` with the model and how far to trust
it.

Unknowns are the logarithms of the model's parameters over their day-zero values, with the description's uncertainty as
prior. Each record adds its starting temperatures, its room, and the watts lost by each open door. The whole record is
predicted from the power alone (a free run), so slow errors show, and the derivatives are exact
(`kilnctl.identification.free_run`).

No model of eight temperatures is the oven: what it leaves unexplained is not white, and treating each sample
as news of its own would make the errors far too small. The spread of one residual is therefore set so that
the means over longer and longer blocks come out as they are seen (batch means; e.g. G. S. Fishman,
Discrete-Event Simulation, 2001, section 6.6)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.energy import SENSOR, EnergyModel
from ..model.fit_result import Fit, RecordFit
from ..model.least_squares import LeastSquaresFit, minimise
from ..model.parameters import PARAMETERS, prior_covariance, scaled, value_of
from ..model.trained_file import TrainedModel
from ..settings.oven import Oven
from .apart import place_seen
from .coordinates import Coordinates, coordinates_of
from .free_run import delayed, sensitivities, simulate
from .prior import HARDLY, drawn_in, prior_of, widened
from .records import Source, as_log
from .stretches import Piece, averaged, find_doors, noise_of, pieces_of

#: Most steps of the model for each record (as for this many at most, if there are more), and about how many block means
#: are compared, over all records together. (No fit is in reach of the bench of sensitivity.)
MOST_STEPS, AS_FOR, BLOCKS = 12000, 4, 2200
#: Huber's knee in spreads of the residual: what follows the model is never beyond it.
KNEE = 6.0
#: How often the weight of the readings is halved at most, see `_within`. (No fit is in reach of the bench of
#: sensitivity.)
MOST_HALVINGS = 8
MOST_RECORDS = 40


@dataclass
class _Memo:
    """All temperatures of every piece, as they were for these unknowns."""

    unknowns: np.ndarray | None = None
    runs: list[np.ndarray] = field(default_factory=list)


@dataclass(frozen=True)
class _Problem:
    """Pieces, the models they start from, and the unknowns: the parameters', then each piece's own. `before`: the
    covariance of the parameters' logarithms before the records."""

    pieces: tuple[Piece, ...]
    bases: tuple[EnergyModel, ...]
    parameters: tuple
    before: np.ndarray
    spread: np.ndarray
    precision: np.ndarray
    coordinates: Coordinates
    mask: np.ndarray | None = None
    exact: bool = False
    memo: _Memo = field(default_factory=_Memo)

    def split(self, unknowns: np.ndarray) -> tuple[list[float], np.ndarray]:
        """(logarithms of the parameters, the pieces' own unknowns): the first unknowns are coordinates, not
        logarithms."""
        p = len(self.parameters)
        return self.coordinates.logarithms(unknowns[:p]).tolist(), unknowns[p:]

    def prior(self, unknowns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What the prior is about (logarithms, and the pieces' own), and the derivative to the unknowns."""
        p = len(self.parameters)
        turn = np.eye(len(unknowns))
        turn[:p, :p] = self.coordinates.derivative(unknowns[:p])
        logarithms, own = self.split(unknowns)
        away = np.concatenate((logarithms, own))
        for i, parameter in enumerate(self.parameters):
            if parameter.name in HARDLY:
                away[i], slope = drawn_in(away[i], self.spread[i], HARDLY[parameter.name])
                turn[i] *= slope
        return away, turn

    def evaluate(self, unknowns: np.ndarray, with_jacobian: bool = True) -> tuple[np.ndarray, np.ndarray | None]:
        """Block means of reading − free run, and the derivatives of the free run's."""
        p = len(self.parameters)
        if not with_jacobian:
            try:
                return self.compare(self.prediction(unknowns)), None
            except (OverflowError, ValueError):
                # A trial step to impossible values: infinitely bad, so that it is taken back.
                return np.full(sum(piece.stretch.steps // piece.block for piece in self.pieces), 1e30), None
        logarithms, own = self.split(unknowns)
        turn = self.coordinates.derivative(unknowns[:p])
        curves, jacobians, at = [], [], 0
        for piece, base, x in zip(self.pieces, self.bases, self.temperatures(unknowns)):
            count, block = len(piece.extras), piece.block
            model, every = scaled(base, self.parameters, logarithms), 1 if self.exact else piece.block
            predicted, derivative = sensitivities(
                model, moved(piece, own[at : at + count]), self.parameters, piece.extras, every, x
            )
            derivative = averaged(derivative, block) if self.exact else 0.5 * (derivative[1:] + derivative[:-1])
            whole = np.zeros((len(derivative), len(unknowns)))
            whole[:, :p], whole[:, p + at : p + at + count] = derivative[:, :p] @ turn, derivative[:, p:]
            curves.append(predicted)
            jacobians.append(whole)
            at += count
        return self.compare(curves), np.concatenate(jacobians)

    def compare(self, curves: list[np.ndarray]) -> np.ndarray:
        error = np.concatenate(
            [averaged(piece.reading_c - curve, piece.block) for piece, curve in zip(self.pieces, curves)]
        )
        return error if self.mask is None else np.where(self.mask, error, np.nan)

    def temperatures(self, unknowns: np.ndarray) -> list[np.ndarray]:
        """All temperatures of every piece; the last result is kept, since its derivatives are asked for next."""
        if self.memo.unknowns is None or not np.array_equal(self.memo.unknowns, unknowns):
            (logarithms, own), at, runs = self.split(unknowns), 0, []
            for piece, base in zip(self.pieces, self.bases):
                count = len(piece.extras)
                runs.append(simulate(scaled(base, self.parameters, logarithms), moved(piece, own[at : at + count])))
                at += count
            self.memo.unknowns, self.memo.runs = unknowns.copy(), runs
        return self.memo.runs

    def prediction(self, unknowns: np.ndarray) -> list[np.ndarray]:
        """What the sensor should show at every sample of every piece, °C."""
        logarithms, _ = self.split(unknowns)
        return [
            delayed(x[:, SENSOR], scaled(base, self.parameters, logarithms).dead_s, piece.stretch.dt_s)
            for x, base, piece in zip(self.temperatures(unknowns), self.bases, self.pieces)
        ]


def moved(piece: Piece, own: np.ndarray):
    """The piece's stretch with its own unknowns applied."""
    stretch = piece.stretch
    start, room, disturbance = list(stretch.start_c), 0.0, np.zeros(stretch.steps)
    for extra, value in zip(piece.extras, own.tolist()):
        for state, share in (extra.states or {}).items():
            start[state] += share * value
        room += extra.room * value
        if extra.span is not None:
            disturbance[extra.span[0] : extra.span[1]] += value
    return replace(stretch, start_c=tuple(start), ambient_c=stretch.ambient_c + room, disturbance_w=disturbance)


def fit(
    oven: Oven,
    records: Source | Sequence[Source],
    *,
    columns: dict[str, str] | None = None,
    previous: TrainedModel | None = None,
    validate: bool = True,
    known: TrainedModel | None = None,
    alike: bool = False,
    within: float = math.inf,
) -> Fit:
    """Fit the oven's model to one record or several (a Run, a `Log`, a run's folder, a CSV with named
    `columns`).

    Raises KilnctlError for records that cannot be used, saying which and why. `validate` also fits without
    the last third of each record and says how well that third is predicted. `previous` is a trained model to
    compare with; `known` one to begin from: it and its covariance are the prior, instead of the description. `alike`:
    the records are of runs like each other, in which the model errs alike, so that together they tell no more of it
    than one. `within`: readings count less until no parameter is further than so many of the description's standard
    deviations from the model that the fit begins from."""
    sources = list(records) if isinstance(records, Sequence) and not isinstance(records, str) else [records]
    if not sources:
        raise KilnctlError("there is no record to fit")
    if len(sources) > MOST_RECORDS:
        raise KilnctlError(f"{len(sources)} records at once are too many; give at most {MOST_RECORDS}")
    logs = [as_log(oven, s, columns) for s in sources]
    top = max(float(np.nanpercentile(log.reading_c, 99)) for log in logs)
    ambient = oven.site.ambient_c
    working = known.working_c if known else max(ambient + 20.0, ambient + 0.85 * (top - ambient))
    base = _before(oven, logs[0].load, working, known)
    bases = {id(log): _before(oven, log.load, working, known) for log in logs}
    length = sum(float(log.time_s[-1] - log.time_s[0]) for log in logs)
    sampling = max(float(np.median(np.diff(log.time_s))) for log in logs)
    step_s = max(sampling, min(oven.control.tick_s, 5.0), length / (MOST_STEPS * min(len(logs), AS_FOR)))
    block = max(1, round(length / step_s / BLOCKS))

    problem = _problem(logs, bases, step_s, block, working, known)
    noise = max(0.02, float(np.median([noise_of(log.reading_c) for log in logs])))
    found = _solve(
        problem,
        np.zeros(len(problem.spread)),
        max(1.0, 0.01 * (top - ambient)),
        most=8,
        tolerance=0.3,
        enough=2.0,
    )
    logs, opened = _with_doors(logs, problem, found, noise)
    if opened:
        bases = {id(new): bases[id(old)] for new, old in zip(logs, opened)}
        problem = _problem(logs, bases, step_s, block, working, known)
        start = np.zeros(len(problem.spread))
        start[: len(problem.parameters)] = found.unknowns[: len(problem.parameters)]
        found = _solve(problem, start, max(1.0, 0.01 * (top - ambient)), most=6, tolerance=0.3, enough=2.0)
    per_block = noise / math.sqrt(problem.pieces[0].samples)
    scale = _scale(problem, found, per_block)
    for _ in range(3):
        found = _solve(problem, found.unknowns, scale, most=8, tolerance=0.3, enough=0.7)
        last, scale = scale, _scale(problem, found, per_block)
        if abs(math.log(scale / last)) < 0.1:
            break
    if alike and len(logs) > 1:
        scale *= math.sqrt(len(logs))
        found = _solve(problem, found.unknowns, scale, most=8, tolerance=0.3, enough=0.7)
    scale, found = _within(problem, found, scale, within)
    held_out = _held_out(problem, found, scale, per_block) if validate else (math.nan, math.nan)
    problem = replace(problem, exact=True)
    found = _solve(problem, found.unknowns, scale, most=25, tolerance=0.5, enough=0.3, damping=1e-5)
    return _outcome(oven, logs, base, problem, found, scale, noise, held_out, working, previous)


def _within(problem: _Problem, found: LeastSquaresFit, scale: float, spreads: float) -> tuple[float, LeastSquaresFit]:
    """(spread of one residual at which no parameter is further from where the fit begins than so many of the
    description's standard deviations, what is found with it): what pulls it further is the model's error."""
    allowed = spreads * np.sqrt(np.diag(prior_covariance(problem.parameters)))
    for _ in range(MOST_HALVINGS):
        if np.all(np.abs(problem.split(found.unknowns)[0]) <= allowed):
            break
        scale *= 2.0
        found = _solve(problem, found.unknowns, scale, most=8, tolerance=0.3, enough=0.7)
    return scale, found


def _before(oven: Oven, load, working_c: float, known: TrainedModel | None) -> EnergyModel:
    return day_zero(oven, load, working_c) if known is None else known.for_load(oven, load)


def _problem(logs, bases: dict, dt_s: float, block: int, working_c: float, known: TrainedModel | None) -> _Problem:
    pieces, models = [], []
    for log in logs:
        base = bases[id(log)]
        for piece in pieces_of(log, base, dt_s, block, base.ambient_c):
            pieces.append(piece)
            models.append(base)
    if not pieces:
        raise KilnctlError(f"{logs[0].name}: after its gaps are cut out, no stretch of five minutes is left")
    # What only one record has (a load) is an unknown too; the other records do not depend on it.
    parameters = tuple(p for p in PARAMETERS if any(value_of(m, p) > 0.0 for m in models))
    before = prior_of(parameters, known)
    own = np.array([s for piece in pieces for s in piece.spreads])
    spread = np.concatenate((np.sqrt(np.diag(before)), own))
    precision = np.diag(np.concatenate((np.zeros(len(before)), 1.0 / own**2)))
    precision[: len(before), : len(before)] = np.linalg.inv(before)
    full = bases[id(max(logs, key=lambda log: bases[id(log)].contents_j_per_k))]
    return _Problem(
        tuple(pieces),
        tuple(models),
        parameters,
        before,
        spread,
        precision,
        coordinates_of(full, parameters, working_c),
    )


def _solve(problem: _Problem, start: np.ndarray, scale: float, **settings) -> LeastSquaresFit:
    return minimise(
        problem.evaluate,
        start,
        problem.spread,
        scale,
        prior=problem.prior,
        precision=problem.precision,
        knee=KNEE,
        **settings,
    )


def _with_doors(logs, problem: _Problem, found: LeastSquaresFit, noise: float):
    """Records without a note of doors get the openings that the data show. Returns (logs, old logs or None
    when nothing changed)."""
    predicted = problem.prediction(found.unknowns)
    openings: dict[int, list[tuple[float, float]]] = {}
    for piece, curve in zip(problem.pieces, predicted):
        if not piece.log.doors:
            openings.setdefault(id(piece.log), []).extend(find_doors(piece, curve, noise))
    if not any(openings.values()):
        return logs, None
    new = []
    for log in logs:
        spans = tuple(openings.get(id(log), []))
        note = tuple(f"something like an open door at {max(0.0, a) / 60.0:.0f} min, {b - a:.0f} s" for a, b in spans)
        new.append(replace(log, doors=log.doors + spans, notes=log.notes + note) if spans else log)
    return new, logs


def _scale(problem: _Problem, found: LeastSquaresFit, noise: float) -> float:
    """Standard deviation of one block's error if blocks were independent: root of the largest length × variance of the
    means of so many blocks."""
    variances, at = [], 0
    for piece in problem.pieces:
        count = piece.stretch.steps // piece.block
        error = found.residual[at : at + count]
        at += count
        error = error[np.isfinite(error)]
        plain = float(np.mean(error**2))
        worst = plain
        for length in (4, 16, 64, 256):
            groups = len(error) // length
            if groups < 8:
                break
            means = error[: groups * length].reshape(groups, length).mean(axis=1)
            variance = length * float(np.mean(means**2))
            if variance > plain * (1.0 + 3.0 * math.sqrt(2.0 / groups)):
                worst = max(worst, variance)
        variances.append((worst, len(error)))
    total = sum(v * n for v, n in variances) / sum(n for _, n in variances)
    return max(noise, math.sqrt(total))


def _held_out(problem: _Problem, found: LeastSquaresFit, scale: float, least_k: float) -> tuple[float, float]:
    """Fit without the last third of every piece and predict it in the same free run: rms error there, and the rms of
    the standard deviation of that prediction, both K. What is wrong in that third does not make it larger."""
    late = []
    for piece in problem.pieces:
        count = piece.stretch.steps // piece.block
        late.append(np.arange(count) >= 2 * count // 3)
    late = np.concatenate(late)
    early, trained = replace(problem, mask=~late), found
    for _ in range(2):
        trained = _solve(early, trained.unknowns, scale, most=6, tolerance=0.2, enough=0.5)
        scale = _scale(early, trained, least_k)
    error, slopes = replace(problem, mask=late).evaluate(trained.unknowns)
    good = np.isfinite(error)
    if slopes is None or not good.any():
        return math.nan, math.nan
    _, tension = _tension(problem, trained)
    variance = tension**2 * np.einsum("ij,jk,ik->i", slopes[good], trained.covariance, slopes[good])
    return float(np.sqrt(np.mean(error[good] ** 2))), float(np.sqrt(np.mean(variance)))


def _tension(problem: _Problem, found: LeastSquaresFit) -> tuple[np.ndarray, float]:
    """`widened` of what was found."""
    p = len(problem.parameters)
    turn = problem.coordinates.derivative(found.unknowns[:p])
    logarithms, _ = problem.split(found.unknowns)
    return widened(turn @ found.covariance[:p, :p] @ turn.T, problem.before, np.array(logarithms))


def _outcome(
    oven, logs, base, problem: _Problem, found: LeastSquaresFit, scale, noise, held_out, working, previous
) -> Fit:
    p = len(problem.parameters)
    curves, records, at = problem.prediction(found.unknowns), [], 0
    for piece, curve in zip(problem.pieces, curves):
        n = len(piece.reading_c)
        records.append(
            RecordFit(
                piece.log.name,
                piece.time_s,
                piece.reading_c,
                curve,
                np.append(piece.stretch.power_w, np.nan),
                piece.wild,
                tuple((float(piece.time_s[a]), float(piece.time_s[min(b, n - 1)])) for a, b in piece.doors),
                piece.cold,
                piece.log.notes,
            )
        )
        at += n
    logarithms, _ = problem.split(found.unknowns)
    model = scaled(base, problem.parameters, logarithms)
    covariance, tension = _tension(problem, found)
    readings = np.concatenate([r.reading_c for r in records])
    return Fit(
        oven_name=oven.name,
        model=model,
        day_zero=base,
        load=logs[0].load,
        working_c=working,
        parameters=tuple(q.name for q in problem.parameters),
        logarithms=np.array(logarithms),
        covariance=covariance,
        spreads=problem.spread[:p],
        records=tuple(records),
        noise_k=noise,
        news_k=scale,
        held_out_k=held_out[0],
        held_out_doubt_k=held_out[1],
        low_c=float(np.nanmin(readings)),
        high_c=float(np.nanmax(readings)),
        converged=found.converged,
        previous=previous,
        tension=tension,
        place=place_seen(oven, logs),
    )
