"""What one ordinary run teaches the oven's model.

The run and the last ones before it are fitted together, from the description: the model cannot drift away from what
is described, and errors of its structure, which are the same in each run, are not counted once more with each. Where
the records of earlier runs are gone, the model before and its covariance are the prior instead (a Bayesian update),
grown a little, so that an oven which ages is followed. What comes out has to predict this run and the earlier ones
better than the model before, all together; else it is kept aside. A run that only a model of its own predicts may be an
oven that has changed, or an odd run: the next run decides."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.fit_result import Fit
from ..model.parameters import PARAMETERS, free_in, prior_covariance, value_of
from ..model.trained_file import TrainedModel, problems_of, trained
from ..record.model_store import EARLIER
from ..record.run_data import RunData
from ..safety import policy_for
from ..settings.oven import Oven
from ..terms import Outcome, Taught
from .apart import excused_k
from .fitting import fit
from .records import Log, as_log
from .stretches import noise_of
from .validation import Prediction, predicted_on

#: From run to run each parameter may wander by this standard deviation of its logarithm, where the records of earlier
#: runs are gone: elements, lining and sensors age by some per cent a year (an estimate).
PACE = 0.02
#: A model agrees with a run clearly better than another when it misses it by this share or less.
AGREES = 0.7
#: Errors that differ by less than this share are the same: the rms of a hundred independent errors is known to 7 %.
SAME = 0.05
#: A parameter so many of the description's standard deviations off is out of bounds: more likely the run, or the file,
#: is wrong than the oven so odd.
FAR = 4.0
#: Error of a model that is near to its oven, as a share of the rise above the room (common for eight temperatures).
#: (No lesson is in reach of the bench of sensitivity.)
ORDINARY = 0.01
#: A run that is missed by less than this share of its rise is not odd: a landing need not be better.
#: (No lesson is in reach of the bench of sensitivity.)
AIM = 0.004
#: A run whose last third is missed by more than so many standard deviations by a fit without it is not one oven's.
BEYOND = 3.0
#: A run says nothing of the oven when so large a share of its readings is missing, or its door stood open for so long a
#: share of its time, or its sensors were further apart than the rules allow for so long a share.
MISSING, OPEN, APART = 0.02, 0.1, 0.01
#: After so many time constants a sensor shows what there is, but for 5 %.
#: (No lesson is in reach of the bench of sensitivity.)
SETTLES = 3.0
#: Names of records that a model keeps.
MOST_NAMES = 20


@dataclass(frozen=True)
class Lesson:
    """What a run taught.

    taught       LEARNT, CHANGED, ASIDE or REFUSED
    words        why it was refused or kept aside; empty otherwise
    model        the new model; None when refused
    before       the model that it began from
    predicted_k  rms error with which the model before predicted the run, K; after_k: the new one's
    may_change   it was kept aside because the oven may have changed: the next run decides
    """

    taught: Taught
    words: str = ""
    model: TrainedModel | None = None
    before: TrainedModel | None = None
    predicted_k: float = math.nan
    after_k: float = math.nan
    may_change: bool = False


@dataclass(frozen=True)
class Doubted:
    """A model that was kept aside after the run before, because the oven may have changed, and the log of that run."""

    model: TrainedModel
    log: Log


def lesson(
    oven: Oven,
    run: RunData,
    known: TrainedModel | None,
    earlier: Sequence[Log] = (),
    doubted: Doubted | None = None,
    made: str = "",
) -> Lesson:
    """What `run` teaches. `known`: the model in use, None for the description's; `earlier`: the logs of the last runs
    that it has learnt from; `made`: the day, as text."""
    try:
        why = unfit(oven, run)
        if why:
            return Lesson(Taught.REFUSED, why)
        log = as_log(oven, run)
        open_s = sum(b - a for a, b in log.doors)
        if open_s > OPEN * (log.time_s[-1] - log.time_s[0]):
            return Lesson(Taught.REFUSED, f"its door stood open for {open_s / 60.0:.0f} min")
        before = known or described(oven, log)
        predicted = _missed(oven, before, log)
        taught = Taught.LEARNT
        if doubted is not None and _missed(oven, doubted.model, log).rms_k < AGREES * predicted.rms_k:
            # Two runs agree against the model: the oven has changed.
            taught = Taught.CHANGED if known is not None else taught
            before, earlier = doubted.model, (doubted.log,)
        found = updated(oven, before, log, earlier)
        model = joined(before, found, made)
        after = _missed(oven, model, log)
        words = (
            _impossible(oven, model, found)
            or _held_out(found, _ordinary_k(oven, log))
            or _worse(oven, before, model, earlier, (_missed(oven, before, log), after))
        )
        if earlier and (words or after.rms_k > AIM * _rise_k(oven, log)):
            # The earlier runs may be of another oven: what this one says alone is what the next run decides on.
            alone = fit(oven, log, known=unsure(before), validate=False)
            own = joined(before, alone, made)
            apart = _missed(oven, own, log)
            if not words and apart.rms_k < AGREES * after.rms_k:
                words = f"with the runs before it is missed by {after.rms_k:.2f} K, alone by {apart.rms_k:.2f} K"
            if words:
                found, model, after = alone, own, apart
        if not words:
            return Lesson(taught, "", model, before, predicted.rms_k, after.rms_k)
    except KilnctlError as error:
        return Lesson(Taught.REFUSED, str(error))
    may_change = after.rms_k < AGREES * predicted.rms_k and not _impossible(oven, model, found)
    if may_change and known is not None:
        words += "; this run was odd, or the oven has changed: the next run decides"
    return Lesson(Taught.ASIDE, words, model, before, predicted.rms_k, after.rms_k, may_change)


def unfit(oven: Oven, run: RunData) -> str:
    """Why a run says nothing of a sound oven; empty when it does. Raises KilnctlError for a record that cannot be
    used."""
    if run.outcome != Outcome.FINISHED:
        return f"it did not run to its end ({run.outcome})"
    if run.trips or any(e.kind == "danger" for e in run.events):
        return "a safety rule had to act"
    if run.load is not None and run.load.moisture_kg > 0.0:
        return "its load was wet, and drying takes heat that the model does not know"
    time_s, reading = np.asarray(run.data["time_s"], float), np.asarray(run.data["chamber_c"], float)
    if not len(time_s):
        return "it has no samples"
    missing = float(np.mean(~np.isfinite(reading)))
    if missing > MISSING:
        return f"{100 * missing:.0f} % of its readings are missing"
    policy = policy_for(oven)
    noise = noise_of(reading)
    if noise > policy.noise_k:
        return f"its control reading jitters by ±{noise:.1f} K"
    limit_c = run.data.get("limit_c")
    if np.mean(_apart(oven, time_s, reading, limit_c)) > APART:
        # What the place of the control sensor explains is no disagreement to the rules either.
        by_place_k = excused_k(oven, as_log(oven, run))
        if np.mean(_apart(oven, time_s, reading, limit_c, by_place_k)) > APART:
            return "its two sensors disagreed"
    return ""


def _apart(
    oven: Oven, time_s: np.ndarray, reading_c: np.ndarray, limit_c, by_place_k: np.ndarray | float = 0.0
) -> np.ndarray:
    """Where the limit sensor shows what the control sensor does not show within the slower one's delay, by more than
    the rules allow, and by_place_k: of two that are sound the quicker is far ahead while the oven heats."""
    if limit_c is None or oven.sensors.limit is None:
        return np.zeros(len(reading_c), bool)
    policy, limit = policy_for(oven), np.asarray(limit_c, float)
    delay_s = max(s.lag_s + s.dead_time_s for s in (oven.sensors.control, oven.sensors.limit))
    steps = max(1, round(SETTLES * delay_s * len(time_s) / max(1.0, float(time_s[-1] - time_s[0]))))
    around = np.lib.stride_tricks.sliding_window_view(np.pad(reading_c, steps, mode="edge"), 2 * steps + 1)
    low, high = np.fmin.reduce(around, axis=1), np.fmax.reduce(around, axis=1)
    allowed = np.maximum(policy.disagreement_k, policy.disagreement_share * reading_c) + by_place_k
    with np.errstate(invalid="ignore"):
        return (limit < low - allowed) | (limit > high + allowed)


def described(oven: Oven, log: Log) -> TrainedModel:
    """The description's model for that log, with the description's uncertainty."""
    room = oven.site.ambient_c
    top = float(np.nanpercentile(log.reading_c, 99))
    working = max(room + 20.0, room + 0.85 * (top - room))
    model = day_zero(oven, log.load, working)
    parameters = free_in(model)
    covariance = prior_covariance(parameters)
    names = tuple(p.name for p in parameters)
    errors = dict(zip(names, np.sqrt(np.diag(covariance)).tolist()))
    rows = tuple(tuple(row) for row in covariance.tolist())
    return TrainedModel(
        oven.name, model, log.load, working, room, room, math.nan, "", (), errors, covariance_of=names, covariance=rows
    )


def loosened(known: TrainedModel, factor: float = 1.0) -> TrainedModel:
    """The model as a prior for the next run: its covariance times `factor`², grown by a run's wandering, and what is
    inside as unknown as the description has it, since loads differ from run to run."""
    parameters = tuple(p for p in PARAMETERS if p.name in known.covariance_of)
    if not parameters:
        return known
    place = [known.covariance_of.index(p.name) for p in parameters]
    covariance = factor**2 * np.array(known.covariance)[np.ix_(place, place)] + PACE**2 * np.eye(len(place))
    inside = [i for i, p in enumerate(parameters) if p.field.startswith("contents")]
    covariance[inside, :] = covariance[:, inside] = 0.0
    covariance[np.ix_(inside, inside)] = prior_covariance(tuple(parameters[i] for i in inside))
    rows = tuple(tuple(row) for row in covariance.tolist())
    return replace(known, covariance_of=tuple(p.name for p in parameters), covariance=rows)


def unsure(known: TrainedModel) -> TrainedModel:
    """The model as a prior that is no surer than a description: for an oven that may be another one by now."""
    parameters = tuple(p for p in PARAMETERS if p.name in known.covariance_of)
    rows = tuple(tuple(row) for row in prior_covariance(parameters).tolist())
    return replace(known, covariance_of=tuple(p.name for p in parameters), covariance=rows)


def updated(oven: Oven, before: TrainedModel, log: Log, earlier: Sequence[Log] = ()) -> Fit:
    """The fit to the run and the earlier ones; of a first run the last third is held out besides. Where it would be too
    far from the description, the fit that is not, if that is as near to the run as such a model is (`ORDINARY`)."""
    first = not earlier
    if before.records and len(earlier) < min(before.runs, EARLIER):
        found = fit(oven, log, known=loosened(before), validate=first)
        return found if found.tension == 1.0 else fit(oven, log, known=loosened(before, found.tension), validate=first)
    found = fit(oven, [log, *earlier], alike=True, validate=first)
    if not _far(oven, trained(found)):
        return found
    # A little nearer, because the fit's last, exact steps still move it.
    near = fit(oven, [log, *earlier], alike=True, validate=first, within=0.9 * FAR)
    missed = _missed(oven, trained(near), log)
    return near if missed.rms_k < _ordinary_k(oven, log) and not _far(oven, trained(near)) else found


def joined(before: TrainedModel, found: Fit, made: str) -> TrainedModel:
    """The new model, with what the one before had learnt."""
    new = trained(found, made)
    if not before.records:
        return replace(new, runs=1)
    return replace(
        new,
        low_c=min(before.low_c, new.low_c),
        high_c=max(before.high_c, new.high_c),
        records=(*before.records, *new.records)[-MOST_NAMES:],
        runs=before.runs + 1,
        place=new.place.wider(before.place) if new.place else before.place,
    )


def _missed(oven: Oven, model: TrainedModel, log: Log, seen: float = 1.0) -> Prediction:
    """How the model misses a run, apart from the run's own start and room, by the first share `seen` of it."""
    return predicted_on(oven, model, log, own=seen)


