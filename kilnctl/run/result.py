"""The result of a run: `Run`."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..record.columns import COLUMNS
from ..record.events import Event
from ..record.run_data import RunData
from ..safety import Trip
from ..terms import Outcome
from .prepare import PreparedRun


@dataclass(kw_only=True)
class Run(RunData):
    """What happened. One value a tick in each array (time_s, reference_c, chamber_c as the sensor shows it, part_c,
    duty, feedforward_w, trim_w, …; see `kilnctl.record.columns`); `trips` each with .fault and .time_s. true_chamber_c
    is the plant's own, where it has one. `controller`: its name."""

    shortfalls: tuple[Any, ...] = ()


def as_run(
    prepared: PreparedRun,
    rows: Sequence[tuple],
    *,
    outcome: Outcome,
    trips: Sequence[Trip] = (),
    events: Sequence[Event] = (),
    seed: int = 0,
    controller: str | None = None,
    energy_j: float = 0.0,
) -> Run:
    """A `Run` from samples in the order of `COLUMNS`. `controller`: a name of its own for the record."""
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(COLUMNS)
    data = {
        c.name: np.array(v, dtype=object if c.name == "reason" else float)
        for c, v in zip(COLUMNS, columns, strict=True)
    }
    return Run(
        oven=prepared.oven,
        schedule=prepared.schedule,
        outcome=outcome,
        trips=tuple(trips),
        events=tuple(events),
        data=data,
        seed=seed,
        controller=prepared.controller_name if controller is None else controller,
        energy_j=energy_j,
        model=prepared.model,
        model_words=prepared.model_words,
        shortfalls=tuple(prepared.programme.shortfalls),
        load=prepared.load,
    )
