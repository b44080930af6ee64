"""After a run: what it teaches the oven's model, kept in the oven's store of models, and told in words.

For the service this is done by `kilnctl.report.finishing`, in a process of its own behind everything else: a fit takes
seconds of arithmetic, which the process that heats cannot spare."""

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path

from ..commissioning.learning_run import NAME as LEARNING_RUN
from ..errors import KilnctlError
from ..identification.learning import Doubted, Lesson, lesson
from ..identification.records import Log, as_log
from ..model.doubt import log_spread
from ..model.trained_file import TrainedModel, runs_words
from ..output import METRIC_UNITS
from ..record.durable import write_whole
from ..record.model_store import EARLIER, Ledger, ModelStore, Version
from ..record.run_record import LESSON_FILE, RunRecord
from ..settings.oven import Oven
from ..terms import Taught
from .fit_text import models_compared

#: A slow change of the power that holds is reported from this share on, and from so many of its standard deviations.
DRIFT, DRIFT_SPREADS = 0.05, 2.0
#: The least change of the supply's voltage that is named as another cause, as a share.
LEAST_SUPPLY = 0.01


@dataclass(frozen=True)
class Told:
    """What a run taught, for people and programs. `version`: the model that was made, 0 for none; `used`: the one in
    use afterwards, 0 for the description's; `why`: it was kept aside."""

    taught: str
    words: str
    version: int = 0
    used: int = 0
    predicted_k: float | None = None
    why: str = ""


def learn_from(run: RunRecord, store: ModelStore, made: str = "") -> Told | None:
    """Learn from a run, once; None where that was done before. The words are left in the folder for the
    run's page. Raises KilnctlError for a record or a store that cannot be used."""
    oven, folder, name = run.oven, run.folder, str(run.folder.resolve())
    if any(name == seen for seen, _ in store.ledger().seen):
        return None
    if not isinstance(oven, Oven):
        raise KilnctlError(f"{folder}: the oven's description is not in the record; nothing can be learnt from it")
    ledger = store.for_description(oven)
    known = _usable(store, ledger.in_use, oven)
    found = lesson(oven, run, known, _earlier(ledger, oven), _doubted(store, ledger, oven), made)
    told = _kept(store, ledger, found, oven, run, known, made)
    try:
        write_whole(folder / LESSON_FILE, (json.dumps(told.__dict__, ensure_ascii=False) + "\n").encode())
    except OSError as error:
        raise KilnctlError(f"{folder}: cannot be written: {error.strerror}") from None
    return told


def _usable(store: ModelStore, number: int, oven: Oven) -> TrainedModel | None:
    try:
        return store.model(number, oven)
    except KilnctlError:
        return None


def _log(oven: Oven, folder: str) -> Log | None:
    try:
        return as_log(oven, folder) if folder and Path(folder).is_dir() else None
    except KilnctlError:
        return None


def _earlier(ledger: Ledger, oven: Oven) -> list[Log]:
    """Logs of the last runs that the model in use has learnt from, and of the last learning run: it tells most."""
    lineage = ledger.lineage()
    learning_runs = [v for v in lineage[EARLIER:] if v.guard == v.number]
    logs = [_log(oven, v.run) for v in (*lineage[:EARLIER], *learning_runs[:1])]
    return [log for log in logs if log is not None]


def _doubted(store: ModelStore, ledger: Ledger, oven: Oven) -> Doubted | None:
    version = ledger.version(ledger.doubted)
    model, log = (_usable(store, ledger.doubted, oven), _log(oven, version.run)) if version else (None, None)
    return Doubted(model, log) if model is not None and log is not None else None


def _kept(
    store: ModelStore,
    ledger: Ledger,
    found: Lesson,
    oven: Oven,
    run: RunRecord,
    known: TrainedModel | None,
    made: str,
) -> Told:
    """Keep what was taught, and say it."""
    name = str(run.folder.resolve())
    if found.model is None or found.before is None:
        store.note(name, found.words)
        return Told(found.taught, f"nothing was learnt from this run: {found.words}", 0, ledger.in_use)
    taught, why, changes = found.taught, found.words, ()
    if ledger.pinned and taught != Taught.ASIDE:
        taught, why = Taught.ASIDE, f"{_name(ledger.in_use)} is pinned"
    compared = known if taught == Taught.CHANGED else _usable(store, ledger.compared, oven)
    if taught == Taught.LEARNT and compared is not None and _drifted(oven, compared, found.model):
        taught = Taught.CHANGED
    if taught == Taught.CHANGED and compared is not None:
        changes = models_compared(
            compared, found.model.for_load(oven, compared.load), found.model.low_c, found.model.high_c, METRIC_UNITS
        )
        changes = [*changes, *supply_instead(oven, compared, found.model)]
    version = store.add(
        found.model,
        Version(
            0,
            taught,
            made,
            name,
            found.model.runs,
            found.before.version,
            predicted_k=round(found.predicted_k, 3),
            after_k=round(found.after_k, 3),
            words=why or "; ".join(changes),
        ),
        guards=run.controller == LEARNING_RUN and taught != Taught.ASIDE,
        doubted=found.may_change and not ledger.pinned,
    )
    used = ledger.in_use if taught == Taught.ASIDE else version.number
    return Told(taught, version_words(version, used), version.number, used, version.predicted_k, why)


def version_words(version: Version, used: int) -> str:
    """What became of a run's lesson, in a sentence."""
    before, missed = _name(version.parent), ""
    if version.predicted_k is not None:
        missed = f"{before} predicted this run within {version.predicted_k:.1f} K rms"
    if version.state == Taught.ASIDE:
        return f"model {version.number} is kept aside: {version.words}. {missed}; {_name(used)} stays in use"
    after = "" if version.after_k is None else f", model {version.number} does within {version.after_k:.1f} K"
    new = f"model {version.number}, from {runs_words(version.runs)}, is in use from now on: {missed}{after}"
    return f"the oven has changed: {version.words}. {new}" if version.state == Taught.CHANGED else new


def _name(number: int) -> str:
    return f"model {number}" if number else "the description"


def supply_instead(oven: Oven, old: TrainedModel, new: TrainedModel) -> list[str]:
    """The supply's voltage that would look the same, where no meter tells it from the oven; empty otherwise."""
    held_c, meters = min(old.high_c, new.high_c), oven.meters
    if meters.supply or meters.current or held_c < new.model.ambient_c + 20.0:
        return []
    share = math.sqrt(old.model.steady(held_c)[1] / new.for_load(oven, old.load).steady(held_c)[1]) - 1.0
    if abs(share) < LEAST_SUPPLY:
        return []
    way = "less" if share < 0.0 else "more"
    return [f"or the supply has about {100.0 * abs(share):.0f} % {way} voltage: no meter here tells the two apart"]


def _drifted(oven: Oven, old: TrainedModel, new: TrainedModel) -> bool:
    """Whether the power that holds has changed by more than either model's uncertainty explains."""
    held_c = min(old.high_c, new.high_c)
    if held_c < new.model.ambient_c + 20.0:
        return False
    now = replace(new, model=new.for_load(oven, old.load), load=old.load)
    change = math.log(now.model.steady(held_c)[1] / old.model.steady(held_c)[1])
    spread = math.hypot(*(log_spread(t, lambda m: m.steady(held_c)[1]) for t in (old, now)))
    return abs(change) > max(DRIFT, DRIFT_SPREADS * spread)
