"""A past run for the page: its curve, its marks, and where its energy went by the model and the recorded power."""

from pathlib import Path

import numpy as np

from ..model.day_zero import day_zero
from ..model.energy import CHAMBER
from ..model.ledger import ledger_w
from ..record.columns import NAMES
from ..record.power_columns import power_w
from ..record.run_record import RunRecord, read_run
from ..report.run_curves import phases
from ..settings.oven import Oven
from ..terms import Phase
from .service_client import picture

#: Rows of the picture, and rows of the walk through the model.
PICTURE_ROWS, WALK_ROWS = 1200, 3000
MOST_PHASES = 200
SHOWN = ("time_s", "reference_c", "chamber_c", "part_c", "part_estimate_c", "duty")
#: Kinds of events that get a mark.
MARKED = ("step", "trip", "door", "request", "warning", "danger", "resumed")


def past_run(folder: Path, oven: Oven) -> dict:
    """{columns, events, phases, ledger_j, energy_j, full_w} of a record; `oven`: this panel's, for a record without
    one. Raises KilnctlError."""
    record = read_run(folder)
    oven = record.oven if isinstance(record.oven, Oven) else oven
    columns = {name: [_none(v) for v in record.data[name]] for name in SHOWN if name in NAMES}
    keep = picture(columns, PICTURE_ROWS)
    return {
        "columns": {name: [_short(values[i]) for i in keep] for name, values in columns.items()},
        "events": [[e.time_s, e.kind, e.text] for e in record.events if e.kind in MARKED][:400],
        "phases": _phases(record),
        "ledger_j": _ledger(record, oven),
        "energy_j": record.energy_j,
        "full_w": oven.elements.power_w,
    }


def _phases(record: RunRecord) -> list[dict]:
    """{from, to, phase, name} of the run's phases, times in s; a soak's target and the band in which its time counted
    too: at_c, within_k."""
    steps, found, last_c = {}, [], None
    for step in record.schedule.steps:
        last_c = step.to_c if step.to_c is not None else last_c
        steps[step.name] = (last_c, step.within_k)
    for begin_s, end_s, phase, name in phases(record)[:MOST_PHASES]:
        at_c, within_k = steps.get(name, (None, 3.0))
        soak = {"at_c": at_c, "within_k": within_k} if phase == Phase.SOAK and at_c is not None else {}
        found.append({"from": begin_s, "to": end_s, "phase": phase, "name": name, **soak})
    return found


def _ledger(record: RunRecord, oven: Oven) -> dict[str, float]:
    """Where the energy went, J: the model is walked with the recorded power; its chamber is set to the reading in each
    step, and the heat that this needs is the unexplained."""
    data = record.data
    every = max(1, len(data["time_s"]) // WALK_ROWS)
    time_s, chamber_c = data["time_s"][::every], data["chamber_c"][::every]
    watts = power_w(data, oven, record.model if isinstance(record.model, dict) else None)
    good = np.isfinite(chamber_c)
    if good.sum() < 2:
        return {}
    model, ambient = day_zero(oven, record.load), oven.site.ambient_c
    # The mean power of each stretch between two kept rows: what is fired in bursts is not missed.
    summed = np.concatenate(
        ([0.0], np.cumsum(np.nan_to_num(watts) * np.diff(data["time_s"], prepend=data["time_s"][0])))
    )
    energy = summed[1:][::every]
    x, out = model.rest(float(chamber_c[good][0])), {}
    for i in range(1, len(time_s)):
        dt = float(time_s[i] - time_s[i - 1])
        if dt <= 0.0 or not good[i]:
            continue
        power = float(energy[i] - energy[i - 1]) / dt
        x = model.step(x, power, dt, ambient)
        unexplained = model.chamber_j_per_k * (float(chamber_c[i]) - x[CHAMBER]) / dt
        x = (*x[:CHAMBER], float(chamber_c[i]), *x[CHAMBER + 1 :])
        for name, w in ledger_w(model, x, power, unexplained, ambient).items():
            out[name] = out.get(name, 0.0) + w * dt
    return {name: round(j) for name, j in out.items()}


def _none(value: float) -> float | None:
    return None if value != value else float(value)


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