def _impossible(oven: Oven, model: TrainedModel, found: Fit) -> str:
    bad = problems_of(model.model)
    if bad:
        return "outside its bounds: " + "; ".join(bad)
    far = _far(oven, model)
    if far:
        return f"too far from the description to be believed ({', '.join(far)}): check the file there, or the oven"
    return "" if found.converged else "the fit did not settle"


def _far(oven: Oven, model: TrainedModel) -> list[str]:
    """Parameters that the description rules out, with their factor."""
    base = day_zero(oven, model.load, model.working_c)
    parameters = free_in(base)
    spread = np.sqrt(np.diag(prior_covariance(parameters)))
    found = []
    for p, sd in zip(parameters, spread.tolist()):
        ratio = value_of(model.model, p) / value_of(base, p)
        if not (ratio > 0.0 and abs(math.log(ratio)) <= FAR * sd):
            found.append(f"{p.name} × {ratio:.2f}")
    return found


def _rise_k(oven: Oven, log: Log) -> float:
    """The highest reading above the room, K."""
    return float(np.nanmax(log.reading_c)) - oven.site.ambient_c


def _ordinary_k(oven: Oven, log: Log) -> float:
    return max(1.0, ORDINARY * _rise_k(oven, log))


def _held_out(found: Fit, ordinary_k: float) -> str:
    """For a first run: what its first two thirds say of the last must be within what they leave open."""
    allowed_k = max(ordinary_k, BEYOND * found.held_out_doubt_k)
    if not math.isfinite(found.held_out_k) or found.held_out_k <= allowed_k:
        return ""
    return (
        f"without its last third it predicts that third within {found.held_out_k:.1f} K, worse than it should "
        f"(±{found.held_out_doubt_k:.1f} K)"
    )


def _worse(
    oven: Oven,
    before: TrainedModel,
    model: TrainedModel,
    earlier: Sequence[Log],
    this: tuple[Prediction, Prediction],
) -> str:
    """Over this run and the earlier ones together the new model must miss less."""
    errors = [(this[0].rms_k, this[1].rms_k)]
    errors += [(_missed(oven, before, log).rms_k, _missed(oven, model, log).rms_k) for log in earlier]
    old, new = (math.sqrt(sum(e[i] ** 2 for e in errors) / len(errors)) for i in (0, 1))
    if new > (1.0 + SAME) * old:
        runs = "this run" if not earlier else f"this run and the {len(earlier)} before together"
        return f"it would miss {runs} by {new:.2f} K instead of {old:.2f} K"
    return ""
