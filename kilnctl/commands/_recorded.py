"""A rehearsal with its record: simulated with progress, and all its files written."""

from pathlib import Path

from ..output import Units
from ..plants.plant import Plant
from ..record.folder import Begun, SampleWriter, begin
from ..report.finishing import finish
from ..run.prepare import PreparedRun
from ..run.rehearsal import simulate
from ..run.result import Run
from ..run.summary import Summary, summarise
from ._progress import SimulationProgress


def recorded(
    ready: PreparedRun, plant: Plant, seed: int, folder: Path, progress: SimulationProgress, u: Units
) -> tuple[Run, Summary]:
    """Run it on the plant into `folder`. Raises KilnctlError."""
    words = ready.model_words
    begin(
        folder,
        Begun(ready.oven, ready.schedule, ready.load, ready.model, seed, ready.controller_name, model_words=words),
    )
    writer = SampleWriter(folder)
    try:
        result = simulate(ready, plant, seed, progress=progress, sink=writer)
    finally:
        writer.close()
        progress.end()
    summary = summarise(result)
    finish(folder, result, summary, u)
    return result, summary
