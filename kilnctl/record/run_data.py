"""A run as input for summaries, pages, pictures and fits, whether just made or read back."""

from collections.abc import MutableMapping
from dataclasses import dataclass

import numpy as np

from ..output import METRIC
from ..safety import Trip
from ..settings.construction import Elements, Load
from ..settings.equipment import Sensors, Supply
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .events import Event


@dataclass(frozen=True)
class UnknownOven:
    """An oven whose description is not in the record: only its name is known."""

    name: str
    file: str = ""
    sha256: str = ""

    @property
    def units(self) -> str:
        return METRIC

    @property
    def elements(self) -> Elements | None:
        return None

    @property
    def supply(self) -> Supply | None:
        return None

    @property
    def sensors(self) -> Sensors | None:
        return None


@dataclass(kw_only=True)
class RunData:
    """What is known of a run. The columns of `data` (arrays of one length, see `kilnctl.record.columns`) are attributes
    too: `run.chamber_c`.

    outcome   "finished", "tripped", "interrupted", "stopped", or "unfinished": it ended without saying so
    seed      of the virtual oven; None for a real run
    energy_j  electric energy, J
    model     what the control believed: an `EnergyModel`, or its parameters as a mapping when read back
    started   time of day in words; only a real run knows it
    rig       what was heated; empty for a rehearsal
    model_words  where that model is from
    teaches   folder of the oven's models that learn from it; empty when none do
    lesson    what the run taught the oven's model, in words; empty before that, and for rehearsals
    version   of the program that wrote the record; empty for a run that has just been made
    problems  what was found wrong in the record and how it was dealt with, one sentence each
    """

    oven: Oven | UnknownOven
    schedule: Schedule
    outcome: str
    trips: tuple[Trip, ...]
    events: tuple[Event, ...]
    data: MutableMapping[str, np.ndarray]
    seed: int | None
    controller: str
    energy_j: float = 0.0
    model: object = None
    load: Load | None = None
    started: str = ""
    rig: str = ""
    version: str = ""
    model_words: str = ""
    teaches: str = ""
    lesson: str = ""
    problems: tuple[str, ...] = ()

    def __getattr__(self, name: str) -> np.ndarray:
        # Python calls this only for names that are no fields; while a copy is made, `data` may be missing.
        data = self.__dict__.get("data", {})
        if name in data:
            return data[name]
        raise AttributeError(name)
